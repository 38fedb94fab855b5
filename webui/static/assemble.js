// The page for putting the frame together: one step at a time, by touch or by keys. Needs assembly/*, api,
// dom.

import {drawKept, drawNotes} from "./assembly/notes.js";
import {drawEnd, drawEnding, drawStep, finishStep} from "./assembly/step-view.js";
import {begin, go, isDone, itemsOf, load, say, send, titleOf, toggle, work} from "./assembly/work.js";
import {get} from "./core/api.js";
import {byId, h} from "./core/dom.js";

const QUIET_MS = 2500;
const END = {key: {kind: "end", members: [], time: 1}};
const WAIT = "The steps are being worked out…";
const NO_FRAME = "There is no frame yet: read its photos, or build it by hand, on the whole page.";

function draw() {
  const focused = document.activeElement?.dataset.key;
  const {steps, standing, at} = work;
  document.title = `Putting together ${work.name}`;
  byId("name").textContent = work.name;
  byId("back").disabled = at === 0;
  byId("next").disabled = at >= steps.length;
  byId("undo").disabled = !standing?.undo;
  byId("undo").title = standing?.undo ? `Take back: ${standing.undo}` : "";
  if (!standing) return byId("step").replaceChildren(h("p.text", {}, work.n < 0 ? WAIT : NO_FRAME));
  drawProgress();
  drawEnding();
  byId("changed").replaceChildren(...changedRows());
  const step = steps[at];
  byId("title").textContent = step ? titleOf(step) : "At the end";
  byId("step").replaceChildren(...(step ? drawStep(step) : drawEnd()));
  byId("notes").replaceChildren(...notesBelow(step));
  if (focused) [...document.querySelectorAll("[data-key]")].find(e => e.dataset.key === focused)?.focus();
  return undefined;
}

function drawProgress() {
  const {done, at, bolts} = work.standing;
  const all = work.steps.flatMap(step => step.bolts).length;
  const count = work.steps.length;
  const where = work.at < count ? `Step ${work.at + 1} of ${count}` : "At the end";
  byId("words").replaceChildren(
    h("span.where", {}, where),
    h("span.dim", {}, `${bolts.length} of ${all} bolts in ▾`),
  );
  byId("go-on").hidden = work.at === at;
  byId("go-on").textContent = at < count ? `Go on at step ${at + 1}` : "Go on at the end";
  byId("bar").max = Math.max(1, done.length + all);
  byId("bar").value = done.filter(Boolean).length + bolts.length;
  byId("all").replaceChildren(...work.steps.map(overviewItem), overviewItem(null, count));
}

function overviewItem(step, place) {
  const current = place === work.at ? "step" : null;
  const attributes = {type: "button", "aria-current": current, onclick: () => chooseStep(place)};
  const ids = [...(step?.members || []), ...(step?.fittings || [])].map(m => m.id);
  const brings = ids.length ? ids : step?.key.members;
  const text = step?.key.kind === "turn" ? "turn it" : brings?.join(", ");
  const words = step ? `Step ${step.number}: ${text}` : "At the end";
  const mark = isDone(place) ? "✓" : "";
  return h("li", {}, h("button", attributes, h("span.mark", {}, mark), words));
}

function chooseStep(place) {
  byId("overview").open = false;
  go(place);
}

/** What was ticked and is otherwise in the frame now. */
function changedRows() {
  const {changed, behind} = work.standing;
  const why = work.plan.why.map(text => h("li", {}, text));
  const rows = changed.map(({text, member, fitting, key}) => {
    const now = {members: [member].filter(Boolean), fittings: [fitting].filter(Boolean), on: true};
    const isThere = Boolean(member || fitting);
    return h(
      "li",
      {},
      h("span", {}, text),
      isThere ? act("It is in as it is now", () => send("tick", now)) : null,
      act(isThere ? "Not in" : "Taken out", () => send("settle", {key})),
    );
  });
  const left = behind.filter(place => place !== work.at);
  if (!left.length || work.at < left[0]) return [...why, ...rows];
  const jumps = left.slice(0, 4).map(place => act(`Step ${place + 1}`, () => go(place)));
  return [...why, ...rows, h("li", {}, h("span", {}, "Left behind, not done:"), jumps)];
}

const act = (text, onclick) => h("button", {type: "button", onclick}, text);

function notesBelow(step) {
  const {extras, others} = work.standing;
  const rest = others.notes.length + others.photos.length;
  const kept = rest
    ? h(
        "section.notes",
        {},
        h("h2", {}, "Notes and photos of steps that are no more"),
        ...drawKept(null, others),
      )
    : null;
  return [drawNotes(step || END, extras[work.at]), step ? null : kept].filter(Boolean);
}

const KEYS = {
  ArrowRight: () => go(work.at + 1),
  ArrowLeft: () => go(work.at - 1),
  d: stepDone,
  u: () => work.standing?.undo && send("undo", {}),
};

function stepDone() {
  const step = work.steps[work.at];
  if (!step) return;
  if (isDone(work.at)) go(work.at + 1);
  else finishStep(step, work.at);
}

function key(event) {
  const typing = /^(TEXTAREA|SELECT)$/.test(event.target.tagName) || event.target.type === "text";
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  const step = work.steps[work.at];
  const item = step && /^[1-9]$/.test(event.key) && itemsOf(step)[Number(event.key) - 1];
  const action = item ? () => toggle(item) : KEYS[event.key];
  if (!action) return;
  event.preventDefault();
  action();
}

/** Keeps the screen on while this page is in sight, where the browser lets it. */
async function stayOn() {
  if (document.visibilityState !== "visible") return;
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // a battery that is low, or a page without a secure connection
  }
}

async function watch() {
  try {
    const {n, work: version} = await get("/api/pulse");
    const shown = work.standing?.work ?? 0;
    if (n !== work.n || version !== shown) await load();
    document.body.dataset.ready = "true";
  } catch (error) {
    say(error.message, true);
  }
  setTimeout(watch, QUIET_MS);
}

const theme = localStorage.getItem("theme");
if (theme) document.documentElement.dataset.theme = theme;
begin(draw);
byId("back").onclick = () => go(work.at - 1);
byId("next").onclick = () => go(work.at + 1);
byId("undo").onclick = KEYS.u;
byId("done").onclick = stepDone;
byId("go-on").onclick = () => go(work.standing.at);
document.addEventListener("keydown", key);
document.addEventListener("visibilitychange", stayOn);
matchMedia("(max-width: 640px)").addEventListener("change", draw);
stayOn();
await load().catch(error => say(error.message, true));
const place = Number(location.hash.slice(1)) - 1;
go(place >= 0 ? place : (work.standing?.at ?? 0));
watch();
