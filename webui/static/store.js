// The build as this page knows it, and the only way to the server.

import {announce, notice} from "./dom.js";
import {settleConflict} from "./conflict.js";

const token = document.querySelector("meta[name=build-token]").content;

export const build = {
  n: 0, name: "", folder: "", pitch_mm: null, stock: null, undo: null, redo: null,
  members: new Map(), joints: [], laps: new Map(),
  bolts: new Map(),                  // member -> Map(hole -> its bolt)
  said: {}, notes: [],
  photos: [], stocks: [], doubts: [], job: {running: false}, plan: null,
  shapes: new Map(),                 // photo -> Map(id -> shape), for photos that were asked for
  found: new Map(),                  // photo -> {openings, rows}
};
export const chosen = {members: [], lap: null, end: 1, doubt: -1};
export const changed = new Map();    // id -> when, for what stands out for a moment
export const rest = {n: 0};          // grows whenever anything drawn on photos can have changed but what is chosen
export const MOMENT_MS = 2500;

const listeners = new Map();
export function on(event, listener) {
  if (!listeners.has(event)) listeners.set(event, []);
  listeners.get(event).push(listener);
}
export function tell(event, detail) { for (const listener of listeners.get(event) || []) listener(detail); }

export const lapKey = joint => {
  const ends = [[joint.a, joint.a_hole], [joint.b, joint.b_hole]].sort((p, q) => p[0] < q[0] ? -1 : p[0] > q[0] ? 1 : p[1] - q[1]);
  return [...ends[0], ...ends[1]];
};
export const lapName = ([a, i, b, j]) => `hole ${i + 1} of ${a} on hole ${j + 1} of ${b}`;

// Asking

const SILENT = "The page does not answer; is the program still running?";

export async function get(path) {
  const answer = await fetch(path, {headers: {Accept: "application/json"}}).catch(() => { throw new Error(SILENT); });
  const data = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(data.problem || `The page answered ${answer.status}.`), {status: answer.status});
  return data;
}

export async function post(path, data, options = {}) {
  const answer = await fetch(path, {method: "POST", headers: {"Content-Type": "application/json", "X-Build-Token": token, ...options.headers}, body: options.body ?? JSON.stringify(data)})
    .catch(() => { throw new Error(`${SILENT} Your change was not confirmed.`); });
  const told = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(told.problem || `The page answered ${answer.status}.`), {told, status: answer.status});
  return told;
}

/** An upload with progress 0..1; resolves to the answer. */
export function upload(path, file, headers, progress) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    for (const [k, v] of Object.entries({"X-Build-Token": token, ...headers})) request.setRequestHeader(k, v);
    request.upload.onprogress = event => event.lengthComputable && progress(event.loaded / event.total);
    request.onload = () => {
      let told = {};
      try { told = JSON.parse(request.responseText); } catch { /* told below */ }
      if (request.status < 300) resolve(told); else reject(new Error(told.problem || `The page answered ${request.status}.`));
    };
    request.onerror = () => reject(new Error(`${file.name}: the connection broke; is the page still running?`));
    request.send(file);
  });
}

// Taking over

function apply(delta) {
  const members = delta.members || {put: [], gone: []};
  for (const id of members.gone) build.members.delete(id);
  for (const m of members.put) build.members.set(m.id, m);
  if (delta.order) build.members = new Map(delta.order.map(id => [id, build.members.get(id)]));
  if (delta.joints) {
    for (const key of delta.joints.gone) build.laps.delete(String(key));
    for (const j of delta.joints.put) build.laps.set(String(lapKey(j)), j);
    build.joints = [...build.laps.values()];
    const ids = new Set([...delta.joints.gone.flatMap(key => [key[0], key[2]]), ...delta.joints.put.flatMap(j => [j.a, j.b])]);
    const bolts = new Map([...ids].map(id => [id, new Map()]));
    for (const j of build.joints) for (const [id, hole] of [[j.a, j.a_hole], [j.b, j.b_hole]]) bolts.get(id)?.set(hole, j.bolt);
    for (const [id, now] of bolts) if (String([...now]) !== String([...build.bolts.get(id) || []])) build.bolts.set(id, now);      // else it stays, and what was drawn of it
  }
  const f = delta.frame || {};
  if ("pitch_mm" in f) build.pitch_mm = f.pitch_mm;
  if ("stock" in f) build.stock = f.stock;
  if ("name" in f) build.name = f.name;
  if ("doubts" in f) build.notes = f.doubts;
  for (const [key, value] of Object.entries(delta.said || {})) if (value === null) delete build.said[key]; else build.said[key] = value;
  chosen.members = chosen.members.filter(id => build.members.has(id));
  if (chosen.lap && !build.laps.has(String(chosen.lap)) ) chosen.lap = null;
}

export async function load(quiet = false) {
  const data = await get("/api/build");
  const before = new Map(build.members);
  Object.assign(build, {n: data.n, folder: data.folder, undo: data.undo, redo: data.redo, photos: data.photos, stocks: data.stocks,
    plan: data.plan, members: new Map(), laps: new Map(), joints: [], bolts: new Map(), said: {}, name: "", pitch_mm: null, stock: null, notes: []});
  apply(data.delta);
  if (before.size) for (const [id, m] of build.members) if (JSON.stringify(before.get(id)) !== JSON.stringify(m)) changed.set(id, performance.now());
  build.shapes.clear();
  rest.n++;
  for (const text of quiet ? [] : data.notices) notice(text, "warn", true);
  tell("photos");
  tell("changed");
}

/** Where every member lies in one photo; asked for once, then kept right by the answers to changes. */
export async function shapesOf(photo) {
  if (!build.shapes.has(photo)) {
    build.shapes.set(photo, new Map());
    const n = build.n;
    const {shapes} = await get(`/api/shapes/${encodeURIComponent(photo)}`);
    if (n === build.n) build.shapes.set(photo, new Map(Object.entries(shapes))); else build.shapes.delete(photo);
    rest.n++;
    tell("draw");
  }
  return build.shapes.get(photo);
}

export async function foundIn(photo) {
  if (!build.found.has(photo)) {
    build.found.set(photo, {openings: [], rows: []});
    build.found.set(photo, await get(`/api/photos/${encodeURIComponent(photo)}/found`));
    rest.n++;
    tell("draw");
  }
  return build.found.get(photo);
}

let waiting = Promise.resolve(), moment = 0;

/** Sends one change after another: `path` with the version that this page shows. Resolves to true when it was made. */
function change(path, data) {
  const send = () => attempt(path, data, build.n);
  waiting = waiting.then(send, send);
  return waiting;
}

async function attempt(path, data, base) {
  try {
    takeOver(await post(path, {...data, base}));
    return true;
  } catch (error) {
    if (error.told?.conflict) return inConflict(path, data, error.told);
    notice(error.message, "warn");
    announce(error.message);
    return false;
  }
}

function takeOver(told) {
  const touched = [...told.delta.members?.put.map(m => m.id) || [], ...told.delta.members?.gone || []];
  if (told.again || told.delta.said?.marks !== undefined || touched.some(id => !chosen.members.includes(id))) rest.n++;
  Object.assign(build, {n: told.n, undo: told.undo, redo: told.redo});
  const turned = wasTurned(told.delta);
  apply(told.delta);
  const now = performance.now();
  for (const m of turned ? [] : told.delta.members?.put || []) changed.set(m.id, now);
  if (told.again) { build.shapes.clear(); refreshPhotos(); }
  for (const [photo, shapes] of Object.entries(told.shapes)) {
    const known = build.shapes.get(photo);
    if (!known) continue;
    for (const m of told.delta.members?.put || []) known.delete(m.id);
    for (const [id, shape] of Object.entries(shapes)) known.set(id, shape);
  }
  for (const id of told.delta.members?.gone || []) for (const known of build.shapes.values()) known.delete(id);
  announce(told.words);
  tell("changed", told.words);
  if (turned) tell("turned");
  clearTimeout(moment);                               // of several quick changes, all lose their mark when the last does
  moment = setTimeout(() => tell("draw"), MOMENT_MS + 50);
}

/** Whether a change moves the whole frame as it is: then nothing of it is another. */
function wasTurned(delta) {
  const put = delta.members?.put || [], was = m => build.members.get(m.id);
  return put.length > 1 && put.length === build.members.size && put.every(m => was(m)?.holes === m.holes && String([was(m).first, was(m).direction]) !== String([m.first, m.direction]));
}

async function refreshPhotos() { build.photos = (await get("/api/build")).photos; rest.n++; tell("photos"); }

/** Asks what should become of a change that was meant for an older version; theirs is shown in any case. */
async function inConflict(path, data, told) {
  const answer = await settleConflict(told);
  await load(true);
  return answer ? attempt(path, answer === "instead" ? {...data, instead_from: told.base} : data, told.n) : false;
}

export const edit = request => change("/api/edit", {ask: request});
export const undo = () => build.undo ? change("/api/undo", {}) : Promise.resolve(false);
export const redo = () => build.redo ? change("/api/redo", {}) : Promise.resolve(false);

// Choosing

export function choose(ids, lap = null, add = false) {
  ids = [ids].flat().filter(id => build.members.has(id));
  if (add) ids = ids.every(id => chosen.members.includes(id)) ? chosen.members.filter(id => !ids.includes(id)) : [...new Set([...chosen.members, ...ids])];
  if (String(ids) !== String(chosen.members)) rest.n++;
  chosen.members = ids;
  chosen.lap = lap;
  tell("chosen");
}

// What happens without this page

let beat = 0, pulses = 0;
export async function pulse() {
  clearTimeout(beat);
  const mine = ++pulses;
  try {
    const told = await get("/api/pulse");
    if (mine !== pulses) return;                              // a newer one is under way; this may tell of before a reading was begun
    if (build.start && told.start !== build.start) return location.reload();      // the program was started again; all that was confirmed is in its journal
    build.start = told.start;
    const was = build.job;
    build.job = told.job;
    for (const [photo, times] of Object.entries(told.job.found)) if ((was.found || {})[photo] !== times) { build.found.delete(photo); rest.n++; tell("found", photo); }
    if (build.photos.some(p => p.here && p.levels === null && !p.problem && told.ready.includes(p.name))) await refreshPhotos();
    await waiting;
    if (told.n > build.n) {
      if (!was.running) notice(`Changed in another tab or on another device, and shown here now: ${(told.news || []).slice(build.n - told.n).join("; ")}.`);
      await load(true);
    }
    if (was.running && !told.job.running) wasRead(told);
    tell("job");
  } catch (error) { notice(error.status ? error.message : `${SILENT} Nothing of what was confirmed is lost.`, "warn"); }
  clearTimeout(beat);
  beat = setTimeout(pulse, build.job.running ? 500 : 2000);
}

/** Says what became of a reading, with all photos that it left out. */
function wasRead({job, news}) {
  if (job.problem) return notice(job.problem, "warn", true);
  if (job.cancelled) return notice("The reading was cancelled; nothing was changed.");
  tell("read");
  const differ = (build.said.conflicts || []).length, words = `${(news || []).at(-1) || "The photos were read"}. ${differ ? "That comes first in Doubts." : "What is least sure comes first in Doubts."}`;
  notice([words, ...job.left_out.map(([photo, reason]) => `${photo}: ${reason}`)].join(" "), job.left_out.length ? "warn" : "", Boolean(differ || job.left_out.length));
  announce(words);
}
