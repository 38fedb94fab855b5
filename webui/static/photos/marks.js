// Marks over a photo: openings, rows, members, ends, laps, labels, and what the hand is doing. A view has
// `name`, `scale`, `x`, `y` (from photo to canvas), `width`, `height`, `hand` and `anchor`. Needs build,
// selection, loading, modes, brush.

import {
  centreText,
  drawDisc,
  drawDots,
  drawGlyph,
  drawLabels,
  drawPlate,
  onCanvas,
  strokeLines,
} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHANGED, CHOSEN, FALSE, INK, OPENING, PLAN, PLATE, ROW, SURE, UNSURE} from "../core/colours.js";
import {isUnsure} from "../core/confidence.js";
import {groupColour} from "../core/groups.js";
import {foundIn, shapesOf} from "../core/loading.js";
import {changed, isRecent} from "../core/repaint.js";
import {chosen} from "../core/selection.js";
import {drawLaps} from "./laps-on-photo.js";
import {drawn, layers} from "./modes.js";
import {paintRuler} from "./ruler-on-photo.js";

const ROOM_PX = 20; // what lies further off the canvas is not drawn
const LABEL_SIZE = {room: 12, rim: 1.4};
const NO_MARKS = {missed: [], false: []};

/**
 * The marks that the user made on a photo.
 * @param {string} photo
 * @returns {{missed: number[][], false: number[][]}}
 */
export const userMarks = photo => build.corrections.marks?.[photo] || NO_MARKS;

/**
 * Draws the openings and rows that were found, and the user's marks of openings.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintFound(view, c) {
  foundIn(view.name).catch(() => {});
  const {openings, rows} = build.found.get(view.name) || {openings: [], rows: []};
  if (drawn("rows")) {
    const lines = rows.map(row => row.flat());
    strokeLines(view, c, lines, ROW, 1.5, [6, 4]);
  }
  if (!drawn("openings")) return;
  for (const [colour, width] of [
    [INK, 3.4],
    [OPENING, 1.6],
  ]) {
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.beginPath();
    for (const opening of openings) traceOpening(view, c, opening);
    c.stroke();
  }
  const marks = userMarks(view.name);
  for (const place of marks.false) drawGlyph(view, c, place, FALSE, "cross");
  for (const place of marks.missed) drawGlyph(view, c, place, CHOSEN, "plus");
}

/** An ellipse round an opening; a dot in it where a member has it. */
function traceOpening(view, c, [x, y, a, b, turn, taken]) {
  const [cx, cy] = onCanvas(view, [x, y]);
  const away = (at, most) => at < -ROOM_PX || at > most + ROOM_PX;
  if (away(cx, view.width) || away(cy, view.height)) return;
  const long = a * view.scale + 2;
  c.moveTo(cx + Math.cos(turn) * long, cy + Math.sin(turn) * long);
  c.ellipse(cx, cy, long, b * view.scale + 2, turn, 0, 2 * Math.PI);
  if (!taken) return;
  c.moveTo(cx + 2, cy);
  c.arc(cx, cy, 2, 0, 2 * Math.PI);
}

function addLines(lines, colour, more) {
  if (!lines.has(colour)) lines.set(colour, []);
  lines.get(colour).push(...more);
}

/**
 * Draws the marks of all members but the chosen ones.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintRest(view, c) {
  shapesOf(view.name).catch(() => {});
  const sure = new Map(); // colour -> lines
  const unsure = [];
  const shapes = restInSight(view);
  for (const [id, shape] of shapes) {
    if (isUnsure(build.members.get(id)) && layers.doubts) unsure.push(...shape.edges);
    else if (layers.members) addLines(sure, groupColour(id) || SURE, shape.edges);
  }
  for (const [colour, lines] of sure) strokeLines(view, c, lines, colour, colour === SURE ? 1.3 : 2.5);
  strokeLines(view, c, unsure, UNSURE, 2, [7, 5]);
  if (layers.ends) paintEnds(view, c, shapes);
  if (layers.labels) paintLabels(view, c, shapes);
}

/**
 * Draws what is chosen, what was changed just now, and what else comes and goes.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintChosen(view, c) {
  const all = build.shapes.get(view.name) || new Map();
  const shapes = new Map(chosen.members.filter(id => all.has(id)).map(id => [id, all.get(id)]));
  if (layers.members || layers.doubts) paintChanged(view, c, all);
  for (const shape of shapes.values()) {
    strokeLines(view, c, shape.edges, CHOSEN, 3);
    drawDots(view, c, shape.holes);
  }
  if (layers.ends) paintEnds(view, c, shapes);
  drawLaps(view, c);
  const plan = layers.plan && build.planShapes[view.name];
  if (plan) strokeLines(view, c, Object.values(plan).flat(), PLAN, 2, [10, 4, 2, 4]);
  if (layers.labels) paintLabels(view, c, shapes);
  const proposal = build.proposal?.shapes[view.name];
  if (proposal) strokeLines(view, c, proposal.edges, CHOSEN, 3, [8, 6]);
  const handled = chosen.members.length === 1 && shapes.get(chosen.members[0]);
  if (!handled) return;
  if (layers.ruler) paintRuler(view, c, chosen.members[0], handled);
  paintHandles(view, c, handled);
}

function paintChanged(view, c, shapes) {
  for (const [id, when] of changed) {
    const shape = !chosen.members.includes(id) && isRecent(when) && shapes.get(id);
    if (shape) strokeLines(view, c, shape.edges, CHANGED, 4, [2, 5]);
  }
}

/** The shapes of all members but the chosen ones that can be on the canvas, by id. */
function restInSight(view) {
  const all = [...(build.shapes.get(view.name) || [])];
  const isRest = id => build.members.has(id) && !chosen.members.includes(id);
  return new Map(all.filter(([id, shape]) => isRest(id) && inSight(view, shape)));
}

/** Whether any of a member can be on the canvas. */
function inSight(view, shape) {
  shape.box ||= boxOf(shape.edges);
  const [x0, y0, x1, y1] = shape.box;
  const [left, top] = onCanvas(view, [x0, y0]);
  const [right, bottom] = onCanvas(view, [x1, y1]);
  return right > -ROOM_PX && bottom > -ROOM_PX && left < view.width + ROOM_PX && top < view.height + ROOM_PX;
}

function boxOf(edges) {
  const far = Number.POSITIVE_INFINITY;
  const box = [far, far, -far, -far];
  for (const line of edges) {
    for (let i = 0; i < line.length; i += 2) {
      box[0] = Math.min(box[0], line[i]);
      box[1] = Math.min(box[1], line[i + 1]);
      box[2] = Math.max(box[2], line[i]);
      box[3] = Math.max(box[3], line[i + 1]);
    }
  }
  return box;
}

/** A question mark at every end that was not seen. */
function paintEnds(view, c, shapes) {
  centreText(c, "bold 13px system-ui");
  for (const [id, shape] of shapes) {
    for (const [k, end] of (build.members.get(id)?.ends || []).entries()) {
      if (end.state === "seen") continue;
      const [x, y] = onCanvas(view, shape.ends[k]);
      drawDisc(c, [x, y], 9, UNSURE, 2);
      c.fillStyle = INK;
      c.fillText("?", x, y + 1);
    }
  }
}

function paintLabels(view, c, shapes) {
  const order = [...shapes].sort(([a], [b]) => chosen.members.includes(b) - chosen.members.includes(a));
  const labels = [];
  for (const [id, shape] of order) {
    if (!build.members.has(id)) continue;
    const middle = Math.floor(shape.axis.length / 4) * 2;
    const [x, y] = onCanvas(view, shape.axis.slice(middle, middle + 2));
    const isOff = x < 0 || y < 0 || x > view.width || y > view.height;
    if (!isOff) labels.push({id, x, y, chosen: chosen.members.includes(id)});
  }
  drawLabels(c, labels, LABEL_SIZE);
}

function paintHandles(view, c, shape) {
  for (const [k, end] of shape.ends.entries()) {
    const [x, y] = onCanvas(view, end);
    drawDisc(c, [x, y], 11, chosen.end === k ? CHOSEN : PLATE, 2.5);
    c.beginPath();
    c.arc(x, y, 3, 0, 2 * Math.PI);
    c.fillStyle = INK;
    c.fill();
  }
}

/**
 * Draws what the hand is doing: an end that is dragged, a stroke, the tape.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintHand(view, c) {
  const {hand, anchor} = view;
  if (hand?.kind === "end" && hand.to) {
    strokeLines(view, c, [[...hand.from, ...hand.to]], CHOSEN, 5);
    const [x, y] = onCanvas(view, hand.to);
    drawPlate(view, c, [x, y - 28], hand.text);
  }
  if (hand?.kind === "stroke" && hand.to) {
    strokeLines(view, c, [[...hand.from, ...hand.to]], CHOSEN, 4, [8, 6]);
  }
  if (anchor) drawGlyph(view, c, anchor, CHOSEN, "plus");
  const tape = (build.measure?.places[view.name] || []).filter(Boolean);
  if (tape.length === 2) strokeLines(view, c, [tape.flat()], CHOSEN, 2.5, [3, 5]);
  for (const place of tape) drawGlyph(view, c, place, CHOSEN, "plus");
}
