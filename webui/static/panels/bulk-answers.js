// Many doubts answered at once: all bolts of a member, of one kind of lap, or all that are left; all ends and
// members likewise. Each is one change, and is undone as one. Needs build, dom, doubt-answers.

import {build, lapKey} from "../core/build.js";
import {h} from "../core/dom.js";
import {keyOf, mainAnswer} from "./doubt-answers.js";
import {button} from "./elements.js";

const several = edits => ({op: "several", edits});
const CONFIRMED = ["member", "end", "unlikely"]; // kinds that can be right as they are
const LEAST = 2; // doubts in a group: one alone is answered where it stands
let picked = ""; // the group that was picked last, by its name
let opened = ""; // the doubt whose answers at once are open: they stay so when the panel is drawn anew

/** Laps of which it is not known whether they have a bolt, and nothing was said. */
function openLaps() {
  const said = new Set((build.corrections.laps || []).map(word => String(word.slice(0, 4))));
  return build.joints.filter(joint => joint.bolt === "assumed" && !said.has(String(lapKey(joint))));
}

function boltGroups({members, lap}) {
  const open = openLaps();
  const of = id => open.filter(({a, b}) => a === id || b === id);
  const threeWay = build.laps.get(String(lap))?.three_way;
  const kind = open.filter(joint => Boolean(joint.three_way) === Boolean(threeWay));
  return [
    ...members.map(id => ({name: `Bolts of ${id}`, laps: of(id)})),
    {name: threeWay ? "Bolts of three-way joints" : "Bolts of plain joints", laps: kind},
    {name: "All bolts out of sight", laps: open},
  ].filter(({laps}) => laps.length >= LEAST);
}

function confirmGroups({kind, members}) {
  const right = build.doubts.filter(d => CONFIRMED.includes(d.kind));
  return [
    {name: `All about ${members[0]}`, doubts: right.filter(d => d.members[0] === members[0])},
    {name: "All of this kind", doubts: right.filter(d => d.kind === kind)},
    {name: "All ends and members", doubts: right},
  ].filter(({doubts}) => doubts.length >= LEAST);
}

/** Drops groups that have the same in them as one before. */
const distinct = groups => groups.filter(({size}, i) => groups.findIndex(other => other.size === size) === i);

/**
 * What answers many doubts like one at once, or null where there are no others.
 * @param {Object} doubt as the server lists it
 * @param {function(Object): void} answer called with the edit
 * @returns {HTMLElement|null}
 */
export function bulkAnswers(doubt, answer) {
  if (doubt.kind === "bolt") {
    const groups = distinct(boltGroups(doubt).map(g => ({...g, size: g.laps.length})));
    const say = (group, word) =>
      answer(several(group.laps.map(joint => ({op: "lap", lap: lapKey(joint), word}))));
    return chooser(doubt, groups, [
      ["All there", group => say(group, "said")],
      ["No bolts", group => say(group, "none")],
    ]);
  }
  if (!CONFIRMED.includes(doubt.kind)) return null;
  const groups = distinct(confirmGroups(doubt).map(g => ({...g, size: g.doubts.length})));
  return chooser(doubt, groups, [
    ["All right as they are", group => answer(several(group.doubts.map(mainAnswer)))],
  ]);
}

function chooser(doubt, groups, acts) {
  if (!groups.length) return null;
  const key = keyOf(doubt);
  const toggle = event => {
    opened = event.currentTarget.parentNode.open ? "" : key; // it is about to change
  };
  const option = ({name, size}, i) => h("option", {value: i, selected: name === picked}, `${name} (${size})`);
  const onchange = event => {
    picked = groups[event.target.value].name;
  };
  const select = h("select", {"aria-label": "Which to answer at once", onchange}, groups.map(option));
  const now = () => groups[select.value];
  return h(
    "details.more.bulk",
    {open: opened === key},
    h("summary", {onclick: toggle}, "Many at once"),
    h(
      "div.row.wrap",
      {},
      select,
      acts.map(([text, act]) =>
        button(text, () => {
          opened = "";
          act(now());
        }),
      ),
    ),
  );
}
