// The panel "Set-up": stock, one measured length, which way the frame stands, and the phone. Needs
// changes, invite, measure.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit} from "../core/events.js";
import {invitePhone} from "../core/invite.js";
import {ask, notice} from "../core/messages.js";
import {sketchOf, whereToStand} from "../core/stand.js";
import {inInches, lengthText} from "../core/units.js";
import {button, emptyPanel, keeper} from "./elements.js";
import {start as measure} from "./measure.js";

const kept = keeper();
const CANCEL = {text: "Cancel", value: null};
// Quarter turns of the frame: in words, the side whose axis it turns about, and its sense.
const TURNS = [
  ["Tip forwards", "right", 1],
  ["Tip to the right", "back", 1],
  ["Turn to the left", "up", 1],
];
const HOW = {
  recognised: "recognised in the photos",
  given: "as given",
  length: "by a measured length",
  assumed: "assumed",
};
const NO_FRAME =
  "Once there is a frame, its stock, one measured length and which way it stands are put right here. " +
  "What is known before can be said when the photos are read.";
const PLACE =
  "A folder on the computer where the page runs: photos lie in “photos”, the frame is frame.json, and " +
  "every change is in build.journal. Copied as a whole it opens elsewhere.";

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawSetUp() {
  return kept([build.n, build.photos, inInches()], () => {
    const frame = build.members.size ? [...sizeSection(), ...standSection()] : emptyPanel(NO_FRAME);
    return [h("h3.pad", {}, "Set-up"), ...frame, ...deviceSection(), ...placeSection()];
  });
}

function sizeSection() {
  const stock = build.stocks.find(s => s.id === build.stock?.id);
  const how = build.stock && HOW[build.stock.how] ? `, ${HOW[build.stock.how]}` : "";
  const pitch = build.pitch_mm ? `${lengthText(build.pitch_mm)} from hole to hole` : "its size is not known";
  return [
    h("p.pad", {}, `${stock ? stock.name : "Stock not known"}${how}; ${pitch}.`),
    h(
      "div.buttons.pad",
      {},
      button("One measured length", askScale),
      button("Stock of all members", askStock),
    ),
  ];
}

function standSection() {
  const turn = ([text, side, sense]) => button(text, () => edit({op: "turn", quarter: quarter(side, sense)}));
  return [
    h("h3.pad", {}, "Which way it stands"),
    h("p.dim.pad", {}, "Quarter turns of the whole frame, seen from its front."),
    h("div.buttons.pad", {}, TURNS.map(turn)),
  ];
}

/** A quarter turn about a side's axis, as the server names it: "x+". */
function quarter(side, sense) {
  const axis = build.sides[side];
  const i = axis.findIndex(Boolean);
  return `${"xyz"[i]}${axis[i] * sense > 0 ? "+" : "-"}`;
}

function placeSection() {
  return [
    h("h3.pad", {}, "Where this build is"),
    h("p.pad.address", {}, build.place),
    h("p.dim.pad", {}, PLACE),
  ];
}

function deviceSection() {
  return [
    h("h3.pad", {}, "Phone"),
    h(
      "p.dim.pad",
      {},
      "A phone takes photos straight into this build, says where to stand for the next, and shows the " +
        "steps of putting it together.",
    ),
    h("div.buttons.pad", {}, button("Phone…", invitePhone)),
    ...nextPhoto(),
  ];
}

/** Where to stand for the next photo; it comes a moment later, and is drawn in 3-D, too. */
function nextPhoto() {
  const words = h("p.pad");
  const sketch = h("div.pad");
  const taken = build.photos.filter(p => p.here).length;
  whereToStand(taken, build.members.size > 0)
    .then(found => {
      words.textContent = found.words;
      sketch.replaceChildren(...(found.sketch ? [sketchOf(found.sketch)] : []));
      build.stand = found.place.eye ? found.place : null;
      emit("draw");
    })
    .catch(() => {});
  return [h("h3.pad", {}, "The next photo"), words, sketch];
}

async function askScale() {
  const placeholder = "A = 610 mm   or   16 holes = 24 1/8 in";
  const text = h("input", {type: "text", id: "scale-text", autocomplete: "off", placeholder});
  const label = h("label", {for: "scale-text"}, "A member or a number of holes, from end to end");
  const onPhoto = {text: "Between two holes on a photo", value: "photo"};
  const hasCamera = build.photos.some(p => p.camera);
  const choice = await ask(
    "One measured length",
    [label, text],
    [{text: "Use", value: 1}, ...(hasCamera ? [onPhoto] : []), CANCEL],
  );
  if (choice === "photo") measure();
  else if (choice && (await edit({op: "scale", text: text.value.trim()}))) notice(build.undo);
}

async function askStock() {
  const option = s => h("option", {value: s.id, selected: build.stock?.id === s.id}, s.name);
  const select = h("select", {id: "all-stock"}, build.stocks.map(option));
  const body = [h("label", {for: "all-stock"}, "Stock"), select];
  if (await ask("Stock of all members", body, [{text: "Use", value: 1}, CANCEL])) {
    edit({op: "stock", members: null, stock: select.value});
  }
}
