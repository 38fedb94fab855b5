// The panel of the plan: a frame file that the build is compared with, what differs, and what would mend
// each difference. Needs api, changes, derived, loading, pictures/look.

import {post, upload} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {derived} from "../core/derived.js";
import {h} from "../core/dom.js";
import {load} from "../core/loading.js";
import {notice} from "../core/messages.js";
import {plural} from "../core/units.js";
import {goToPlace} from "../pictures/look.js";
import {button, emptyPanel} from "./elements.js";

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
const NO_PLAN =
  "A frame file of what was to be built, from this page, from the command line, or written by hand. It can " +
  "be loaded before the first photo; the build is then compared with it as it is read.";

/** @returns {number} how many differences there are, for the button */
export const planCount = () => (build.plan && derived.audit?.differences?.length) || 0;

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawPlan() {
  return [h("h3.pad", {}, build.plan ? `Plan: ${build.plan}` : "Plan"), controls(), ...comparison()];
}

function controls() {
  const attributes = {type: "file", accept: ".json", tabindex: -1, "aria-label": "Plan"};
  const input = h("input.unseen", {...attributes, onchange: () => send(input.files[0])});
  return h(
    "div.buttons.pad",
    {},
    button(build.plan ? "Another plan" : "Load a plan", () => input.click(), {
      kind: build.plan ? "" : "main",
    }),
    input,
    build.plan ? button("Put the plan away", remove) : null,
  );
}

async function send(file) {
  try {
    const payload = await upload("/api/plan", file, {"Content-Type": "application/json"}, () => {});
    derived.audit = null;
    await load(true);
    notice(`Plan loaded: ${plural(payload.members, "member")}.`);
  } catch (error) {
    notice(error.message, "warn", true);
  }
}

async function remove() {
  await post("/api/plan/remove", {});
  await load(true);
}

function comparison() {
  if (!build.plan) return emptyPanel(NO_PLAN);
  if (!build.members.size)
    return emptyPanel("Once there are members, what differs from the plan stands here.");
  const {audit} = derived;
  if (!audit) return emptyPanel("Being compared with the plan…");
  if (audit.problem) return [h("p.pad", {}, audit.problem)];
  const {differences, not_checked, said = []} = audit;
  const all = [...differences, ...not_checked, ...said];
  return [
    h("p.pad.strong", {}, VERDICT[audit.verdict] || audit.verdict),
    differenceList(all),
    h("p.dim.pad", {}, "What differs is drawn on the photos in dots and dashes, as planned."),
  ];
}

/**
 * A list of differences: each brings its place into view, with what would mend it.
 * @param {Object[]} differences as recon.corrections.plan_audit has them
 * @returns {HTMLElement}
 */
export const differenceList = differences => h("ul.list", {}, differences.map(differenceItem));

function differenceItem({members, planned, lap, severity, text, mend}, i) {
  const go = () => goToPlace({ids: members, lap, planned});
  const kind = severity === "different" ? "collision" : "end";
  const label = h("span.kind", {"data-kind": kind}, SEVERITY[severity] || severity);
  const attributes = {type: "button", "data-key": `plan${i}`, onclick: go};
  const item = h("button.item", attributes, label, h("span", {}, text));
  const row = (mend || []).map(answer =>
    button(answer.text, () => make(answer), {label: `${answer.text}: ${text}`}),
  );
  return h("li", {}, item, row.length ? h("span.answers", {}, row) : null);
}

async function make({requests}) {
  for (const request of requests) if (!(await edit(request))) return;
}
