// A photo on a canvas, moved and zoomed: levels and tiles for deep zoom, and what of the painted picture is kept.
// Places are in px of the photo.

import {h} from "./dom.js";
import {build, chosen, rest} from "./store.js";
import {Marked} from "./marks.js";
import {drawn, layers} from "./modes.js";

const TILE = 512, MOST_TILES = 160, MOST_SCALE = 12, NEAR_LAP = 3;        // a canvas of 3840 x 2160 px shows up to 126 tiles at once

/** A view with `name`, `photo`, `canvas`, and what a hand does on it. */
export class Picture extends Marked {
  scale = 0; x = 0; y = 0;
  tiles = new Map();
  loaded = 0;                              // pictures that have come, so that what was painted before is told from what is now

  open() {
    this.context = this.canvas.getContext("2d", {alpha: false});
    this.whole = new Image();
    this.whole.onload = () => { this.loaded++; this.size ||= [this.whole.naturalWidth, this.whole.naturalHeight]; this.fit(); };
    new ResizeObserver(() => this.resized()).observe(this.canvas);
  }

  load() { this.whole.src = `/api/photos/${encodeURIComponent(this.name)}/whole.jpg`; }

  // Looking

  resized() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width) return;
    const first = !this.width;
    this.ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.width = box.width; this.height = box.height;
    this.canvas.width = Math.round(box.width * this.ratio);
    this.canvas.height = Math.round(box.height * this.ratio);
    if (first || this.fitted) this.fit(); else this.draw();
  }

  fit() {
    if (!this.size || !this.width) return;
    this.scale = this.least = Math.min(this.width / this.size[0], this.height / this.size[1]);
    this.x = (this.width - this.size[0] * this.scale) / 2;
    this.y = (this.height - this.size[1] * this.scale) / 2;
    this.fitted = true;
    this.draw();
  }

  zoom(factor, at = [this.width / 2, this.height / 2]) {
    const scale = Math.min(MOST_SCALE, Math.max(this.least * 0.8, this.scale * factor));
    this.x = at[0] - (at[0] - this.x) * scale / this.scale;
    this.y = at[1] - (at[1] - this.y) * scale / this.scale;
    this.scale = scale;
    this.fitted = false;
    this.draw();
  }

  pan(dx, dy) { this.x += dx; this.y += dy; this.fitted = false; this.draw(); }

  /** Brings members into view, with room round them; or, of a lap, the holes that lie near it. */
  lookAt(ids, lap = null) {
    const shapes = build.shapes.get(this.name);
    const near = (id, hole) => shapes?.get(id)?.axis.slice(2 * Math.max(0, hole - NEAR_LAP), 2 * (hole + NEAR_LAP + 1)) || [];
    const points = lap ? [...near(lap[0], lap[1]), ...near(lap[2], lap[3])] : ids.flatMap(id => shapes?.get(id)?.edges.flat() || []);
    if (!points.length || !this.width) return;
    let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let i = 0; i < points.length; i += 2) { x0 = Math.min(x0, points[i]); x1 = Math.max(x1, points[i]); y0 = Math.min(y0, points[i + 1]); y1 = Math.max(y1, points[i + 1]); }
    this.scale = Math.max(this.least, Math.min(2, 0.7 * Math.min(this.width / (x1 - x0 + 40), this.height / (y1 - y0 + 40))));
    this.x = this.width / 2 - (x0 + x1) / 2 * this.scale;
    this.y = this.height / 2 - (y0 + y1) / 2 * this.scale;
    this.fitted = false;
    this.draw();
  }

  toPhoto([x, y]) { return [(x - this.x) / this.scale, (y - this.y) / this.scale]; }
  at(event) { const box = this.canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; }

  // Drawing

  draw() { this.asked ||= requestAnimationFrame(() => this.paintNow()); }

  /** Paints at once what would else be painted in the next animation frame, which then shows it already. */
  paintNow() { cancelAnimationFrame(this.asked); this.asked = 0; this.paint(); }

  /** Paints. The photo is kept as it was painted while the view rests, and so is it with the marks of all that is not in hand:
      an edit of what is chosen, or a drag, paints no more than that anew. `shown`: the version of the build that is painted. */
  paint() {
    if (!this.width || !this.canvas.isConnected) return;
    const c = this.context, colour = getComputedStyle(this.canvas).backgroundColor;
    const view = [this.scale, this.x, this.y, this.canvas.width, this.canvas.height, this.loaded, colour].join();
    if (!this.size || !this.scale) return this.clear(c, colour);
    const still = [view, rest.n, JSON.stringify(layers), drawn("openings"), drawn("rows")].join();
    if (!this.keeps("still", still)) {
      if (!this.keeps("ground", view)) { this.paintGround(c, colour); this.keep("ground", view, view); }
      c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
      if (drawn("openings") || drawn("rows")) this.paintFound(c);
      if (this.photo.camera) this.paintRest(c);
      this.keep("still", still, view);
    }
    this.lastView = view;
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    if (this.photo.camera) this.paintChosen(c);
    this.paintHand(c);
    if (document.activeElement === this.canvas && this.canvas.matches(":focus-visible")) this.paintCross(c);
    this.shown = build.n;
  }

  /** Brings back what was kept under this name, if it is of this key. */
  keeps(name, key) {
    if (this.kept?.[name]?.key !== key) return false;
    this.context.setTransform(1, 0, 0, 1, 0, 0);
    this.context.drawImage(this.kept[name].canvas, 0, 0);
    return true;
  }

  /** Keeps the canvas as it is, unless the view is moving: then the next frame could not use it. */
  keep(name, key, view) {
    if (this.lastView !== view) return;
    const {width, height} = this.canvas, old = (this.kept ||= {})[name]?.canvas;
    const canvas = old && old.width === width && old.height === height ? old : h("canvas", {width, height});
    canvas.getContext("2d", {alpha: false}).drawImage(this.canvas, 0, 0);
    this.kept[name] = {key, canvas};
  }

  clear(c, colour) {
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.fillStyle = colour;
    c.fillRect(0, 0, this.canvas.width, this.canvas.height);
  }

  paintGround(c, colour) {
    this.clear(c, colour);
    c.setTransform(this.ratio * this.scale, 0, 0, this.ratio * this.scale, this.ratio * this.x, this.ratio * this.y);
    c.imageSmoothingEnabled = this.scale < 4;
    const tiles = this.tilesInSight();
    if (tiles?.every(t => t.pixels)) { for (const t of tiles) this.paintTile(c, t); return; }
    if (this.whole.complete && this.whole.naturalWidth) c.drawImage(this.whole, 0, 0, ...this.size);      // until they have all come
    for (const t of tiles || []) if (t.pixels) this.paintTile(c, t);
  }

  paintTile(c, t) { c.drawImage(t.pixels, t.x, t.y, t.pixels.width * t.step, t.pixels.height * t.step); }

  /** The tiles that the canvas shows at this scale; null where the whole photo's own small picture is fine enough. */
  tilesInSight() {
    if (!this.photo.levels) return null;
    const need = Math.floor(Math.log2(1 / (this.scale * this.ratio)) + 0.2);
    if (need >= this.photo.levels) return null;
    const z = Math.max(0, need), side = TILE * 2 ** z, found = [];
    const [x0, y0] = this.toPhoto([0, 0]), [x1, y1] = this.toPhoto([this.width, this.height]);
    for (let ty = Math.max(0, Math.floor(y0 / side)); ty * side < Math.min(y1, this.size[1]); ty++)
      for (let tx = Math.max(0, Math.floor(x0 / side)); tx * side < Math.min(x1, this.size[0]); tx++) found.push(this.tile(z, tx, ty));
    return found;
  }

  /** A tile; its `pixels` come later, decoded beside the page's own work. */
  tile(z, x, y) {
    const key = `${z}/${x}_${y}`;
    let tile = this.tiles.get(key);
    if (tile) { this.tiles.delete(key); this.tiles.set(key, tile); return tile; }      // the newest last
    tile = {pixels: null, x: x * TILE * 2 ** z, y: y * TILE * 2 ** z, step: 2 ** z};
    this.tiles.set(key, tile);
    this.bring(key, tile);
    if (this.tiles.size > MOST_TILES) { const [oldest, gone] = this.tiles.entries().next().value; this.tiles.delete(oldest); gone.pixels?.close(); gone.pixels = null; }
    return tile;
  }

  async bring(key, tile) {
    try {
      const answer = await fetch(`/api/photos/${encodeURIComponent(this.name)}/tile/${key}.jpg`);
      if (!answer.ok) return;
      const pixels = await createImageBitmap(await answer.blob());
      if (this.tiles.get(key) !== tile) return pixels.close();
      tile.pixels = pixels;
      this.loaded++;
      this.draw();
    } catch { this.tiles.delete(key); }                       // asked for again when it is next in sight
  }
}
