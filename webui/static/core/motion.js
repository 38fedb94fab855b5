// Which way to move of the checks is shown moving in 3-D (`build.motion`). Needs build, events, messages.

import {build} from "./build.js";
import {emit} from "./events.js";
import {announce} from "./messages.js";

/**
 * @typedef {Object} Moves how a motion is shown, as the server says it
 * @property {string} words how far it goes
 * @property {string[][]} groups members that move together
 * @property {number[][][]} forth stations from rest: for each group quaternion x, y, z, w and shift, pitches
 * @property {number[][][]} back likewise, the other way
 */

/**
 * Shows a motion in place of the one before.
 * @param {Moves} moves
 */
export function showMotion(moves) {
  build.motion = moves;
  emit("motion");
  announce(moves.words);
}

/** Shows none any more. */
export function endMotion() {
  if (!build.motion) return;
  build.motion = null;
  emit("motion");
}
