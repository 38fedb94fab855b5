// The steps of putting the frame together, and how far they are done, as this page knows them; every tick,
// note and photo goes to the server from here. Needs api, dom.

import {get, post, upload} from "../core/api.js";
import {nameOf} from "../core/camera-name.js";
import {byId} from "../core/dom.js";

export const work = {
  n: -1, // the frame's version that the steps are of
  name: "",
  steps: [], // as webui/derived/steps.py has them
  standing: null, // as webui/views/assembly.py has it
  plan: {why: [], finish: [], loose: "", caution: ""},
  at: 0, // the place of the step that is shown, from 0; the number of steps for what comes at the end
};

const SAID_MS = 5000;
let saidTimer = 0;
let redraw = () => {};
let queue = Promise.resolve();

/**
 * Says what draws the page.
 * @param {function(): void} draw called when anything is another
 */
export function begin(draw) {
  redraw = draw;
}

/** Loads steps and ticks; the step that is shown stays, wherever it is now. */
export async function load() {
  const payload = await get("/api/assembly");
  const shown = keyText(work.steps[work.at]);
  const {n, build, steps = [], standing = null, why = [], finish = [], loose = "", caution = ""} = payload;
  const name = build.name || build.folder;
  Object.assign(work, {n, name, steps, standing, plan: {why, finish, loose, caution}});
  const place = steps.findIndex(step => keyText(step) === shown);
  if (place >= 0) work.at = place;
  else work.at = Math.min(work.at, steps.length);
  redraw();
}

/**
 * What names a step, as text.
 * @param {{key: Object}} [step]
 * @returns {string}
 */
export const keyText = step => (step ? JSON.stringify(step.key) : "");

/**
 * What a step is called.
 * @param {Object} step
 * @returns {string}
 */
export const titleOf = ({number, group}) =>
  `Step ${number} of ${work.steps.length}${group ? `: sub-frame ${group}` : ""}`;

/**
 * Shows a step.
 * @param {number} place from 0
 */
export function go(place) {
  work.at = Math.max(0, Math.min(place, work.steps.length));
  history.replaceState(null, "", `#${work.at + 1}`);
  redraw();
  byId("step").focus({preventScroll: true});
  scrollTo(0, 0);
}

/**
 * Says something, on the page and to screen readers.
 * @param {string} text
 * @param {boolean} [bad] whether something went wrong
 */
export function say(text, bad = false) {
  const place = byId("said");
  clearTimeout(saidTimer);
  place.textContent = text;
  place.classList.toggle("bad", bad);
  if (!bad) saidTimer = setTimeout(() => place.replaceChildren(), SAID_MS);
}

function takeOver({n, words, standing}) {
  work.standing = standing;
  say(words);
  if (n === work.n) redraw();
  else load();
}

/**
 * Sends something, after what was sent before it.
 * @param {string} path after /api/assembly/
 * @param {Object} data
 * @returns {Promise<boolean>} whether it was kept
 */
export function send(path, data) {
  const act = async () => {
    try {
      takeOver(await post(`/api/assembly/${path}`, data));
      return true;
    } catch (error) {
      say(error.message, true);
      await load().catch(() => {});
      return false;
    }
  };
  queue = queue.then(act, act);
  return queue;
}

/**
 * Sends a photo of a step.
 * @param {File} file
 * @param {Object} step
 * @param {function(number): void} progress
 */
export async function sendPhoto(file, step, progress) {
  const headers = {
    "X-Photo-Name": encodeURIComponent(nameOf(file)),
    "X-Step": encodeURIComponent(keyText(step)),
    "Content-Type": "application/octet-stream",
  };
  takeOver(await upload("/api/assembly/photo", file, headers, progress));
}

/**
 * Whether a member is in.
 * @param {string} id
 * @returns {boolean}
 */
export const isMemberIn = id => work.standing.members.includes(id);

/**
 * Whether a fitting is on.
 * @param {string} id
 * @returns {boolean}
 */
export const isFittingOn = id => work.standing.fittings.includes(id);

/**
 * Whether a bolt is in.
 * @param {{through: Array}} bolt
 * @returns {boolean}
 */
export const isBoltIn = ({through}) => {
  const key = String(through);
  return work.standing.bolts.some(bolt => String(bolt) === key);
};

/**
 * Whether a step is done.
 * @param {number} place from 0
 * @returns {boolean}
 */
export const isDone = place => Boolean(work.standing.done[place]);

/**
 * All that can be ticked in a step, in the order in which it is shown.
 * @param {Object} step
 * @returns {{isIn: boolean, request: Object}[]}
 */
export function itemsOf(step) {
  const members = step.members.map(({id}) => ({isIn: isMemberIn(id), request: {members: [id]}}));
  const fittings = step.fittings.map(({id}) => ({isIn: isFittingOn(id), request: {fittings: [id]}}));
  const bolts = step.bolts.map(bolt => ({isIn: isBoltIn(bolt), request: {bolts: [bolt.through]}}));
  return [...members, ...fittings, ...bolts];
}

/**
 * Ticks an item of a step, or takes its tick away.
 * @param {{isIn: boolean, request: Object}} item
 * @returns {Promise<boolean>}
 */
export const toggle = ({isIn, request}) => send("tick", {...request, on: !isIn});

/**
 * Ticks all of a step, or takes all its ticks away.
 * @param {Object} step
 * @param {boolean} on
 * @returns {Promise<boolean>}
 */
export function tickStep(step, on) {
  const members = step.members.map(({id}) => id);
  const fittings = step.fittings.map(({id}) => id);
  const bolts = step.bolts.map(({through}) => through);
  const steps = members.length || fittings.length || bolts.length ? [] : [step.key];
  return send("tick", {members, fittings, bolts, steps, on});
}
