// One measured length between two openings: picked on a photo, typed, seen in its effect, and only then
// taken. Needs api, build (`measure`), changes, modes.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {announce, notice} from "../core/messages.js";
import {inInches, withUnit} from "../core/units.js";
import {modes, setMode} from "../photos/modes.js";
import {button} from "./elements.js";

const TYPING_MS = 200;
const FIRST =
  "Pick the first hole, on a photo or in 3-D: click it, or bring it to the cross and press Enter. It may " +
  "be of any member.";
const TYPE =
  "Lay the tape from centre to centre and type what it shows, in mm or inches (610 mm, 24 1/8 in).";
const nothing = () => ({points: [], places: {}});

let measured = nothing(); // the openings picked, and what the server makes of them and of the length typed
let requests = 0;
let timer = 0;

const field = {type: "text", id: "measured", autocomplete: "off", inputmode: "text"};
const input = h("input", {...field, oninput: typed, onkeydown: key});
const effect = h("p", {id: "measured-effect", "aria-live": "polite"});

/** Listens to openings that are clicked, to the mode and to changes. */
export function begin() {
  on("measure", pick);
  on("mode", () => {
    if (modes.current === "measure") announce(nextStep());
    else clear();
  });
  on("changed", () => {
    if (measured.points.length) clear(); // holes may be counted again
  });
}

/** Goes on to measuring, with a photo ready for the keyboard. */
export function start() {
  setMode("measure");
  const canvases = [...document.querySelectorAll("figure[data-photo] canvas")];
  canvases.find(canvas => canvas.offsetParent)?.focus();
}

function typed() {
  clearTimeout(timer);
  timer = setTimeout(() => update(measured.points), TYPING_MS);
}

function key(event) {
  if (event.key === "Enter") {
    event.preventDefault();
    take();
  } else if (event.key === "Escape") leave();
}

function clear() {
  measured = nothing();
  input.value = "";
  requests++;
  show();
}

function leave() {
  setMode("choose");
}

function show() {
  build.measure = measured.points.length ? measured : null;
  emit("measuring");
  emit("draw");
}

async function pick(spot) {
  const points = measured.points.length > 1 ? [] : measured.points;
  await update([...points, spot]);
  if (measured.points.length === 2) input.focus();
}

/** Asks what these openings and the length typed so far come to. */
async function update(points) {
  const number = ++requests;
  try {
    const payload = await post("/api/measure", {points, text: withUnit(input.value)});
    if (number !== requests) return;
    const before = measured.where;
    measured = payload;
    if (measured.where !== before || measured.points.length < 2) announce(nextStep());
    show();
  } catch (error) {
    notice(error.message, "warn");
    announce(error.message);
  }
}

function nextStep() {
  const {points, where, problem} = measured;
  if (!points.length) return FIRST;
  if (points.length > 1) return where || problem;
  const {hole, member} = points[0];
  const first = `From the centre of hole ${hole + 1} of ${member}.`;
  return `${first} Now the second hole, the farther off the better.`;
}

async function take() {
  clearTimeout(timer);
  await update(measured.points);
  if (!measured.words) {
    input.focus();
    return;
  }
  const points = measured.points.map(({member, hole, face}) => ({member, hole, face}));
  if (await edit({op: "scale", text: withUnit(input.value), points})) {
    notice(build.undo);
    leave();
  }
}

function pointRow(p, i) {
  const name = i ? "To" : "From";
  const move = step => update(measured.points.map((q, k) => (k === i ? {...q, hole: q.hole + step} : q)));
  const stepButton = (text, step) => {
    const label = `${name} the ${step < 0 ? "hole before" : "next hole"} of ${p.member}`;
    const disabled = p.hole + step < 0 || p.hole + step >= p.holes;
    return button(text, () => move(step), {label, disabled});
  };
  return h(
    "div.row",
    {},
    h("span", {}, name),
    h("span.tag", {}, p.member),
    h("span", {}, `hole ${p.hole + 1} of ${p.holes}`),
    stepButton("−", -1),
    stepButton("+", 1),
  );
}

function effectWords() {
  const {problem, where, words, how_sure} = measured;
  if (problem && (input.value || !where)) return problem;
  return words ? `${words}. ${how_sure}` : TYPE;
}

/**
 * What the card shows while measuring.
 * @returns {HTMLElement[]}
 */
export function measureCard() {
  const {points, problem, where, words, apart} = measured;
  input.placeholder = inInches() ? "24 1/8 in" : "571.5 mm";
  effect.textContent = effectWords();
  const stop = button("✕", leave, {kind: "quiet", label: "Stop measuring"});
  const rows = points.map(pointRow);
  return [
    h("div.cardhead", {}, h("h2", {}, "Measure"), stop),
    ...(problem && !where ? [] : [h("p", {}, nextStep())]),
    ...rows,
    ...(apart ? [h("p.strong", {}, apart)] : []),
    ...(points.length === 2 ? lengthFields(words) : []),
  ];
}

function lengthFields(words) {
  const takeButton = button("Use", take, {kind: "main", disabled: !words, title: "Enter"});
  return [
    h("label", {for: "measured"}, "To set the size: what the tape shows, centre of hole to centre of hole"),
    input,
    effect,
    h("div.buttons", {}, takeButton, button("Pick again", clear)),
  ];
}
