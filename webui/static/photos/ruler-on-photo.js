// Hole numbers of a chosen member on a photo. Needs core/ruler, brush, build.

import {onCanvas} from "../core/brush.js";
import {build} from "../core/build.js";
import {drawRuler} from "../core/ruler.js";

/**
 * Draws the numbers along a member.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c its canvas
 * @param {string} id
 * @param {import("../core/build.js").Shape} shape where it lies
 */
export function paintRuler(view, c, id, shape) {
  const member = build.members.get(id);
  const count = shape.axis.length / 2;
  if (!member || count !== member.holes) return;
  const at = (flat, i) => onCanvas(view, [flat[2 * i], flat[2 * i + 1]]);
  const faces = shape.holes.length / shape.axis.length;
  const placeOf = hole => {
    const [x, y] = at(shape.axis, hole);
    const [ax, ay] = at(shape.axis, Math.max(0, hole - 1));
    const [bx, by] =
      count > 1 ? at(shape.axis, Math.min(count - 1, hole + 1)) : onCanvas(view, shape.ends[1]);
    const offsets = Array.from({length: faces}, (_, face) => {
      const [p, q] = at(shape.holes, face * count + hole);
      return [p - x, q - y];
    });
    return {at: [x, y], along: [bx - ax, by - ay], offsets};
  };
  drawRuler(c, member, placeOf, view);
}
