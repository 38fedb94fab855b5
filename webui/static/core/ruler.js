// Hole numbers along a member, drawn beside it: hole 1 marked, every fifth, the last, and those of joints;
// one that would lie over another is left out. Needs brush, build.

import {centreText, drawDisc} from "./brush.js";
import {build} from "./build.js";
import {BOLT, CHOSEN, INK, PLATE} from "./colours.js";

const STEP = 5; // every fifth hole has its number
const FONT = "600 11px system-ui";
const ROOM_PX = 13; // between the middles of two numbers
const BESIDE_PX = 12; // from the member's edge
const DISC_PX = 9;
const PLATE_PX = 8;

/** Which holes have their number, the most telling first: [hole from 0, kind]. */
function numbered(member) {
  const lapped = [...(build.bolts.get(member.id)?.keys() || [])].sort((a, b) => a - b);
  const fifths = Array.from({length: Math.floor(member.holes / STEP)}, (_, i) => STEP * (i + 1) - 1);
  const all = [
    [0, "first"],
    ...lapped.map(hole => [hole, "joint"]),
    [member.holes - 1, "last"],
    ...fifths.map(hole => [hole, "fifth"]),
  ];
  const first = new Map();
  for (const [hole, kind] of all) if (!first.has(hole)) first.set(hole, kind);
  return [...first].filter(([hole]) => hole >= 0 && hole < member.holes);
}

/**
 * Where a number stands: beside the member, on the side that is further up (or to the left).
 * @param {number[]} place of the hole's centre, px of the canvas
 * @param {number[]} along the member's direction there, px of the canvas
 * @param {number[][]} offsets from the hole's centre to its openings that are seen, px of the canvas
 */
function beside([x, y], [dx, dy], offsets) {
  const size = Math.hypot(dx, dy) || 1;
  let [nx, ny] = [-dy / size, dx / size];
  if (ny > 1e-6 || (Math.abs(ny) <= 1e-6 && nx > 0)) [nx, ny] = [-nx, -ny];
  const reach = Math.max(0, ...offsets.map(([p, q]) => Math.abs(p * nx + q * ny)));
  return [x + nx * (1.3 * reach + BESIDE_PX), y + ny * (1.3 * reach + BESIDE_PX)];
}

function drawNumber(c, [x, y], kind, text) {
  if (kind === "first") drawDisc(c, [x, y], DISC_PX, CHOSEN, 2);
  else if (kind === "joint") drawDisc(c, [x, y], PLATE_PX, PLATE, 2);
  if (kind === "first" || kind === "joint") {
    c.fillStyle = kind === "joint" ? BOLT : INK;
    c.fillText(text, x, y + 0.5);
    return;
  }
  c.lineJoin = "round";
  c.lineWidth = 3.5;
  c.strokeStyle = INK;
  c.strokeText(text, x, y);
  c.fillStyle = PLATE;
  c.fillText(text, x, y);
}

/**
 * Draws the numbers along a member.
 * @param {CanvasRenderingContext2D} c
 * @param {import("./build.js").Member} member
 * @param {function(number): {at: number[], along: number[], offsets: number[][]}|null} placeOf of a hole,
 *   px of the canvas; null where it is not shown
 * @param {{width: number, height: number}} size of the canvas
 */
export function drawRuler(c, member, placeOf, {width, height}) {
  centreText(c, FONT);
  const taken = [];
  for (const [hole, kind] of numbered(member)) {
    const place = placeOf(hole);
    if (!place) continue;
    const [x, y] = beside(place.at, place.along, place.offsets);
    if (x < 0 || y < 0 || x > width || y > height) continue;
    if (taken.some(([p, q]) => Math.hypot(p - x, q - y) < ROOM_PX)) continue;
    taken.push([x, y]);
    drawNumber(c, [x, y], kind, String(hole + 1));
  }
}
