// The panel beside the pictures: one of several lists at a time, under tabs. Which there are is handed in
// (panels.js), so that a list may itself switch tabs. Needs build, events, derived.

import {build} from "../core/build.js";
import * as derived from "../core/derived.js";
import {byId, h} from "../core/dom.js";
import {emit, on} from "../core/events.js";

const REDRAWN_ON = ["changed", "chosen", "units", "derived", "read", "motion"];
const STEPS = {ArrowRight: 1, ArrowLeft: -1};
let panels = [];
let tabs = []; // those panels that have one
let open = "";
let reading = false;

/**
 * Puts the tabs on the page.
 * @param {{name: string, text: string, draw: function(): Node[], button?: string, within?: string}[]} all
 *   the panels; `button`: the id of a button elsewhere that opens it, instead of a tab; `within`: the panel
 *   under whose tab it is
 */
export function begin(all) {
  panels = all;
  tabs = all.filter(panel => !panel.button && !panel.within);
  const bar = byId("tabs");
  bar.replaceChildren(...tabs.map(tabButton));
  bar.addEventListener("keydown", key);
  for (const event of REDRAWN_ON) on(event, () => draw());
  on("job", () => {
    if (reading === build.job.running) return;
    reading = build.job.running;
    draw();
    emit("draw");
  });
  on("firstread", () => show(tabs[0].name));
  for (const {name, button} of panels.filter(panel => panel.button))
    byId(button).onclick = () => showBelow(name);
  show(tabs[0].name);
}

function tabButton({name, text}) {
  const attributes = {type: "button", role: "tab", id: `tab-${name}`, "aria-controls": "panel"};
  return h("button", {...attributes, onclick: () => showUnderTabs(name)}, text);
}

/** Shows a panel and, on a narrow page, brings its tabs up to the pictures. */
function showUnderTabs(name) {
  show(name);
  if (matchMedia("(max-width: 999px)").matches) byId("tabs").scrollIntoView({block: "start"});
}

function key(event) {
  const step = STEPS[event.key];
  if (!step) return;
  const under = panels.find(panel => panel.name === open).within || open;
  const {name} = tabs[(tabs.findIndex(tab => tab.name === under) + step + tabs.length) % tabs.length];
  show(name);
  byId(`tab-${name}`).focus();
  event.preventDefault();
  event.stopPropagation();
}

/** Shows a panel and, on a narrow page, brings it in. */
function showBelow(name) {
  show(name);
  byId("panel").focus({preventScroll: true});
  byId("panel").scrollIntoView({block: "start"});
}

/**
 * Whether a panel is the one that is shown.
 * @param {string} name
 * @returns {boolean}
 */
export const isOpen = name => open === name;

/**
 * Shows a panel.
 * @param {string} name
 */
export function show(name) {
  open = name;
  const under = panels.find(panel => panel.name === name).within || name;
  const hasTab = tabs.some(tab => tab.name === under);
  for (const [i, {name: other}] of tabs.entries()) {
    const tab = byId(`tab-${other}`);
    tab.setAttribute("aria-selected", other === under);
    tab.tabIndex = other === under || (!hasTab && i === 0) ? 0 : -1;
  }
  let label = `tab-${under}`;
  for (const panel of panels.filter(p => p.button)) {
    byId(panel.button).setAttribute("aria-expanded", panel.name === name);
    if (panel.name === name) label = panel.button;
  }
  const place = byId("panel");
  place.setAttribute("aria-labelledby", label);
  place.scrollTop = 0;
  derived.show(name);
  draw();
}

function draw() {
  const place = byId("panel");
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  for (const {name, text, count, button} of panels) {
    const number = count?.() || 0;
    const badge = number ? [" ", h("span.badge", {}, `${number}`)] : [];
    if (count) byId(button || `tab-${name}`).replaceChildren(text, ...badge);
  }
  const nodes = panels.find(panel => panel.name === open).draw();
  const isSame =
    nodes.length === place.children.length && nodes.every((node, i) => node === place.children[i]);
  if (isSame) return; // the panel keeps its own elements right
  const at = place.scrollTop;
  place.replaceChildren(...nodes);
  place.scrollTop = at;
  if (!focused) return;
  const again = [...place.querySelectorAll("[data-key]")].find(element => element.dataset.key === focused);
  again?.focus({preventScroll: true});
}
