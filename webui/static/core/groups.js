// Members coloured by their length or their stock, with a legend. Colours come in the order of the groups,
// longest first, and begin again where there are more groups; labels say the same. Needs build, colours.

import {build} from "./build.js";
import {GROUPS} from "./colours.js";
import {h, s} from "./dom.js";
import {emit} from "./events.js";
import {backdrop} from "./repaint.js";
import {lengthText, plural} from "./units.js";

/** What can be told apart by colours: what names a member's group, and the group in words. */
const KINDS = {
  length: {
    text: "Length",
    of: m => m.holes,
    words: m => [plural(m.holes, "hole"), build.pitch_mm && lengthText(m.holes * build.pitch_mm)],
  },
  stock: {
    text: "Stock",
    of: m => m.stock || "",
    words: m => [build.stocks.find(stock => stock.id === m.stock)?.name || "stock not known"],
  },
};
let kind = "";
let known = {members: null, kind: "", groups: []};

/** @returns {{colour: string, words: string, ids: string[]}[]} the groups, longest members first */
function groups() {
  const members = [...build.members.values()];
  const key = members.map(m => `${m.id} ${m.holes} ${m.stock}`).join();
  if (known.members === key && known.kind === kind) return known.groups;
  const found = new Map();
  for (const m of members.sort((a, b) => b.holes - a.holes)) {
    const name = KINDS[kind].of(m);
    if (!found.has(name)) found.set(name, {first: m, ids: []});
    found.get(name).ids.push(m.id);
  }
  const list = [...found.values()].map(({first, ids}, i) => ({
    colour: GROUPS[i % GROUPS.length],
    words: KINDS[kind].words(first).filter(Boolean).join(", "),
    ids,
  }));
  known = {members: key, kind, groups: list, of: new Map(list.flatMap(g => g.ids.map(id => [id, g.colour])))};
  return list;
}

/**
 * The colour of a member's group.
 * @param {string} id
 * @returns {string|null} null where members are not coloured by groups
 */
export function groupColour(id) {
  if (!kind) return null;
  groups();
  return known.of.get(id) || null;
}

/**
 * The legend, or nothing where members are not coloured by groups.
 * @returns {HTMLElement[]}
 */
export function legend() {
  if (!kind || !build.members.size) return [];
  const swatch = colour =>
    s(
      "svg",
      {class: "swatch", viewBox: "0 0 10 10", "aria-hidden": "true"},
      s("rect", {width: 10, height: 10, fill: colour}),
    );
  const row = ({colour, words, ids}) =>
    h("li", {}, swatch(colour), h("span", {}, `${words}: ${ids.join(", ")}`));
  return [h("ul.legend.pad", {"aria-label": `Colours by ${kind}`}, groups().map(row))];
}

/**
 * The list from which one chooses what colours tell.
 * @returns {HTMLElement}
 */
export function colourSelect() {
  const onchange = event => {
    kind = event.target.value;
    backdrop.version++;
    emit("draw");
    emit("derived");
  };
  const option = ([name, {text}]) =>
    h("option", {value: name, selected: kind === name}, `By ${text.toLowerCase()}`);
  const options = [h("option", {value: ""}, "Plain"), ...Object.entries(KINDS).map(option)];
  return h("label.colours", {}, "Colours ", h("select", {onchange}, options));
}
