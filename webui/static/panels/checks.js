// The panel of checks: ways to move, what is in the way, what would stop it, and the audit against the
// plan. Needs derived, changes, selection.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {derived} from "../core/derived.js";
import {h} from "../core/dom.js";
import {choose} from "../core/selection.js";
import {plural} from "../core/units.js";
import {button, emptyPanel} from "./elements.js";

const KIND = {
  collision: "Same room",
  loose: "Touches nothing",
  pieces: "In pieces",
  "no bolt": "No bolt",
  "bolts cross": "Bolts cross",
  "bolt end": "Bolt end",
  motion: "Can move",
};
const SEVERITY = {
  different: "Different",
  doubtful: "Perhaps different",
  "not checked": "Not checked",
  said: "As you say",
};
const VERDICT = {
  same: "Built as planned.",
  different: "Differs from the plan:",
  "cannot say": "It cannot be said whether it is built as planned:",
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
    ...drawAudit(),
    h("p.caution", {}, checks.caution),
  ];
}

function freedomWords({freedom, wanted}) {
  const unwanted = freedom - wanted;
  if (!unwanted) return "Bolted as shown, it cannot rack or fold.";
  return `The frame can rack or fold in ${plural(unwanted, "way")}.`;
}

const answer = (text, act) => h("span.answers", {}, button(text, act));

function item(members, severity, kind, text, key) {
  const attributes = {type: "button", "data-key": key, onclick: () => choose(members)};
  return h("button.item", attributes, h("span.kind", {"data-kind": severity}, kind), h("span", {}, text));
}

function findingItem(finding, i) {
  const {kind, members, laps, text} = finding;
  const mayTurn = () => edit({op: "may_turn", lap: laps[0], wanted: true});
  const turns = kind === "motion" && laps.length === 1;
  const row = item(members, kind, KIND[kind] || kind, text, `check${i}`);
  return h("li", {}, row, turns ? answer("That is meant to turn", mayTurn) : null);
}

function additionItem({text, member}) {
  const add = () => {
    const {first, direction, holes} = member;
    edit({op: "add", first, direction, holes});
  };
  return h("li", {}, h("p.pad", {}, text), member ? answer("Add it", add) : null);
}

function drawAudit() {
  if (!build.plan) return [];
  const audit = derived.audit;
  if (!audit) return emptyPanel("Being compared with the plan…");
  if (audit.problem) return [h("p.pad", {}, audit.problem)];
  return [
    h("h3.pad", {}, "Against the plan"),
    h("p.pad", {}, VERDICT[audit.verdict] || audit.verdict),
    h("ul.list", {}, [...audit.differences, ...audit.not_checked, ...(audit.said || [])].map(differenceItem)),
  ];
}

function differenceItem({members, severity, text}) {
  const kind = severity === "different" ? "collision" : "end";
  return h("li", {}, item(members, kind, SEVERITY[severity] || severity, text));
}
