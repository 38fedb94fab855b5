// The way of a video's camera, drawn in 3-D: where its pictures were taken, in their order. Needs brush,
// build.

import {drawDisc, drawPlate, strokeLines} from "../core/brush.js";
import {build} from "../core/build.js";
import {PLAN, PLATE} from "../core/colours.js";

const plain = {scale: 1, x: 0, y: 0}; // places are in px of the canvas already
const PICTURE_PX = 4;
const LABEL_UP = 18;

/** The places of each video's pictures, in their order: video -> [x, y, z] of each. */
function paths() {
  const found = new Map();
  const pictures = build.photos.filter(p => p.timecode && p.eye && p.used);
  for (const {timecode, eye} of pictures.sort((a, b) => a.timecode.at_s - b.timecode.at_s)) {
    if (!found.has(timecode.video)) found.set(timecode.video, []);
    found.get(timecode.video).push(eye);
  }
  return found;
}

/**
 * Draws them.
 * @param {Object} view with `width`
 * @param {CanvasRenderingContext2D} c
 * @param {function(number[]): number[]} project a point on the canvas: [x, y, depth]
 */
export function paintCameraPath(view, c, project) {
  for (const [video, places] of paths()) {
    const spots = places.map(project);
    const isSeen = spot => spot[2] < 1;
    const ways = spots.slice(1).map((spot, i) => [spots[i], spot]);
    const lines = ways.filter(way => way.every(isSeen)).map(([p, q]) => [p[0], p[1], q[0], q[1]]);
    strokeLines(plain, c, lines, PLAN, 1.5, [2, 5]);
    for (const spot of spots.filter(isSeen)) drawDisc(c, spot, PICTURE_PX, PLATE, 1.5);
    const first = spots.find(isSeen);
    if (first)
      drawPlate({width: view.width}, c, [first[0], Math.max(16, first[1] - LABEL_UP)], `video ${video}`);
  }
}
