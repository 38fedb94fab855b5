// The tiles of a photo for deep zoom: which of them a canvas shows, and their pixels, decoded beside the
// page's own work. Needs nothing but the server's tiles.

const TILE = 512; // px
const MOST_TILES = 160; // a canvas of 3840 x 2160 px shows up to 126 at once

/** The tiles of one photo that were used last. */
export class Tiles {
  /**
   * @param {string} photo its name
   * @param {function(): void} onLoad called when the pixels of one have come
   */
  constructor(photo, onLoad) {
    this.photo = photo;
    this.onLoad = onLoad;
    this.kept = new Map(); // key -> tile, the newest last
  }

  /**
   * The tiles that show a part of the photo.
   * @param {number} scale px of the screen per px of the photo
   * @param {number} levels how many levels the photo has
   * @param {number[]} part [x0, y0, x1, y1], px of the photo
   * @returns {Object[]|null} null where the whole photo's own small picture is fine enough
   */
  inSight(scale, levels, [x0, y0, x1, y1]) {
    const level = Math.floor(Math.log2(1 / scale) + 0.2);
    if (!levels || level >= levels) return null;
    const z = Math.max(0, level);
    const side = TILE * 2 ** z;
    const found = [];
    for (let ty = Math.max(0, Math.floor(y0 / side)); ty * side < y1; ty++) {
      for (let tx = Math.max(0, Math.floor(x0 / side)); tx * side < x1; tx++) found.push(this.get(z, tx, ty));
    }
    return found;
  }

  /** A tile; its `pixels` come later. */
  get(z, x, y) {
    const key = `${z}/${x}_${y}`;
    const known = this.kept.get(key);
    if (known) {
      this.kept.delete(key);
      this.kept.set(key, known);
      return known;
    }
    const side = TILE * 2 ** z;
    const tile = {pixels: null, x: x * side, y: y * side, step: 2 ** z};
    this.kept.set(key, tile);
    this.fetch(key, tile);
    if (this.kept.size > MOST_TILES) this.dropOldest();
    return tile;
  }

  dropOldest() {
    const [key, tile] = this.kept.entries().next().value;
    this.kept.delete(key);
    tile.pixels?.close();
    tile.pixels = null;
  }

  async fetch(key, tile) {
    try {
      const response = await fetch(`/api/photos/${encodeURIComponent(this.photo)}/tile/${key}.jpg`);
      if (!response.ok) return;
      const pixels = await createImageBitmap(await response.blob());
      if (this.kept.get(key) !== tile) {
        pixels.close();
        return;
      }
      tile.pixels = pixels;
      this.onLoad();
    } catch {
      this.kept.delete(key); // asked for again when it is next in sight
    }
  }
}

/**
 * Draws a tile in its place on the canvas. Its edges come to whole px of the canvas: where two tiles meet,
 * nothing of what is behind them shows.
 * @param {CanvasRenderingContext2D} c without a transform
 * @param {Object} tile with pixels
 * @param {function(number[]): number[]} toCanvas from px of the photo to px of the canvas
 */
export function drawTile(c, tile, toCanvas) {
  const {pixels, x, y, step} = tile;
  const [left, top] = toCanvas([x, y]).map(Math.round);
  const [right, bottom] = toCanvas([x + pixels.width * step, y + pixels.height * step]).map(Math.round);
  c.drawImage(pixels, left, top, right - left, bottom - top);
}
