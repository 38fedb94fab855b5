// Ghosts of members over the frame in space (`build.ghosts`, what differs from the plan, and a fitting that
// is being put on): their edges, and what is said of them. Needs build, box, brush, modes, three.js.

import {drawPlate} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, INK, PLAN, SURE} from "../core/colours.js";
import {layers} from "../photos/modes.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, CORNERS, firstOnRay, placeInSpace} from "./box.js";

const EDGES = CORNERS.flatMap((_, i) => [1, 2, 4].filter(bit => !(i & bit)).map(bit => [i, i | bit]));
const LABEL_OFF = 22; // px over its end
const PLATE_REACH = 26; // px: a press this near to the middle of a plate means it
const GHOST = {colour: PLAN, width: 1.6, dash: [4, 5]};
const RESTING = [2, 4];
const PLANNED = [10, 4, 2, 4];
const CURRENT = {colour: CHOSEN, width: 3, dash: [8, 5]};

/**
 * Paints the ghosts, the current one last.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 */
export function paintGhosts(view, c) {
  const planned = layers.plan
    ? Object.values(build.planLaid).map(member => ({member, current: false, dash: PLANNED}))
    : [];
  const order = [...resting(view), ...planned, ...[...build.ghosts].sort((a, b) => a.current - b.current)];
  for (const ghost of order) paintGhost(view, c, ghost);
  if (build.fitting?.box) paintGhost(view, c, {box: build.fitting.box, current: true});
  c.setLineDash([]);
}

/** Members that a motion has elsewhere, where they are at rest. */
function resting({pose}) {
  const members = [...(pose?.keys() || [])].map(id => build.members.get(id)).filter(Boolean);
  return members.map(member => ({member, current: false, dash: RESTING, tint: SURE}));
}

function paintGhost(view, c, {member, box = boxOf(member), current, label, end, dash: own, tint}) {
  const corners = CORNERS.map(corner => onCanvas(view, placeInSpace(box, corner)));
  const {colour, width, dash} = current ? CURRENT : GHOST;
  for (const [style, wide, pattern] of [
    [INK, width + 2, []],
    [tint || colour, width, own || dash],
  ]) {
    c.strokeStyle = style;
    c.lineWidth = wide;
    c.setLineDash(pattern);
    c.globalAlpha = style === INK ? 0.45 : 1;
    c.beginPath();
    for (const [i, j] of EDGES) {
      c.moveTo(...corners[i]);
      c.lineTo(...corners[j]);
    }
    c.stroke();
  }
  c.globalAlpha = 1;
  if (!label) return;
  c.setLineDash([]);
  drawPlate({width: view.width}, c, plateOf(view, {member, end}), label);
}

/** Where the plate of a ghost is, over its end, px of the canvas. */
function plateOf(view, {member, end}) {
  const hole = end ? member.holes - 1 : 0;
  const [x, y] = onCanvas(
    view,
    member.first.map((v, i) => v + member.direction[i] * hole),
  );
  return [x, y - LABEL_OFF];
}

/**
 * What a press on the plate of a ghost does: an edit, where it is an answer to a doubt.
 * @param {Object} view
 * @param {number[]} at px of the canvas
 * @returns {Object|null} the request
 */
export function answerAt(view, at) {
  let best = {far: PLATE_REACH, request: null};
  for (const ghost of build.ghosts.filter(({request}) => request)) {
    const [x, y] = plateOf(view, ghost);
    const far = Math.hypot(x - at[0], y - at[1]);
    if (far < best.far) best = {far, request: ghost.request};
  }
  return best.request;
}

/** Where a place in space is on the canvas, px. */
function onCanvas(view, place) {
  const {x, y} = new THREE.Vector3(...place).project(view.camera);
  return [((x + 1) * view.width) / 2, ((1 - y) * view.deep) / 2];
}

/**
 * The ghost of a drawn member on a ray that could be meant in place of the current one.
 * @param {number[]} from
 * @param {number[]} way
 * @returns {string|null} its id
 */
export function ghostOnRay(from, way) {
  if (!build.proposal) return null;
  return firstOnRay(
    from,
    way,
    build.ghosts.map(({member}) => member),
  );
}
