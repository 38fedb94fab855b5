// Where to stand for the next photo: in words, and a sketch of the frame as it looks from there. Needs api,
// dom.

import {get} from "./api.js";
import {s} from "./dom.js";

const ROOM = 0.08; // round the frame, of its size
const RING = 0.035; // round what was not seen, of its size
const FIRST = [
  "Start at a corner of the frame, a little above it, with all of the frame in the picture.",
  "Now from the next corner round the frame, with all of it in the picture.",
  "And one from the third corner, or from where hidden ends can be seen.",
];
const ENOUGH =
  "Three photos are there: have them read on the computer. It then says whether one more would help.";
const SURE =
  "All members and ends are sure: no further photo is needed for them. Bolts or sizes that are still open " +
  "stand under To confirm.";

/**
 * Asks where to stand.
 * @param {number} taken photos that there are
 * @param {boolean} isRead whether a frame was read from them
 * @returns {Promise<{words: string, sketch: Object|null, place: Object}>}
 */
export async function whereToStand(taken, isRead) {
  const place = await get("/api/standpoint");
  if (place.words) {
    const unseen = `Not all of ${place.members.join(", ")} could be seen.`;
    const words = `${unseen} Stand ${place.words}: the frame then looks like this, and what is ringed shows.`;
    return {words, sketch: place.sketch, place};
  }
  const next = isRead ? SURE : FIRST[taken] || ENOUGH;
  return {words: next, sketch: null, place};
}

/**
 * The sketch of the frame from there.
 * @param {{lines: number[][], rings: number[][]}} sketch px
 * @returns {SVGElement}
 */
export function sketchOf({lines, rings}) {
  const xs = lines.flatMap(line => line.filter((_, i) => i % 2 === 0));
  const ys = lines.flatMap(line => line.filter((_, i) => i % 2 === 1));
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  const [wide, tall] = [Math.max(...xs) - left, Math.max(...ys) - top];
  const size = Math.max(wide, tall);
  const room = ROOM * size;
  const box = [left - room, top - room, wide + 2 * room, tall + 2 * room].map(v => v.toFixed(1));
  const d = lines.map(line => `M${line.join(" ")}`).join("");
  const circles = rings.map(([cx, cy]) => s("circle", {cx, cy, r: RING * size}));
  const label = "The frame as it looks from there; what was not seen is ringed";
  const attributes = {class: "sketch", viewBox: box.join(" "), role: "img", "aria-label": label};
  return s("svg", attributes, s("path", {d}), ...circles);
}
