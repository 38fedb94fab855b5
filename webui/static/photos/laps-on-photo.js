// Where the laps of what is chosen are in a photo: the bolt comes out of the face that is turned to the
// camera. Needs build, selection, brush.

import {onCanvas} from "../core/brush.js";
import {build, lapKey} from "../core/build.js";
import {BOLT, CHOSEN, INK, PLATE} from "../core/colours.js";
import {chosen} from "../core/selection.js";

const RING = 15;
const DISC = 5;

/**
 * The laps of what is chosen, and where their bolts come out, on the canvas.
 * @param {Object} view {name, scale, x, y}
 * @returns {[import("../core/build.js").Joint, number, number][]}
 */
export function lapsInView(view) {
  const shapes = build.shapes.get(view.name);
  const found = [];
  if (!shapes) return found;
  for (const joint of build.joints) {
    if (!chosen.members.includes(joint.a) && !chosen.members.includes(joint.b)) continue;
    const p = holeOf(shapes.get(joint.a), joint.a_hole);
    const q = holeOf(shapes.get(joint.b), joint.b_hole);
    if (p && q) found.push([joint, ...onCanvas(view, boltHead(joint, shapes, p, q))]);
  }
  return found;
}

function holeOf(shape, hole) {
  return shape && shape.axis.length > 2 * hole + 1 ? shape.axis.slice(2 * hole, 2 * hole + 2) : null;
}

/**
 * Where the bolt of a lap comes out, px: its axis, carried on from the centre lines p of a and q of b by
 * half a width each, and of its two ends the one that is an opening of a face turned this way. Perspective
 * over two pitches is left out.
 */
function boltHead(joint, shapes, p, q) {
  const widths = [build.members.get(joint.a).width, build.members.get(joint.b).width];
  const sum = widths[0] + widths[1];
  const beyond = (from, to, width) => to.map((v, i) => v + ((v - from[i]) * width) / sum);
  const a = beyond(q, p, widths[0]);
  const b = beyond(p, q, widths[1]);
  return toNearestHole(shapes.get(joint.a), a) <= toNearestHole(shapes.get(joint.b), b) ? a : b;
}

function toNearestHole({holes}, [x, y]) {
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i < holes.length; i += 2) {
    least = Math.min(least, Math.hypot(holes[i] - x, holes[i + 1] - y));
  }
  return least;
}

/**
 * Draws the bolts of the laps: filled where one was seen or said to be there (with a dot), dashed where one
 * is assumed, struck through where there is none.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 */
export function drawLaps(view, c) {
  for (const [joint, x, y] of lapsInView(view)) {
    const isChosen = chosen.lap && String(lapKey(joint)) === String(chosen.lap);
    c.beginPath();
    c.arc(x, y, isChosen ? RING : DISC, 0, 2 * Math.PI);
    if (isChosen) strokeRing(c, joint.bolt);
    else drawBolt(c, x, y, joint.bolt);
  }
}

/** A ring: what is to be looked at is in it. */
function strokeRing(c, bolt) {
  c.lineWidth = 6;
  c.strokeStyle = INK;
  c.stroke();
  c.setLineDash(bolt === "assumed" ? [5, 4] : []);
  c.lineWidth = 3;
  c.strokeStyle = CHOSEN;
  c.stroke();
  c.setLineDash([]);
}

/** The mark of a person's word. */
function dot(c, x, y) {
  c.beginPath();
  c.arc(x, y, DISC / 3, 0, 2 * Math.PI);
  c.fillStyle = INK;
  c.fill();
}

function drawBolt(c, x, y, bolt) {
  c.fillStyle = bolt === "seen" || bolt === "said" ? BOLT : PLATE;
  c.fill();
  c.setLineDash(bolt === "assumed" ? [3, 2.5] : []);
  c.lineWidth = 2;
  c.strokeStyle = INK;
  c.stroke();
  c.setLineDash([]);
  if (bolt === "said") dot(c, x, y);
  if (bolt !== "none") return;
  c.beginPath();
  c.moveTo(x - DISC, y + DISC);
  c.lineTo(x + DISC, y - DISC);
  c.strokeStyle = INK;
  c.stroke();
}
