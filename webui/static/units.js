// Lengths and weights as people read them, in mm or inches.

const MM_PER_IN = 25.4;
let inches = localStorage.getItem("units") === "in";

export const inInches = () => inches;

export function switchUnits() {
  inches = !inches;
  localStorage.setItem("units", inches ? "in" : "mm");
}

/** A length in mm to the nearest tenth, or in inches to the nearest sixteenth. */
export function lengthText(mm) {
  if (mm === null || mm === undefined) return "";
  if (!inches) return `${Number(mm.toFixed(1))} mm`;
  const sixteenths = Math.round(mm / MM_PER_IN * 16);
  const whole = Math.floor(sixteenths / 16);
  let part = sixteenths % 16, base = 16;
  while (part && part % 2 === 0) { part /= 2; base /= 2; }
  return `${[whole || !part ? whole : "", part ? `${part}/${base}` : ""].filter(x => x !== "").join(" ")} in`;
}

/** A weight: kilograms, or pounds where lengths are in inches. */
export function massText(kg) {
  if (kg === null || kg === undefined) return "";
  if (inches) return `${(kg / 0.45359237).toFixed(kg < 0.5 ? 2 : 1)} lb`;   // exact: international pound, 1959
  return kg < 1 ? `${Math.round(kg * 1000)} g` : `${kg.toFixed(2)} kg`;
}

/** What was typed as a length; a number alone is meant in the unit that the page shows. */
export function withUnit(text) {
  text = text.trim();
  return /^[\d.,/ \u00bc-\u00be\u2044\u2150-\u215e-]+$/.test(text) ? `${text} ${inches ? "in" : "mm"}` : text;
}

/** As the server writes it: never more than 99, for nothing that is read from photos is certain. */
export const percent = share => `${Math.min(Math.round(share * 100), 99)}%`;

export const plural = (n, one, many) => `${n} ${n === 1 ? one : many || one + "s"}`;
