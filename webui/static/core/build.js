// The build as this page knows it, and how a change of it from the server is taken over. Needs nothing; who
// asks the server (loading.js, changes.js, pulse.js) writes here, everybody else reads.

/**
 * @typedef {Object} Member
 * @property {string} id
 * @property {number[]} first centre of the first hole, pitches
 * @property {number[]} direction unit vector along the member
 * @property {number} holes
 * @property {number} width pitches
 * @property {number} confidence 0..1
 * @property {{state: string, extra: number, choices?: EndChoice[]}[]} ends
 *
 * @typedef {{holes: number, chance: number, at: string|null}} EndChoice
 *
 * @typedef {Object} Joint a lap of two members
 * @property {string} a
 * @property {number} a_hole from 0
 * @property {string} b
 * @property {number} b_hole from 0
 * @property {string} bolt "seen", "said" (by a person), "assumed" or "none"
 * @property {string} [bolt_by] "person" where a person says so
 * @property {boolean} three_way
 *
 * @typedef {Array} LapKey [member, hole, member, hole], sorted by member, then hole
 *
 * @typedef {Object} Shape where a member lies in a photo; lists of places are flat [x, y, x, y, ...], px of
 *   the photo
 * @property {number[][]} edges
 * @property {number[]} axis the centres of its holes
 * @property {number[]} holes its openings that are turned to the camera
 * @property {number[][]} ends [x, y] of both
 */

export const build = {
  n: 0, // version
  name: "",
  folder: "",
  place: "", // where the folder is
  pitch_mm: null,
  stock: null,
  undo: null, // in words
  redo: null,
  members: new Map(), // id -> Member
  joints: [],
  caution: "", // the one caution, in words
  fittings: [], // as the server lists them (webui/derived/fittings.py), with box and shapes
  sides: {}, // "left", "right", "front", "back", "up", "down" -> unit vector
  laps: new Map(), // String(LapKey) -> Joint
  bolts: new Map(), // member -> Map(hole -> its bolt)
  corrections: {},
  notes: [],
  photos: [],
  stocks: [],
  doubts: [],
  moreDoubts: 0, // that are not in the list
  job: {running: false},
  plan: null,
  comparing: false, // whether something else than the plan is compared with, and drawn in its place
  planShapes: {}, // photo -> planned member -> its lines, of those that the build differs from
  planLaid: {}, // planned member -> {first, direction, holes, width} as it lies in the build
  stand: null, // where to stand for the next photo, while that is asked for
  proposal: null, // the new member that was drawn, and is not added yet
  ghosts: [], // {member, shapes: photo -> Shape, current}: where members could be that are none yet
  copying: null, // copies that are being placed (core/copying.js)
  motion: null, // the way to move that is shown moving (core/motion.js)
  rows: null, // what is being drawn by hand on a photo without a camera (panels/rows-by-hand.js)
  measure: null, // what is being measured
  fitting: null, // the fitting that is being put on or changed: {id or null, holes, box, shapes}
  shapes: new Map(), // photo -> Map(id -> Shape), for photos that were asked for
  found: new Map(), // photo -> {openings, rows}
};

/**
 * What names a lap, whichever of its members comes first.
 * @param {Joint} joint
 * @returns {LapKey}
 */
export function lapKey(joint) {
  const order = (p, q) => (p[0] < q[0] ? -1 : p[0] > q[0] ? 1 : p[1] - q[1]);
  const [p, q] = [
    [joint.a, joint.a_hole],
    [joint.b, joint.b_hole],
  ].sort(order);
  return [...p, ...q];
}

/**
 * A lap in words.
 * @param {LapKey} key
 * @returns {string}
 */
export const lapName = ([a, i, b, j]) => `hole ${i + 1} of ${a} on hole ${j + 1} of ${b}`;

/** Forgets the frame and its corrections, before all of it is taken over again. */
export function forgetFrame() {
  Object.assign(build, {
    members: new Map(),
    laps: new Map(),
    joints: [],
    bolts: new Map(),
    corrections: {},
    name: "",
    pitch_mm: null,
    stock: null,
    notes: [],
  });
}

/**
 * Takes over what the server says is different from the version before.
 * @param {Object} delta members and joints {put, gone}, order, frame, said
 */
export function applyDelta(delta) {
  const members = delta.members || {put: [], gone: []};
  for (const id of members.gone) build.members.delete(id);
  for (const m of members.put) build.members.set(m.id, m);
  if (delta.order) build.members = new Map(delta.order.map(id => [id, build.members.get(id)]));
  if (delta.joints) applyJoints(delta.joints);
  const frame = delta.frame || {};
  if ("pitch_mm" in frame) build.pitch_mm = frame.pitch_mm;
  if ("stock" in frame) build.stock = frame.stock;
  if ("name" in frame) build.name = frame.name;
  if ("doubts" in frame) build.notes = frame.doubts;
  for (const [key, value] of Object.entries(delta.said || {})) {
    if (value === null) delete build.corrections[key];
    else build.corrections[key] = value;
  }
}

function applyJoints({put, gone: removed}) {
  for (const key of removed) build.laps.delete(String(key));
  for (const joint of put) build.laps.set(String(lapKey(joint)), joint);
  build.joints = [...build.laps.values()];
  updateBolts(new Set([...removed.flatMap(key => [key[0], key[2]]), ...put.flatMap(j => [j.a, j.b])]));
}

/** Updates the bolts of some members; where they are the same, the map stays, and what was drawn of it. */
function updateBolts(ids) {
  const bolts = new Map([...ids].map(id => [id, new Map()]));
  for (const joint of build.joints) {
    bolts.get(joint.a)?.set(joint.a_hole, joint.bolt);
    bolts.get(joint.b)?.set(joint.b_hole, joint.bolt);
  }
  for (const [id, now] of bolts) {
    if (String([...now]) !== String([...(build.bolts.get(id) || [])])) build.bolts.set(id, now);
  }
}
