// One measured length between two openings: picked on a photo, typed, seen in its effect, and only then taken.

import {announce, h, notice} from "./dom.js";
import {build, edit, on, post, tell} from "./store.js";
import {modes, setMode} from "./modes.js";
import {inInches, withUnit} from "./units.js";

const TYPING_MS = 200;
const nothing = () => ({points: [], places: {}});
let told = nothing(), asked = 0, timer = 0;

const input = h("input", {type: "text", id: "measured", autocomplete: "off", inputmode: "text", oninput: () => { clearTimeout(timer); timer = setTimeout(() => ask(told.points), TYPING_MS); },
  onkeydown: event => { if (event.key === "Enter") { event.preventDefault(); take(); } else if (event.key === "Escape") leave(); }});
const effect = h("p", {id: "measured-effect", "aria-live": "polite"});

export function begin() {
  on("measure", pick);
  on("mode", () => { if (modes.current === "measure") announce(next()); else clear(); });
  on("changed", () => { if (told.points.length) clear(); });      // holes may be counted anew
}

/** Goes on to measuring, with a photo ready for the keyboard. */
export function start() {
  setMode("measure");
  [...document.querySelectorAll("figure[data-photo] canvas")].find(canvas => canvas.offsetParent)?.focus();
}

function clear() { told = nothing(); input.value = ""; asked++; show(); }
function leave() { setMode("choose"); }
function show() { build.measure = told.points.length ? told : null; tell("measuring"); tell("draw"); }

async function pick({photo, xy, within}) {
  await ask([...(told.points.length > 1 ? [] : told.points), {photo, xy, within}]);
  if (told.points.length === 2) input.focus();
}

/** Asks what these openings and the length typed so far come to. */
async function ask(points) {
  const number = ++asked;
  try {
    const answer = await post("/api/measure", {points, text: withUnit(input.value)});
    if (number !== asked) return;
    const already = told.where;
    told = answer;
    if (told.where !== already || told.points.length < 2) announce(next());
    show();
  } catch (error) { notice(error.message, "warn"); announce(error.message); }
}

const spot = p => `hole ${p.hole + 1} of ${p.member}`;

function next() {
  if (!told.points.length) return "Pick the first opening on a photo: click it, or bring it to the cross and press Enter. It may be of any member.";
  return told.points.length < 2 ? `From the centre of ${spot(told.points[0])}. Now the second opening, the farther off the better.` : told.where || told.problem;
}

async function take() {
  clearTimeout(timer);
  await ask(told.points);
  if (!told.words) return input.focus();
  if (await edit({op: "scale", text: withUnit(input.value), points: told.points.map(({member, hole, face}) => ({member, hole, face}))})) {
    notice(build.undo);
    leave();
  }
}

function row(p, i) {
  const by = step => ask(told.points.map((q, k) => k === i ? {...q, hole: q.hole + step} : q));
  const button = (text, step) => h("button", {type: "button", "aria-label": `${i ? "To" : "From"} the ${step < 0 ? "hole before" : "next hole"} of ${p.member}`, disabled: p.hole + step < 0 || p.hole + step >= p.holes, onclick: () => by(step)}, text);
  return h("div.row", {}, h("span", {}, i ? "To" : "From"), h("span.tag", {}, p.member), h("span", {}, `hole ${p.hole + 1} of ${p.holes}`), button("−", -1), button("+", 1));
}

/** What the card shows while measuring. */
export function measureCard() {
  const two = told.points.length === 2;
  input.placeholder = inInches() ? "24 1/8 in" : "571.5 mm";
  effect.textContent = told.problem && (input.value || !told.where) ? told.problem : told.words ? `${told.words}. ${told.how_sure}` : `Lay the tape from centre to centre and type what it shows, in mm or inches (610 mm, 24 1/8 in).`;
  return [h("div.cardhead", {}, h("h2", {}, "Measure"), h("button.quiet", {type: "button", "aria-label": "Stop measuring", onclick: leave}, "✕")),
    told.problem && !told.where ? null : h("p", {}, next()), ...told.points.map(row),
    two ? h("label", {for: "measured"}, "What the tape shows, centre of hole to centre of hole") : null, two ? input : null, two ? effect : null,
    two ? h("div.buttons", {}, h("button.main", {type: "button", disabled: !told.words, onclick: take, title: "Enter"}, "Take it"), h("button", {type: "button", onclick: clear}, "Pick again")) : null].filter(Boolean);
}
