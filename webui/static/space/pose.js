// Members where a motion has them: the way that each has gone from its rest, as a matrix. Needs three.js,
// box.

import * as THREE from "../vendor/three.module.min.js";
import {boxOf} from "./box.js";

const REST = [0, 0, 0, 1, 0, 0, 0];

/**
 * Where the groups of a motion are at a moment.
 * @param {import("../core/motion.js").Moves} moves
 * @param {number} share -1 at the end of its way back, 0 at rest, 1 at the end of its way forth
 * @returns {Map<string, THREE.Matrix4>} member -> matrix
 */
export function poseAt(moves, share) {
  const stations = share < 0 ? moves.back : moves.forth;
  const at = Math.min(Math.abs(share), 1) * stations.length;
  const before = Math.floor(at);
  const station = k => g => (k > 0 ? stations[Math.min(k, stations.length) - 1][g] : REST);
  const pose = new Map();
  for (const [g, members] of moves.groups.entries()) {
    const matrix = between(station(before)(g), station(before + 1)(g), at - before);
    for (const id of members) pose.set(id, matrix);
  }
  return pose;
}

function between(from, to, share) {
  const turn = new THREE.Quaternion(...from.slice(0, 4)).slerp(
    new THREE.Quaternion(...to.slice(0, 4)),
    share,
  );
  const shift = new THREE.Vector3(...from.slice(4)).lerp(new THREE.Vector3(...to.slice(4)), share);
  return new THREE.Matrix4().compose(shift, turn, new THREE.Vector3(1, 1, 1));
}

/**
 * A member's box where it is shown.
 * @param {import("../core/build.js").Member} member
 * @param {Map<string, THREE.Matrix4>|null} pose
 * @returns {import("./box.js").Box}
 */
export function shownBox(member, pose) {
  const matrix = pose?.get(member.id);
  const box = boxOf(member);
  if (!matrix) return box;
  const turned = axis => new THREE.Vector3(...axis).transformDirection(matrix).toArray();
  return {
    middle: new THREE.Vector3(...box.middle).applyMatrix4(matrix).toArray(),
    axes: box.axes.map(turned),
    half: box.half,
  };
}
