// Lengths, weights, shares and counts as people read them, in mm or inches. Needs nothing; which unit is
// kept in the browser.

const MM_PER_IN = 25.4;
const KG_PER_LB = 0.45359237; // exact: international pound, 1959
const MOST_PERCENT = 99; // nothing that is read from photos is certain
let inches = localStorage.getItem("units") === "in";

/** @returns {boolean} whether lengths are shown in inches */
export const inInches = () => inches;

/** Goes from mm to inches or back. */
export function switchUnits() {
  inches = !inches;
  localStorage.setItem("units", inches ? "in" : "mm");
}

/**
 * A length to the nearest tenth of a mm, or to the nearest sixteenth of an inch.
 * @param {number|null|undefined} mm
 * @returns {string}
 */
export function lengthText(mm) {
  if (mm === null || mm === undefined) return "";
  if (!inches) return `${Number(mm.toFixed(1))} mm`;
  const sixteenths = Math.round((mm / MM_PER_IN) * 16);
  const whole = Math.floor(sixteenths / 16);
  let part = sixteenths % 16;
  let base = 16;
  while (part && part % 2 === 0) {
    part /= 2;
    base /= 2;
  }
  const words = [whole || !part ? whole : "", part ? `${part}/${base}` : ""];
  return `${words.filter(word => word !== "").join(" ")} in`;
}

/**
 * A weight: kilograms, or pounds where lengths are in inches.
 * @param {number|null|undefined} kg
 * @returns {string}
 */
export function massText(kg) {
  if (kg === null || kg === undefined) return "";
  if (inches) return `${(kg / KG_PER_LB).toFixed(kg < 0.5 ? 2 : 1)} lb`;
  return kg < 1 ? `${Math.round(kg * 1000)} g` : `${kg.toFixed(2)} kg`;
}

/**
 * What was typed as a length; a number alone is meant in the unit that the page shows.
 * @param {string} text
 * @returns {string}
 */
export function withUnit(text) {
  const length = text.trim();
  const isNumber = /^-?[\d.,/ \u00bc-\u00be\u2044\u2150-\u215e-]+$/.test(length);
  return isNumber ? `${length} ${inches ? "in" : "mm"}` : length;
}

/**
 * What was typed as a weight; a number alone is meant in the unit that the page shows.
 * @param {string} text
 * @returns {string}
 */
export function withMassUnit(text) {
  return /^[\d.,]+$/.test(text.trim()) ? `${text.trim()} ${inches ? "lb" : "kg"}` : text.trim();
}

/**
 * A share as the server writes it.
 * @param {number} share 0..1
 * @returns {string}
 */
export const percent = share => `${Math.min(Math.round(share * 100), MOST_PERCENT)}%`;

/**
 * A count with its noun.
 * @param {number} n
 * @param {string} one
 * @param {string} [many] where it is not `one` with an s
 * @returns {string}
 */
export const plural = (n, one, many) => `${n} ${n === 1 ? one : many || `${one}s`}`;
