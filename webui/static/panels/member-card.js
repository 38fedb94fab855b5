// The cards of one member and of several: ends, deleting, splitting, merging, shifting, stock, turning.
// Needs build, changes, selection, member-icon.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {ask, notice} from "../core/messages.js";
import {chosen} from "../core/selection.js";
import {lengthText, percent, plural} from "../core/units.js";
import {button, closeButton} from "./elements.js";
import {askLap} from "./lap-card.js";
import {memberIcon} from "./member-icon.js";

const AXES = ["x", "y", "z"];

/**
 * The card of one member.
 * @param {import("../core/build.js").Member} m
 * @returns {HTMLElement[]}
 */
export function memberCard(m) {
  const length = build.pitch_mm ? lengthText(m.holes * build.pitch_mm) : "";
  const word = build.corrections.members?.[m.id];
  const sure = word?.place && word.ends.every(Boolean) ? "as you said" : `${percent(m.confidence)} sure`;
  const count = plural(m.holes, "hole");
  const icon = {tabindex: 0, role: "img", "aria-label": `Member ${m.id}, ${count}`};
  return [
    h(
      "div.cardhead",
      {},
      h("h2", {}, h("span.tag", {}, m.id), ` ${count}`),
      h("span.dim", {}, [length, sure].filter(Boolean).join(" · ")),
      closeButton(),
    ),
    h("div.scroll", icon, memberIcon(m, build.bolts.get(m.id), true)),
    h("div.ends", {}, endControls(m, 0), endControls(m, 1)),
    h(
      "div.buttons",
      {},
      button("Right as it is", () => edit({op: "confirm", member: m.id}), {kind: "main", title: "Key y"}),
      button("Delete", () => edit({op: "delete", members: [m.id]}), {title: "Key Delete"}),
      button("Split…", () => askSplit(m), {title: "Key s"}),
    ),
    moreActions([m.id], m),
  ];
}

/**
 * The card of several members.
 * @param {string[]} ids
 * @returns {HTMLElement[]}
 */
export function severalCard(ids) {
  const tags = ids.map(id => h("span.tag", {}, id));
  const merge = () => edit({op: "merge", members: ids});
  return [
    h("div.cardhead", {}, h("h2", {}, tags), closeButton()),
    h(
      "div.buttons",
      {},
      ids.length === 2 ? button("Merge into one", merge, {title: "Key m"}) : null,
      button("Delete all", () => edit({op: "delete", members: ids})),
    ),
    moreActions(ids, null),
  ];
}

function endWords(m, end) {
  const state = m.ends[end].state;
  if (state === "seen") return build.corrections.members?.[m.id]?.ends[end] ? "as you said" : "seen";
  return state === "cut" ? "cut by the photo's border" : state;
}

function endControls(m, end) {
  const hole = end ? m.holes : 1;
  const active = chosen.end === end;
  const by = step => {
    chosen.end = end;
    edit({op: "end", member: m.id, end, by: step});
  };
  const key = name => (active ? `Key ${name}` : null);
  return h(
    active ? "fieldset.end.active" : "fieldset.end",
    {},
    h("legend", {}, `End at hole ${hole}: ${endWords(m, end)}`),
    button("−", () => by(-1), {label: `One hole less at hole ${hole}`, title: key(",")}),
    button("+", () => by(1), {label: `One hole more at hole ${hole}`, title: key(".")}),
    button("It ends here", () => by(0), {kind: "wide", label: `It ends here, at hole ${hole}`}),
  );
}

/** What can be done to members besides; `m` where it is one alone. */
function moreActions(ids, m) {
  return h(
    "details.more",
    {},
    h("summary", {}, "Shift, stock, turn"),
    m && alongRow(ids),
    h(
      "div.row.wrap",
      {},
      h("span", {}, "Shift"),
      AXES.map((axis, i) => shiftButtons(ids, axis, i)),
    ),
    copyRow(ids),
    h("div.row", {}, stockSelect(ids, m)),
    m && turnRow(m),
    h(
      "div.row.wrap",
      {},
      button("Join to another…", () => askLap(ids[0])),
    ),
  );
}

function copyRow(ids) {
  const mirror = axis =>
    button(axis, () => edit({op: "copy", members: ids, mirror: axis}), {
      label: `${axis}: add a copy mirrored along ${axis} in the middle of the frame`,
    });
  const copy = button("Copy…", () => askCopy(ids));
  return h("div.row.wrap", {}, copy, h("span", {}, "Mirrored copy along"), AXES.map(mirror));
}

/** Asks by how many pitches copies of members are to lie off them, then adds them. */
async function askCopy(ids) {
  const field = axis => h("input", {type: "number", step: "any", value: 0, id: `copy-${axis}`});
  const fields = AXES.map(field);
  const body = AXES.flatMap((axis, i) => [
    h("label", {for: `copy-${axis}`}, `Pitches along ${axis}`),
    fields[i],
  ]);
  const buttons = [
    {text: "Copy", value: 1},
    {text: "Leave it", value: null},
  ];
  if (!(await ask(`Copy ${ids.join(", ")}`, body, buttons))) return;
  edit({op: "copy", members: ids, by: fields.map(input => Number(input.value))});
}

function alongRow(ids) {
  const shift = along => edit({op: "shift", members: ids, along});
  return h(
    "div.row",
    {},
    h("span", {}, "Along itself"),
    button("−", () => shift(-1), {label: "Shift back by a hole"}),
    button("+", () => shift(1), {label: "Shift on by a hole"}),
  );
}

function shiftButtons(ids, axis, i) {
  const shift = step => edit({op: "shift", members: ids, by: AXES.map((_, k) => (k === i ? step : 0))});
  return [
    button(`−${axis}`, () => shift(-1), {label: `−${axis}: shift by one pitch back along ${axis}`}),
    button(`+${axis}`, () => shift(1), {label: `+${axis}: shift by one pitch along ${axis}`}),
  ];
}

function stockSelect(ids, m) {
  const onchange = event => {
    if (event.target.value) edit({op: "stock", members: ids, stock: event.target.value});
  };
  const option = s => h("option", {value: s.id, selected: m && m.stock === s.id}, s.name);
  const options = [h("option", {value: ""}, "Stock…"), ...build.stocks.map(option)];
  return h("select", {"aria-label": "Stock", onchange}, options);
}

function turnRow(m) {
  const label = `Stands up: turn the frame so that ${m.id} stands up`;
  return h(
    "div.row.wrap",
    {},
    button("Stands up", () => edit({op: "turn", up: m.id, end: 1}), {label}),
    button("Stands up, other end", () => edit({op: "turn", up: m.id, end: 0})),
    button("Origin at hole 1", () => edit({op: "turn", origin: m.id, hole: 0})),
  );
}

/**
 * Asks after which hole a member is to be split, then splits it.
 * @param {import("../core/build.js").Member} m
 */
export async function askSplit(m) {
  if (m.holes < 2) {
    notice(`${m.id} has one hole and cannot be split.`, "warn");
    return;
  }
  const middle = Math.ceil(m.holes / 2);
  const range = {type: "number", min: 1, max: m.holes - 1, value: middle, inputmode: "numeric"};
  const after = h("input", {...range, id: "split-after"});
  const body = [h("label", {for: "split-after"}, `After hole (1 to ${m.holes - 1})`), after];
  const buttons = [
    {text: "Split", value: 1},
    {text: "Leave it", value: null},
  ];
  if (await ask(`Split ${m.id}`, body, buttons)) {
    edit({op: "split", member: m.id, after: Number(after.value) - 1});
  }
}
