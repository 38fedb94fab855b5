// Where to stand for the next photo, and where the photos were taken, drawn in 3-D. Needs brush, build.

import {drawDisc, drawPlate, strokeLines} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, PLATE} from "../core/colours.js";

const plain = {scale: 1, x: 0, y: 0}; // places are in px of the canvas already
const TAKEN_PX = 5;
const HERE_PX = 9;
const INSIDE = 26; // px from the canvas's border at which a place beyond it is drawn

/** A place on the canvas, or, beyond its border, where the way from the middle to it leaves the canvas. */
function inside([x, y], [mx, my], {width, deep}) {
  const room = (at, way, most) => (way > 0 ? (most - INSIDE - at) / way : (INSIDE - at) / (way || -1e-9));
  const share = Math.min(1, room(mx, x - mx, width), room(my, y - my, deep));
  return [mx + share * (x - mx), my + share * (y - my)];
}

/**
 * Draws them, while they are asked for (`build.stand`).
 * @param {Object} view with `width`, `deep`
 * @param {CanvasRenderingContext2D} c
 * @param {function(number[]): number[]} project a point on the canvas: [x, y, depth]
 */
export function paintStand(view, c, project) {
  const {eye, middle, taken} = build.stand || {};
  if (!eye) return;
  const centre = project(middle);
  const place = point => {
    const [x, y, depth] = project(point);
    return depth > 1 ? null : inside([x, y], centre, view);
  };
  for (const at of taken.map(place)) if (at) drawDisc(c, at, TAKEN_PX, PLATE, 1.5);
  const here = place(eye);
  if (!here) return;
  strokeLines(plain, c, [[...here, centre[0], centre[1]]], CHOSEN, 2, [6, 6]);
  drawDisc(c, here, HERE_PX, CHOSEN, 2);
  drawPlate({width: view.width}, c, [here[0], Math.max(16, here[1] - 26)], "next photo");
}
