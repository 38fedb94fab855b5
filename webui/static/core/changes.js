// Changes of the build: sent one after another, each for the version that this page shows; what the server
// made of it is taken over, and where another tab or device was faster the user is asked. Needs api, build,
// selection, loading, conflict.

import {post} from "./api.js";
import {applyDelta, build} from "./build.js";
import {settleConflict} from "./conflict.js";
import {emit} from "./events.js";
import {load, refreshPhotos} from "./loading.js";
import {announce, notice} from "./messages.js";
import {backdrop, changed, MOMENT_MS} from "./repaint.js";
import {chosen, dropMissing} from "./selection.js";

let queue = Promise.resolve();
let momentTimer = 0;

/**
 * Makes an edit.
 * @param {Object} request {op, ...}, as recon.corrections takes it
 * @returns {Promise<boolean>} whether it was made
 */
export const edit = request => change("/api/edit", {ask: request});

/**
 * Makes a change by another address than that of edits.
 * @param {string} path
 * @param {Object} data what it takes
 * @returns {Promise<boolean>} whether it was made
 */
export const changeBy = (path, data) => change(path, data);

/** @returns {Promise<boolean>} whether the last change was undone */
export const undo = () => (build.undo ? change("/api/undo", {}) : Promise.resolve(false));

/** @returns {Promise<boolean>} whether what was undone last is done again */
export const redo = () => (build.redo ? change("/api/redo", {}) : Promise.resolve(false));

/** @returns {Promise<*>} done once all changes that were sent are answered */
export const changesDone = () => queue;

/** Sends a change after those before it. */
function change(path, data) {
  const send = () => attempt(path, data, build.n);
  queue = queue.then(send, send);
  return queue;
}

async function attempt(path, data, base) {
  try {
    takeOver(await post(path, {...data, base}));
    return true;
  } catch (error) {
    if (error.payload?.conflict) return inConflict(path, data, error.payload);
    notice(error.message, "warn");
    announce(error.message);
    return false;
  }
}

/** Asks what should become of a change that was meant for an older version; theirs is shown in any case. */
async function inConflict(path, data, conflict) {
  const choice = await settleConflict(conflict);
  await load(true);
  if (!choice) return false;
  return attempt(path, choice === "instead" ? {...data, instead_from: conflict.base} : data, conflict.n);
}

/** Takes over what the server answered to a change, and shows it. */
function takeOver(payload) {
  const put = payload.delta.members?.put || [];
  const deleted = payload.delta.members?.gone || [];
  const others = [...put.map(m => m.id), ...deleted].some(id => !chosen.members.includes(id));
  if (payload.again || payload.delta.said?.marks !== undefined || others) backdrop.version++;
  const {n, undo, redo, sides} = payload;
  Object.assign(build, {n, undo, redo, sides});
  takeFittings(payload.fittings);
  const turned = turnsAll(put);
  applyDelta(payload.delta);
  dropMissing();
  const now = performance.now();
  for (const m of turned ? [] : put) changed.set(m.id, now);
  updateShapes(payload, put, deleted);
  announce(payload.words);
  emit("changed", payload.words);
  if (turned) emit("turned");
  clearTimeout(momentTimer); // of several quick changes, all lose their mark when the last does
  momentTimer = setTimeout(() => emit("draw"), MOMENT_MS + 50);
}

/** Takes over the fittings; where none is another they stay the same list, and are not drawn again. */
function takeFittings(fittings) {
  if (JSON.stringify(fittings) === JSON.stringify(build.fittings)) return;
  build.fittings = fittings;
  backdrop.version++;
}

function updateShapes(payload, put, deleted) {
  if (payload.again) {
    build.shapes.clear();
    refreshPhotos();
  }
  for (const [photo, shapes] of Object.entries(payload.shapes)) {
    const known = build.shapes.get(photo);
    if (!known) continue;
    for (const m of put) known.delete(m.id);
    for (const [id, shape] of Object.entries(shapes)) known.set(id, shape);
  }
  for (const id of deleted) for (const known of build.shapes.values()) known.delete(id);
}

/** Whether a change moves the whole frame as it is: then nothing of it is another. */
function turnsAll(put) {
  const place = m => String([m.first, m.direction]);
  const moved = m => {
    const before = build.members.get(m.id);
    return before?.holes === m.holes && place(before) !== place(m);
  };
  return put.length > 1 && put.length === build.members.size && put.every(moved);
}
