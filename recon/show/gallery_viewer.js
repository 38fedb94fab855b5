// The frame in space, turned by dragging, by touch or by the arrow keys: faces from back to front on a canvas.
"use strict";
const data = JSON.parse(document.getElementById("frame").textContent);
const canvas = document.getElementById("space");
const pen = canvas.getContext("2d");
const FACES = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]];
let turn = 0.6, tilt = 0.35;

function seen([x, y, z]) {
  const [dx, dy, dz] = [x - data.middle[0], y - data.middle[1], z - data.middle[2]];
  const across = dx * Math.cos(turn) - dy * Math.sin(turn);
  const away = dx * Math.sin(turn) + dy * Math.cos(turn);
  return [across, dz * Math.cos(tilt) + away * Math.sin(tilt), away * Math.cos(tilt) - dz * Math.sin(tilt)];
}

function draw() {
  const wide = canvas.clientWidth, high = canvas.clientHeight, dense = window.devicePixelRatio || 1;
  canvas.width = wide * dense;
  canvas.height = high * dense;
  pen.setTransform(dense, 0, 0, dense, wide * dense / 2, high * dense / 2);
  const scale = 0.92 * Math.min(wide, high) / data.size;
  const faces = [];
  for (const member of data.members) {
    const corners = member.corners.map(seen);
    for (const face of FACES) {
      const points = face.map((k) => corners[k]);
      const [a, b, c] = points;
      const front = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
      const far = points.reduce((sum, p) => sum + p[2], 0) / 4;
      faces.push({points, far, light: Math.min(1, 0.62 + Math.abs(front) / (Math.abs(front) + 12) * 0.38)});
    }
  }
  faces.sort((a, b) => b.far - a.far);
  pen.lineWidth = 0.7;
  for (const {points, light} of faces) {
    pen.beginPath();
    points.forEach(([x, y], k) => pen[k ? "lineTo" : "moveTo"](x * scale, -y * scale));
    pen.closePath();
    pen.fillStyle = `hsl(33 38% ${Math.round(72 * light)}%)`;
    pen.fill();
    pen.stroke();
  }
  pen.font = "bold 13px sans-serif";
  pen.textAlign = "center";
  for (const member of data.members) {
    const [x, y] = seen(member.centre);
    pen.strokeStyle = "white";
    pen.lineWidth = 3;
    pen.strokeText(member.id, x * scale, -y * scale + 4);
    pen.fillStyle = "black";
    pen.fillText(member.id, x * scale, -y * scale + 4);
  }
  pen.strokeStyle = "black";
}

function turned(across, up) {
  turn += across;
  tilt = Math.max(-1.5, Math.min(1.5, tilt + up));
  draw();
}

canvas.addEventListener("pointerdown", (event) => canvas.setPointerCapture(event.pointerId));
canvas.addEventListener("pointermove", (event) => {
  if (event.buttons) turned(event.movementX * 0.01, event.movementY * 0.01);
});
canvas.addEventListener("keydown", (event) => {
  const step = {ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1]}[event.key];
  if (step) {
    event.preventDefault();
    turned(...step);
  }
});
window.addEventListener("resize", draw);
draw();
