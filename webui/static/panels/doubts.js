// The queue of doubts: gone through one by one, by keys or by clicks, each answered where it stands. Needs
// build, changes, selection, derived, tabs, arrangement.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {live, settled} from "../core/derived.js";
import {byId, h} from "../core/dom.js";
import {on} from "../core/events.js";
import {notice} from "../core/messages.js";
import {choose, chosen} from "../core/selection.js";
import {lookAt} from "../pictures/arrangement.js";
import {answersTo, isByText, mainAnswer} from "./doubt-answers.js";
import {button, emptyPanel, keeper} from "./elements.js";
import {isOpen, show} from "./tabs.js";

const KIND = {
  conflict: "You and the photos differ",
  room: "Same room",
  loose: "Touches nothing",
  member: "Not sure",
  end: "End out of sight",
  bolt: "Bolt out of sight",
  size: "Size",
  note: "Note",
};
const KEYS =
  "Least sure first. Keys: j next, k back, y correct, Delete not there, e other end, comma and " +
  "full stop one hole less or more, < > shift along itself.";
const READING = "The photos are being read. Holes and rows are drawn on each as they are found.";
const READ_NOW = "Now press “Read photos”. What is least sure then comes first here.";
const NO_PHOTOS = "Once photos are read, what is least sure comes first here.";
const NONE_LEFT = "Nothing is left to confirm.";

const kept = keeper();
let present = null; // the key of the doubt that is gone through; `chosen.doubt` is where it stood last

/** Listens to the end of a reading: the least sure of what was read then comes first. */
export function begin() {
  on("read", () => {
    present = null;
    chosen.doubt = -1;
  });
}

/** What names a doubt while its text changes with the frame; several by text may be of one member. */
const keyOf = d => JSON.stringify([d.kind, d.members, d.lap, d.end, isByText(d) ? d.text : ""]);

const presentIndex = () => build.doubts.findIndex(d => keyOf(d) === present);

/** @returns {number} how many there are, for the tab */
export const doubtsCount = () => (build.doubts.length ? build.doubts.length + (build.moreDoubts || 0) : 0);

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawDoubts() {
  if (!build.members.size && build.job.running) return emptyPanel(READING);
  if (!build.members.size) return emptyPanel(build.photos.length ? READ_NOW : NO_PHOTOS);
  if (!build.doubts.length) return emptyPanel(live.doubts < 0 ? "Being computed…" : NONE_LEFT);
  const at = presentIndex();
  if (at >= 0) chosen.doubt = at;
  return kept([build.doubts, build.moreDoubts, at, build.members], () => [
    ...emptyPanel(KEYS),
    h(
      "ol.list.doubts",
      {},
      build.doubts.map((d, i) => doubtItem(d, i, at === i)),
    ),
    ...(build.moreDoubts ? emptyPanel(`${build.moreDoubts} more come after these.`) : []),
  ]);
}

function doubtItem(d, i, isPresent) {
  const current = isPresent ? "true" : null;
  const attributes = {
    type: "button",
    "data-key": `doubt${i}`,
    "aria-current": current,
    onclick: () => goTo(i),
  };
  const kind = h("span.kind", {"data-kind": d.kind}, KIND[d.kind]);
  return h("li", {}, h("button.item", attributes, kind, h("span", {}, d.text)), answerButtons(d, i));
}

function answerButtons(d, i) {
  const answers = answersTo(d);
  if (!answers) return null;
  const answer = request => {
    present = keyOf(d);
    chosen.doubt = i;
    settle(request);
  };
  const row = answers.map(({text, label, request, act}) =>
    act ? button(text, act) : button(text, () => answer(request), {label: `${label || text}: ${d.text}`}),
  );
  return h("span.answers", {}, row);
}

/** Makes the change that answers the present doubt and goes on to the one that moves up into its place. */
async function settle(request) {
  if (!(await edit(request))) return;
  await settled();
  const at = presentIndex();
  goTo(at >= 0 ? at + 1 : chosen.doubt);
}

/**
 * Goes so many doubts on, of those of the frame as it stands now.
 * @param {number} by
 */
export async function step(by) {
  await settled();
  const at = presentIndex();
  if (at >= 0) goTo(at + by);
  else goTo(by > 0 ? chosen.doubt : chosen.doubt - 1); // the present one was deleted: the next has moved up
}

function goTo(i) {
  if (!build.doubts.length) {
    notice(NONE_LEFT);
    return;
  }
  chosen.doubt = Math.max(0, Math.min(build.doubts.length - 1, i));
  const d = build.doubts[chosen.doubt];
  present = keyOf(d);
  if (d.end !== null) chosen.end = d.end;
  if (!isOpen("doubts")) show("doubts");
  choose(d.members, d.lap && build.laps.has(String(d.lap)) ? d.lap : null);
  if (d.members.length) lookAt({ids: d.members, lap: d.lap});
  byId("panel").querySelector("[aria-current=true]")?.scrollIntoView({block: "nearest"});
}

/** The present doubt, where it is what is chosen. */
function chosenDoubt() {
  const d = build.doubts[presentIndex()];
  if (!d) return null;
  const isShown = d.members.length || (isByText(d) && !chosen.members.length);
  return isShown && d.members.every(id => chosen.members.includes(id)) ? d : null;
}

/** Answers the present doubt: correct; without one, confirms the chosen member. */
export async function answerDoubt() {
  await settled();
  const d = chosenDoubt();
  if (!d) {
    if (chosen.members.length === 1) edit({op: "confirm", member: chosen.members[0]});
    return;
  }
  const request = mainAnswer(d);
  if (request) settle(request);
  else notice("This one is put right by moving, lengthening or deleting a member.");
}

/** Deletes what is chosen; in the queue, goes on. */
export function deleteChosen() {
  if (!chosen.members.length || chosen.lap) return;
  const request = {op: "delete", members: chosen.members};
  if (chosenDoubt()?.members.length === chosen.members.length) settle(request);
  else edit(request);
}
