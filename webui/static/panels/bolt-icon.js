// What is known of a bolt, drawn small, as in 3-D: a hexagon where a photo shows one, one with a knob where a
// person says so, a broken ring where one is assumed, a ring struck through where there is none. Needs dom.

import {s} from "../core/dom.js";

const SIZE = 18;
const HEXAGON = "M16 9 12.5 15.1 5.5 15.1 2 9 5.5 2.9 12.5 2.9Z";
const middle = {cx: 9, cy: 9};

const PARTS = {
  seen: () => [s("path", {d: HEXAGON, class: "head"})],
  said: () => [s("path", {d: HEXAGON, class: "head"}), s("circle", {...middle, r: 3, class: "knob"})],
  assumed: () => [s("circle", {...middle, r: 6, class: "ring broken"})],
  none: () => [s("circle", {...middle, r: 5, class: "ring"}), s("path", {d: "M2 16 16 2", class: "ring"})],
};

/**
 * An SVG of a bolt's state.
 * @param {string} bolt "seen", "said", "assumed" or "none"
 * @returns {SVGElement}
 */
export const boltIcon = bolt =>
  s(
    "svg",
    {class: "bolticon", viewBox: `0 0 ${SIZE} ${SIZE}`, width: SIZE, height: SIZE, "aria-hidden": "true"},
    ...(PARTS[bolt]?.() || []),
  );
