// The panel of versions: the build as it is now kept under a name, gone back to, and compared: with a
// version, the plan, another build or a frame file. Needs api, changes, messages, files, plan.

import {get, post, upload} from "../core/api.js";
import {build} from "../core/build.js";
import {changeBy} from "../core/changes.js";
import {derived} from "../core/derived.js";
import {byId, h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {announce, ask, notice} from "../core/messages.js";
import {button, emptyPanel} from "./elements.js";
import {save} from "./files.js";
import {differenceList} from "./plan.js";

const NOW = "now";
const FILE = "file";
const CANCEL = {text: "Cancel", value: 0};
const INTRO =
  "A version keeps the build as it is now under a name. Going back to one is a change like any other: it " +
  "can be undone, and no version is ever lost.";
const DRAWN = "What differs is drawn on the photos and in 3-D, in dots and dashes.";
const NO_VERSION = "There is no version yet.";
let listed = null; // {versions, builds}
let listedAt = -1; // the build's version then
const chosen = {of: NOW, with: ""};
let asked = 0; // how many comparisons
let isNew = false; // whether one is being made that is no renewal of what is shown
let found = null; // {of, with, result or problem}

/** Listens to changes, which make the list and what was compared out of date. */
export function begin() {
  on("changed", () => {
    if (!found) return;
    if (found.with === FILE) close();
    else compare(found);
  });
}

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawVersions() {
  if (listedAt !== build.n) fetchVersions();
  const {versions, builds} = listed || {versions: [], builds: []};
  return [
    ...result(),
    h("h3.pad", {}, "Versions"),
    h("p.dim.pad", {}, INTRO),
    h("div.buttons.pad", {}, button("Keep the build as it is now…", keepNow, {kind: "main"})),
    ...(versions.length ? [h("ul.list", {}, versions.map(versionItem))] : emptyPanel(NO_VERSION)),
    ...compareSection(versions, builds),
  ];
}

async function fetchVersions() {
  listedAt = build.n;
  try {
    listed = await get("/api/versions");
  } catch (error) {
    notice(error.message, "warn");
  }
  emit("derived");
}

async function sent(path, data) {
  try {
    announce((await post(path, data)).words);
  } catch (error) {
    notice(error.message, "warn", true);
  }
  await fetchVersions();
}

/** Asks for a name and a note; null where nothing was given. */
async function askNames(title, name, note) {
  const field = (id, value) => h("input", {type: "text", id, value, maxlength: 500, autocomplete: "off"});
  const [nameField, noteField] = [field("version-name", name), field("version-note", note)];
  const body = [
    h("label", {for: "version-name"}, "Name"),
    nameField,
    h("label", {for: "version-note"}, "Note (may be left out)"),
    noteField,
  ];
  const answer = await ask(title, body, [{text: "Keep", value: 1}, CANCEL]);
  return answer ? {name: nameField.value.trim(), note: noteField.value.trim()} : null;
}

async function keepNow() {
  const names = await askNames("Keep the build as it is now", "", "");
  if (names) await sent("/api/versions", names);
}

async function rename(version) {
  const names = await askNames("Another name", version.name, version.note);
  if (names) await sent(`/api/versions/${version.id}/name`, names);
}

async function goBack({id, name}) {
  if (await changeBy(`/api/versions/${id}/open`, {}))
    notice(`The build is as in “${name}” again. Undo takes that back.`);
}

function versionItem(version) {
  const {id, name, note, at, members, here} = version;
  const day = new Date(at).toLocaleString([], {dateStyle: "medium", timeStyle: "short"});
  const choose = () => {
    Object.assign(chosen, {of: NOW, with: `version-${id}`});
    compare(chosen);
  };
  return h(
    "li.version",
    {},
    h("p.strong", {}, name, here ? h("span.dim", {}, " · as the build is now") : null),
    note ? h("p", {}, note) : null,
    h("p.dim", {}, `${day} · ${members} members`),
    h(
      "span.answers",
      {},
      button("Go back to it", () => goBack(version), {label: `Go back to it: ${name}`, disabled: here}),
      button("Compare", choose, {label: `Compare with ${name}`, disabled: here}),
      button("Rename", () => rename(version), {label: `Rename ${name}`}),
      button("Save", () => save(`/api/versions/${id}/frame`), {label: `Save ${name} as a frame file`}),
    ),
  );
}

// Comparing

function compareSection(versions, builds) {
  const own = versions.map(v => [`version-${v.id}`, v.name]);
  const now = [NOW, "The build as it is now"];
  const others = [
    ...(build.plan ? [["plan", `The plan: ${build.plan}`]] : []),
    ...own,
    now,
    ...builds.map(({side, name}) => [side, `The build ${name}`]),
    [FILE, "A frame file…"],
  ].filter(([value]) => value !== chosen.of);
  const other = others.some(([value]) => value === chosen.with) ? chosen.with : others[0][0];
  const select = (name, label, sides, shown) => {
    const option = ([value, text]) => h("option", {value, selected: shown === value}, text);
    const onchange = event => {
      chosen[name] = event.target.value;
      emit("derived");
    };
    return h(
      "label.field",
      {},
      label,
      h("select", {onchange, "data-key": `compare-${name}`}, sides.map(option)),
    );
  };
  const attributes = {type: "file", accept: ".json", tabindex: -1, "aria-label": "Frame file"};
  const input = h("input.unseen", {...attributes, onchange: () => compareFile(input.files[0])});
  const start = () => (other === FILE ? input.click() : compare({of: chosen.of, with: other}));
  return [
    h("h3.pad", {}, "Compare"),
    h(
      "div.pad.compare",
      {},
      select("of", "What", [now, ...own], chosen.of),
      select("with", "With", others, other),
    ),
    h("div.buttons.pad", {}, button("Compare", start), input),
  ];
}

async function compare({of, with: other}) {
  await show(of, other, () => get(`/api/compare?of=${of}&with=${other}`));
}

async function compareFile(file) {
  if (!file) return;
  const headers = {"Content-Type": "application/json"};
  await show(chosen.of, FILE, () => upload(`/api/compare?of=${chosen.of}`, file, headers, () => {}));
}

/** Shows what differs, in words, on photos and in 3-D. */
async function show(of, other, request) {
  const number = ++asked;
  isNew = found?.of !== of || found?.with !== other;
  if (isNew) emit("derived");
  const answer = await request().catch(error => ({problem: error.message}));
  if (number !== asked) return; // something newer was asked for meanwhile
  isNew = false;
  found = {of, with: other, result: answer};
  build.comparing = true;
  drawPlaces(answer);
  emit("derived");
  byId("panel").scrollTop = 0;
}

function drawPlaces({shapes = {}, laid = {}}) {
  Object.assign(build, {planShapes: shapes, planLaid: laid});
  emit("draw");
}

function close() {
  asked++;
  isNew = false;
  found = null;
  build.comparing = false;
  drawPlaces(derived.audit || {});
  emit("derived");
}

function result() {
  if (isNew) return [h("p.pad", {role: "status"}, "Being compared…")];
  if (!found) return [];
  const {problem, names, differences, not_checked: unseen, said} = found.result;
  if (problem) return [h("p.pad", {}, problem)];
  const [own, other] = names;
  const rest = [...unseen, ...said];
  return [
    h("h3.pad", {}, "Compared"),
    h("p.pad", {}, `What: ${own}. With: ${other}. ${differences.length ? "" : "Nothing differs."}`),
    differences.length ? h("p.dim.pad", {}, `“Plan” in what follows is ${other}.`) : null,
    differenceList(differences),
    differences.length ? h("p.dim.pad", {}, DRAWN) : null,
    rest.length
      ? h("details.pad", {}, h("summary", {}, `Not seen in photos (${rest.length})`), differenceList(rest))
      : null,
    h("div.buttons.pad", {}, button("Close the comparison", close)),
  ].filter(Boolean);
}
