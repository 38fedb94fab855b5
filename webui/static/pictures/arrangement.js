// The pictures side by side: photos and the frame in space; one can be enlarged. Draws them when the build,
// what is chosen or what is found changes. Needs build, events, photo-view, space-view, adding.

import {build} from "../core/build.js";
import {byId, h} from "../core/dom.js";
import {on} from "../core/events.js";
import {choosePhotos, startTile} from "../photos/adding.js";
import * as photoLook from "../photos/look-at.js";
import {PhotoView} from "../photos/photo-view.js";
import * as spaceLook from "../space/look-at.js";
import {SpaceView} from "../space/space-view.js";

/**
 * Views of the frame; they are shown once there are members. A view has `title` (on its button), `element`
 * (its tile, with a button of class "enlarge"), and the methods `update` (the build is another), `redraw`
 * (what is chosen or stands out is another), `fit` and `paintNow`; `shown` is the version of the build that
 * it has painted.
 */
const FRAME_VIEWS = {space: SpaceView};

/** photos: name -> PhotoView; the views of the frame by their names; large: which of all is enlarged. */
export const views = {photos: new Map(), space: null, large: null};

const narrow = matchMedia("(max-width: 999px)");
const MOST_KEYS = 9;

/** Puts the pictures on the page and listens to what changes them. */
export function begin() {
  for (const [name, View] of Object.entries(FRAME_VIEWS)) views[name] = new View(enlarge);
  byId("more-photos").onclick = choosePhotos;
  byId("fit").onclick = fitAll;
  on("photos", refresh);
  on("changed", () => {
    if (frameViews().some(view => byId("tiles").contains(view.element) !== hasFrame())) refresh();
    for (const view of frameViews()) view.update();
    for (const view of all()) view.paintNow();
  });
  for (const event of ["draw", "chosen"]) on(event, redraw);
  for (const event of ["ghosts", "rows"]) {
    on(event, () => {
      if (frameViews().some(view => byId("tiles").contains(view.element) !== hasFrame())) refresh();
    });
  }
  on("copying", () => {
    if (narrow.matches && build.copying && !build.copying.place) showFrame();
  });
  on("turned", () => {
    for (const view of frameViews()) view.fit();
  });
  on("found", photo => views.photos.get(photo)?.draw());
  narrow.addEventListener("change", refresh);
  keepScrollPadding();
}

/** On a narrow page the pictures stay on top: what is scrolled to comes to lie under them. */
function keepScrollPadding() {
  const sight = document.querySelector(".sight");
  const update = () => {
    const padding = narrow.matches ? `${sight.offsetHeight}px` : "0";
    document.documentElement.style.setProperty("scroll-padding-top", padding);
  };
  new ResizeObserver(update).observe(sight);
}

function redraw() {
  for (const view of [...frameViews(), ...views.photos.values()]) view.redraw();
}

/**
 * Whether the views of the frame are there: where there is something to see, or soon will be. While rows are
 * drawn by hand they have their place from the first row on, for a picture must not move under a hand.
 */
const hasFrame = () => build.members.size > 0 || build.ghosts.length > 0 || Boolean(build.rows);

const frameViews = () => Object.keys(FRAME_VIEWS).map(name => views[name]);

/**
 * All pictures, in order.
 * @returns {(PhotoView|SpaceView)[]}
 */
export const all = () => [...views.photos.values(), ...(hasFrame() ? frameViews() : [])];

function refresh() {
  const names = new Set(build.photos.map(p => p.name));
  for (const name of views.photos.keys()) if (!names.has(name)) views.photos.delete(name);
  for (const photo of build.photos) {
    const view = views.photos.get(photo.name);
    if (view) view.update(photo);
    else views.photos.set(photo.name, new PhotoView(photo, enlarge));
  }
  if (!all().includes(views.large)) views.large = null;
  if (narrow.matches) views.large ||= all()[0] || null;
  placeTiles();
  document.body.classList.toggle("empty", !build.photos.length);
  if (!build.photos.length) views.large = null;
  show();
}

function placeTiles() {
  const tiles = byId("tiles");
  const wanted = [...all().map(view => view.element), ...(build.photos.length ? [] : [startTile()])];
  for (const tile of [...tiles.children]) if (!wanted.includes(tile)) tile.remove();
  for (const [i, tile] of wanted.entries()) {
    // one that stays is not touched: a hand may be on it
    if (tiles.children[i] !== tile) tiles.insertBefore(tile, tiles.children[i] || null);
  }
  tiles.dataset.count = wanted.length;
}

/**
 * One picture large, or, asked for again, all side by side.
 * @param {PhotoView|SpaceView} view
 */
export function enlarge(view) {
  views.large = views.large === view && !narrow.matches ? null : view;
  show();
}

/** Makes sure that the frame in space is to be seen. */
export function showFrame() {
  if (views.large && views.large !== views.space) showLarge(views.space);
}

/**
 * Shows one photo alone.
 * @param {string} name
 */
export function showPhoto(name) {
  const view = views.photos.get(name);
  if (view) showLarge(view);
}

/** Shows all pictures side by side, where there is room for them. */
export function showAll() {
  if (!narrow.matches) showLarge(null);
}

function showLarge(view) {
  views.large = view;
  show();
}

function show() {
  byId("tiles").classList.toggle("one", Boolean(views.large));
  for (const view of all()) {
    const isLarge = view === views.large;
    view.element.classList.toggle("large", isLarge);
    view.element.querySelector(".enlarge").setAttribute("aria-pressed", isLarge);
  }
  const hasAll = !narrow.matches && all().length > 1;
  byId("picker").replaceChildren(...(hasAll ? [pickerButton("All", null)] : []), ...all().map(viewButton));
}

function pickerButton(text, view, title = null) {
  const pressed = String(view === views.large);
  const attributes = {type: "button", "aria-pressed": pressed, title, onclick: () => showLarge(view)};
  return h("button", attributes, text);
}

function viewButton(view, i) {
  return pickerButton(view.title, view, i < MOST_KEYS ? `Key ${i + 1}` : null);
}

/**
 * Brings what is looked at into the middle of all pictures.
 * @param {import("../photos/look-at.js").Subject} subject
 */
export function lookAt(subject) {
  for (const view of views.photos.values()) photoLook.lookAt(view, subject);
  if (views.space) spaceLook.lookAt(views.space, subject);
}

/**
 * Brings what is looked at into view where it cannot be seen.
 * @param {import("../photos/look-at.js").Subject} subject
 */
export function bringIntoView(subject) {
  for (const view of views.photos.values()) photoLook.bringIntoView(view, subject);
  if (views.space) spaceLook.bringIntoView(views.space, subject);
}

/** Shows all of every picture. */
export function fitAll() {
  for (const view of all()) view.fit();
}
