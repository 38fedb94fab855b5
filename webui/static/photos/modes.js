// What a click on a photo does (modes), and what is drawn on photos (layers). Needs dom, build, events.

import {build} from "../core/build.js";
import {byId, h} from "../core/dom.js";
import {emit} from "../core/events.js";

export const modes = {current: "choose"};
export const layers = {
  members: true,
  ends: true,
  doubts: true,
  labels: true,
  ruler: true,
  bolts: true,
  openings: false,
  rows: false,
  plan: true,
  fittings: true,
  path: true,
};

const MODES = [
  ["choose", "Select", "Click a member to select it; drag an end of the selected one"],
  ["draw", "Draw", "Draw a member: drag from a member's first hole to its last, or click both"],
  ["openings", "Holes", "Mark holes: click one that was missed, or a mark that is no hole"],
  ["measure", "Measure", "Measure: click two holes and type how far apart they are"],
];
const LAYERS = [
  ["members", "Members"],
  ["ends", "Ends not seen"],
  ["doubts", "Not sure"],
  ["labels", "Labels"],
  ["ruler", "Hole numbers"],
  ["bolts", "Bolts in 3-D"],
  ["openings", "Holes found"],
  ["rows", "Rows"],
  ["plan", "Plan"],
  ["fittings", "Fittings"],
  ["path", "Video's path"],
];
const STEPS = {ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1};

/**
 * Whether openings or rows are drawn: where they are switched on, and as long as there are no members.
 * @param {"openings"|"rows"} name
 * @returns {boolean}
 */
export function drawn(name) {
  if (layers[name] || (name === "openings" && modes.current === "openings")) return true;
  return !build.members.size;
}

/**
 * Switches to another mode.
 * @param {string} name
 */
export function setMode(name) {
  modes.current = name;
  for (const button of byId("modes").children) {
    button.setAttribute("aria-checked", button.dataset.mode === name);
    button.tabIndex = button.dataset.mode === name ? 0 : -1;
  }
  document.body.dataset.mode = name;
  emit("mode");
  emit("draw");
}

/** Puts the buttons of the modes and the ticks of the layers on the page. */
export function begin() {
  const place = byId("modes");
  place.replaceChildren(...MODES.map(modeButton));
  place.addEventListener("keydown", event => {
    const step = STEPS[event.key];
    if (!step) return;
    const i = (MODES.findIndex(([name]) => name === modes.current) + step + MODES.length) % MODES.length;
    setMode(MODES[i][0]);
    place.children[i].focus();
    event.preventDefault();
    event.stopPropagation();
  });
  byId("layers").replaceChildren(...LAYERS.map(layerTick));
  setMode("choose");
}

function modeButton([name, text, title]) {
  const attributes = {type: "button", role: "radio", "data-mode": name, title, onclick: () => setMode(name)};
  return h("button", attributes, text);
}

function layerTick([name, text]) {
  const onchange = event => {
    layers[name] = event.target.checked;
    emit("draw");
  };
  return h("label.tick", {}, h("input", {type: "checkbox", checked: layers[name], onchange}), text);
}
