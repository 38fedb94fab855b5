// The queue of doubts: gone through one by one, by keys or by clicks, each answered where it stands. Needs
// build, changes, selection, derived, tabs, arrangement.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {live, settled} from "../core/derived.js";
import {byId, h} from "../core/dom.js";
import {on} from "../core/events.js";
import {dropGhosts, showMembersAsGhosts} from "../core/ghosts.js";
import {notice} from "../core/messages.js";
import {choose, chosen} from "../core/selection.js";
import {plural} from "../core/units.js";
import {lookAt} from "../pictures/arrangement.js";
import {bulkAnswers} from "./bulk-answers.js";
import {answersTo, choiceRequest, choiceText, isByText, keyOf, mainAnswer} from "./doubt-answers.js";
import {button, emptyPanel, keeper} from "./elements.js";
import {startRows} from "./rows-by-hand.js";
import {isOpen, show} from "./tabs.js";

const KIND = {
  conflict: "You and the photos differ",
  room: "Same room",
  loose: "Touches nothing",
  member: "Not sure",
  end: "End out of sight",
  unlikely: "Unlikely end",
  bolt: "Bolt out of sight",
  size: "Size",
  note: "Note",
};
const ORDER = "Least sure first.";
const KEYS =
  " Keys: j next, k back, y correct, Delete not there, e other end, comma and full stop one hole less or " +
  "more, < > shift along itself.";
const READING = "The photos are being read. Holes and rows are drawn on each as they are found.";
const READ_NOW = "Now press “Read photos”. What is least sure then comes first here.";
const BY_HAND =
  "The frame can be built by hand on one photo: rows of holes are stroked along, or clicked where they " +
  "were found, and three of them give the camera.";
const NO_PHOTOS = "Once photos are read, what is least sure comes first here.";
const NONE_LEFT = "Nothing is left to confirm.";

const kept = keeper();
const raised = new Set(); // keys of doubts that came with one's own corrections
let known = null; // keys of the doubts before the last change
let counted = null; // the list that they are of
let ownGhosts = false; // whether the ghosts that are shown are those of a doubt
let present = null; // the key of the doubt that is gone through; `chosen.doubt` is where it stood last

/** Listens to the end of a reading: the least sure of what was read then comes first. */
export function begin() {
  on("read", () => {
    present = null;
    chosen.doubt = -1;
  });
  on("changed", words => {
    if (!words) known = null; // the whole build was taken over
    dropOwnGhosts();
  });
  on("chosen", () => {
    if (!chosenDoubt()) dropOwnGhosts();
  });
  on("derived", noteRaised);
  on("answer", settle);
}

/** Notes which doubts came with one's own corrections: those that were not there before. */
function noteRaised() {
  if (live.doubts !== build.n || build.doubts === counted) return;
  counted = build.doubts;
  const keys = new Set(counted.map(keyOf));
  if (known) for (const key of keys) if (!known.has(key)) raised.add(key);
  if (!known) raised.clear();
  for (const key of raised) if (!keys.has(key)) raised.delete(key);
  known = keys;
}

/** Draws what else the member of a doubt could be. */
function showChoices(d) {
  if (!d.choices?.length) return dropOwnGhosts();
  ownGhosts = true;
  const labels = d.choices.map(choice => ({
    label: choiceText(choice),
    end: choice.end,
    request: choiceRequest(d, choice),
  }));
  return showMembersAsGhosts(
    d.choices.map(choice => choice.member),
    labels,
  ).catch(() => {});
}

function dropOwnGhosts() {
  if (ownGhosts) dropGhosts();
  ownGhosts = false;
}

const presentIndex = () => build.doubts.findIndex(d => keyOf(d) === present);

/** @returns {string|number} how many there are, for the tab: those that came with own corrections apart */
export function doubtsCount() {
  const count = build.doubts.length ? build.doubts.length + (build.moreDoubts || 0) : 0;
  return raised.size && count ? `${count - raised.size} + ${raised.size}` : count;
}

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawDoubts() {
  if (!build.members.size && build.job.running) return emptyPanel(READING);
  if (!build.members.size) return noMembers();
  if (!build.doubts.length) return emptyPanel(live.doubts < 0 ? "Being computed…" : NONE_LEFT);
  const at = presentIndex();
  if (at >= 0) chosen.doubt = at;
  return kept([build.doubts, build.moreDoubts, at, build.members, raised.size], () => [
    h("p.dim.pad", {}, ORDER, h("span.bykeys", {}, KEYS)),
    ...(raised.size ? emptyPanel(`${plural(raised.size, "doubt")} came with your own corrections.`) : []),
    h(
      "ol.list.doubts",
      {},
      build.doubts.map((d, i) => doubtItem(d, i, at === i)),
    ),
    ...(build.moreDoubts ? emptyPanel(`${build.moreDoubts} more come after these.`) : []),
  ]);
}

function noMembers() {
  if (!build.photos.length) return emptyPanel(NO_PHOTOS);
  const byHand = h(
    "div.buttons.pad",
    {},
    button("Build by hand", () => startRows()),
  );
  const {problem} = build.job;
  return problem
    ? [h("p.pad", {}, problem), ...emptyPanel(BY_HAND), byHand]
    : [...emptyPanel(READ_NOW), byHand];
}

function doubtItem(d, i, isPresent) {
  const current = isPresent ? "true" : null;
  const attributes = {
    type: "button",
    "data-key": `doubt${i}`,
    "aria-current": current,
    onclick: () => goTo(i),
  };
  const own = raised.has(keyOf(d)) ? ", new by your correction" : "";
  const kind = h("span.kind", {"data-kind": d.kind}, `${KIND[d.kind]}${own}`);
  return h(
    "li",
    {},
    h("button.item", attributes, kind, h("span", {}, d.text)),
    answerButtons(d, i, isPresent),
  );
}

function answerButtons(d, i, isPresent) {
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
  return h("span.answers", {}, row, isPresent ? bulkAnswers(d, answer) : null);
}

/**
 * Makes the change that answers the present doubt and goes on to the one that moves up into its place;
 * whoever has gone to another one meanwhile stays there.
 */
async function settle(request) {
  const answered = present;
  if (!(await edit(request))) return;
  await settled();
  if (present !== answered) return;
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
  showChoices(d);
  bringIn(byId("panel").querySelector("[aria-current=true]"));
}

/** Brings a doubt with its answers into view; on a narrow page up to the pictures, over what is selected. */
function bringIn(item) {
  const block = matchMedia("(max-width: 999px)").matches ? "start" : "nearest";
  item?.closest("li").scrollIntoView({block});
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
  if (chosen.fitting) edit({op: "fitting_gone", fitting: chosen.fitting});
  if (!chosen.members.length || chosen.lap) return;
  const request = {op: "delete", members: chosen.members};
  if (chosenDoubt()?.members.length === chosen.members.length) settle(request);
  else edit(request);
}
