// The list of members; a row is kept while nothing of it changed, for a frame has hundreds. Needs build,
// selection, repaint, member-icon, arrangement.

import {build} from "../core/build.js";
import {isUnsure} from "../core/confidence.js";
import {h} from "../core/dom.js";
import {colourSelect, legend} from "../core/groups.js";
import {notice} from "../core/messages.js";
import {changed, isRecent} from "../core/repaint.js";
import {chosen} from "../core/selection.js";
import {lengthText, percent} from "../core/units.js";
import {setMode} from "../photos/modes.js";
import {lookAt} from "../pictures/arrangement.js";
import {chooseInView} from "../pictures/look.js";
import {button, emptyPanel, keeper} from "./elements.js";
import {memberIcon} from "./member-icon.js";
import {listSwitch} from "./members-or-fittings.js";

const HOW_TO_DRAW = "Drag from the new member's first hole to its last on a photo, or click both.";
const rows = new Map(); // id -> {m, bolts, words, button, element, pressed, recent}
const keptSwitch = keeper();
let nodes = null;
const search = h("input", {
  type: "text",
  id: "find-member",
  "aria-label": "Find a member by its label or its number of holes",
  placeholder: "Find: A, or 16",
  title: "Key /",
  autocomplete: "off",
  oninput: drawMembers,
  onkeydown: searchKey,
});

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawMembers() {
  if (!build.members.size) return emptyPanel("No members yet.");
  nodes ||= makeNodes();
  const list = nodes[3];
  nodes[0] = keptSwitch([build.members.size, build.fittings.length], () => listSwitch("members"));
  nodes[2].replaceChildren(...legend());
  for (const [id, row] of rows) {
    if (build.members.has(id)) continue;
    row.element.remove();
    rows.delete(id);
  }
  for (const m of build.members.values()) {
    updateRow(m, build.bolts.get(m.id));
    rows.get(m.id).element.hidden = !isFound(m);
  }
  let at = list.firstElementChild; // in order; an element that stands right is not touched
  for (const id of build.members.keys()) {
    const {element} = rows.get(id);
    if (element === at) at = at.nextElementSibling;
    else list.insertBefore(element, at);
  }
  return nodes;
}

function makeNodes() {
  const tools = h("div.buttons.pad", {}, button("Draw a member", startDrawing), search, colourSelect());
  return [listSwitch("members"), tools, h("div"), h("ul.list.members")];
}

/** Goes to the search for a member. */
export function startSearch() {
  search.focus();
  search.select();
}

/** Whether a member is one that is searched for: by its label, or by its number of holes. */
function isFound(m) {
  const wanted = search.value.trim().toUpperCase();
  return !wanted || m.id.toUpperCase().startsWith(wanted) || `${m.holes}` === wanted;
}

/** Enter selects what was found and goes to it in the list, where keys work again; Escape leaves. */
function searchKey(event) {
  if (event.key !== "Escape" && event.key !== "Enter") return;
  event.preventDefault();
  event.stopPropagation(); // it is meant for the search alone
  const wanted = search.value.trim().toUpperCase();
  const found = [...build.members.values()].filter(isFound);
  const named = found.find(m => m.id.toUpperCase() === wanted);
  const first = named || found[0];
  if (event.key === "Escape" || named || found.length === 1) search.value = "";
  drawMembers();
  if (event.key === "Escape") search.blur();
  else if (first) {
    chooseInView([first.id]);
    rows.get(first.id).button.focus();
  }
}

function startDrawing() {
  setMode("draw");
  notice(HOW_TO_DRAW);
}

/** What stands at the right of a member: its length, and the user's word or how sure it is. */
function rowWords(m) {
  const length = build.pitch_mm ? lengthText(m.holes * build.pitch_mm) : "";
  const unsure = isUnsure(m) ? `? ${percent(m.confidence)}` : "";
  const said = build.corrections.members?.[m.id]?.ends.every(Boolean) ? "as you said" : unsure;
  return [length, said].filter(Boolean).join(" · ");
}

function updateRow(m, bolts) {
  const words = rowWords(m);
  let row = rows.get(m.id);
  if (!row || row.m !== m || row.bolts !== bolts || row.words !== words) {
    const before = row;
    row = makeRow(m, bolts, words);
    const focused = before?.button === document.activeElement;
    before?.element.replaceWith(row.element);
    if (focused) row.button.focus({preventScroll: true});
    rows.set(m.id, row);
  }
  const pressed = chosen.members.includes(m.id);
  const recent = isRecent(changed.get(m.id));
  if (row.pressed !== pressed) row.button.setAttribute("aria-pressed", pressed);
  if (row.recent !== recent) row.button.classList.toggle("fresh", recent);
  row.pressed = pressed;
  row.recent = recent;
}

function makeRow(m, bolts, words) {
  const item = h(
    "button.item.member",
    {
      type: "button",
      "data-key": m.id,
      onclick: event => chooseInView([m.id], null, event.shiftKey || event.ctrlKey || event.metaKey),
      ondblclick: () => lookAt({ids: [m.id]}),
    },
    h("span.tag", {}, m.id),
    h("span.count", {}, `${m.holes}`),
    h("span.unseen", {}, m.holes === 1 ? " hole" : " holes"),
    memberIcon(m, bolts),
    h("span.dim.right", {}, words),
  );
  return {m, bolts, words, button: item, element: h("li", {}, item), pressed: null, recent: false};
}
