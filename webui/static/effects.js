// Parts and checks, live: asked for a moment after each change; rows that a change altered stand out for a moment.

import {h} from "./dom.js";
import {build, choose, edit, get, MOMENT_MS, on, tell} from "./store.js";
import {lengthText, massText, plural} from "./units.js";

export const live = {doubts: -1, parts: -1};      // the version of the build that each of them, as shown, is of
const told = {parts: null, checks: null, audit: null};
const before = {rows: new Map()};
const fresh = new Map();
const DOUBTS_MS = 150, PARTS_MS = 400;      // after the last of several quick changes, so that they hold up none of them
let timer = 0, asking = 0, asked = null, doubtsOf = -1, wanted = "doubts", stale = true;

/** Resolves once the doubts are those of the frame as it stands. */
export function settled() {
  if (doubtsOf !== build.n) { clearTimeout(asking); asked ||= askDoubts().catch(() => {}).finally(() => { asked = null; }); }
  return asked;
}

async function askDoubts() {
  if (!build.members.size) { doubtsOf = build.n; build.doubts = []; build.moreDoubts = 0; return tell("effects"); }
  const {n, doubts, more} = await get("/api/effects?what=doubts");
  if (n < build.n) return askDoubts();                        // the frame changed meanwhile, and nobody else asks while this does
  if (n === build.n) { doubtsOf = n; build.doubts = doubts; build.moreDoubts = more; live.doubts = n; tell("effects"); }
}

export function begin() { on("changed", () => { stale = true; if (!build.plan) build.planShapes = {}; told.checks = null; told.audit = null; soon(); }); }
export function want(tab) { wanted = tab; if (stale || (tab === "checks" && !told.checks)) soon(0); }

function soon(wait = PARTS_MS) {
  clearTimeout(timer);
  clearTimeout(asking);
  if (stale) asking = setTimeout(settled, DOUBTS_MS);
  if (!build.members.size) { told.parts = told.checks = null; return; }
  timer = setTimeout(async () => {
    try {
      if (stale) { stale = false; const {n, parts} = await get("/api/effects?what=parts"); told.parts = parts; compare(); standing(); tell("effects"); live.parts = n; }
      if (build.plan && !told.audit) {
        const of = build.n, audit = await get("/api/audit").catch(error => ({problem: error.message}));
        if (of === build.n) { told.audit = audit; build.planShapes = audit.shapes || {}; tell("effects"); tell("draw"); }      // else it is asked again
      }
      if (wanted === "checks" && !told.checks) {
        const of = build.n, {checks} = await get("/api/effects?what=checks");
        if (of === build.n) { told.checks = checks; tell("effects"); }
      }
    } catch { stale = true; }
  }, wait);
}

function rowsOf(parts) {
  if (!parts || parts.problem) return new Map();
  return new Map([...parts.members.map(m => [`${m.stock} ${m.holes}`, `${m.count} ${m.members}`]), ...parts.hardware.map(x => [`${x.kind} ${x.name} ${x.grip_mm}`, `${x.count} ${x.seen}`]), ["mass", String(parts.mass_kg)]]);
}

function compare() {
  const rows = rowsOf(told.parts), time = performance.now();
  if (before.rows.size) for (const [key, value] of rows) if (before.rows.get(key) !== value) fresh.set(key, time);
  before.rows = rows;
  setTimeout(() => tell("effects"), MOMENT_MS + 50);
}

const mark = key => performance.now() - (fresh.get(key) ?? -1e9) < MOMENT_MS ? "tr.fresh" : "tr";

/** The line under the name: how many members, bolts, and the weight. */
export function standing() {
  const parts = told.parts, place = document.getElementById("standing");
  if (!build.members.size) { place.textContent = ""; return; }
  const bolts = parts && !parts.problem ? parts.hardware.filter(x => x.kind === "bolt").reduce((sum, x) => sum + x.count, 0) : null;
  place.textContent = [plural(build.members.size, "member"), bolts === null ? null : plural(bolts, "bolt"), massText(parts?.mass_kg)].filter(Boolean).join(" · ");
}

const table = (title, columns, rows) => h("table", {}, h("caption", {}, title), h("thead", {}, h("tr", {}, columns.map(c => h("th", {scope: "col"}, c)))), h("tbody", {}, rows));

export function drawParts() {
  const parts = told.parts;
  if (!parts) return [h("p.dim.pad", {}, build.members.size ? "Being reckoned…" : "No members yet.")];
  if (parts.problem) return [h("p.pad", {}, parts.problem)];
  return [
    table("Members", ["Count", "Holes", "Length", "Which"], parts.members.map(m => h(mark(`${m.stock} ${m.holes}`), {}, h("td", {}, `${m.count}`), h("td", {}, `${m.holes}`), h("td", {}, lengthText(m.length_mm)),
      h("td", {}, m.members.map(id => h("button.tag", {type: "button", onclick: () => choose([id])}, id)), h("span.dim", {}, ` ${m.stock}`))))),
    table("Bolts, nuts, washers", ["Count", "What", "Grip"], parts.hardware.map(x => h(mark(`${x.kind} ${x.name} ${x.grip_mm}`), {}, h("td", {}, `${x.count}`), h("td", {}, `${x.kind} ${x.name}`, x.kind === "bolt" && x.assumed ? h("span.dim", {}, ` (${x.assumed} assumed)`) : null), h("td", {}, lengthText(x.grip_mm))))),
    h(performance.now() - (fresh.get("mass") ?? -1e9) < MOMENT_MS ? "p.pad.fresh" : "p.pad", {}, parts.mass_kg === null ? "The weight is not known." : `Weight with bolts: ${massText(parts.mass_kg)}.`, parts.without_bolt ? ` ${plural(parts.without_bolt, "lap")} without a bolt.` : ""),
    ...parts.notes.map(note => h("p.dim.pad", {}, note))];
}

const KIND = {collision: "Same room", loose: "Touches nothing", pieces: "In pieces", "no bolt": "No bolt", "bolts cross": "Bolts cross", "bolt end": "Bolt end", motion: "Can move"};

export function drawChecks() {
  const checks = told.checks;
  if (!build.members.size) return [h("p.dim.pad", {}, "No members yet.")];
  if (!checks) return [h("p.dim.pad", {}, "Being checked…")];
  const rigid = checks.freedom - checks.wanted;
  return [
    h("p.pad", {}, rigid ? `The frame can move in ${plural(rigid, "way")} that ${rigid === 1 ? "is" : "are"} not wanted.` : "Its bolts leave the frame no way to move that is not wanted."),
    checks.findings.length ? h("ul.list", {}, checks.findings.map((f, i) => h("li", {}, h("button.item", {type: "button", "data-key": `check${i}`, onclick: () => choose(f.members)}, h("span.kind", {"data-kind": f.kind}, KIND[f.kind] || f.kind), h("span", {}, f.text)),
      f.kind === "motion" && f.laps.length === 1 ? h("span.answers", {}, h("button", {type: "button", onclick: () => edit({op: "may_turn", lap: f.laps[0], wanted: true})}, "That is meant to turn")) : null))) : h("p.pad", {}, "Nothing is in the way of anything, and every lap has its bolt."),
    checks.more ? h("p.dim.pad", {}, `${checks.more} more are not shown.`) : null,
    checks.additions.length ? h("h3.pad", {}, "What would stop it") : null,
    checks.additions.length ? h("ul.list", {}, checks.additions.map(a => h("li", {}, h("p.pad", {}, a.text), a.member ? h("span.answers", {}, h("button", {type: "button", onclick: () => edit({op: "add", first: a.member.first, direction: a.member.direction, holes: a.member.holes})}, "Add it")) : null))) : null,
    ...audit(), h("p.caution", {}, checks.caution)].filter(Boolean);
}

const SEVERITY = {different: "Different", doubtful: "Perhaps different", "not checked": "Not checked"};
const VERDICT = {same: "Built as planned.", different: "Differs from the plan:", "cannot say": "It cannot be said whether it is built as planned:"};

function audit() {
  if (!build.plan) return [];
  const a = told.audit;
  if (!a) return [h("p.dim.pad", {}, "Held against the plan…")];
  if (a.problem) return [h("p.pad", {}, a.problem)];
  const row = d => h("li", {}, h("button.item", {type: "button", onclick: () => choose(d.members)}, h("span.kind", {"data-kind": d.severity === "different" ? "collision" : "end"}, SEVERITY[d.severity] || d.severity), h("span", {}, d.text)));
  return [h("h3.pad", {}, "Against the plan"), h("p.pad", {}, VERDICT[a.verdict] || a.verdict), h("ul.list", {}, [...a.differences, ...a.not_checked].map(row))];
}
