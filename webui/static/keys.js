// Everything by keyboard. Single keys can be switched off, for people whose speech or hands press them unasked.

import {ask, h} from "./dom.js";
import {build, choose, chosen, edit, redo, undo} from "./store.js";
import {accept, drop, nextProposal, split} from "./card.js";
import {answerDoubt, deleteChosen, step} from "./queue.js";
import {all, enlarge, fitAll} from "./views.js";
import {start as measure} from "./measure.js";
import {modes, setMode} from "./modes.js";

const single = () => localStorage.getItem("keys") !== "off";
const one = () => chosen.members.length === 1 ? build.members.get(chosen.members[0]) : null;
const moveEnd = by => one() && edit({op: "end", member: one().id, end: chosen.end, by});
const shift = along => one() && edit({op: "shift", members: [one().id], along});

const KEYS = {
  j: ["Next doubt", () => step(1)],
  k: ["Doubt before", () => step(-1)],
  y: ["Right as it is, and on to the next doubt", answerDoubt],
  ",": ["One hole less at the active end", () => moveEnd(-1)],
  ".": ["One hole more at the active end", () => moveEnd(1)],
  e: ["The other end", () => { chosen.end = 1 - chosen.end; choose(chosen.members, chosen.lap); }],
  s: ["Split the member", () => one() && split(one())],
  m: ["Merge two members", () => chosen.members.length === 2 && edit({op: "merge", members: chosen.members})],
  "<": ["The member a hole back along itself", () => shift(-1)],
  ">": ["The member a hole on along itself", () => shift(1)],
  Delete: ["Delete what is chosen (Backspace does, too)", deleteChosen],
  b: ["Bolt there or not, at a chosen lap", () => chosen.lap && edit({op: "lap", lap: chosen.lap, word: build.laps.get(String(chosen.lap)).bolt === "none" ? "seen" : "none"})],
  d: ["Draw a member", () => setMode("draw")],
  o: ["Mark openings", () => setMode("openings")],
  l: ["Measure a length between two openings", measure],
  c: ["Choose", () => setMode("choose")],
  n: ["Another place for the drawn member", nextProposal],
  f: ["Show all of every picture", fitAll],
};

export function begin() {
  document.addEventListener("keydown", event => {
    if (document.getElementById("dialog").open || /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
    const control = event.ctrlKey || event.metaKey;
    if (control && event.key.toLowerCase() === "z") { event.preventDefault(); (event.shiftKey ? redo : undo)(); return; }
    if (control && event.key.toLowerCase() === "y") { event.preventDefault(); redo(); return; }
    if (control || event.altKey) return;
    if (event.key === "Escape") { if (build.proposal) drop(); else if (modes.current === "measure") setMode("choose"); else choose([]); return; }
    if (event.key === "Enter" && build.proposal && event.target.tagName !== "BUTTON") { accept(); return; }
    const key = event.key === "Backspace" ? "Delete" : event.key;
    if (key === "Delete" || single()) {
      const view = /^[1-9]$/.test(key) && all()[Number(key) - 1];
      if (view) enlarge(view);
      else if (key === "?") help();
      else if (KEYS[key]) KEYS[key][1]();
      else return;
      event.preventDefault();
    }
  });
}

export async function help() {
  const tick = h("input", {type: "checkbox", checked: single(), onchange: () => localStorage.setItem("keys", tick.checked ? "on" : "off")});
  const row = (key, what) => h("tr", {}, h("td", {}, h("kbd", {}, key)), h("td", {}, what));
  await ask("Keys", [
    h("p", {}, "Choose a member anywhere: on a photo, in space or in the list. Drag an end of the chosen member along its holes. Shift and click chooses more than one."),
    h("div.scroll", {tabindex: 0, role: "group", "aria-label": "Keys"}, h("table", {}, h("caption", {}, "Keys"), h("tbody", {},
      row("Ctrl Z", "Undo"), row("Ctrl Y", "Redo"), ...Object.entries(KEYS).map(([key, [what]]) => row(key, what)),
      row("1 … 9", "Enlarge a picture"), row("Esc", "Choose nothing"), row("Arrows + − 0", "Move, zoom and show all in the picture that has the focus; Enter acts at its middle")))),
    h("label.tick", {}, tick, "Single keys work"),
  ], [{text: "Close", value: 1}]);
}
