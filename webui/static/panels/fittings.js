// The panel "Fittings": what is bolted into holes and is no member. Needs build, selection, fitting-form.

import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {chooseFitting, chosen} from "../core/selection.js";
import {inInches, lengthText, massText} from "../core/units.js";
import {button, emptyPanel, keeper} from "./elements.js";
import {startFitting} from "./fitting-form.js";
import {listSwitch} from "./members-or-fittings.js";

const NONE =
  "Castors, feet, boards, shelves, brackets, motors: what is bolted into holes and is no member. It goes " +
  "into parts, weight, papers and files, and along with its members.";
const ROLLING = ["castor", "wheel", "motor"];
const kept = keeper();

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawFittings() {
  if (!build.members.size) return emptyPanel("No members yet.");
  return kept([build.fittings, chosen.fitting, build.members.size, inInches()], makePanel);
}

function makePanel() {
  const tools = h(
    "div.buttons.pad",
    {},
    button("Put on a fitting", () => startFitting(), {kind: "main"}),
  );
  const lists = listSwitch("fittings");
  if (!build.fittings.length) return [lists, tools, ...emptyPanel(NONE)];
  const rolls = build.fittings.some(f => ROLLING.includes(f.kind));
  return [
    lists,
    tools,
    h("ul.list", {}, build.fittings.map(fittingItem)),
    ...(rolls ? [h("p.caution", {}, build.caution)] : []),
  ];
}

/**
 * A fitting's size: along its first hole's member, across, out of the face.
 * @param {Object} f
 * @returns {string}
 */
export function sizeWords(f) {
  const unit = inInches() ? " in" : " mm";
  return `${f.size_mm.map(v => lengthText(v).replace(unit, "")).join(" × ")}${unit}`;
}

function fittingItem(f) {
  const attributes = {
    type: "button",
    "data-key": `fitting${f.id}`,
    "aria-pressed": String(chosen.fitting === f.id),
    onclick: () => chooseFitting(f.id),
  };
  const weight = f.mass_kg === null ? "" : ` · ${massText(f.mass_kg)}`;
  return h(
    "li",
    {},
    h(
      "button.item.fitting",
      attributes,
      h("span.tag", {}, f.id),
      h(
        "span",
        {},
        f.name || f.kind,
        h("br"),
        h("span.dim", {}, `${f.at}, ${f.side} · ${sizeWords(f)}${weight}`),
      ),
    ),
  );
}
