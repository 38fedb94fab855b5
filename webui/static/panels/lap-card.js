// The card of a lap: its bolt, parting it, whether it may turn; and joining two members by a new one. Needs
// build, changes.

import {build, lapName} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {ask} from "../core/messages.js";
import {choose, chosen} from "../core/selection.js";
import {boltIcon} from "./bolt-icon.js";
import {button, closeButton} from "./elements.js";

const MOST_HOLES = 1000; // that can be typed; the server knows how many there are

/**
 * The card.
 * @param {import("../core/build.js").LapKey} key
 * @returns {HTMLElement[]|null}
 */
export function lapCard(key) {
  const joint = build.laps.get(String(key));
  if (!joint) return null;
  const set = word => edit({op: "lap", lap: key, word});
  const turning = (build.corrections.may_turn || []).some(lap => String(lap) === String(key));
  const mayTurn = () => edit({op: "may_turn", lap: key, wanted: !turning});
  const there = joint.bolt === "seen" ? "said" : joint.bolt;
  const bolt = (word, text) => button(text, () => set(word), {pressed: there === word});
  const [a, i, b, j] = key;
  return [
    h(
      "div.cardhead",
      {},
      h("h2", {}, "Joint"),
      h("span.dim", {}, joint.three_way ? "three-way" : ""),
      closeButton(),
    ),
    h("p", {}, `Hole ${i + 1} of `, memberTag(a, i), ` on hole ${j + 1} of `, memberTag(b, j)),
    h(
      "div.buttons",
      {role: "group", "aria-label": `Bolt in ${lapName(key)}`},
      bolt("said", "Bolt there"),
      bolt("assumed", "Bolt assumed"),
      bolt("none", "No bolt"),
    ),
    h("p.dim", {}, boltIcon(joint.bolt), ` ${boltSource(joint)}`),
    h(
      "div.buttons",
      {},
      button("Separate", () => set("apart")),
      button("Meant to turn", mayTurn, {pressed: turning}),
    ),
  ];
}

/** A member's label: pressed, it is selected, with the end that is nearer to the joint to be moved. */
function memberTag(id, hole) {
  const select = () => {
    chosen.end = hole < build.members.get(id).holes / 2 ? 0 : 1;
    choose([id]);
  };
  return button(id, select, {kind: "tag", label: `Select ${id}, to move its end`});
}

function boltSource(joint) {
  if (joint.bolt === "assumed") return "No photo shows whether there is a bolt.";
  return joint.bolt_by ? "As you say." : "As the photos show.";
}

/**
 * Asks where a member is to be joined to another, then joins them.
 * @param {string} id of the member
 */
export async function askLap(id) {
  const member = build.members.get(id);
  const others = [...build.members.keys()].filter(other => other !== id);
  const number = (name, max) =>
    h("input", {type: "number", min: 1, max, value: 1, id: name, inputmode: "numeric"});
  const mine = number("join-mine", member.holes);
  const other = h(
    "select",
    {id: "join-other"},
    others.map(o => h("option", {value: o}, o)),
  );
  const theirs = number("join-theirs", MOST_HOLES);
  const body = [
    h("label", {for: "join-mine"}, `Hole of ${id}`),
    mine,
    h("label", {for: "join-other"}, "On member"),
    other,
    h("label", {for: "join-theirs"}, "Hole of that member"),
    theirs,
  ];
  const buttons = [
    {text: "Join", value: 1},
    {text: "Cancel", value: null},
  ];
  if (!(await ask(`Join ${id} to another member`, body, buttons))) return;
  const lap = [id, Number(mine.value) - 1, other.value, Number(theirs.value) - 1];
  edit({op: "lap", lap, word: "joined"});
}
