// The frame in space, turned by dragging, by touch or by the arrow keys, as it is up to a step: faces from back
// to front on a canvas.
"use strict";
const data = JSON.parse(document.getElementById("frame").textContent);
const canvas = document.getElementById("space");
const slider = document.getElementById("space-step");
const pen = canvas.getContext("2d");
const PIECE = 3; // holes of a face that are drawn as one, so that members that cross lie rightly before one another
const MOST_HOLES = 6000; // that are drawn: more make turning slow
const HOLE = 0.2; // radius, pitches
const ROUND = [0, 1, 2, 3, 4, 5, 6, 7].map((k) => [Math.cos((k * Math.PI) / 4), Math.sin((k * Math.PI) / 4)]);
const pointers = new Map();
const withHoles = data.members.reduce((sum, member) => sum + member.holes, 0) <= MOST_HOLES;
const TILT = 0.35; // at the beginning, radians
let turn = 0.6, tilt = TILT, zoom = 1, last = 0;

const plus = (p, ...terms) => terms.reduce((sum, [k, v]) => sum.map((x, i) => x + k * v[i]), p);

/** The pieces of a member's faces: corners, normal, the edges that are drawn, and its holes. */
function piecesOf(member) {
  const {first, direction: d, u, v, holes, width, step} = member;
  const half = width / 2, pieces = [];
  for (const [normal, across] of [[u, v], [v, u]]) {
    for (const sign of [-1, 1]) {
      const middle = plus(first, [sign * half, normal]);
      for (let from = 0; from < holes; from += PIECE) {
        const to = Math.min(holes, from + PIECE);
        const at = (along, side) => plus(middle, [along - 0.5, d], [side * half, across]);
        const points = [at(from, -1), at(to, -1), at(to, 1), at(from, 1)];
        const spots = [];
        for (let k = from; withHoles && k < to; k++) {
          spots.push(ROUND.map(([x, y]) => plus(middle, [k + HOLE * x, d], [HOLE * y, across])));
        }
        pieces.push({points, spots, step, edges: [[0, 1], [2, 3]], normal: plus([0, 0, 0], [sign, normal])});
      }
    }
  }
  for (const [along, sign] of [[-0.5, -1], [holes - 0.5, 1]]) {
    const at = (a, b) => plus(first, [along, d], [a * half, u], [b * half, v]);
    const points = [at(-1, -1), at(1, -1), at(1, 1), at(-1, 1)];
    const edges = [[0, 1], [1, 2], [2, 3], [3, 0]];
    pieces.push({points, spots: [], step, edges, normal: plus([0, 0, 0], [sign, d])});
  }
  return pieces;
}

const pieces = data.members.flatMap(piecesOf);
const places = pieces.flatMap(({points}) => points.map((p) => plus(p, [-1, data.middle])));
const reach = places.reduce((far, [x, y]) => Math.max(far, Math.hypot(x, y)), 0); // from the middle, however it is turned
const rise = places.reduce((far, [, , z]) => Math.max(far, Math.abs(z)), 0);

/** Where a direction points on the screen: to the right, up, and away. */
function turned([x, y, z]) {
  const across = x * Math.cos(turn) - y * Math.sin(turn);
  const away = x * Math.sin(turn) + y * Math.cos(turn);
  return [across, z * Math.cos(tilt) + away * Math.sin(tilt), away * Math.cos(tilt) - z * Math.sin(tilt)];
}

const seen = (p) => turned(p.map((x, i) => x - data.middle[i]));

function outline(points, scale) {
  pen.beginPath();
  points.forEach(([x, y], k) => pen[k ? "lineTo" : "moveTo"](x * scale, -y * scale));
}

function draw() {
  const wide = canvas.clientWidth, high = canvas.clientHeight, dense = window.devicePixelRatio || 1;
  canvas.width = wide * dense;
  canvas.height = high * dense;
  pen.setTransform(dense, 0, 0, dense, wide * dense / 2, high * dense / 2);
  const scale = 0.46 * zoom * Math.min(wide / reach, high / (rise * Math.cos(TILT) + reach * Math.sin(TILT)));
  const upTo = slider ? Number(slider.value) : Infinity;
  const fresh = slider && upTo < Number(slider.max) ? upTo : NaN;
  const shown = [];
  for (const piece of pieces) {
    const facing = -turned(piece.normal)[2];
    if (facing <= 0 || piece.step > upTo) continue;
    const points = piece.points.map(seen);
    shown.push({...piece, points, facing, far: points.reduce((sum, p) => sum + p[2], 0)});
  }
  shown.sort((a, b) => b.far - a.far);
  for (const piece of shown) drawPiece(piece, scale, piece.step === fresh);
  drawLabels(scale, upTo);
  canvas.dataset.turn = turn.toFixed(3);
}

function drawPiece({points, spots, edges, facing}, scale, isFresh) {
  outline(points, scale);
  pen.closePath();
  pen.fillStyle = `hsl(${isFresh ? "45 90%" : "33 38%"} ${Math.round(46 + 28 * facing)}%)`;
  pen.strokeStyle = pen.fillStyle;
  pen.lineWidth = 0.5;
  pen.fill();
  pen.stroke();
  pen.fillStyle = "hsl(33 20% 25%)";
  for (const spot of spots) {
    outline(spot.map(seen), scale);
    pen.fill();
  }
  pen.strokeStyle = "black";
  pen.lineWidth = 0.8;
  for (const [a, b] of edges) {
    outline([points[a], points[b]], scale);
    pen.stroke();
  }
}

function drawLabels(scale, upTo) {
  pen.font = "bold 13px sans-serif";
  pen.textAlign = "center";
  for (const {id, first, direction, holes, step} of data.members) {
    if (step > upTo) continue;
    const [x, y] = seen(plus(first, [(holes - 1) / 2, direction]));
    pen.strokeStyle = "white";
    pen.lineWidth = 3;
    pen.strokeText(id, x * scale, -y * scale + 4);
    pen.fillStyle = "black";
    pen.fillText(id, x * scale, -y * scale + 4);
  }
}

function change(across, up, larger = 1) {
  turn += across;
  tilt = Math.max(-1.5, Math.min(1.5, tilt + up));
  zoom = Math.max(0.5, Math.min(8, zoom * larger));
  draw();
}

function gap() {
  const [a, b] = [...pointers.values()];
  return Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
}

canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, event);
  last = pointers.size === 2 ? gap() : 0;
});
canvas.addEventListener("pointermove", (event) => {
  const before = pointers.get(event.pointerId);
  if (!before) return;
  pointers.set(event.pointerId, event);
  if (pointers.size === 2) {
    const now = gap();
    if (last && now) change(0, 0, now / last);
    last = now;
  } else change((event.clientX - before.clientX) * 0.01, (event.clientY - before.clientY) * 0.01);
});
for (const name of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(name, (event) => pointers.delete(event.pointerId));
}
canvas.addEventListener("wheel", (event) => {
  if (!event.ctrlKey && document.activeElement !== canvas) return; // the wheel scrolls the page otherwise
  event.preventDefault();
  change(0, 0, Math.exp(-event.deltaY / 400));
}, {passive: false});
canvas.addEventListener("keydown", (event) => {
  const keys = {ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1]};
  const step = {...keys, "+": [0, 0, 1.2], "-": [0, 0, 1 / 1.2]}[event.key];
  if (!step) return;
  event.preventDefault();
  change(...step);
});
if (slider) {
  const words = document.getElementById("space-words");
  slider.addEventListener("input", () => {
    const all = slider.value === slider.max;
    words.textContent = all ? "All steps" : `Up to step ${slider.value} of ${slider.max}`;
    draw();
  });
}
window.addEventListener("resize", draw);
draw();
