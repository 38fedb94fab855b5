// The line under the name: how many members and bolts, and the weight. Needs build, derived.

import {build} from "../core/build.js";
import {derived} from "../core/derived.js";
import {byId} from "../core/dom.js";
import {on} from "../core/events.js";
import {massText, plural} from "../core/units.js";

/** Listens to what changes the line. */
export function begin() {
  for (const event of ["changed", "photos", "derived", "units"]) on(event, draw);
}

function draw() {
  byId("standing").textContent = build.members.size ? words() : "";
}

function words() {
  const {parts} = derived;
  const members = plural(build.members.size, "member");
  if (!parts || parts.problem) return [members, massText(parts?.mass_kg)].filter(Boolean).join(" · ");
  const bolts = parts.hardware.filter(x => x.kind === "bolt").reduce((sum, x) => sum + x.count, 0);
  return [members, plural(bolts, "bolt"), massText(parts.mass_kg)].filter(Boolean).join(" · ");
}
