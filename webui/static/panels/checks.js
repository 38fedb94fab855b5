// The panel of checks: ways to move, what is in the way, and what would stop it. Needs derived, changes,
// pictures/look, check-answers.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {derived} from "../core/derived.js";
import {h} from "../core/dom.js";
import {endMotion} from "../core/motion.js";
import {chooseFitting} from "../core/selection.js";
import {plural} from "../core/units.js";
import {goToPlace, showMoving} from "../pictures/look.js";
import {answersToCheck} from "./check-answers.js";
import {button, emptyPanel} from "./elements.js";

const KIND = {
  collision: "Same room",
  loose: "Touches nothing",
  pieces: "In pieces",
  "no bolt": "No bolt",
  "bolts cross": "Bolts cross",
  "bolt end": "Bolt end",
  stands: "Stands on bolts",
  fitting: "Fitting",
  motion: "Can move",
};
const NOTHING = "Nothing is in the way of anything, and every joint has its bolt.";

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawChecks() {
  const checks = derived.checks;
  if (!build.members.size) return emptyPanel("No members yet.");
  if (!checks) return emptyPanel("Being checked…");
  const {findings, additions} = checks;
  return [
    h("p.pad", {}, freedomWords(checks)),
    findings.length ? h("ul.list", {}, findings.map(findingItem)) : h("p.pad", {}, NOTHING),
    ...(checks.more ? emptyPanel(`${checks.more} more are not shown.`) : []),
    ...(additions.length ? [h("h3.pad", {}, "What would stop it")] : []),
    ...(additions.length ? [h("ul.list", {}, additions.map(additionItem))] : []),
    ...checks.better.map(text => h("p.pad", {}, `Better: ${text}`)),
    h("p.caution", {}, checks.caution),
  ];
}

function freedomWords({freedom, wanted}) {
  const unwanted = freedom - wanted;
  if (!unwanted) return "Bolted as shown, it cannot rack or fold.";
  return `The frame can rack or fold in ${plural(unwanted, "way")}.`;
}

function answers(row, more = null) {
  const buttons = row.map(({text, request}) => button(text, () => edit(request)));
  return row.length || more ? h("span.answers", {}, more, buttons) : null;
}

function findingItem(finding, i) {
  const {kind, members, laps, fittings, text} = finding;
  const go = () => {
    goToPlace({ids: members, lap: laps.length === 1 ? laps[0] : null});
    if (fittings.length) chooseFitting(fittings[0]);
  };
  const attributes = {type: "button", "data-key": `check${i}`, onclick: go};
  const label = h("span.kind", {"data-kind": kind}, KIND[kind] || kind);
  return h(
    "li",
    {},
    h("button.item", attributes, label, h("span", {}, text)),
    answers(answersToCheck(finding), finding.moves && motionButton(finding, i)),
  );
}

function motionButton({moves, text}, i) {
  const pressed = build.motion === moves;
  const show = () => (pressed ? endMotion() : showMoving(moves));
  const element = button("Show it move", show, {pressed, label: `Show it move: ${text}`});
  element.dataset.key = `move${i}`;
  return element;
}

function additionItem({text, member}) {
  const {first, direction, holes} = member || {};
  const row = member ? [{text: "Add it", request: {op: "add", first, direction, holes}}] : [];
  return h("li", {}, h("p.pad", {}, text), answers(row));
}
