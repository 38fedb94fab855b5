// The phone's own page: takes photos straight into the build, says where to stand for the next, and shows
// which photos there are. Needs api, camera-name, dom, sending, stand.

import {get} from "./core/api.js";
import {nameOf} from "./core/camera-name.js";
import {byId, h} from "./core/dom.js";
import {sendAll, whenChosen} from "./core/sending.js";
import {sketchOf, whereToStand} from "./core/stand.js";

const QUIET_MS = 3000;
let shown = "";
let version = -1;

async function refresh() {
  const {n, photos, ready} = await get("/api/pulse");
  const key = JSON.stringify([photos, ready]);
  if (key !== shown) {
    shown = key;
    byId("count").textContent = `${photos.length} ${photos.length === 1 ? "photo" : "photos"} in the build`;
    byId("photos").replaceChildren(...photos.map(name => photoItem(name, ready.includes(name))));
  }
  const now = `${n} ${photos.length}`;
  if (now === version) return;
  version = now;
  await showStand(photos.length);
}

function photoItem(name, isReady) {
  const source = isReady ? `/api/photos/${encodeURIComponent(name)}/whole.jpg` : null;
  return h(
    "li",
    {},
    h("img", {src: source, alt: "", loading: "lazy"}),
    h("span", {}, name.replace(/\.\w+$/, "")),
  );
}

async function showStand(count) {
  const {folder, delta} = await get("/api/build");
  byId("name").textContent = `Photos for ${delta.frame?.name || folder}`;
  const {words, sketch} = await whereToStand(count, Boolean(delta.members?.put.length));
  byId("stand-words").textContent = words;
  byId("stand-sketch").replaceChildren(...(sketch ? [sketchOf(sketch)] : []));
}

async function send(files) {
  await sendAll(files, byId("sent"), nameOf, words => {
    byId("live").textContent = words;
  });
  await refresh().catch(() => {});
}

for (const [button, input] of [
  ["take", "camera"],
  ["film", "film-camera"],
  ["pick", "files"],
]) {
  byId(button).onclick = () => byId(input).click();
  whenChosen(byId(input), send);
}

async function watch() {
  try {
    await refresh();
    document.body.dataset.ready = "true";
  } catch (error) {
    byId("stand-words").textContent = error.message;
  }
  setTimeout(watch, QUIET_MS);
}

watch();
