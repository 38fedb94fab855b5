// The pictures side by side: photos and the frame in space; one can be enlarged.

import {byId, h} from "./dom.js";
import {build, on} from "./store.js";
import {PhotoView} from "./photo.js";
import {SpaceView} from "./space.js";
import {choosePhotos, startTile} from "./start.js";

export const views = {photos: new Map(), space: null, large: null};
const narrow = matchMedia("(max-width: 999px)");

export function begin() {
  views.space = new SpaceView(enlarge);
  byId("more-photos").onclick = choosePhotos;
  byId("fit").onclick = fitAll;
  on("photos", refresh);
  on("changed", () => { views.space.update(); for (const view of all()) view.paintNow(); });
  on("draw", () => { views.space.tint?.(); redraw(); });
  on("chosen", () => { views.space.tint?.(); redraw(); });
  on("turned", () => views.space.fit());
  on("found", photo => views.photos.get(photo)?.draw());
  narrow.addEventListener("change", refresh);
  const sight = document.querySelector(".sight");       // on a narrow page it stays on top: what is scrolled to comes to lie under it
  new ResizeObserver(() => document.documentElement.style.setProperty("scroll-padding-top", narrow.matches ? `${sight.offsetHeight}px` : "0")).observe(sight);
}

export function redraw() { for (const view of views.photos.values()) view.draw(); }
export const all = () => [...views.photos.values(), ...(build.members.size ? [views.space] : [])];

function refresh() {
  const names = new Set(build.photos.map(p => p.name));
  for (const name of views.photos.keys()) if (!names.has(name)) views.photos.delete(name);
  for (const photo of build.photos) {
    const view = views.photos.get(photo.name);
    if (view) view.update(photo); else views.photos.set(photo.name, new PhotoView(photo, enlarge));
  }
  if (views.large && !all().includes(views.large)) views.large = null;
  if (narrow.matches && !views.large) views.large = all()[0] || null;
  const tiles = byId("tiles");
  const wanted = [...all().map(v => v.element), ...(build.photos.length ? [] : [startTile()])];
  if (wanted.length !== tiles.children.length || wanted.some((e, i) => tiles.children[i] !== e)) tiles.replaceChildren(...wanted);
  tiles.dataset.count = wanted.length;
  document.body.classList.toggle("empty", !build.photos.length);
  if (!build.photos.length) views.large = null;
  show();
}

on("changed", () => { if (Boolean(build.members.size) !== byId("tiles").contains(views.space?.element)) refresh(); });

/** One picture large, or, asked for again, all side by side. */
export function enlarge(view) {
  views.large = views.large === view && !narrow.matches ? null : view;
  show();
}

function show() {
  const tiles = byId("tiles");
  tiles.classList.toggle("one", Boolean(views.large));
  for (const view of all()) {
    view.element.classList.toggle("large", view === views.large);
    const button = view.element.querySelector(".enlarge");
    button.setAttribute("aria-pressed", view === views.large);
  }
  const short = name => name.replace(/\.[^.]+$/, "");
  byId("picker").replaceChildren(
    ...(narrow.matches || all().length < 2 ? [] : [h("button", {type: "button", "aria-pressed": String(!views.large), onclick: () => { views.large = null; show(); }}, "All")]),
    ...all().map((view, i) => h("button", {type: "button", "aria-pressed": String(view === views.large), title: i < 9 ? `Key ${i + 1}` : null, onclick: () => { views.large = view; show(); }}, view === views.space ? "In space" : short(view.name))));
}

/** Brings members into view in all photos. */
export function lookAt(ids, lap) { for (const view of views.photos.values()) view.lookAt(ids, lap); }
export function fitAll() { for (const view of all()) view.fit(); }
