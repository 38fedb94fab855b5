// A fitting that is being put on or changed (`build.fitting`): its holes are clicked on photos or in 3-D, or
// typed; what it would be is drawn before it is put on. Needs api, build, changes, modes.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {announce, notice} from "../core/messages.js";
import {chooseFitting, chosenMember} from "../core/selection.js";
import {lengthText, massText, withMassUnit, withUnit} from "../core/units.js";
import {modes, setMode} from "../photos/modes.js";
import {button} from "./elements.js";

const TYPING_MS = 250;
const KINDS = ["castor", "wheel", "foot", "board", "shelf", "bearing", "bracket", "motor", "other"];
const HOW = "Click the holes that it is bolted to, on a photo or in 3-D, or type them: C 3 5, D 3.";
const SIZES = [
  ["along", "Along the member"],
  ["across", "Across it"],
  ["out", "Height"],
  ["plate", "Plate"],
  ["mass", "Weight"],
  ["shift-along", "Shifted along"],
  ["shift-across", "Shifted across"],
];

let requests = 0;
let timer = 0;
let answer = null; // what the server makes of it
let begun = {texts: {}, values: {}}; // what the fields had of the fitting that is changed
let member = null; // whose holes numbers without a label are
let face = null; // the side that was chosen, or of the hole that was clicked first

const later = () => {
  clearTimeout(timer);
  timer = setTimeout(() => update(), TYPING_MS);
};
const field = (id, more = {}) =>
  h("input", {
    type: "text",
    id: `fitting-${id}`,
    autocomplete: "off",
    oninput: later,
    onkeydown: key,
    ...more,
  });
const numbers = Object.fromEntries(SIZES.map(([id]) => [id, field(id, {inputmode: "decimal"})]));
const holesField = field("holes", {placeholder: "C 3 5"});
const nameField = field("name", {placeholder: "as in the shop", maxlength: 80});
const kindField = h(
  "select",
  {id: "fitting-kind", onchange: () => update()},
  KINDS.map(kind => h("option", {value: kind}, kind)),
);
const sideField = h("select", {id: "fitting-side", onchange: () => chooseSide()});
const state = h("p", {id: "fitting-state", "aria-live": "polite"});
const done = button("Put on", () => take(), {kind: "main"});

/** Listens to holes that are clicked, to the mode and to changes. */
export function begin() {
  on("fitting", spot => update(spot));
  on("mode", () => {
    if (modes.current !== "fitting" && build.fitting) stop();
  });
  on("changed", () => build.fitting && later());
}

/**
 * Begins a new fitting, or the change of one.
 * @param {Object} [f] the fitting that is to be changed
 */
export function startFitting(f) {
  member = chosenMember()?.id || null;
  begun = f ? {texts: textsOf(f), values: valuesOf(f)} : {texts: {}, values: {}};
  for (const [id, input] of Object.entries(numbers)) input.value = begun.texts[id] || "";
  holesField.value = f ? holesText(f.holes) : "";
  holesField.placeholder = `${member || "C"} 3 5`;
  nameField.value = f?.name || "";
  kindField.value = f?.kind || "castor";
  face = f?.face || null;
  answer = null;
  build.fitting = {id: f?.id || null, box: null, shapes: {}};
  setMode("fitting");
  kindField.focus({preventScroll: true});
  update();
}

/** What the fields have of a fitting: lengths with their unit, as they are shown elsewhere. */
function textsOf(f) {
  const [along, across, out, plate] = [...f.size_mm, f.plate_mm].map(lengthText);
  const [shiftAlong, shiftAcross] = f.shift_mm.map(shiftText);
  const mass = f.mass_kg === null ? "" : massText(f.mass_kg);
  return {along, across, out, plate, mass, "shift-along": shiftAlong, "shift-across": shiftAcross};
}

function valuesOf({size_mm, plate_mm, shift_mm, mass_kg}) {
  const [along, across, out] = size_mm;
  const shifts = {"shift-along": shift_mm[0], "shift-across": shift_mm[1]};
  return {along, across, out, plate: plate_mm, mass: mass_kg, ...shifts};
}

const shiftText = mm => (mm ? `${mm < 0 ? "-" : ""}${lengthText(Math.abs(mm))}` : "");

/** Leaves it as it is. */
export function stopFitting() {
  setMode("choose");
}

function stop() {
  const {id} = build.fitting;
  build.fitting = null;
  requests++;
  clearTimeout(timer);
  if (id) chooseFitting(id);
  emit("draw");
}

const holesText = holes => holes.map(([id, hole]) => `${id} ${hole + 1}`).join(", ");

/** A label as it is typed; small letters do for capitals. */
const labelOf = text => (build.members.has(text) ? text : text.toUpperCase());

/** Holes as they are typed: "C 3 5, D 3"; numbers before any label are of the member that was selected. */
function typedHoles() {
  const holes = [];
  let id = member;
  for (const word of holesField.value.split(/[\s,;]+/).filter(Boolean)) {
    if (id && /^\d+$/.test(word)) holes.push([id, Number(word) - 1]);
    else id = labelOf(word);
  }
  return holes;
}

function key(event) {
  if (event.key === "Enter") {
    event.preventDefault();
    take();
  } else if (event.key === "Escape") stopFitting();
}

/** A length or weight as it is typed, with its unit; null where none is. */
function typed(id) {
  const text = numbers[id].value.trim();
  if (text === "") return null;
  if (text === begun.texts[id]) return begun.values[id]; // not rounded to what is shown
  return id === "mass" ? withMassUnit(text) : withUnit(text);
}

function request() {
  return {
    fitting: build.fitting.id,
    kind: kindField.value,
    name: nameField.value.trim(),
    holes: typedHoles(),
    face,
    size_mm: [typed("along"), typed("across"), typed("out")],
    plate_mm: typed("plate"),
    mass_kg: typed("mass"),
    shift_mm: [typed("shift-along"), typed("shift-across")],
  };
}

function chooseSide() {
  face = answer?.faces[sideField.selectedIndex]?.face || null;
  update();
}

/** Asks what the fitting would be with what is typed and what was clicked just now. */
async function update(pick) {
  if (!build.fitting) return;
  const number = ++requests;
  try {
    const found = await post("/api/fitting", {...request(), pick: pick || null});
    if (number === requests && build.fitting) show(found, Boolean(pick));
  } catch (error) {
    if (number !== requests || !build.fitting) return;
    answer = null;
    show({holes: typedHoles(), faces: [], face, problem: error.message}, false);
    if (pick) notice(error.message, "warn");
  }
}

function show(found, picked) {
  answer = found;
  if (picked) holesField.value = holesText(found.holes);
  face = found.face;
  Object.assign(build.fitting, {box: found.box || null, shapes: found.shapes || {}});
  build.fitting.holes = found.holes;
  const [along, across, out] = (found.size_mm || []).map(lengthText);
  const usual = {along, across, out, plate: lengthText(found.plate_mm), mass: "not known"};
  for (const [id, value] of Object.entries(usual)) numbers[id].placeholder = value || "";
  const option = ({face: way, words}) => h("option", {selected: String(way) === String(found.face)}, words);
  sideField.replaceChildren(...found.faces.map(option));
  sideField.disabled = found.faces.length < 2;
  state.textContent = [found.problem, ...(found.wrong || [])].filter(Boolean).join(" ") || "It fits there.";
  state.className = found.problem || found.wrong?.length ? "warned" : "dim";
  done.disabled = Boolean(found.problem);
  if (picked) announce(state.textContent);
  emit("draw");
}

async function take() {
  clearTimeout(timer);
  await update();
  if (!answer || answer.problem) return;
  const {holes, size_mm, plate_mm, shift_mm, mass_kg, face: way} = answer;
  const known = {holes, size_mm, plate_mm, shift_mm, mass_kg, face: way};
  const before = new Set(build.fittings.map(f => f.id));
  const {id} = build.fitting;
  if (!(await edit({...request(), ...known, op: "fitting"}))) return;
  const made = id || build.fittings.find(f => !before.has(f.id))?.id;
  build.fitting.id = made || null;
  setMode("choose");
}

/**
 * The card while a fitting is put on or changed.
 * @returns {HTMLElement[]}
 */
export function formCard() {
  const {id} = build.fitting;
  done.textContent = id ? "Change" : "Put on";
  const close = button("✕", stopFitting, {kind: "quiet", label: "Leave it"});
  const row = ([name, words]) => h("label", {}, words, numbers[name]);
  const rows = list => h("div.fields", {}, list.map(row));
  return [
    h("div.cardhead", {}, h("h2", {}, id ? `Change ${id}` : "Put on a fitting"), close),
    h(
      "div.fields",
      {},
      h("label", {}, "What it is", kindField),
      h("label", {}, "Name (may be left out)", nameField),
      h("label", {}, "Holes", holesField),
      h("label", {}, "Side", sideField),
    ),
    h("p.dim", {}, HOW),
    rows(SIZES.slice(0, 5)),
    h("details.more", {}, h("summary", {}, "Not in the middle of its holes"), rows(SIZES.slice(5))),
    h("div.buttons.last", {}, state, done, button("Cancel", stopFitting, {title: "Key Escape"})),
  ];
}
