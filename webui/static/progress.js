// How a reading goes on: its stage in words, which photos are done, and for how long it has run. A stage can be silent for a minute,
// so something moves and the seconds count while the reader lives; the bar itself tells no more than the reader does.

import {announce, byId, h} from "./dom.js";
import {build, on} from "./store.js";

const KEPT = "reading";            // of this tab, so that a page loaded again goes on counting
let run = null, clock = 0;         // {since: ms, before: photo -> how often it had been renewed when this reading began, whole: seen from its beginning}

export function begin() { on("job", show); }

function kept() { try { return JSON.parse(sessionStorage.getItem(KEPT)); } catch { return null; } }

function started(job) {
  run = kept();
  const counts = Object.entries(job.found || {});
  // A kept beginning may be of another reading, whose count has gone on since or begun anew.
  if (!run || counts.some(([photo, n]) => n < (run.before[photo] || 0))) run = {since: Date.now(), before: job.found || {}, whole: job.stage === "starting"};
  sessionStorage.setItem(KEPT, JSON.stringify(run));
  clock = setInterval(time, 1000);
}

function ended() {
  clearInterval(clock);
  sessionStorage.removeItem(KEPT);
  run = null; said = -1;
}

let said = -1;

function show() {
  const job = build.job;
  byId("job").hidden = !job.running;
  byId("read").disabled = job.running;
  if (!job.running) return ended();
  if (!run) started(job);
  const photos = build.photos.filter(p => p.here && (p.used || !(build.said.aside || []).includes(p.name)));
  const done = new Set(photos.filter(p => (job.found[p.name] || 0) > (run.before[p.name] || 0)).map(p => p.name));
  byId("job-bar").value = job.share;
  byId("job-words").textContent = words(job.stage);
  byId("job-count").textContent = photos.length ? `${done.size} of ${photos.length} photos done` : "";
  byId("job-photos").replaceChildren(...photos.map(p => h("li", {"data-done": String(done.has(p.name))}, h("span", {"aria-hidden": "true"}, done.has(p.name) ? "✓ " : "○ "), p.name, h("span.unseen", {}, done.has(p.name) ? ": done" : ": not done yet"))));
  if (done.size !== said && said >= 0) announce(`${done.size} of ${photos.length} photos done`);
  said = done.size;
  time();
}

/** A stage as it is said to people; that of single photos is one, since two are read at a time. */
function words(stage) {
  if (/^(reading|looking for) /.test(stage)) return "Looking for openings and rows in each photo";
  return stage ? stage[0].toUpperCase() + stage.slice(1) : "Starting";
}

function time() {
  if (!run) return;
  const s = Math.floor((Date.now() - run.since) / 1000);
  byId("job-time").textContent = `${run.whole ? "" : "more than "}${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}
