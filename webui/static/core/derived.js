// What follows from the frame: doubts, parts, checks and the audit against the plan. Asked for a moment
// after the last of several quick changes; an answer for an older version is not taken. Needs api, build,
// events, motion, repaint.

import {get} from "./api.js";
import {build} from "./build.js";
import {emit, on} from "./events.js";
import {endMotion} from "./motion.js";
import {isRecent, MOMENT_MS} from "./repaint.js";

const DOUBTS_MS = 150; // after the last change, so that they hold up none
const PARTS_MS = 400;

/** The version of the build that each of them, as shown, is of. */
export const live = {doubts: -1, parts: -1};

/** What the server computed; null while it is not known. Doubts are in `build.doubts`. */
export const derived = {parts: null, checks: null, audit: null};

const recentRows = new Map(); // of the parts list: key -> when it changed
let rowsBefore = new Map();
let partsTimer = 0;
let doubtsTimer = 0;
let doubtsRequest = null;
let doubtsOf = -1;
let shownPanel = "doubts";
let stale = true;

/** Listens to changes. */
export function begin() {
  on("changed", () => {
    stale = true;
    if (!build.plan && !build.comparing) Object.assign(build, {planShapes: {}, planLaid: {}});
    build.stand = null;
    endMotion();
    derived.checks = null;
    derived.audit = null;
    schedule(PARTS_MS);
  });
}

/**
 * Says which panel is shown, and asks for what it needs.
 * @param {string} panel its name
 */
export function show(panel) {
  shownPanel = panel;
  if (stale || (panel === "checks" && !derived.checks)) schedule(0);
}

/**
 * Brings the doubts up to date.
 * @returns {Promise<void>|null} done once they are those of the frame as it stands
 */
export function settled() {
  if (doubtsOf !== build.n) {
    clearTimeout(doubtsTimer);
    doubtsRequest ||= fetchDoubts()
      .catch(() => {})
      .finally(() => {
        doubtsRequest = null;
      });
  }
  return doubtsRequest;
}

async function fetchDoubts() {
  if (!build.members.size) {
    doubtsOf = build.n;
    build.doubts = [];
    build.moreDoubts = 0;
    return emit("derived");
  }
  const {n, doubts, more} = await get("/api/effects?what=doubts");
  if (n < build.n) return fetchDoubts(); // the frame changed meanwhile, and nobody else asks while this does
  if (n > build.n) return undefined;
  doubtsOf = n;
  build.doubts = doubts;
  build.moreDoubts = more;
  live.doubts = n;
  return emit("derived");
}

function schedule(wait) {
  clearTimeout(partsTimer);
  clearTimeout(doubtsTimer);
  if (stale) doubtsTimer = setTimeout(settled, DOUBTS_MS);
  if (!build.members.size) {
    derived.parts = null;
    derived.checks = null;
    return;
  }
  partsTimer = setTimeout(fetchRest, wait);
}

async function fetchRest() {
  try {
    if (stale) await fetchParts();
    if (build.plan && !derived.audit) await fetchAudit();
    if (shownPanel === "checks" && !derived.checks) await fetchChecks();
  } catch {
    stale = true;
  }
}

async function fetchParts() {
  stale = false;
  const {n, parts} = await get("/api/effects?what=parts");
  derived.parts = parts;
  compareRows();
  emit("derived");
  live.parts = n;
}

async function fetchAudit() {
  const n = build.n;
  const audit = await get("/api/audit").catch(error => ({problem: error.message}));
  if (n !== build.n) return; // it is asked for again
  derived.audit = audit;
  if (!build.comparing) Object.assign(build, {planShapes: audit.shapes || {}, planLaid: audit.laid || {}});
  emit("derived");
  emit("draw");
}

async function fetchChecks() {
  const n = build.n;
  const {checks} = await get("/api/effects?what=checks");
  if (n !== build.n) return;
  derived.checks = checks;
  emit("derived");
}

/**
 * What names a member's row of the parts list.
 * @param {{stock: string, holes: number}} row
 * @returns {string}
 */
export const memberRowKey = row => `${row.stock} ${row.holes}`;

/**
 * What names a row of bolts, nuts or washers.
 * @param {{kind: string, name: string, grip_mm: number|null}} row
 * @returns {string}
 */
export const hardwareRowKey = row => `${row.kind} ${row.name} ${row.grip_mm}`;

/** What names the row of the weight. */
export const MASS_KEY = "mass";

/**
 * Whether a row of the parts list changed just now.
 * @param {string} key
 * @returns {boolean}
 */
export const rowIsRecent = key => isRecent(recentRows.get(key));

function rowsOf(parts) {
  if (!parts || parts.problem) return new Map();
  return new Map([
    ...parts.members.map(row => [memberRowKey(row), `${row.count} ${row.members}`]),
    ...parts.hardware.map(row => [hardwareRowKey(row), `${row.count} ${row.seen} ${row.said}`]),
    [MASS_KEY, String(parts.mass_kg)],
  ]);
}

function compareRows() {
  const rows = rowsOf(derived.parts);
  const now = performance.now();
  if (rowsBefore.size) {
    for (const [key, value] of rows) if (rowsBefore.get(key) !== value) recentRows.set(key, now);
  }
  rowsBefore = rows;
  setTimeout(() => emit("derived"), MOMENT_MS + 50);
}
