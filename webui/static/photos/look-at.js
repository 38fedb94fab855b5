// What is looked at, brought into view in a photo: members, the holes near a lap, or members of the plan.
// Needs build, loading.

import {build} from "../core/build.js";
import {shapesOf} from "../core/loading.js";

const NEAR_LAP = 3; // holes on each side of a lap that are looked at
const ROOM = 40; // px of the photo round what is looked at
const MOST_SCALE = 2; // px of the screen per px of the photo
const FILL = 0.7; // share of the canvas that it takes
const LEAST_PX = 36; // of the screen: what is shorter is looked at nearer
const EDGE_PX = 8; // from the canvas's border, to count as in view

/**
 * @typedef {Object} Subject what is looked at
 * @property {string[]} ids members
 * @property {import("../core/build.js").LapKey|null} [lap] a lap of them that is looked at nearer
 * @property {string[]} [planned] members of the plan
 */

function pointsOf(view, {ids, lap, planned = []}) {
  const shapes = build.shapes.get(view.name);
  if (lap) {
    const near = (id, hole) => {
      const axis = shapes?.get(id)?.axis || [];
      return axis.slice(2 * Math.max(0, hole - NEAR_LAP), 2 * (hole + NEAR_LAP + 1));
    };
    return [...near(lap[0], lap[1]), ...near(lap[2], lap[3])];
  }
  const plan = build.planShapes[view.name] || {};
  const built = ids.flatMap(id => shapes?.get(id)?.edges.flat() || []);
  return [...built, ...planned.flatMap(id => plan[id]?.flat() || [])];
}

/** The box round what is looked at, as far as it is on the photo: [x0, y0, x1, y1], or null. */
function boxOf(view, subject) {
  const points = pointsOf(view, subject);
  const [wide, tall] = view.size || [0, 0];
  const far = Number.POSITIVE_INFINITY;
  const box = [far, far, -far, -far];
  for (let i = 0; i < points.length; i += 2) {
    const [x, y] = [points[i], points[i + 1]];
    if (x < 0 || y < 0 || x > wide || y > tall) continue;
    box[0] = Math.min(box[0], x);
    box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x);
    box[3] = Math.max(box[3], y);
  }
  return box[0] <= box[2] ? box : null;
}

async function known(view) {
  if (view.photo.camera && !build.shapes.get(view.name)?.size) await shapesOf(view.name).catch(() => {});
}

function moveTo(view, [x0, y0, x1, y1]) {
  const fitting = FILL * Math.min(view.width / (x1 - x0 + ROOM), view.height / (y1 - y0 + ROOM));
  view.scale = Math.max(view.least, Math.min(MOST_SCALE, fitting));
  view.x = view.width / 2 - ((x0 + x1) / 2) * view.scale;
  view.y = view.height / 2 - ((y0 + y1) / 2) * view.scale;
  view.fitted = false;
  view.draw();
}

/**
 * Brings it into the middle, as large as fits.
 * @param {import("./photo-canvas.js").PhotoCanvas} view
 * @param {Subject} subject
 */
export async function lookAt(view, subject) {
  await known(view);
  const box = view.width && boxOf(view, subject);
  if (box) moveTo(view, box);
}

/**
 * Leaves the photo as it is where all of it can be seen; else brings it into the middle.
 * @param {import("./photo-canvas.js").PhotoCanvas} view
 * @param {Subject} subject
 */
export async function bringIntoView(view, subject) {
  await known(view);
  const box = view.width && boxOf(view, subject);
  if (!box) return;
  const [left, top, right, bottom] = box.map((v, i) => v * view.scale + (i % 2 ? view.y : view.x));
  const isOff =
    left < EDGE_PX || top < EDGE_PX || right > view.width - EDGE_PX || bottom > view.height - EDGE_PX;
  const isSmall = !view.fitted && Math.max(right - left, bottom - top) < LEAST_PX;
  if ((isOff && !view.fitted) || isSmall) moveTo(view, box);
}
