// The panel "Papers and files": papers and files, the plan, the size and the place of the frame, and other
// devices. Needs api, changes, loading, measure.

import {get, post, upload} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {load} from "../core/loading.js";
import {ask, notice} from "../core/messages.js";
import {button} from "./elements.js";
import {start as measure} from "./measure.js";

const ZIP = "photos, corrections, frame file, in one zip that opens elsewhere";
const KEEP_MS = 60000; // until a saved file's memory is given back
const CANCEL = {text: "Cancel", value: null};
// Quarter turns of the frame: in words, the side whose axis it turns about, and its sense.
const TURNS = [
  ["Tip forwards", "right", 1],
  ["Tip to the right", "back", 1],
  ["Turn to the left", "up", 1],
];
let papers = null;

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawFiles() {
  if (!papers) fetchPapers();
  return [...papersSection(), ...planSection(), ...sizeSection(), ...deviceSection()];
}

function fetchPapers() {
  papers = [];
  get("/api/papers")
    .then(payload => {
      papers = payload.papers;
      load(true);
    })
    .catch(() => {
      papers = null;
    });
}

function fileItem(name, words, path, disabled = false) {
  const attributes = {type: "button", disabled, onclick: () => save(path)};
  return h("li", {}, h("button.item", attributes, h("span.strong", {}, name), h("span.dim", {}, words)));
}

function papersSection() {
  const empty = !build.members.size;
  const items = papers.map(p => fileItem(p.name, p.what, `/api/papers/${p.id}`, empty));
  const whole = fileItem("The whole build", ZIP, "/api/build.zip");
  return [h("h3.pad", {}, "Papers and files"), h("ul.list", {}, items, whole)];
}

function planSection() {
  const attributes = {type: "file", accept: ".json", tabindex: -1, "aria-label": "Plan"};
  const input = h("input.unseen", {...attributes, onchange: () => sendPlan(input.files[0])});
  const remove = async () => {
    await post("/api/plan/remove", {});
    await load(true);
  };
  const words = build.plan
    ? `Compared with ${build.plan}; see Checks.`
    : "A frame file that this build is compared with.";
  return [
    h("h3.pad", {}, "Plan"),
    h(
      "div.buttons.pad",
      {},
      button(build.plan ? "Another plan" : "Load a plan", () => input.click()),
      input,
      build.plan ? button("Put the plan away", remove) : null,
    ),
    h("p.dim.pad", {}, words),
  ];
}

async function sendPlan(file) {
  try {
    const payload = await upload("/api/plan", file, {"Content-Type": "application/json"}, () => {});
    notice(`Plan taken: ${payload.members} members.`);
    await load(true);
  } catch (error) {
    notice(error.message, "warn", true);
  }
}

/** A quarter turn about a side's axis, as the server names it: "x+". */
function quarter(side, sense) {
  const axis = build.sides[side];
  const i = axis.findIndex(Boolean);
  return `${"xyz"[i]}${axis[i] * sense > 0 ? "+" : "-"}`;
}

function sizeSection() {
  const turn = ([text, side, sense]) => button(text, () => edit({op: "turn", quarter: quarter(side, sense)}));
  return [
    h("h3.pad", {}, "Size and place"),
    h(
      "div.buttons.pad",
      {},
      button("One measured length", askScale),
      button("Stock of all members", askStock),
      build.members.size ? TURNS.map(turn) : null,
    ),
  ];
}

function deviceSection() {
  if (!document.body.dataset.shared) return [];
  return [h("div.buttons.pad", {}, button("Let another device in", letDeviceIn))];
}

async function save(path) {
  try {
    const response = await fetch(path);
    if (!response.ok) throw new Error((await response.json()).problem);
    const disposition = response.headers.get("Content-Disposition") || "";
    const name = /filename="?([^";]+)/.exec(disposition)?.[1] || "frame";
    const link = h("a", {href: URL.createObjectURL(await response.blob()), download: name});
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), KEEP_MS);
    notice(`Saved: ${name}`);
  } catch (error) {
    notice(error.message, "warn", true);
  }
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

async function letDeviceIn() {
  try {
    const {address} = await post("/api/device", {});
    const body = [h("p", {}, "Open this address there; its key works once."), h("p.address", {}, address)];
    await ask("Another device", body, [{text: "Done", value: 1}]);
  } catch (error) {
    notice(error.message, "warn");
  }
}
