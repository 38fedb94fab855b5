// How a reading goes on: its stage in words, which photos are done, and for how long it has run. A stage
// can be silent for a minute, so something moves and the seconds count while the reader lives; the bar
// itself shows no more than the reader reports. Needs build (`job`), events, messages.

import {build} from "../core/build.js";
import {byId, h} from "../core/dom.js";
import {on} from "../core/events.js";
import {announce} from "../core/messages.js";

const KEPT = "reading"; // of this tab, so that a page loaded again goes on counting

/**
 * {since: ms, before: photo -> how often it had been read when this reading began, whole: seen from its
 * beginning}
 */
let run = null;
let clock = 0;
let announced = -1; // photos done

/** Listens to how the reading goes on. */
export function begin() {
  on("job", show);
}

function keptRun() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

function started(job) {
  run = keptRun();
  const counts = Object.entries(job.found || {});
  // A kept beginning may be of another reading, whose count has gone on since or begun again.
  if (!run || counts.some(([photo, n]) => n < (run.before[photo] || 0))) {
    run = {since: Date.now(), before: job.found || {}, whole: job.stage === "starting"};
  }
  sessionStorage.setItem(KEPT, JSON.stringify(run));
  clock = setInterval(showTime, 1000);
}

function ended() {
  clearInterval(clock);
  sessionStorage.removeItem(KEPT);
  run = null;
  announced = -1;
}

function show() {
  const job = build.job;
  byId("job").hidden = !job.running;
  byId("read").disabled = job.running;
  if (!job.running) return ended();
  if (!run) started(job);
  const aside = build.corrections.aside || [];
  const photos = build.photos.filter(p => p.here && (p.used || !aside.includes(p.name)));
  const isDone = p => job.done.includes(p.name);
  const done = new Set(photos.filter(isDone).map(p => p.name)).size;
  byId("job-bar").value = job.share;
  byId("job-words").textContent = words(job.stage);
  byId("job-count").textContent = photos.length ? `${done} of ${photos.length} photos done` : "";
  byId("job-photos").replaceChildren(...photos.map(p => photoItem(p.name, isDone(p))));
  if (done !== announced && announced >= 0) announce(`${done} of ${photos.length} photos done`);
  announced = done;
  return showTime();
}

function photoItem(name, done) {
  const tick = h("span", {"aria-hidden": "true"}, done ? "✓ " : "○ ");
  const status = h("span.unseen", {}, done ? ": done" : ": not done yet");
  return h("li", {"data-done": String(done)}, tick, name, status);
}

/** A stage as people read it; that of single photos is one, since two are read at a time. */
function words(stage) {
  if (/^(reading|looking for) /.test(stage)) return "Looking for holes and rows in each photo";
  return stage ? stage[0].toUpperCase() + stage.slice(1) : "Starting";
}

function showTime() {
  if (!run) return;
  const seconds = Math.floor((Date.now() - run.since) / 1000);
  byId("job-time").textContent =
    `${run.whole ? "" : "more than "}${clockText(seconds)}${expectedWords(seconds)}`;
}

const clockText = seconds => `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;

/** How long it will take, as readings before took on this machine. */
function expectedWords(seconds) {
  const all = build.job.expected_s;
  if (!all) return "";
  return seconds < all ? ` of about ${clockText(Math.round(all))}` : ", longer than usual";
}
