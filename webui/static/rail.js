// The lists beside the pictures: doubts, members, laps, parts, checks, what can be taken away.

import {byId, h, notice} from "./dom.js";
import {build, changed, choose, chosen, lapKey, lapName, MOMENT_MS, on, tell} from "./store.js";
import {stick} from "./stick.js";
import {lengthText, percent} from "./units.js";
import {lookAt} from "./views.js";
import {drawDoubts} from "./queue.js";
import {setMode} from "./modes.js";
import * as effects from "./effects.js";
import * as away from "./away.js";

const TABS = [["doubts", "Doubts", () => drawDoubts(empty)], ["members", "Members", drawMembers], ["laps", "Laps", drawLaps], ["parts", "Parts", effects.drawParts], ["checks", "Checks", effects.drawChecks], ["away", "Take away", away.draw]];
const LISTS = TABS.filter(t => t[0] !== "away");       // "Take away" stands in the bar above
let open = "doubts", reading = false;

export function begin() {
  const tabs = byId("tabs");
  tabs.replaceChildren(...LISTS.map(([name, text]) => h("button", {type: "button", role: "tab", id: `tab-${name}`, "aria-controls": "panel", onclick: () => show(name)}, text)));
  tabs.addEventListener("keydown", event => {
    const step = {ArrowRight: 1, ArrowLeft: -1}[event.key];
    if (!step) return;
    const i = (LISTS.findIndex(t => t[0] === open) + step + LISTS.length) % LISTS.length;
    show(LISTS[i][0]);
    byId(`tab-${LISTS[i][0]}`).focus();
    event.preventDefault(); event.stopPropagation();
  });
  for (const event of ["changed", "chosen", "units", "effects", "read"]) on(event, () => draw());
  on("job", () => { if (reading !== build.job.running) { reading = build.job.running; draw(); tell("draw"); } });
  byId("away").onclick = () => { show("away"); byId("panel").focus({preventScroll: true}); byId("panel").scrollIntoView({block: "start"}); };
  show("doubts");
}

export const isOpen = name => open === name;

export function show(name) {
  open = name;
  for (const [other] of LISTS) {
    const tab = byId(`tab-${other}`);
    tab.setAttribute("aria-selected", other === name);
    tab.tabIndex = other === name || name === "away" && other === "doubts" ? 0 : -1;
  }
  byId("away").setAttribute("aria-expanded", name === "away");
  const panel = byId("panel");
  panel.setAttribute("aria-labelledby", name === "away" ? "away" : `tab-${name}`);
  panel.scrollTop = 0;
  effects.want(name);
  draw();
}

function draw() {
  const panel = byId("panel");
  const keep = panel.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  byId("tab-doubts").textContent = build.doubts.length ? `Doubts ${build.doubts.length + (build.moreDoubts || 0)}` : "Doubts";
  const nodes = TABS.find(t => t[0] === open)[2]();
  if (nodes.length === panel.children.length && nodes.every((node, i) => node === panel.children[i])) return;    // kept right in place
  const at = panel.scrollTop;
  panel.replaceChildren(...nodes);
  panel.scrollTop = at;
  if (keep) [...panel.querySelectorAll("[data-key]")].find(e => e.dataset.key === keep)?.focus({preventScroll: true});
}

const MOST = 150;          // shown of a list at once; the rest moves up as these are done
const more = count => count > MOST ? [h("p.dim.pad", {}, `${count - MOST} more come after these.`)] : [];
const empty = text => [h("p.dim.pad", {}, text)];
const fresh = id => performance.now() - (changed.get(id) ?? -1e9) < MOMENT_MS;

const kept = new Map();

/** The elements made last time, where nothing that they show is another: `of` names all of that. */
function same(name, of, make) {
  const before = kept.get(name);
  if (!before || before.of.some((value, i) => value !== of[i])) kept.set(name, {of, nodes: make()});
  return kept.get(name).nodes;
}

// Members

function drawMembers() {
  if (!build.members.size) return empty("No members yet.");
  memberNodes ||= [h("div.buttons.pad", {}, h("button", {type: "button", onclick: () => { setMode("draw"); notice("Drag from the new member's first opening to its last on a photo, or click both."); }}, "Draw a member")), h("ul.list.members")];
  const list = memberNodes[1];
  for (const [id, row] of memberRows) if (!build.members.has(id)) { row.element.remove(); memberRows.delete(id); }
  for (const m of build.members.values()) memberRow(m, build.bolts.get(m.id));
  let at = list.firstElementChild;                    // in order; an element that stands right is not touched
  for (const id of build.members.keys()) {
    const {element} = memberRows.get(id);
    if (element === at) at = at.nextElementSibling; else list.insertBefore(element, at);
  }
  return memberNodes;
}

let memberNodes = null;
const memberRows = new Map();      // id -> its row, kept while nothing of it changed: a frame has hundreds

function memberRow(m, bolts) {
  const said = build.said.members?.[m.id]?.ends.every(Boolean);
  const words = said ? "as you said" : m.confidence < 0.9 ? `? ${percent(m.confidence)}` : build.pitch_mm ? lengthText(m.holes * build.pitch_mm) : "";
  let row = memberRows.get(m.id);
  if (!row || row.m !== m || row.bolts !== bolts || row.words !== words) {
    const button = h("button.item.member", {type: "button", "data-key": m.id, onclick: e => choose([m.id], null, e.shiftKey || e.ctrlKey || e.metaKey), ondblclick: () => lookAt([m.id])},
      h("span.tag", {}, m.id), h("span.count", {}, `${m.holes}`), h("span.unseen", {}, m.holes === 1 ? " hole" : " holes"), stick(m, bolts), h("span.dim.right", {}, words));
    const focused = row?.button === document.activeElement;
    const made = {m, bolts, words, button, element: h("li", {}, button), pressed: null, fresh: false};
    row?.element.replaceWith(made.element);
    if (focused) button.focus({preventScroll: true});
    memberRows.set(m.id, row = made);
  }
  const pressed = chosen.members.includes(m.id), lately = fresh(m.id);
  if (row.pressed !== pressed) row.button.setAttribute("aria-pressed", row.pressed = pressed);
  if (row.fresh !== lately) row.button.classList.toggle("fresh", row.fresh = lately);
}

// Laps

const BOLT = {seen: "bolt", assumed: "bolt assumed", none: "no bolt"};

function drawLaps() {
  if (!build.joints.length) return empty("No laps yet.");
  return same("laps", [build.joints, String(chosen.lap)], () => [h("ul.list", {}, build.joints.slice(0, MOST).map(j => {
    const key = lapKey(j);
    return h("li", {}, h("button.item", {type: "button", "data-key": `lap${key}`, "aria-pressed": String(String(chosen.lap) === String(key)), onclick: () => choose([j.a, j.b], key)},
      h("span.tag", {}, j.a), h("span", {}, `${j.a_hole + 1} on ${j.b_hole + 1}`), h("span.tag", {}, j.b), h("span.dim.right", {}, `${j.three_way ? "three-way, " : ""}${BOLT[j.bolt] || j.bolt}`)));
  })), ...more(build.joints.length)]);
}
export {lapName};
