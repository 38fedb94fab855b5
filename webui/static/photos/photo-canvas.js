// A photo on a canvas, moved and zoomed, with its marks; what was painted is kept while it stays the same.
// Places are in px of the photo. Needs api, build, marks, tiles, modes.

import {get} from "../core/api.js";
import {drawCross} from "../core/brush.js";
import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {backdrop} from "../core/repaint.js";
import {placeOn} from "../pictures/pointers.js";
import {paintByHand} from "./by-hand-marks.js";
import {paintFittings, paintTrial} from "./fittings-on-photo.js";
import {paintChosen, paintFound, paintHand, paintRest} from "./marks.js";
import {drawn, layers} from "./modes.js";
import {drawTile, Tiles} from "./tiles.js";

const MOST_SCALE = 12;

/** A view with `name`, `photo`, `canvas`, and what a hand does on it (`hand`, `anchor`). */
export class PhotoCanvas {
  scale = 0;
  x = 0;
  y = 0;
  loaded = 0; // pictures that have come: what was painted with fewer is out of date
  kept = {}; // name -> {key, canvas}, what was painted

  /** Begins to paint on `this.canvas`. */
  open() {
    this.context = this.canvas.getContext("2d", {alpha: false});
    this.tiles = new Tiles(this.name, () => {
      this.loaded++;
      this.draw();
    });
    this.whole = new Image();
    this.whole.onload = async () => {
      // the picture that came is a smaller one; places are in px of the photo itself
      this.size ||= (await get(`/api/photos/${encodeURIComponent(this.name)}/size`)).size;
      this.loaded++;
      if (this.fitted === false) this.draw();
      else this.fit();
    };
    new ResizeObserver(() => this.resized()).observe(this.canvas);
  }

  load() {
    this.whole.src = `/api/photos/${encodeURIComponent(this.name)}/whole.jpg`;
  }

  // Where the photo is on the canvas

  resized() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width) return;
    const first = !this.width;
    this.ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.width = box.width;
    this.height = box.height;
    this.canvas.width = Math.round(box.width * this.ratio);
    this.canvas.height = Math.round(box.height * this.ratio);
    if (first || this.fitted) this.fit();
    else this.draw();
  }

  fit() {
    if (!this.size || !this.width) return;
    this.scale = Math.min(this.width / this.size[0], this.height / this.size[1]);
    this.least = this.scale;
    this.x = (this.width - this.size[0] * this.scale) / 2;
    this.y = (this.height - this.size[1] * this.scale) / 2;
    this.fitted = true;
    this.draw();
  }

  zoom(factor, at = [this.width / 2, this.height / 2]) {
    const scale = Math.min(MOST_SCALE, Math.max(this.least * 0.8, this.scale * factor));
    this.x = at[0] - ((at[0] - this.x) * scale) / this.scale;
    this.y = at[1] - ((at[1] - this.y) * scale) / this.scale;
    this.scale = scale;
    this.fitted = false;
    this.draw();
  }

  /** Goes on showing the same part when a px of the photo is another, since its true size has come. */
  rescale(factor) {
    this.scale *= factor;
    this.least *= factor;
    this.draw();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.fitted = false;
    this.draw();
  }

  toPhoto([x, y]) {
    return [(x - this.x) / this.scale, (y - this.y) / this.scale];
  }

  at(event) {
    return placeOn(this.canvas, event);
  }

  // Painting

  draw() {
    this.frameRequest ||= requestAnimationFrame(() => this.paintNow());
  }

  /** Paints at once what would else be painted in the next animation frame, which then shows it already. */
  paintNow() {
    cancelAnimationFrame(this.frameRequest);
    this.frameRequest = 0;
    this.paint();
  }

  /**
   * Paints. The photo is kept as it was painted while the view rests, and so are the marks of all that is
   * not in hand: an edit of what is chosen, or a drag, paints no more than that again. `shown`: the version
   * of the build that is painted.
   */
  paint() {
    if (!this.width || !this.canvas.isConnected) return;
    const c = this.context;
    const colour = getComputedStyle(this.canvas).backgroundColor;
    const {width, height} = this.canvas;
    const view = [this.scale, this.x, this.y, width, height, this.loaded, colour].join();
    if (!this.size || !this.scale) {
      this.clear(c, colour);
      return;
    }
    this.paintStill(c, view, colour);
    this.lastView = view;
    this.toCanvasPx(c);
    if (this.photo.camera) paintChosen(this, c);
    paintTrial(this, c);
    paintByHand(this, c);
    paintHand(this, c);
    if (document.activeElement === this.canvas && this.canvas.matches(":focus-visible")) drawCross(this, c);
    this.shown = build.n;
  }

  /** Paints what stays while something is in hand: the photo and the marks of what is not chosen. */
  paintStill(c, view, colour) {
    const switches = [JSON.stringify(layers), drawn("openings"), drawn("rows")];
    const key = [view, backdrop.version, ...switches].join();
    if (this.restore("still", key)) return;
    if (!this.restore("ground", view)) {
      this.paintGround(c, colour);
      this.keep("ground", view, view);
    }
    this.toCanvasPx(c);
    if (drawn("openings") || drawn("rows")) paintFound(this, c);
    if (this.photo.camera) paintRest(this, c);
    if (this.photo.camera) paintFittings(this, c);
    this.keep("still", key, view);
  }

  toCanvasPx(c) {
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
  }

  /** Brings back what was kept under this name, if it is of this key. */
  restore(name, key) {
    if (this.kept[name]?.key !== key) return false;
    this.context.setTransform(1, 0, 0, 1, 0, 0);
    this.context.drawImage(this.kept[name].canvas, 0, 0);
    return true;
  }

  /** Keeps the canvas as it is, unless the view is moving: then the next frame could not use it. */
  keep(name, key, view) {
    if (this.lastView !== view) return;
    const {width, height} = this.canvas;
    const old = this.kept[name]?.canvas;
    const fits = old && old.width === width && old.height === height;
    const canvas = fits ? old : h("canvas", {width, height});
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
    const scale = this.ratio * this.scale;
    c.setTransform(scale, 0, 0, scale, this.ratio * this.x, this.ratio * this.y);
    c.imageSmoothingEnabled = this.scale < 4;
    const [x1, y1] = this.toPhoto([this.width, this.height]);
    const part = [...this.toPhoto([0, 0]), Math.min(x1, this.size[0]), Math.min(y1, this.size[1])];
    const tiles = this.tiles.inSight(scale, this.photo.levels, part);
    const complete = tiles?.every(tile => tile.pixels);
    if (!complete && this.whole.complete && this.whole.naturalWidth) {
      c.drawImage(this.whole, 0, 0, ...this.size); // until they have all come
    }
    c.setTransform(1, 0, 0, 1, 0, 0);
    const toCanvas = ([x, y]) => [x * scale + this.ratio * this.x, y * scale + this.ratio * this.y];
    for (const tile of tiles || []) if (tile.pixels) drawTile(c, tile, toCanvas);
  }
}
