// Members that are none yet and are drawn as ghosts: places of what was drawn, answers of rows by hand, what
// else a doubt could be. Needs api, build, events.

import {post} from "./api.js";
import {build} from "./build.js";
import {emit} from "./events.js";
import {shapesOf} from "./loading.js";

let requests = 0;

/**
 * Shows ghosts in place of those before.
 * @param {Object[]} ghosts {member, shapes: photo -> Shape, current}; label and end where something is
 *   written
 */
export function showGhosts(ghosts) {
  requests++;
  if (!ghosts.length && !build.ghosts.length) return;
  build.ghosts = ghosts;
  for (const photo of new Set(ghosts.flatMap(({shapes}) => Object.keys(shapes)))) {
    if (build.members.size) shapesOf(photo).catch(() => {});
  }
  emit("ghosts");
  emit("draw");
}

/** No ghosts any more. */
export const dropGhosts = () => showGhosts([]);

/**
 * Shows members as ghosts; where they lie in photos is asked for.
 * @param {import("./build.js").Member[]} members
 * @param {{label: string, end: number, request: Object}[]} [labels] what is written at which end of each, and
 *   the edit that a press on it makes
 */
export async function showMembersAsGhosts(members, labels = []) {
  showGhosts([]);
  const number = ++requests;
  const {shapes} = await post("/api/outlines", {members});
  if (number !== requests) return; // others are wanted by now
  showGhosts(members.map((member, i) => ({member, shapes: shapes[i], current: false, ...labels[i]})));
}

/**
 * Whether rows drawn by hand have an answer that waits to be used.
 * @returns {boolean}
 */
export const hasAnswer = () => Boolean(build.rows?.answers.length && !build.rows.pending);
