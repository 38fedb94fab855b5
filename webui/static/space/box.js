// A member as a box in space: its middle, axes and size, its corners, and where a ray meets it. Plain
// numbers, in pitches. Needs nothing.

/** Corners, as signs along the three axes. */
export const CORNERS = [0, 1, 2, 3, 4, 5, 6, 7].map(i => [i & 1 ? 1 : -1, i & 2 ? 1 : -1, i & 4 ? 1 : -1]);

const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const boxes = new WeakMap();

/**
 * @typedef {Object} Box
 * @property {number[]} middle
 * @property {number[][]} axes along the member, and two face normals
 * @property {number[]} half half the size along each axis
 */

/**
 * A member's box.
 * @param {import("../core/build.js").Member} member
 * @returns {Box}
 */
export function boxOf(member) {
  if (!boxes.has(member)) boxes.set(member, makeBox(member));
  return boxes.get(member);
}

function makeBox({first, direction, holes, width}) {
  const size = direction.map(Math.abs);
  const least = size.indexOf(Math.min(...size));
  const raw = direction.map((v, i) => Number(i === least) - v * direction[least]);
  const length = Math.hypot(...raw);
  const across = raw.map(v => v / length);
  return {
    middle: first.map((v, i) => v + (direction[i] * (holes - 1)) / 2),
    axes: [direction, across, cross(direction, across)],
    half: [holes / 2, width / 2, width / 2],
  };
}

/**
 * A place of a box in space.
 * @param {Box} box
 * @param {number[]} place along its axes, -1..1
 * @returns {number[]}
 */
export function placeInSpace({middle, axes, half}, [x, y, z]) {
  return middle.map(
    (v, i) => v + x * half[0] * axes[0][i] + y * half[1] * axes[1][i] + z * half[2] * axes[2][i],
  );
}

/**
 * How far along a ray a box is met.
 * @param {Box} box
 * @param {number[]} from
 * @param {number[]} way
 * @returns {number} or Infinity
 */
export function distanceAlong(box, from, way) {
  let near = 0;
  let far = Number.POSITIVE_INFINITY;
  const to = box.middle.map((v, i) => v - from[i]);
  for (let k = 0; k < 3; k++) {
    const speed = dot(way, box.axes[k]);
    const off = dot(to, box.axes[k]);
    if (Math.abs(speed) < 1e-9) {
      if (Math.abs(off) > box.half[k]) return Number.POSITIVE_INFINITY;
      continue;
    }
    const a = (off - box.half[k]) / speed;
    const b = (off + box.half[k]) / speed;
    near = Math.max(near, Math.min(a, b));
    far = Math.min(far, Math.max(a, b));
  }
  return near <= far ? near : Number.POSITIVE_INFINITY;
}

/**
 * The first member on a ray.
 * @param {number[]} from
 * @param {number[]} way
 * @param {Iterable<import("../core/build.js").Member>} members
 * @param {number} [nearer] how far off it may be at most
 * @returns {string|null} its id
 */
export function firstOnRay(from, way, members, nearer = Number.POSITIVE_INFINITY) {
  let nearest = nearer;
  let found = null;
  for (const m of members) {
    const far = distanceAlong(boxOf(m), from, way);
    if (far >= nearest) continue;
    nearest = far;
    found = m.id;
  }
  return found;
}
