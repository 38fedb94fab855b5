// The card of copies that are being placed: how they are mirrored, how far they lie along each side of the
// frame, and what they touch there. Needs build, copying.

import {build} from "../core/build.js";
import {dropCopies, mirrorCopies, moveCopies, placeCopies, placeWords} from "../core/copying.js";
import {h} from "../core/dom.js";
import {button} from "./elements.js";

const HOW = "Drag it in 3-D, hole by hole along the sides of the frame, or say how many holes it goes:";
/** Directions in which the frame can be mirrored and members moved, as people call them. */
export const ACROSS = [
  ["right", "left to right"],
  ["back", "front to back"],
  ["up", "top to bottom"],
];

/**
 * The axis that a side of the frame lies along.
 * @param {string} side
 * @returns {string} "x", "y" or "z"
 */
export function axisOf(side) {
  const size = build.sides[side].map(Math.abs);
  return "xyz"[size.indexOf(Math.max(...size))];
}

const known = () => ACROSS.filter(([side]) => build.sides[side]);
const dot = (a, b) => a.reduce((sum, v, i) => sum + v * b[i], 0);
const fields = Object.fromEntries(ACROSS.map(([side]) => [side, field(side)]));

function field(side) {
  const onchange = event => {
    const way = build.sides[side];
    const more = Number(event.target.value) - dot(build.copying.by || [0, 0, 0], way);
    moveCopies(way.map(v => v * more));
  };
  return h("input", {type: "number", step: "any", id: `copy-${side}`, onchange});
}

/**
 * The card.
 * @returns {HTMLElement[]}
 */
export function copyCard() {
  const {ids, problem, place} = build.copying;
  const bad = problem || place?.meets.length;
  return [
    h("div.cardhead", {}, h("h2", {}, "Copy ", ids.slice(0, 6).join(", "), ids.length > 6 ? " …" : "")),
    h(bad ? "p.warn" : "p", {"aria-live": "polite"}, placeWords()),
    mirrorRow(),
    h("p.dim", {}, HOW),
    ...known().map(([side]) => sideRow(side)),
    h(
      "div.buttons",
      {},
      button("Place the copy", placeCopies, {kind: "main", title: "Key Enter", disabled: !place}),
      button("Cancel", dropCopies, {title: "Key Escape"}),
    ),
  ];
}

function mirrorRow() {
  const {mirror} = build.copying;
  const onchange = event => mirrorCopies(event.target.value || null);
  const option = (text, axis) => h("option", {value: axis || "", selected: mirror === axis}, text);
  const ways = known().map(([side, words]) => option(`Mirrored ${words}`, axisOf(side)));
  return h("div.row", {}, h("select", {"aria-label": "Mirrored", onchange}, option("As it is", null), ways));
}

function sideRow(side) {
  const way = build.sides[side];
  const words = side[0].toUpperCase() + side.slice(1);
  const by = step => moveCopies(way.map(v => v * step));
  fields[side].value = Math.round(dot(build.copying.by || [0, 0, 0], way) * 1000) / 1000;
  return h(
    "div.row.copyside",
    {},
    h("label", {for: `copy-${side}`}, words),
    button("−", () => by(-1), {label: `${words}: one hole less`}),
    fields[side],
    button("+", () => by(1), {label: `${words}: one hole more`}),
  );
}
