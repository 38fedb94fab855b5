// The list of laps. Needs build, selection, bolt-icon.

import {build, lapKey} from "../core/build.js";
import {h} from "../core/dom.js";
import {chosen} from "../core/selection.js";
import {goToPlace} from "../pictures/look.js";
import {boltIcon} from "./bolt-icon.js";
import {emptyPanel, keeper} from "./elements.js";

const MOST = 150; // shown at once
const BOLT = {seen: "bolt seen", said: "bolt, as you say", assumed: "bolt assumed", none: "no bolt"};
const kept = keeper();

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawLaps() {
  if (!build.joints.length) return emptyPanel("No joints yet.");
  return kept([build.joints, String(chosen.lap)], () => {
    const more = build.joints.length - MOST;
    const list = h("ul.list", {}, build.joints.slice(0, MOST).map(lapItem));
    return more > 0 ? [list, ...emptyPanel(`${more} more come after these.`)] : [list];
  });
}

function boltWords(joint) {
  const words = BOLT[joint.bolt] || joint.bolt;
  return joint.bolt === "none" && joint.bolt_by ? `${words}, as you say` : words;
}

function lapItem(joint) {
  const key = lapKey(joint);
  const words = `${joint.three_way ? "three-way, " : ""}${boltWords(joint)}`;
  const item = h(
    "button.item",
    {
      type: "button",
      "data-key": `lap${key}`,
      "aria-pressed": String(String(chosen.lap) === String(key)),
      onclick: () => goToPlace({ids: [joint.a, joint.b], lap: key}),
    },
    h("span.tag", {}, joint.a),
    h("span", {}, `${joint.a_hole + 1} on ${joint.b_hole + 1}`),
    h("span.tag", {}, joint.b),
    h("span.dim.right", {}, words),
    boltIcon(joint.bolt),
  );
  return h("li", {}, item);
}
