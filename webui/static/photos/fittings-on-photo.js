// Fittings over a photo: their outlines and labels, and the one that is being put on. Needs build,
// selection, modes, brush.

import {drawLabels, onCanvas, strokeLines} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, PLATE} from "../core/colours.js";
import {chosen} from "../core/selection.js";
import {layers} from "./modes.js";

const LABEL_SIZE = {room: 12, rim: 1.4};
const DASH = [8, 6];

/** The middle of a fitting's outline in a photo, px of the photo. */
function middleOf(edges) {
  const all = edges.flat();
  const mean = from => {
    const some = all.filter((_, i) => i % 2 === from);
    return some.reduce((sum, v) => sum + v, 0) / some.length;
  };
  return [mean(0), mean(1)];
}

/**
 * Draws all of them.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintFittings(view, c) {
  const labels = [];
  for (const f of layers.fittings ? build.fittings : []) {
    const edges = f.shapes[view.name];
    if (!edges) continue;
    const isChosen = chosen.fitting === f.id;
    strokeLines(view, c, edges, isChosen ? CHOSEN : PLATE, isChosen ? 3 : 1.6);
    const [x, y] = onCanvas(view, middleOf(edges));
    labels.push({id: f.id, x, y, chosen: isChosen});
  }
  if (layers.labels) drawLabels(c, labels, LABEL_SIZE);
}

/**
 * Draws the fitting that is being put on or changed, as it would be.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 */
export function paintTrial(view, c) {
  const edges = build.fitting?.shapes[view.name];
  if (edges) strokeLines(view, c, edges, CHOSEN, 3, DASH);
}

/**
 * The fitting whose outline is round a place of the canvas.
 * @param {Object} view
 * @param {number[]} at px of the canvas
 * @returns {string|null} its id
 */
export function fittingAt(view, [x, y]) {
  const isRound = f => {
    const edges = f.shapes[view.name];
    if (!edges) return false;
    const places = edges.flatMap(line => {
      const pairs = [];
      for (let i = 0; i < line.length; i += 2) pairs.push(onCanvas(view, [line[i], line[i + 1]]));
      return pairs;
    });
    const [across, down] = [places.map(p => p[0]), places.map(p => p[1])];
    const within = (v, all) => v >= Math.min(...all) && v <= Math.max(...all);
    return within(x, across) && within(y, down);
  };
  return layers.fittings ? (build.fittings.find(isRound)?.id ?? null) : null;
}
