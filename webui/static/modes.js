// What a click on a photo does, and what is drawn on photos.

import {byId, h} from "./dom.js";
import {build, tell} from "./store.js";

export const modes = {current: "choose"};
export const layers = {members: true, ends: true, doubts: true, labels: true, openings: false, rows: false, plan: true};

const MODES = [["choose", "Choose", "Click a member to choose it; drag an end of the chosen one"],
  ["draw", "Draw", "Draw a member: drag from a member's first opening to its last, or click both"],
  ["openings", "Openings", "Mark openings: click an opening that was missed, or one that is none"],
  ["measure", "Measure", "Measure: click two openings and type how far apart they are"]];
const LAYERS = [["members", "Members"], ["ends", "Ends not seen"], ["doubts", "Doubts"], ["labels", "Labels"], ["openings", "Openings"], ["rows", "Rows"], ["plan", "Plan"]];

/** Whether openings or rows are drawn: where they are asked for, and while the first reading finds them. */
export const drawn = name => layers[name] || (name === "openings" && modes.current === "openings") || (build.job.running && !build.members.size);

export function setMode(name) {
  modes.current = name;
  for (const button of byId("modes").children) {
    button.setAttribute("aria-checked", button.dataset.mode === name);
    button.tabIndex = button.dataset.mode === name ? 0 : -1;
  }
  document.body.dataset.mode = name;
  tell("mode");
  tell("draw");
}

export function begin() {
  const place = byId("modes");
  place.replaceChildren(...MODES.map(([name, text, what]) => h("button", {type: "button", role: "radio", "data-mode": name, title: what, onclick: () => setMode(name)}, text)));
  place.addEventListener("keydown", event => {
    const step = {ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1}[event.key];
    if (!step) return;
    const i = (MODES.findIndex(m => m[0] === modes.current) + step + MODES.length) % MODES.length;
    setMode(MODES[i][0]);
    place.children[i].focus();
    event.preventDefault();
    event.stopPropagation();
  });
  byId("layers").replaceChildren(...LAYERS.map(([name, text]) => h("label.tick", {},
    h("input", {type: "checkbox", checked: layers[name], onchange: event => { layers[name] = event.target.checked; tell("draw"); }}), text)));
  setMode("choose");
}
