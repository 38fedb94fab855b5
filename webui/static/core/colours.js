// Colours that are drawn on canvases. They are custom properties of style/colours.css, which is where all
// colours are; this reads them. Needs that style sheet (scripts wait for it).

const properties = getComputedStyle(document.documentElement);

/**
 * The colour that a custom property of style/colours.css names.
 * @param {string} name without the leading dashes
 * @returns {string} #rrggbb
 */
const colour = name => properties.getPropertyValue(`--${name}`).trim();

export const SURE = colour("mark-sure");
export const UNSURE = colour("mark-unsure");
export const CHOSEN = colour("mark-chosen");
export const CHANGED = colour("mark-changed");
export const OPENING = colour("mark-opening");
export const ROW = colour("mark-row");
export const FALSE = colour("mark-false");
export const PLAN = colour("mark-plan");
export const BOLT = colour("mark-bolt");
export const PLATE = colour("mark-plate");
export const CROSS = colour("mark-cross");
export const INK = colour("mark-ink");
export const GROUPS = [1, 2, 3, 4, 5, 6, 7].map(i => colour(`group-${i}`));
export const SPACE = {
  wood: colour("space-wood"),
  fitting: colour("space-fitting"),
  face: colour("space-face"),
  hole: colour("space-hole"),
  edge: colour("space-edge"),
  sky: colour("space-sky"),
  floor: colour("space-floor"),
  sun: colour("space-sun"),
};
