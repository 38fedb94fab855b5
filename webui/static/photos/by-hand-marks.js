// What is drawn by hand over a photo: rows stroked along, with their counts, and ghosts of members. Needs
// build, brush, colours.

import {drawGlyph, drawPlate, onCanvas, strokeLines} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, FALSE, PLAN, ROW} from "../core/colours.js";

const NEAR_PX = 8; // px of the screen: a click this near to a found row means it
const LABEL_OFF = 24;
const FROM_END = 12; // but one this near to its ends begins a stroke of its own
const GHOST = {colour: PLAN, width: 1.6, dash: [4, 5]};
const CURRENT = {colour: CHOSEN, width: 3, dash: [8, 6]};

/**
 * The rows that a person drew on a photo.
 * @param {string} photo
 * @returns {number[][]} [x, y, x, y, holes] each
 */
export const drawnRows = photo => build.corrections.rows?.[photo] || [];

/**
 * Draws rows by hand, where the photo has no camera yet, and ghosts.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintByHand(view, c) {
  for (const ghost of build.ghosts) if (ghost.shapes[view.name]) paintGhost(view, c, ghost);
  if (!view.photo.camera) paintRows(view, c);
}

function paintGhost(view, c, {shapes, current, label, end}) {
  const {colour, width, dash} = current ? CURRENT : GHOST;
  const shape = shapes[view.name];
  strokeLines(view, c, shape.edges, colour, width, dash);
  if (!label) return;
  const [x, y] = onCanvas(view, shape.ends[end]);
  drawPlate(view, c, [x, y - LABEL_OFF], label);
}

function paintRows(view, c) {
  const mine = build.rows?.photo === view.name ? build.rows : null;
  const wrong = mine?.answers[mine.number]?.left_out || [];
  for (const [i, row] of drawnRows(view.name).entries()) {
    paintRow(view, c, row, wrong.includes(i) ? FALSE : ROW);
  }
  if (!mine?.pending) return;
  const {start, end} = mine.pending;
  strokeLines(view, c, [[...start, ...end]], CHOSEN, 3, [8, 6]);
  for (const place of [start, end]) drawGlyph(view, c, place, CHOSEN, "plus");
}

function paintRow(view, c, [x0, y0, x1, y1, holes], colour) {
  strokeLines(view, c, [[x0, y0, x1, y1]], colour, 3);
  const [x, y] = onCanvas(view, [(x0 + x1) / 2, (y0 + y1) / 2]);
  if (x > 0 && y > 0 && x < view.width && y < view.height) drawPlate(view, c, [x, y], `${holes}`);
}

/**
 * The row that was found under a place of a photo, as a stroke from its first opening to its last.
 * @param {Object} view
 * @param {number[]} place px of the photo
 * @returns {{start: number[], end: number[]}|null}
 */
export function rowAt(view, place) {
  const far = (p, q) => Math.hypot(p[0] - q[0], p[1] - q[1]) * view.scale;
  let least = NEAR_PX;
  let found = null;
  for (const row of build.found.get(view.name)?.rows || []) {
    const [start, end] = [row[0], row.at(-1)];
    if (!start || far(start, place) < FROM_END || far(end, place) < FROM_END) continue;
    const off = offLine(place, start, end) * view.scale;
    if (off >= least) continue;
    least = off;
    found = {start: start.slice(0, 2), end: end.slice(0, 2)};
  }
  return found;
}

/** How far a place is from a line between two others. */
function offLine([x, y], [ax, ay], [bx, by]) {
  const square = (bx - ax) ** 2 + (by - ay) ** 2 || 1;
  const t = Math.max(0, Math.min(1, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / square));
  return Math.hypot(ax + t * (bx - ax) - x, ay + t * (by - ay) - y);
}
