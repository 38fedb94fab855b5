// What a hand edits in 3-D: a new member drawn from a hole of a known one, and an end of the chosen member
// dragged along its holes; copies are dragged by copy-hand. A hand has `move` and `drop`, and `paint`. Needs
// build, changes, selection, modes, draw, copy-hand, three.js.

import {drawDisc, drawPlate} from "../core/brush.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {CHOSEN, INK, PLATE} from "../core/colours.js";
import {emit} from "../core/events.js";
import {chosen, chosenMember} from "../core/selection.js";
import {plural} from "../core/units.js";
import {modes} from "../photos/modes.js";
import {GRAB_PX} from "../pictures/pointers.js";
import * as THREE from "../vendor/three.module.min.js";
import {copyHand} from "./copy-hand.js";
import {holeOnRay, memberDrawn} from "./draw.js";

const REACH = 60; // holes beyond an end that it can be dragged to in one go
const HANDLE = 8;

/**
 * The hand that begins at a place of the canvas, or null where it turns the view.
 * @param {Object} view
 * @param {number[]} at px of the canvas
 */
export function handAt(view, at) {
  if (build.copying) return copyHand(view, at);
  if (modes.current === "draw") return drawingHand(view, at);
  return modes.current === "choose" ? endHand(view, at) : null;
}

function drawingHand(view, at) {
  const id = view.memberAt(at);
  if (!id) return null;
  const start = holeOnRay(...view.rayAt(at), build.members.get(id));
  if (!start) return null;
  let drawn = null;
  return {
    move(to) {
      drawn = memberDrawn(start, to, view);
    },
    drop() {
      if (drawn) emit("spacestroke", {...start, way: drawn.way, holes: drawn.holes});
    },
    paint(c) {
      const ends = (drawn?.ends || [start.at]).map(place => spot(view, place));
      strokeThrough(c, ends);
      const text = drawn ? `${drawn.holes}` : `hole ${start.hole + 1} of ${start.member}`;
      drawPlate({width: view.width}, c, [ends.at(-1)[0], ends.at(-1)[1] - 22], text);
    },
  };
}

/** Places of the chosen member's two ends, px of the canvas. */
function endSpots(view, m) {
  const along = [-0.5, m.holes - 0.5];
  return along.map(k =>
    spot(
      view,
      m.first.map((v, i) => v + m.direction[i] * k),
    ),
  );
}

function endHand(view, at) {
  const m = chosenMember();
  if (!m) return null;
  const far = endSpots(view, m).map(([x, y]) => Math.hypot(x - at[0], y - at[1]));
  const end = far[0] < far[1] ? 0 : 1;
  if (far[end] > GRAB_PX) return null;
  chosen.end = end;
  emit("chosen");
  let by = 0;
  let to = null;
  return {
    move(place) {
      ({by, to} = nearestHole(view, m, end, place));
    },
    drop() {
      if (by) edit({op: "end", member: m.id, end, by});
    },
    paint(c) {
      if (!to) return;
      strokeThrough(c, [endSpots(view, m)[1 - end], to]);
      drawPlate({width: view.width}, c, [to[0], to[1] - 24], `${m.id}: ${plural(m.holes + by, "hole")}`);
    },
  };
}

/** By how many holes an end comes to where the hand is, and where that is. */
function nearestHole(view, m, end, place) {
  let best = {by: 0, to: null, far: Number.POSITIVE_INFINITY};
  for (let by = 1 - m.holes; by <= REACH; by++) {
    const k = end ? m.holes + by - 0.5 : -by - 0.5;
    const to = spot(
      view,
      m.first.map((v, i) => v + m.direction[i] * k),
    );
    const far = Math.hypot(to[0] - place[0], to[1] - place[1]);
    if (far < best.far) best = {by, to, far};
  }
  return best;
}

function strokeThrough(c, places) {
  for (const [style, width] of [
    [INK, 7],
    [CHOSEN, 4],
  ]) {
    c.strokeStyle = style;
    c.lineWidth = width;
    c.lineCap = "round";
    c.beginPath();
    for (const [i, [x, y]] of places.entries()) {
      if (i) c.lineTo(x, y);
      else c.moveTo(x, y);
    }
    c.stroke();
  }
}

/** Where a place in space is on the canvas, px. */
function spot(view, place) {
  const {x, y} = new THREE.Vector3(...place).project(view.camera);
  return [((x + 1) * view.width) / 2, ((1 - y) * view.deep) / 2];
}

/**
 * Paints the handles of the chosen member's ends, and what the hand does.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 */
export function paintHand(view, c) {
  const m = chosenMember();
  if (m && modes.current === "choose") {
    for (const [k, place] of endSpots(view, m).entries()) {
      drawDisc(c, place, HANDLE, chosen.end === k ? CHOSEN : PLATE, 2);
    }
  }
  view.hand?.paint(c);
}
