// Which mark or hole of a photo a click means: the nearest, and only where the click is nearer to it than a
// neighbour could be, so that marking one hole never takes back the mark of the next. Places in px of the
// photo. Needs nothing.

const NEAR_PX = 3; // of the screen: a hand is no more exact, and rows seen at an angle are hardly wider
const LEAST_RADIUS = 3; // px of the photo, of the smallest holes that are found
const SHARE = 0.45; // of the way to the neighbour
const SAME = 1; // px of the photo: a mark on a hole that was found is at its place

const distance = ([x0, y0], [x1, y1]) => Math.hypot(x0 - x1, y0 - y1);

function nearest(place, candidates) {
  let least = Number.POSITIVE_INFINITY;
  let found = null;
  for (const p of candidates) {
    const far = distance(p, place);
    if (far >= least) continue;
    least = far;
    found = p;
  }
  return [found, least];
}

/** The usual radius of the holes that were found. */
function usualRadius(openings) {
  const radii = openings.map(p => p[2]).sort((a, b) => a - b);
  return radii[Math.floor(radii.length / 2)] || LEAST_RADIUS;
}

/**
 * The mark or the hole that a click is on, or null where it is on none.
 * @param {number[]} place
 * @param {number} scale px of the screen per px of the photo
 * @param {{missed: number[][], false: number[][]}} marks the user's
 * @param {number[][]} openings that were found: [x, y, radius, ...]
 * @returns {{mine: number[]|null, found: number[]|null}|null}
 */
export function markAt(place, scale, marks, openings) {
  const own = [...marks.missed, ...marks.false];
  const all = [...own, ...openings];
  const [at, far] = nearest(place, all);
  if (!at) return null;
  const gap = nearest(
    at,
    all.filter(p => distance(p, at) > SAME),
  )[1];
  const near = Math.min(Math.max(NEAR_PX / scale, usualRadius(openings)), SHARE * gap);
  if (far > Math.max(at[2] || 0, near)) return null;
  const same = p => distance(p, at) <= SAME;
  return {mine: own.find(same) || null, found: openings.find(same) || null};
}
