// Chooses members and brings them into view, in photos and in 3-D: what a list, a check or a difference
// from the plan names is never edited out of sight. Needs selection, motion, arrangement.

import {build} from "../core/build.js";
import {showMotion} from "../core/motion.js";
import {choose} from "../core/selection.js";
import {bringIntoView, lookAt, showFrame} from "./arrangement.js";

/**
 * Chooses from a list: what cannot be seen is brought into view.
 * @param {string[]} ids
 * @param {import("../core/build.js").LapKey|null} [lap]
 * @param {boolean} [add] to what is chosen
 */
export function chooseInView(ids, lap = null, add = false) {
  choose(ids, lap, add);
  bringIntoView({ids, lap});
}

/**
 * Goes to the place that a check or a difference is about.
 * @param {import("../photos/look-at.js").Subject} subject
 */
export function goToPlace({ids, lap = null, planned = []}) {
  const there = lap && build.laps.has(String(lap)) ? lap : null;
  choose(ids, there);
  lookAt({ids, lap: there, planned});
}

/**
 * Shows a way to move of the checks in 3-D; nothing else is chosen meanwhile.
 * @param {import("../core/motion.js").Moves} moves
 */
export function showMoving(moves) {
  choose([]);
  showFrame();
  bringIntoView({ids: moves.groups.flat()});
  showMotion(moves);
}
