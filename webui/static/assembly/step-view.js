// One step, large: its picture, what to do, members and bolts to tick. Needs work, dom.

import {byId, h} from "../core/dom.js";
import {
  go,
  isBoltIn,
  isDone,
  isFittingOn,
  isMemberIn,
  itemsOf,
  tickStep,
  titleOf,
  toggle,
  work,
} from "./work.js";

const PICTURES_KEPT = 8;
const TALL = matchMedia("(max-width: 640px)");
const pictures = new Map(); // address -> image, so that it neither blinks nor is asked for twice

/**
 * Draws the step that is shown.
 * @param {Object} step
 * @returns {Node[]}
 */
export function drawStep(step) {
  const place = work.at;
  pictureOf(work.steps[place + 1]); // so that the next one is there at once
  return [
    h(
      "div.look",
      {},
      pictureOf(step),
      h("a.turn", {href: `/assemble/space?step=${step.number}`}, "Turn it in 3-D"),
    ),
    h(
      "div.todo",
      {},
      h("p.text", {}, step.text),
      step.kit ? h("p.kit", {}, h("span.dim", {}, "Have at hand: "), step.kit) : null,
      memberList(step),
      fittingList(step),
      boltList(step),
      step.bolts.length ? h("p.dim", {}, work.plan.loose) : null,
      step.bare.length ? h("p.dim", {}, `Without a bolt: ${step.bare.join("; ")}`) : null,
      isDone(place) ? notDone(step) : null,
    ),
  ];
}

/** The picture of a step; null for none. */
function pictureOf(step) {
  if (!step) return null;
  const shape = TALL.matches ? "tall" : "wide";
  const address = `/api/assembly/picture?step=${step.number}&shape=${shape}&n=${work.n}`;
  let image = pictures.get(address);
  if (!image) {
    image = h("img.picture", {src: address, alt: `${titleOf(step)}: ${step.text}`});
    image.addEventListener("click", () => image.classList.toggle("large"));
    pictures.set(address, image);
    if (pictures.size > PICTURES_KEPT) pictures.delete(pictures.keys().next().value);
  }
  return image;
}

function memberList(step) {
  if (!step.members.length) return null;
  const items = itemsOf(step);
  const rows = step.members.map(({id, words}, i) =>
    tickRow(`m${id}`, isMemberIn(id), () => toggle(items[i]), [h("span.tag", {}, id), h("span", {}, words)]),
  );
  return h("section", {"aria-label": "Members"}, h("h2", {}, "Members"), h("ul.ticks", {}, rows));
}

function fittingList(step) {
  if (!step.fittings.length) return null;
  const items = itemsOf(step).slice(step.members.length);
  const rows = step.fittings.map(({id, words}, i) =>
    tickRow(`f${id}`, isFittingOn(id), () => toggle(items[i]), [h("span.tag", {}, id), h("span", {}, words)]),
  );
  return h("section", {"aria-label": "Fittings"}, h("h2", {}, "Fittings"), h("ul.ticks", {}, rows));
}

function boltList(step) {
  if (!step.bolts.length) return null;
  const items = itemsOf(step).slice(step.members.length + step.fittings.length);
  const rows = step.bolts.map((bolt, i) =>
    tickRow(`b${bolt.through}`, isBoltIn(bolt), () => toggle(items[i]), [
      h("span", {}, bolt.words),
      h("span.head", {}, [bolt.head && `head ${bolt.head}`, bolt.name].filter(Boolean).join(", ")),
    ]),
  );
  return h("section", {"aria-label": "Bolts"}, h("h2", {}, "Bolts"), h("ul.ticks", {}, rows));
}

function tickRow(key, checked, onchange, words) {
  const box = h("input", {type: "checkbox", checked, onchange, "data-key": key});
  return h("li", {}, h("label", {}, box, h("span.words", {}, words)));
}

/** Takes all ticks of a step that is done away again. */
function notDone(step) {
  const attributes = {type: "button", "data-key": "again", onclick: () => tickStep(step, false)};
  return h("div.ends", {}, h("button", attributes, "Not done: take its ticks away"));
}

/** Shows at the button below what ends the step that is shown, and which way it goes on. */
export function drawEnding() {
  const step = work.steps[work.at];
  const ended = !step || isDone(work.at);
  const done = byId("done");
  done.textContent = ended ? "✓ Done" : "Step done";
  done.hidden = !step;
  done.disabled = ended;
  done.classList.toggle("main", !ended);
  byId("next").classList.toggle("main", ended && Boolean(step));
}

/**
 * Ticks all of a step and goes on to the next.
 * @param {Object} step
 * @param {number} place
 */
export async function finishStep(step, place) {
  if ((await tickStep(step, true)) && work.at === place) go(place + 1);
}

function endRow(text, i) {
  const isDone = work.standing.finish[i];
  const steps = [{kind: "end", members: [text], time: 1}];
  return tickRow(`e${i}`, isDone, () => toggle({isIn: isDone, request: {steps}}), [h("span", {}, text)]);
}

/**
 * Draws what comes after the last step.
 * @returns {Node[]}
 */
export function drawEnd() {
  const open = work.steps.map((_, place) => place).filter(place => !isDone(place));
  const {finish, caution} = work.plan;
  const jump = place => h("button", {type: "button", onclick: () => go(place)}, `Step ${place + 1}`);
  return [
    h(
      "div.todo",
      {},
      open.length
        ? h("section", {}, h("p.text", {}, "Not done yet:"), h("div.jumps", {}, open.map(jump)))
        : h("p.text", {}, "All is together."),
      finish.length ? h("h2", {}, "To do at the end") : null,
      h("ul.ticks", {}, finish.map(endRow)),
      h("p.caution", {}, caution),
    ),
  ];
}
