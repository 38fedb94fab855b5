// The card of a fitting: what it is, where it is, changing it, copying it to the other side, taking it off.
// Needs build, changes, fitting-form.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {choose, chooseFitting} from "../core/selection.js";
import {lengthText, massText} from "../core/units.js";
import {button, closeButton} from "./elements.js";
import {startFitting} from "./fitting-form.js";
import {sizeWords} from "./fittings.js";

/** Directions in which a fitting can be copied to the other side, as people call them. */
const ACROSS = [
  ["right", "Left to right"],
  ["back", "Front to back"],
  ["up", "Top to bottom"],
];

/**
 * The card.
 * @param {Object} f the fitting
 * @returns {HTMLElement[]}
 */
export function fittingCard(f) {
  const weight = f.mass_kg === null ? "weight not given" : massText(f.mass_kg);
  const members = [...new Set(f.holes.map(([id]) => id))];
  const tags = members.map(id => button(id, () => choose([id]), {kind: "tag", label: `Select ${id}`}));
  return [
    h(
      "div.cardhead",
      {},
      h("h2", {}, h("span.tag", {}, f.id), ` ${f.name || f.kind}`),
      h("span.dim", {}, `${sizeWords(f)} · ${weight}`),
      closeButton(),
    ),
    h("p", {}, `${f.name ? `${f.kind}, on` : "On"} ${f.at}, ${f.side}. `, ...tags),
    h("p.dim", {}, `Its bolts clamp ${lengthText(f.plate_mm)} beside the member.`),
    h(
      "div.buttons",
      {},
      button("Change…", () => startFitting(f), {kind: "main"}),
      button("Take off", () => edit({op: "fitting_gone", fitting: f.id}), {title: "Key Delete"}),
    ),
    copyRow(f),
  ];
}

function copyRow(f) {
  const known = ACROSS.filter(([side]) => build.sides[side]);
  const copy = ([side, words]) => {
    const size = build.sides[side].map(Math.abs);
    const mirror = "xyz"[size.indexOf(Math.max(...size))];
    const act = async () => {
      const before = new Set(build.fittings.map(one => one.id));
      if (!(await edit({op: "fitting_copy", fitting: f.id, mirror}))) return;
      const made = build.fittings.find(one => !before.has(one.id));
      if (made) chooseFitting(made.id);
    };
    return button(words, act, {label: `${words}: the same on the other side of the frame`});
  };
  return h("div.row.wrap", {}, h("span", {}, "The same on the other side"), known.map(copy));
}
