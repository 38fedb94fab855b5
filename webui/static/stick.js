// A member drawn as a small drilled stick: its holes, which of them a bolt takes, and which ends were not seen.

import {s} from "./dom.js";

const MOST = 48;

/** An SVG of a member; taken: hole -> its bolt; `big` numbers the holes. */
export function stick(m, taken = new Map(), big = false) {
  const pitch = big ? Math.max(11, Math.min(26, 340 / m.holes)) : 9, tall = big ? 34 : 14, top = big ? 10 : 1, deep = big ? 14 : 12, n = Math.min(m.holes, MOST);
  const wide = n * pitch;
  let open = "";                                             // all open holes are one path: a list of hundreds of members has thousands
  const parts = [s("rect", {x: 1, y: top, width: wide, height: deep, rx: 1.5, class: "wood"})];
  for (let k = 0; k < n; k++) {
    const x = 1 + (k + 0.5) * pitch, bolt = taken.get(k), r = big ? 3.6 : 2.3;
    if (bolt) parts.push(s("circle", {cx: x, cy: top + deep / 2, r: bolt === "none" ? r : r + 0.8, class: `hole ${bolt}`}));
    else open += `M${x - r} ${top + deep / 2}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
    if (big && (k === 0 || k === m.holes - 1 || (k + 1) % 5 === 0)) parts.push(s("text", {x, y: tall, class: "number"}, String(k + 1)));
  }
  if (open) parts.push(s("path", {d: open, class: "hole"}));
  m.ends.forEach((end, k) => {
    if (end.state === "seen") return;
    const x = k ? wide + 1 : 1;
    parts.push(s("path", {d: `M${x} ${top - 1} l${k ? -3 : 3} ${(deep + 2) / 4} l${k ? 3 : -3} ${(deep + 2) / 4} l${k ? -3 : 3} ${(deep + 2) / 4} l${k ? 3 : -3} ${(deep + 2) / 4}`, class: "unseenend"}));
  });
  return s("svg", {class: big ? "stick big" : "stick", viewBox: `0 0 ${wide + 2} ${big ? tall + 2 : 14}`, width: wide + 2, height: big ? tall + 2 : 14, "aria-hidden": "true"}, ...parts);
}
