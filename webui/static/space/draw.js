// A member drawn in 3-D: from a hole of a known member, on the face that the hand is on, along that face.
// What the hand does goes to the server as hole, face and direction. Needs build, box, three.js.

import {build} from "../core/build.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf} from "./box.js";

const MOST_HOLES = 200;
const LEAST_PX = 2; // per pitch: along a direction seen end-on nothing can be drawn

/**
 * Where a ray meets a member: the hole nearest to it and the face.
 * @param {number[]} from
 * @param {number[]} way
 * @param {import("../core/build.js").Member} member
 * @returns {{member: string, hole: number, normal: number[], at: number[]}|null} null on its two ends
 */
export function holeOnRay(from, way, member) {
  const {middle, axes, half} = boxOf(member);
  let entry = {far: Number.NEGATIVE_INFINITY, axis: -1, sign: 1};
  for (let k = 0; k < 3; k++) {
    const speed = dot(way, axes[k]);
    const off = dot(minus(middle, from), axes[k]);
    if (Math.abs(speed) < 1e-9) continue;
    const far = (off - Math.sign(speed) * half[k]) / speed;
    if (far > entry.far) entry = {far, axis: k, sign: -Math.sign(speed)};
  }
  if (entry.axis < 1) return null;
  const point = from.map((v, i) => v + way[i] * entry.far);
  const along = dot(minus(point, member.first), member.direction);
  const hole = Math.max(0, Math.min(member.holes - 1, Math.round(along)));
  const normal = axes[entry.axis].map(v => entry.sign * v + 0);
  const centre = member.first.map((v, i) => v + hole * member.direction[i] + member.width * normal[i]);
  return {member: member.id, hole, normal, at: centre};
}

/**
 * The new member that a hand means which began at a hole and is at a place of the canvas now.
 * @param {{member: string, hole: number, normal: number[], at: number[]}} start
 * @param {number[]} to px of the canvas
 * @param {Object} view
 * @returns {{way: number[], holes: number, ends: number[][]}|null} `ends` in pitches
 */
export function memberDrawn(start, to, view) {
  const {axes} = boxOf(build.members.get(start.member));
  const flat = axes.filter(axis => Math.abs(dot(axis, start.normal)) < 0.5);
  const origin = onCanvas(view, start.at);
  const hand = [to[0] - origin[0], to[1] - origin[1]];
  let best = null;
  for (const way of [...flat, ...flat.map(axis => axis.map(v => -v + 0))]) {
    const [x, y] = onCanvas(
      view,
      start.at.map((v, i) => v + way[i]),
    );
    const step = [x - origin[0], y - origin[1]];
    const size = Math.hypot(...step);
    if (size < LEAST_PX) continue;
    const along = (hand[0] * step[0] + hand[1] * step[1]) / size;
    const off = Math.abs(hand[0] * step[1] - hand[1] * step[0]) / size;
    if (along > 0 && (!best || off - along < best.off - best.along)) best = {way, along, off, size};
  }
  if (!best) return null;
  const holes = Math.min(MOST_HOLES, countTo(start.at, best.way, to, view));
  const last = start.at.map((v, i) => v + best.way[i] * (holes - 1));
  return holes > 1 ? {way: best.way, holes, ends: [start.at, last]} : null;
}

/** Holes from a place along a direction to the one that is nearest to the hand. */
function countTo(at, way, to, view) {
  let least = Number.POSITIVE_INFINITY;
  let count = 1;
  for (let k = 0; k < MOST_HOLES; k++) {
    const [x, y] = onCanvas(
      view,
      at.map((v, i) => v + way[i] * k),
    );
    const far = Math.hypot(x - to[0], y - to[1]);
    if (far >= least) continue;
    least = far;
    count = k + 1;
  }
  return count;
}

/** Where a place in space is on the canvas, px. */
function onCanvas(view, place) {
  const {x, y} = new THREE.Vector3(...place).project(view.camera);
  return [((x + 1) * view.width) / 2, ((1 - y) * view.deep) / 2];
}

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const minus = (a, b) => a.map((v, i) => v - b[i]);
