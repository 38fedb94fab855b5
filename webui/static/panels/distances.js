// Distances from hole to hole on the cards: between a member's joints, and from centre to centre of two
// members. Needs api, build.

import {get} from "../core/api.js";
import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {lengthText, plural} from "../core/units.js";

/**
 * From joint to joint along a member.
 * @param {import("../core/build.js").Member} member
 * @returns {HTMLElement|null} null where it has fewer than two joints
 */
export function jointDistances(member) {
  const at = new Map(); // hole -> what lies on it
  for (const {a, a_hole, b, b_hole} of build.joints) {
    if (a === member.id) at.set(a_hole, [...(at.get(a_hole) || []), b]);
    if (b === member.id) at.set(b_hole, [...(at.get(b_hole) || []), a]);
  }
  const holes = [...at.keys()].sort((p, q) => p - q);
  if (holes.length < 2) return null;
  const name = hole => `hole ${hole + 1} (${at.get(hole).join(", ")})`;
  const rows = holes.slice(1).map((hole, i) => {
    const apart = hole - holes[i];
    const size = build.pitch_mm ? `, ${lengthText(apart * build.pitch_mm)}` : "";
    return h("li", {}, `${name(holes[i])} to ${name(hole)}: ${plural(apart, "hole")}${size}`);
  });
  return h("details.more", {}, h("summary", {}, "From joint to joint"), h("ul", {}, rows));
}

/**
 * From centre to centre of two members that are parallel; it comes a moment later.
 * @param {string} a
 * @param {string} b
 * @returns {HTMLElement}
 */
export function centreDistance(a, b) {
  const place = h("p");
  get(`/api/apart/${encodeURIComponent(a)}/${encodeURIComponent(b)}`)
    .then(({words}) => {
      place.textContent = words;
    })
    .catch(() => {});
  return place;
}
