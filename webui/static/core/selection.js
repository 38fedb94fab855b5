// What is chosen: members, a lap of two, or a fitting; which end and which doubt keys act on. Needs build,
// events, repaint.

import {build} from "./build.js";
import {emit} from "./events.js";
import {backdrop} from "./repaint.js";

export const chosen = {members: [], lap: null, fitting: null, end: 1, doubt: -1};

/**
 * Chooses members.
 * @param {string|string[]} ids
 * @param {import("./build.js").LapKey|null} [lap] a lap of them that is chosen
 * @param {boolean} [add] to what is chosen; members that all were chosen already are taken out instead
 */
export function choose(ids, lap = null, add = false) {
  let wanted = [ids].flat().filter(id => build.members.has(id));
  if (add) {
    const all = wanted.every(id => chosen.members.includes(id));
    wanted = all
      ? chosen.members.filter(id => !wanted.includes(id))
      : [...new Set([...chosen.members, ...wanted])];
  }
  if (String(wanted) !== String(chosen.members)) backdrop.version++;
  chosen.members = wanted;
  chosen.lap = lap;
  if (chosen.fitting) backdrop.version++;
  chosen.fitting = null;
  emit("chosen");
}

/**
 * Chooses a fitting, and no member.
 * @param {string} id
 */
export function chooseFitting(id) {
  chosen.members = [];
  chosen.lap = null;
  chosen.fitting = id;
  backdrop.version++;
  emit("chosen");
}

/** Chooses no longer what is not there any more. */
export function dropMissing() {
  chosen.members = chosen.members.filter(id => build.members.has(id));
  if (chosen.lap && !build.laps.has(String(chosen.lap))) chosen.lap = null;
  if (chosen.fitting && !build.fittings.some(f => f.id === chosen.fitting)) chosen.fitting = null;
}

/**
 * The member that is chosen, where it is one alone.
 * @returns {import("./build.js").Member|null}
 */
export const chosenMember = () => (chosen.members.length === 1 ? build.members.get(chosen.members[0]) : null);
