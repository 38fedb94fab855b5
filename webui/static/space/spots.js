// Holes in 3-D: which one a hand points at, where it is, and what is drawn of them: the numbers along the
// chosen member, and what is measured. Needs box, core/ruler, build, selection.

import {strokeLines} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN} from "../core/colours.js";
import {drawRuler} from "../core/ruler.js";
import {chosenMember} from "../core/selection.js";
import {boxOf, distanceAlong, firstOnRay} from "./box.js";

const plain = {scale: 1, x: 0, y: 0}; // places are in px of the canvas already

function holeCentre({first, direction}, hole) {
  return first.map((v, i) => v + direction[i] * hole);
}

/** The outward normal of a face, 0 to 3 as the server counts them. */
function faceNormal(member, face) {
  const [, across, deep] = boxOf(member).axes;
  return (face < 2 ? across : deep).map(v => (face % 2 ? v : -v));
}

function openingCentre(member, {hole, face}) {
  const normal = faceNormal(member, face);
  return holeCentre(member, hole).map((v, i) => v + (normal[i] * member.width) / 2);
}

/**
 * The hole that a ray meets first, of all members.
 * @param {number[]} from
 * @param {number[]} way
 * @returns {{member: string, hole: number, face: number}|null}
 */
export function spotOnRay(from, way) {
  const id = firstOnRay(from, way, build.members.values());
  if (!id) return null;
  const member = build.members.get(id);
  const box = boxOf(member);
  const far = distanceAlong(box, from, way);
  const off = from.map((v, i) => v + way[i] * far - box.middle[i]);
  const along = box.axes.map(axis => axis.reduce((sum, v, i) => sum + v * off[i], 0));
  const hole = Math.round(along[0] + (member.holes - 1) / 2);
  const side = Math.abs(along[1]) > Math.abs(along[2]) ? 1 : 2;
  const face = 2 * (side - 1) + (along[side] > 0 ? 1 : 0);
  return {member: id, hole: Math.max(0, Math.min(member.holes - 1, hole)), face};
}

/**
 * Draws the numbers along the chosen member.
 * @param {Object} view with `width`, `deep`
 * @param {CanvasRenderingContext2D} c
 * @param {function(number[]): number[]} project a point on the canvas: [x, y, depth]
 */
export function paintRuler(view, c, project) {
  const member = chosenMember();
  if (!member) return;
  const placeOf = hole => {
    const centre = holeCentre(member, hole);
    const [x, y, depth] = project(centre);
    if (depth > 1) return null;
    const [ax, ay] = project(holeCentre(member, hole - 1));
    const [bx, by] = project(holeCentre(member, hole + 1));
    const offsets = [0, 1, 2, 3].map(face => {
      const [p, q] = project(openingCentre(member, {hole, face}));
      return [p - x, q - y];
    });
    return {at: [x, y], along: [bx - ax, by - ay], offsets};
  };
  drawRuler(c, member, placeOf, {width: view.width, height: view.deep});
}

/**
 * Draws what is measured.
 * @param {CanvasRenderingContext2D} c
 * @param {function(number[]): number[]} project a point on the canvas: [x, y, depth]
 */
export function paintTape(c, project) {
  const points = (build.measure?.points || []).filter(p => build.members.has(p.member) && "hole" in p);
  const places = points.map(p => project(openingCentre(build.members.get(p.member), p)).slice(0, 2));
  if (places.length === 2) strokeLines(plain, c, [places.flat()], CHOSEN, 2.5, [3, 5]);
  for (const [x, y] of places) {
    strokeLines(
      plain,
      c,
      [
        [x - 8, y, x + 8, y],
        [x, y - 8, x, y + 8],
      ],
      CHOSEN,
      2.5,
    );
  }
}
