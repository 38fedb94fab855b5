// What the page asks the server for: the whole build, the list of photos, where members lie in a photo, and
// what was found there. Needs api, build, selection.

import {get} from "./api.js";
import {applyDelta, build, forgetFrame} from "./build.js";
import {emit} from "./events.js";
import {notice} from "./messages.js";
import {backdrop, changed} from "./repaint.js";
import {dropMissing} from "./selection.js";

/**
 * Takes over the whole build as the server has it; members that are different now stand out.
 * @param {boolean} [quiet] without the server's notices
 */
export async function load(quiet = false) {
  const {delta, notices, job: _, ...whole} = await get("/api/build");
  const before = new Map(build.members);
  forgetFrame();
  Object.assign(build, whole); // version, name of the folder, photos, fittings, sides and the like
  applyDelta(delta);
  dropMissing();
  if (before.size) {
    const now = performance.now();
    for (const [id, m] of build.members) {
      if (JSON.stringify(before.get(id)) !== JSON.stringify(m)) changed.set(id, now);
    }
  }
  build.shapes.clear();
  backdrop.version++;
  for (const text of quiet ? [] : notices) notice(text, "warn", true);
  emit("photos");
  emit("changed");
}

/** Takes over the list of photos alone. */
export async function refreshPhotos() {
  build.photos = (await get("/api/build")).photos;
  backdrop.version++;
  emit("photos");
}

/**
 * Where every member lies in one photo; asked for once, then kept right by the responses to changes.
 * @param {string} photo
 * @returns {Promise<Map<string, import("./build.js").Shape>>}
 */
export async function shapesOf(photo) {
  if (!build.shapes.has(photo)) {
    build.shapes.set(photo, new Map());
    const n = build.n;
    const {shapes} = await get(`/api/shapes/${encodeURIComponent(photo)}`);
    if (n === build.n) build.shapes.set(photo, new Map(Object.entries(shapes)));
    else build.shapes.delete(photo);
    backdrop.version++;
    emit("draw");
  }
  return build.shapes.get(photo);
}

/**
 * The openings and rows that were found in one photo; asked for once.
 * @param {string} photo
 * @returns {Promise<{openings: number[][], rows: number[][][]}>}
 */
export async function foundIn(photo) {
  if (!build.found.has(photo)) {
    build.found.set(photo, {openings: [], rows: []});
    build.found.set(photo, await get(`/api/photos/${encodeURIComponent(photo)}/found`));
    backdrop.version++;
    emit("draw");
  }
  return build.found.get(photo);
}
