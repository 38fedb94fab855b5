// Everything by keyboard. Single keys can be switched off, for people whose speech or hands press them
// unasked. Needs changes, selection, arrangement, and the panels whose actions have keys.

import {build} from "./core/build.js";
import {edit, redo, undo} from "./core/changes.js";
import {dropCopies, placeCopies} from "./core/copying.js";
import {byId, h} from "./core/dom.js";
import {ask, lastMessages} from "./core/messages.js";
import {endMotion} from "./core/motion.js";
import {choose, chosen, chosenMember} from "./core/selection.js";
import {answerDoubt, deleteChosen, step} from "./panels/doubts.js";
import {start as measure} from "./panels/measure.js";
import {askSplit} from "./panels/member-card.js";
import {startSearch} from "./panels/members-list.js";
import {acceptProposal, dropProposal, nextProposal, typeCount} from "./panels/new-member.js";
import {dropRows, hasAnswer, nextAnswer, takeAnswer} from "./panels/rows-by-hand.js";
import {show} from "./panels/tabs.js";
import {modes, setMode} from "./photos/modes.js";
import {all, enlarge, fitAll} from "./pictures/arrangement.js";
import {chooseInView} from "./pictures/look.js";

const singleKeysWork = () => localStorage.getItem("keys") !== "off";

/** Calls `act` with the chosen member, where it is one alone. */
function withMember(act) {
  const m = chosenMember();
  if (m) act(m);
}

const moveEnd = by => withMember(m => edit({op: "end", member: m.id, end: chosen.end, by}));
const shift = along => withMember(m => edit({op: "shift", members: [m.id], along}));

function otherEnd() {
  chosen.end = 1 - chosen.end;
  choose(chosen.members, chosen.lap);
}

function mergeTwo() {
  if (chosen.members.length === 2) edit({op: "merge", members: chosen.members});
}

function toggleBolt() {
  if (!chosen.lap) return;
  const {bolt} = build.laps.get(String(chosen.lap));
  edit({op: "lap", lap: chosen.lap, word: bolt === "none" ? "said" : "none"});
}

function findMember() {
  show("members");
  startSearch();
}

const KEYS = {
  j: ["Next to confirm", () => step(1)],
  k: ["The one before", () => step(-1)],
  y: ["Correct, and on to the next", answerDoubt],
  ",": ["One hole less at the active end", () => moveEnd(-1)],
  ".": ["One hole more at the active end", () => moveEnd(1)],
  e: ["The other end", otherEnd],
  s: ["Split the member", () => withMember(askSplit)],
  m: ["Merge two members", mergeTwo],
  "<": ["The member a hole back along itself", () => shift(-1)],
  ">": ["The member a hole on along itself", () => shift(1)],
  Delete: ["Delete what is selected (Backspace does, too)", deleteChosen],
  b: ["Bolt there or not, at the selected joint", toggleBolt],
  d: ["Draw a member", () => setMode("draw")],
  o: ["Mark holes", () => setMode("openings")],
  l: ["Measure a length between two holes", measure],
  c: ["Select", () => setMode("choose")],
  n: ["Another place for what was drawn", () => (hasAnswer() ? nextAnswer() : nextProposal())],
  f: ["Show all of every picture", fitAll],
  "/": ["Find a member: type its label and press Enter", findMember],
};
const OTHER_KEYS = [
  ["1 … 9", "Enlarge a picture"],
  ["Esc", "Select nothing"],
  ["Shift A … Z", "Select the member of that label"],
  ["Arrows + − 0", "Move, zoom and show all in the picture that has the focus; Enter acts at its middle"],
];
const INTRO =
  "Select a member anywhere: on a photo, in 3-D or in the list. Drag an end of the selected member " +
  "along its holes. Shift and click selects more than one.";

const MOST_MESSAGES = 8; // that the help repeats

/** Listens to keys. */
export function begin() {
  document.addEventListener("keydown", event => {
    const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
    if (byId("dialog").open || typing) return;
    if (event.ctrlKey || event.metaKey) {
      const act = withControl(event);
      if (!act) return;
      event.preventDefault();
      act();
    } else if (!event.altKey) plainKey(event);
  });
}

function withControl(event) {
  const key = event.key.toLowerCase();
  if (key === "z") return event.shiftKey ? redo : undo;
  return key === "y" ? redo : null;
}

function plainKey(event) {
  if (event.key === "Escape") {
    leave();
    return;
  }
  if (event.key === "Enter" && event.target.tagName !== "BUTTON" && enter()) return;
  if (build.proposal && /^\d$/.test(event.key)) {
    typeCount(event.key);
    event.preventDefault();
    return;
  }
  const act = actionOf(event.key === "Backspace" ? "Delete" : event.key);
  if (!act) return;
  act();
  event.preventDefault();
}

/** Takes what is shown as a ghost; whether there was anything. */
function enter() {
  if (build.proposal) acceptProposal();
  else if (build.copying) placeCopies();
  else if (hasAnswer()) takeAnswer();
  else return false;
  return true;
}

function leave() {
  if (build.proposal) dropProposal();
  else if (build.copying) dropCopies();
  else if (build.motion) endMotion();
  else if (build.rows) dropRows();
  else if (modes.current === "measure" || modes.current === "fitting") setMode("choose");
  else choose([]);
}

function actionOf(key) {
  if (key !== "Delete" && !singleKeysWork()) return null;
  const view = /^[1-9]$/.test(key) && all()[Number(key) - 1];
  if (view) return () => enlarge(view);
  if (/^[A-Z]$/.test(key) && build.members.has(key)) return () => chooseInView([key]);
  return key === "?" ? help : KEYS[key]?.[1];
}

/** Shows all keys. */
export async function help() {
  const onchange = () => localStorage.setItem("keys", tick.checked ? "on" : "off");
  const tick = h("input", {type: "checkbox", checked: singleKeysWork(), onchange});
  const row = ([key, words]) => h("tr", {}, h("td", {}, h("kbd", {}, key)), h("td", {}, words));
  const own = Object.entries(KEYS).map(([key, [words]]) => [key, words]);
  const rows = [["Ctrl Z", "Undo"], ["Ctrl Y", "Redo"], ...own, ...OTHER_KEYS].map(row);
  const table = h("table", {}, h("caption", {}, "Keys"), h("tbody", {}, rows));
  const messages = lastMessages().slice(0, MOST_MESSAGES);
  await ask(
    "Keys",
    [
      h("p", {}, INTRO),
      h("div.scroll", {tabindex: 0, role: "group", "aria-label": "Keys"}, table),
      h("label.tick", {}, tick, "Single keys work"),
      messages.length ? h("h3", {}, "Said last") : null,
      messages.map(text => h("p", {}, text)),
    ],
    [{text: "Close", value: 1}],
  );
}
