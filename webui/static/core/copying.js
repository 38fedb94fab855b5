// Copies of members that are being placed (`build.copying`), shown as ghosts until they are added or dropped.
// Needs api, build, changes, events, ghosts, messages, motion, selection.

import {post} from "./api.js";
import {build} from "./build.js";
import {edit} from "./changes.js";
import {emit, on} from "./events.js";
import {showGhosts} from "./ghosts.js";
import {announce, notice} from "./messages.js";
import {endMotion} from "./motion.js";
import {choose} from "./selection.js";
import {plural} from "./units.js";

let requests = 0;

/**
 * @typedef {Object} Copying
 * @property {string[]} ids what is copied
 * @property {number[]|null} by pitches off, after mirroring; null until a place is offered
 * @property {string|null} mirror "x", "y" or "z": mirrored in the middle of the frame
 * @property {Object|null} place what the server says of it: members, laps, joins, meets, there, shapes
 * @property {string} problem why there can be no copies there
 */

/** Listens to changes: what was copied may be another by then. */
export function begin() {
  on("changed", () => build.copying && (isAllThere(build.copying) ? ask() : dropCopies()));
}

const isAllThere = ({ids}) => ids.every(id => build.members.has(id));

/**
 * Begins to copy members, at a free place beside them.
 * @param {string[]} ids
 */
export function startCopying(ids) {
  endMotion();
  build.copying = {ids, by: null, mirror: null, place: null, problem: ""};
  emit("copying");
  ask();
}

/**
 * Moves the copies on.
 * @param {number[]} by pitches along x, y and z
 */
export function moveCopies(by) {
  const {copying} = build;
  copying.by = (copying.by || [0, 0, 0]).map((v, i) => v + by[i]);
  ask();
}

/**
 * Mirrors the copies in the middle of the frame, or no more.
 * @param {string|null} axis
 */
export function mirrorCopies(axis) {
  Object.assign(build.copying, {mirror: axis, by: axis ? [0, 0, 0] : null});
  ask();
}

/** Asks what the copies come to where they are, and shows them. */
async function ask() {
  const {copying} = build;
  const number = ++requests;
  const {ids: members, by, mirror} = copying;
  try {
    const place = await post("/api/copy", {members, by, mirror});
    if (number !== requests) return;
    Object.assign(copying, {place, by: place.by, problem: ""});
  } catch (error) {
    if (number !== requests) return;
    Object.assign(copying, {place: null, by: by || [0, 0, 0], problem: error.message});
  }
  showCopies();
  announce(placeWords());
  emit("copying");
}

/**
 * Shows the copies, farther on by a vector while a hand drags them.
 * @param {number[]} [on] pitches
 */
export function showCopies(on = [0, 0, 0]) {
  const {members = [], shapes = {}} = build.copying.place || {};
  const still = !on.some(Boolean);
  showGhosts(
    members.map(m => {
      const member = still ? m : {...m, first: m.first.map((v, i) => v + on[i])};
      const own = Object.entries(shapes).flatMap(([photo, all]) => (all[m.id] ? [[photo, all[m.id]]] : []));
      return {member, shapes: still ? Object.fromEntries(own) : {}, current: true};
    }),
  );
}

/** What the copies come to, in words. */
export function placeWords() {
  const {place, problem} = build.copying;
  if (!place) return problem || "Looking for a place…";
  const {laps, joins, meets, there} = place;
  const joined = laps ? `${plural(laps, "joint")} with ${joins.join(", ")}.` : "Touches no other member.";
  const met = meets.length ? ` In the room of ${meets.join(", ")}: move it on.` : "";
  const gone = there ? ` ${plural(there, "member")} of it ${there === 1 ? "is" : "are"} there already.` : "";
  return joined + met + gone;
}

/** Adds the copies, and chooses them. */
export async function placeCopies() {
  const {copying} = build;
  const {ids: members, by, mirror, place, problem} = copying;
  if (!place) {
    notice(problem || "The place is not known yet.", "warn");
    return;
  }
  const before = new Set(build.members.keys());
  dropCopies();
  if (await edit({op: "copy", members, by, ...(mirror ? {mirror} : {})})) {
    choose([...build.members.keys()].filter(id => !before.has(id)));
  } else if (isAllThere(copying)) {
    build.copying = copying;
    ask();
  }
}

/** Leaves the copies. */
export function dropCopies() {
  if (!build.copying) return;
  build.copying = null;
  requests++;
  showGhosts([]);
  emit("copying");
}
