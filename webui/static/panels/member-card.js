// The cards of one member and of several: ends, deleting, splitting, merging, shifting, stock, turning.
// Needs build, changes, copying, selection, member-icon.

import {build, lapKey} from "../core/build.js";
import {edit} from "../core/changes.js";
import {startCopying} from "../core/copying.js";
import {h} from "../core/dom.js";
import {ask, notice} from "../core/messages.js";
import {choose, chosen} from "../core/selection.js";
import {lengthText, percent, plural} from "../core/units.js";
import {ACROSS, axisOf} from "./copy-card.js";
import {centreDistance, jointDistances} from "./distances.js";
import {button, closeButton} from "./elements.js";
import {askLap} from "./lap-card.js";
import {memberIcon} from "./member-icon.js";
import {askStretch} from "./stretch.js";

/** How sure a member is, in words: the user's own word is no measure of the photos. */
function sureWords(m) {
  const word = build.corrections.members?.[m.id];
  if (word?.place && word.ends.every(Boolean)) return "as you said";
  return m.confidence === 1 && word?.ends.some(Boolean)
    ? "one end as you said"
    : `${percent(m.confidence)} sure`;
}

const WAYS = ["left", "right", "front", "back", "down", "up"];

/**
 * The card of one member.
 * @param {import("../core/build.js").Member} m
 * @returns {HTMLElement[]}
 */
export function memberCard(m) {
  const length = build.pitch_mm ? lengthText(m.holes * build.pitch_mm) : "";
  const count = plural(m.holes, "hole");
  const icon = {tabindex: 0, role: "img", "aria-label": `Member ${m.id}, ${count}`};
  return [
    h(
      "div.cardhead",
      {},
      h("h2", {}, h("span.tag", {}, m.id), ` ${count}`),
      h("span.dim", {}, [length, sureWords(m)].filter(Boolean).join(" · ")),
      closeButton(),
    ),
    h("div.scroll", icon, memberIcon(m, build.bolts.get(m.id), true)),
    h("div.ends", {}, endControls(m, 0), endControls(m, 1)),
    h(
      "div.buttons",
      {},
      button("Correct", () => edit({op: "confirm", member: m.id}), {kind: "main", title: "Key y"}),
      button("Delete", () => edit({op: "delete", members: [m.id]}), {title: "Key Delete"}),
      button("Split…", () => askSplit(m), {title: "Key s"}),
      button("Copy…", () => startCopying([m.id])),
    ),
    moreActions([m.id], m),
    jointDistances(m),
  ].filter(Boolean);
}

/**
 * The card of several members.
 * @param {string[]} ids
 * @returns {HTMLElement[]}
 */
export function severalCard(ids) {
  const tags = ids.map(id => button(id, () => choose([id]), {kind: "tag", label: `Select ${id} alone`}));
  const merge = () => edit({op: "merge", members: ids});
  return [
    h("div.cardhead", {}, h("h2", {}, tags), closeButton()),
    h(
      "div.buttons",
      {},
      ids.length === 2 ? button("Merge into one", merge, {title: "Key m"}) : null,
      button("Copy…", () => startCopying(ids)),
      button("Delete all", () => edit({op: "delete", members: ids})),
    ),
    ...(ids.length === 2 ? [centreDistance(...ids), jointsBetween(...ids)] : []),
    moreActions(ids, null),
  ];
}

/** The joints of two members, each of which can be selected. */
function jointsBetween(a, b) {
  const joints = build.joints.filter(j => (j.a === a && j.b === b) || (j.a === b && j.b === a));
  if (!joints.length) return h("p.dim", {}, `No joint of ${a} and ${b}.`);
  const open = j =>
    button(`Hole ${j.a_hole + 1} of ${j.a} on ${j.b_hole + 1} of ${j.b}`, () =>
      choose([j.a, j.b], lapKey(j)),
    );
  return h("div.buttons", {}, joints.map(open));
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
    button("End is right", () => by(0), {kind: "wide", label: `End is right, at hole ${hole}`}),
  );
}

/** What can be done to members besides; `m` where it is one alone. */
function moreActions(ids, m) {
  return h(
    "details.more",
    {},
    h("summary", {}, "Shift, stock, turn, stretch"),
    m && alongRow(ids),
    h(
      "div.row.wrap",
      {},
      h("span", {}, "Shift"),
      WAYS.filter(way => build.sides[way]).map(way => shiftButton(ids, way)),
    ),
    copyRow(ids),
    h("div.row", {}, stockSelect(ids, m)),
    m && turnRow(m),
    h(
      "div.row.wrap",
      {},
      button("Join to another…", () => askLap(ids[0])),
      m && button("Stretch the frame…", () => askStretch(m)),
    ),
  );
}

function copyRow(ids) {
  const mirror = ([side, words]) => {
    const label = `${words}: add a copy mirrored in the middle of the frame`;
    return button(words, () => edit({op: "copy", members: ids, mirror: axisOf(side)}), {label});
  };
  const known = ACROSS.filter(([side]) => build.sides[side]);
  return h("div.row.wrap", {}, h("span", {}, "Mirrored copy"), known.map(mirror));
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

function shiftButton(ids, way) {
  const shift = () => edit({op: "shift", members: ids, by: build.sides[way]});
  const text = way[0].toUpperCase() + way.slice(1);
  return button(text, shift, {label: `${text}: shift by one pitch`});
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
    {text: "Cancel", value: null},
  ];
  if (await ask(`Split ${m.id}`, body, buttons)) {
    edit({op: "split", member: m.id, after: Number(after.value) - 1});
  }
}
