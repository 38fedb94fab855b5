// The panel of parts: members by length, bolts, nuts and washers, the weight. Rows that a change altered
// stand out for a moment. Needs derived, selection.

import {build} from "../core/build.js";
import {derived, hardwareRowKey, MASS_KEY, memberRowKey, rowIsRecent} from "../core/derived.js";
import {h} from "../core/dom.js";
import {lengthText, massText, plural} from "../core/units.js";
import {chooseInView} from "../pictures/look.js";
import {button, emptyPanel} from "./elements.js";

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawParts() {
  const parts = derived.parts;
  if (!parts) return emptyPanel(build.members.size ? "Being computed…" : "No members yet.");
  if (parts.problem) return [h("p.pad", {}, parts.problem)];
  const stocks = new Set(parts.members.map(m => m.stock));
  return [
    table(
      "Members",
      ["Count", "Holes", "Length", "Which"],
      parts.members.map(m => memberRow(m, stocks.size > 1)),
    ),
    ...(stocks.size === 1 ? emptyPanel([...stocks].join("")) : []),
    table(
      "Bolts, nuts, washers",
      ["Count", "What", "Grip"],
      parts.hardware.filter(isFastener).map(hardwareRow),
    ),
    ...fittingsTable(parts.hardware.filter(x => !isFastener(x))),
    weight(parts),
    ...parts.notes.flatMap(emptyPanel),
  ];
}

function table(title, columns, rows) {
  const head = columns.map(column => h("th", {scope: "col"}, column));
  return h("table", {}, h("caption", {}, title), h("thead", {}, h("tr", {}, head)), h("tbody", {}, rows));
}

function row(key, ...cells) {
  return h(rowIsRecent(key) ? "tr.fresh" : "tr", {}, ...cells.map(cell => h("td", {}, cell)));
}

/** A row of like members; of what stock, where there are several. */
function memberRow(m, mixed) {
  const tags = m.members.map(id => button(id, () => chooseInView([id]), {kind: "tag"}));
  const which = [...tags, mixed ? h("span.dim", {}, ` ${m.stock}`) : null];
  return row(memberRowKey(m), `${m.count}`, `${m.holes}`, whole(lengthText(m.length_mm)), which);
}

function hardwareRow(x) {
  const what = [`${x.kind} ${x.name}`, unseen(x)];
  return row(hardwareRowKey(x), `${x.count}`, what, whole(lengthText(x.grip_mm)));
}

/** A length with its unit on one line. */
const whole = text => h("span.whole", {}, text);

const isFastener = x => x.kind !== "fitting";

function fittingsTable(lines) {
  const cells = x =>
    row(hardwareRowKey(x), `${x.count}`, x.name, x.mass_kg === null ? "" : massText(x.mass_kg));
  return lines.length ? [table("Fittings", ["Count", "What", "Weight of one"], lines.map(cells))] : [];
}

function unseen(x) {
  const others = x.count - x.seen - x.said - x.assumed;
  const words = [
    x.said && `${x.said} said`,
    x.assumed && `${x.assumed} assumed`,
    others && `${others} for fittings`,
  ].filter(Boolean);
  return x.kind === "bolt" && words.length ? h("span.dim", {}, ` (${words.join(", ")})`) : null;
}

function weight({mass_kg, without_bolt}) {
  const known =
    mass_kg === null
      ? "The weight is not known."
      : `Weight with bolts${build.fittings.length ? " and fittings" : ""}: ${massText(mass_kg)}.`;
  const missing = without_bolt ? ` ${plural(without_bolt, "joint")} without a bolt.` : "";
  return h(rowIsRecent(MASS_KEY) ? "p.pad.fresh" : "p.pad", {}, known, missing);
}
