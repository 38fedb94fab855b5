// Strokes, glyphs, labels and plates on a canvas over a picture. Places on a photo come in px of the photo;
// a view says where they are on its canvas (`scale`, `x`, `y`, `width`, `height`). Needs colours.

import {CHOSEN, CROSS, INK, PLATE} from "./colours.js";

const MANY_LINES = 900; // more are drawn without a dark rim, which would be all that is seen
const FULL = 2 * Math.PI;
const LABEL_FONT = "600 12px system-ui";
const LABEL_HIGH = 18;

/**
 * Where a place of the photo is on the canvas.
 * @param {{scale: number, x: number, y: number}} view
 * @param {number[]} place [x, y], px of the photo
 * @returns {number[]}
 */
export const onCanvas = (view, [x, y]) => [x * view.scale + view.x, y * view.scale + view.y];

function tracePath(view, c, flat) {
  for (let i = 0; i < flat.length; i += 2) {
    const [x, y] = onCanvas(view, [flat[i], flat[i + 1]]);
    if (i) c.lineTo(x, y);
    else c.moveTo(x, y);
  }
}

/**
 * Draws lines, with a dark rim.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 * @param {number[][]} lines flat lists of places, px of the photo
 * @param {string} colour
 * @param {number} width px of the canvas
 * @param {number[]} [dash]
 */
export function strokeLines(view, c, lines, colour, width, dash = []) {
  c.lineJoin = "round";
  c.lineCap = "round";
  c.setLineDash([]);
  const rim = lines.length > MANY_LINES ? [] : [[INK, width + 2.2, [], 0.55]];
  for (const [style, w, pattern, alpha] of [...rim, [colour, width, dash, 1]]) {
    c.strokeStyle = style;
    c.lineWidth = w;
    c.globalAlpha = alpha;
    c.setLineDash(pattern);
    for (const line of lines) {
      c.beginPath(); // one by one: a path of a thousand lines takes seven times as long
      tracePath(view, c, line);
      c.stroke();
    }
  }
  c.setLineDash([]);
  c.globalAlpha = 1;
}

function tracePlus(c, x, y, r) {
  c.moveTo(x - r, y);
  c.lineTo(x + r, y);
  c.moveTo(x, y - r);
  c.lineTo(x, y + r);
  c.moveTo(x + r + 3, y);
  c.arc(x, y, r + 3, 0, FULL);
}

function traceCross(c, x, y, r) {
  c.moveTo(x - r, y - r);
  c.lineTo(x + r, y + r);
  c.moveTo(x - r, y + r);
  c.lineTo(x + r, y - r);
}

/**
 * Draws a mark at a place: a plus in a ring, or a cross.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 * @param {number[]} place px of the photo
 * @param {string} colour
 * @param {"plus"|"cross"} kind
 */
export function drawGlyph(view, c, place, colour, kind) {
  const [x, y] = onCanvas(view, place);
  for (const [style, width] of [
    [INK, 5],
    [colour, 2.5],
  ]) {
    c.strokeStyle = style;
    c.lineWidth = width;
    c.beginPath();
    (kind === "cross" ? traceCross : tracePlus)(c, x, y, 7);
    c.stroke();
  }
}

/**
 * Draws a dot at every place.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 * @param {number[]} flat places, px of the photo
 */
export function drawDots(view, c, flat) {
  for (const [style, r] of [
    [INK, 3.2],
    [CHOSEN, 1.9],
  ]) {
    c.fillStyle = style;
    c.beginPath();
    for (let i = 0; i < flat.length; i += 2) {
      const [x, y] = onCanvas(view, [flat[i], flat[i + 1]]);
      c.moveTo(x + r, y);
      c.arc(x, y, r, 0, FULL);
    }
    c.fill();
  }
}

/**
 * Fills a circle and draws its rim.
 * @param {CanvasRenderingContext2D} c
 * @param {number[]} centre px of the canvas
 * @param {number} radius
 * @param {string} fill
 * @param {number} rim width
 */
export function drawDisc(c, [x, y], radius, fill, rim) {
  c.beginPath();
  c.arc(x, y, radius, 0, FULL);
  c.fillStyle = fill;
  c.fill();
  c.strokeStyle = INK;
  c.lineWidth = rim;
  c.stroke();
}

/**
 * Sets how text is written: centred.
 * @param {CanvasRenderingContext2D} c
 * @param {string} font
 */
export function centreText(c, font) {
  c.font = font;
  c.textAlign = "center";
  c.textBaseline = "middle";
}

/**
 * Draws members' labels, those first that come first; one that would lie over another is left out.
 * @param {CanvasRenderingContext2D} c
 * @param {Iterable<{id: string, x: number, y: number, chosen: boolean}>} labels px of the canvas
 * @param {{room: number, rim: number}} size room beside the letters, and width of the rim, px
 */
export function drawLabels(c, labels, {room, rim}) {
  centreText(c, LABEL_FONT);
  const taken = [];
  for (const {id, x, y, chosen} of labels) {
    const w = 8 * id.length + room;
    if (taken.some(([p, q]) => Math.abs(p - x) < w && Math.abs(q - y) < LABEL_HIGH)) continue;
    taken.push([x, y]);
    c.beginPath();
    c.roundRect(x - w / 2, y - LABEL_HIGH / 2, w, LABEL_HIGH, 4);
    c.fillStyle = chosen ? CHOSEN : PLATE;
    c.fill();
    c.lineWidth = rim;
    c.strokeStyle = INK;
    c.stroke();
    c.fillStyle = INK;
    c.fillText(id, x, y + 0.5);
  }
}

/**
 * Writes a text on a plate that stays on the canvas.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 * @param {number[]} centre px of the canvas
 * @param {string} text
 */
export function drawPlate(view, c, [centreX, centreY], text) {
  centreText(c, "600 15px system-ui");
  const w = c.measureText(text).width + 16;
  const x = Math.min(Math.max(centreX, w / 2 + 2), view.width - w / 2 - 2);
  const y = Math.max(centreY, 16);
  c.beginPath();
  c.roundRect(x - w / 2, y - 13, w, 26, 6);
  c.fillStyle = PLATE;
  c.fill();
  c.strokeStyle = INK;
  c.lineWidth = 1.5;
  c.stroke();
  c.fillStyle = INK;
  c.fillText(text, x, y + 1);
}

/**
 * Draws the cross in the middle, where Enter acts.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 */
export function drawCross(view, c) {
  const x = view.width / 2;
  const y = view.height / 2;
  for (const [style, width] of [
    [INK, 4],
    [CROSS, 1.5],
  ]) {
    c.strokeStyle = style;
    c.lineWidth = width;
    c.beginPath();
    for (const [dx, dy] of [
      [-1, 0],
      [1, 0],
      [0, -1],
      [0, 1],
    ]) {
      c.moveTo(x + 16 * dx, y + 16 * dy);
      c.lineTo(x + 4 * dx, y + 4 * dy);
    }
    c.stroke();
  }
}
