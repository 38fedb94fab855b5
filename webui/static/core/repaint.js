// What the canvases and lists must paint again: what changed just now, and whether marks that were kept are
// out of date. Needs nothing.

/** How long a change stands out, ms. */
export const MOMENT_MS = 2500;

/** Member id -> when it changed (performance.now()). */
export const changed = new Map();

/** Its version grows whenever anything drawn on photos can have changed, except what is chosen. */
export const backdrop = {version: 0};

/**
 * Whether something that happened at a time still stands out.
 * @param {number|undefined} when performance.now(); undefined: never
 * @returns {boolean}
 */
export const isRecent = when => performance.now() - (when ?? -1e9) < MOMENT_MS;
