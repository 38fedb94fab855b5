// The frame in space as it is up to a step, turned by dragging, by touch or by the arrow keys: each pixel shows
// the face that is nearest (a z-buffer), so that members hide one another rightly however they lie.
"use strict";
const data = JSON.parse(document.getElementById("frame").textContent);
const canvas = document.getElementById("space");
const pen = canvas.getContext("2d");
const slider = document.getElementById("space-step"); // only where there are steps
// Corners of each face: where it begins, along the member, across it, and the one opposite on the far face.
const SIDES = [[0, 4, 1, 2], [2, 6, 3, 0], [0, 4, 2, 1], [1, 5, 3, 0]], ENDS = [[0, 1, 2, 4], [4, 5, 6, 0]];
const WOOD = [214, 181, 134], FRESH = [255, 205, 60], LIGHT = [-0.45, 0.8, -0.4], INK = 0xff303030;
const SMALL = 7; // pixels to a pitch below which holes would only blacken members: by eye
let turn = 0.6, tilt = 0.35, zoom = 1;

// A place, pitches, as the viewer has it: across, up and away.
function seen([x, y, z]) {
  const [dx, dy, dz] = [x - data.middle[0], y - data.middle[1], z - data.middle[2]];
  const across = dx * Math.cos(turn) - dy * Math.sin(turn);
  const away = dx * Math.sin(turn) + dy * Math.cos(turn);
  return [across, dz * Math.cos(tilt) + away * Math.sin(tilt), away * Math.cos(tilt) - dz * Math.sin(tilt)];
}

function picture(wide, high, scale) {
  const image = pen.createImageData(wide, high);
  return {wide, high, scale, image, colours: new Uint32Array(image.data.buffer).fill(0xffffffff),
    depth: new Float32Array(wide * high).fill(Infinity), owner: new Int16Array(wide * high).fill(-1)};
}

function onPicture(into, [across, up]) {
  return [into.wide / 2 + across * into.scale, into.high / 2 - up * into.scale];
}

function shade(out, wood) {
  const long = Math.hypot(...out) || 1;
  const light = 0.6 + 0.4 * Math.max(0, out.reduce((sum, x, k) => sum + x / long * LIGHT[k], 0));
  return wood.reduce((colour, part, k) => colour | Math.round(part * light) << 8 * k, 0xff000000) >>> 0;
}

// A face, with its holes where it has any: pixels where nothing nearer is.
function paint(into, owner, corners, [start, along, across, far], member, wood) {
  if (corners[start][2] >= corners[far][2]) return; // turned away
  const [x0, y0] = onPicture(into, corners[start]);
  const [fx, fy, sx, sy] = [along, across].flatMap((k) => {
    const [x, y] = onPicture(into, corners[k]);
    return [x - x0, y - y0];
  });
  const area = fx * sy - fy * sx;
  if (Math.abs(area) < 1e-6) return;
  const z0 = corners[start][2], fz = corners[along][2] - z0, sz = corners[across][2] - z0;
  const colour = shade(corners[start].map((x, k) => x - corners[far][k]), wood);
  // How far a pixel's width reaches on the face, as a share of it: edges are a pixel wide.
  const fine = into.scale < SMALL ? 0.6 : 1.1;
  const [rimA, rimB] = [Math.hypot(sx, sy), Math.hypot(fx, fy)].map((long) => fine * long / Math.abs(area));
  const [xs, ys] = [[0, fx, sx, fx + sx], [0, fy, sy, fy + sy]];
  const left = Math.max(0, Math.floor(x0 + Math.min(...xs))), low = Math.max(0, Math.floor(y0 + Math.min(...ys)));
  const right = Math.min(into.wide - 1, Math.ceil(x0 + Math.max(...xs)));
  const high = Math.min(into.high - 1, Math.ceil(y0 + Math.max(...ys)));
  for (let y = low; y <= high; y++) {
    for (let x = left; x <= right; x++) {
      const dx = x + 0.5 - x0, dy = y + 0.5 - y0;
      const a = (dx * sy - dy * sx) / area, b = (dy * fx - dx * fy) / area;
      if (a < 0 || a > 1 || b < 0 || b > 1) continue;
      const away = z0 + a * fz + b * sz, at = y * into.wide + x;
      if (away >= into.depth[at]) continue;
      into.depth[at] = away;
      into.owner[at] = owner;
      const rim = a < rimA || a > 1 - rimA || b < rimB || b > 1 - rimB;
      const dark = rim || (member && into.scale >= SMALL && inHole(member, a, b));
      into.colours[at] = dark ? INK : colour;
    }
  }
}

function inHole(member, along, across) {
  const place = along * member.holes;
  return Math.hypot(place - Math.floor(place) - 0.5, (across - 0.5) * member.width) < data.hole / 2;
}

// A place for a member's label: on the member, where it is in sight; none where all of it is hidden.
function spot(into, owner, corners) {
  for (const share of [0.5, 0.35, 0.65, 0.2, 0.8, 0.08, 0.92]) {
    const mean = (first) => [0, 1, 2].map((k) => (corners[first][k] + corners[first + 1][k] + corners[first + 2][k]
      + corners[first + 3][k]) / 4);
    const [start, end] = [mean(0), mean(4)];
    const place = onPicture(into, start.map((x, k) => x + share * (end[k] - x)));
    if (into.owner[Math.floor(place[1]) * into.wide + Math.floor(place[0])] === owner) return place;
  }
  return null;
}

function draw() {
  const dense = Math.min(window.devicePixelRatio || 1, 2);
  canvas.width = Math.max(1, Math.round(canvas.clientWidth * dense));
  canvas.height = Math.max(1, Math.round(canvas.clientHeight * dense));
  const [level, upright] = data.spans;
  const tall = upright * Math.abs(Math.cos(tilt)) + level * Math.abs(Math.sin(tilt));
  const whole = 0.92 * Math.min(canvas.width / level, canvas.height / tall);
  const into = picture(canvas.width, canvas.height, zoom * whole);
  const upTo = slider ? Number(slider.value) : Infinity;
  const fresh = slider && upTo < Number(slider.max) ? upTo : NaN;
  const corners = data.members.map((member) => member.corners.map(seen));
  data.members.forEach((member, k) => {
    if (member.step > upTo) return;
    const wood = member.step === fresh ? FRESH : WOOD;
    for (const face of SIDES) paint(into, k, corners[k], face, member, wood);
    for (const face of ENDS) paint(into, k, corners[k], face, null, wood);
  });
  pen.putImageData(into.image, 0, 0);
  pen.font = `bold ${13 * dense}px sans-serif`;
  pen.textAlign = "center";
  pen.lineWidth = 3 * dense;
  const written = [];
  data.members.forEach((member, k) => {
    const place = spot(into, k, corners[k]);
    const wide = (9 * member.id.length + 6) * dense;
    const covers = ([x, y, other]) => Math.abs(x - place[0]) < (wide + other) / 2 && Math.abs(y - place[1]) < 14 * dense;
    if (!place || written.some(covers)) return;
    written.push([...place, wide]);
    pen.strokeStyle = "white";
    pen.strokeText(member.id, place[0], place[1] + 4 * dense);
    pen.fillStyle = "black";
    pen.fillText(member.id, place[0], place[1] + 4 * dense);
  });
  return into;
}

let waiting = false;

function turned(across, up, larger = 1) {
  turn += across;
  tilt = Math.max(-1.5, Math.min(1.5, tilt + up));
  zoom = Math.max(0.5, Math.min(8, zoom * larger));
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    draw();
  });
}

const fingers = new Map(); // or the mouse: where each is

function gap() {
  const [[ax, ay], [bx, by]] = [...fingers.values()];
  return Math.hypot(ax - bx, ay - by);
}

canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, [event.clientX, event.clientY]);
});
canvas.addEventListener("pointermove", (event) => {
  const before = fingers.get(event.pointerId);
  if (!before) return;
  const apart = fingers.size === 2 ? gap() : 0;
  fingers.set(event.pointerId, [event.clientX, event.clientY]);
  if (fingers.size === 1) turned((event.clientX - before[0]) * 0.01, (event.clientY - before[1]) * 0.01);
  else if (apart) turned(0, 0, gap() / apart);
});
for (const name of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(name, (event) => fingers.delete(event.pointerId));
}
canvas.addEventListener("wheel", (event) => {
  if (!event.ctrlKey && document.activeElement !== canvas) return; // the wheel scrolls the page otherwise
  event.preventDefault();
  turned(0, 0, Math.exp(-event.deltaY / 400));
}, {passive: false});
canvas.addEventListener("keydown", (event) => {
  const ways = {ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1]};
  const step = {...ways, "+": [0, 0, 1.2], "-": [0, 0, 1 / 1.2]}[event.key];
  if (step) {
    event.preventDefault();
    turned(...step);
  }
});
if (slider) {
  slider.addEventListener("input", () => {
    const all = slider.value === slider.max;
    document.getElementById("space-words").textContent =
      all ? "All steps" : `Up to step ${slider.value} of ${slider.max}`;
    draw();
  });
}
window.addEventListener("resize", draw);
draw();
