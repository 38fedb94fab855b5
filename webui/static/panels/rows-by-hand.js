// A frame by hand on a photo without a camera: rows stroked along, their counts typed or confirmed, and what
// they mean together (`build.rows`): the camera, and members shown as ghosts until they are used. Needs api,
// changes, ghosts, modes, arrangement.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {changeBy, edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {dropGhosts, hasAnswer, showGhosts} from "../core/ghosts.js";
import {announce, notice} from "../core/messages.js";
import {percent, plural} from "../core/units.js";
import {drawnRows} from "../photos/by-hand-marks.js";
import {modes, setMode} from "../photos/modes.js";
import {showAll, showPhoto} from "../pictures/arrangement.js";
import {button} from "./elements.js";

export {hasAnswer} from "../core/ghosts.js";

const ENOUGH = 3; // rows from which the camera is looked for by itself
const LEAST = 2; // rows from which it can be
const ROUGH = 0.15; // standard error of the focal length, of itself, from which a camera is known roughly
const HOW =
  "Drag along a row of holes, from its first hole to its last, and type how many there are. Three rows of " +
  "two directions or more give the camera and the first members; rows that were found can be clicked.";

const number = {
  type: "number",
  id: "row-holes",
  min: 2,
  max: 1000,
  inputmode: "numeric",
  autocomplete: "off",
};
const input = h("input", {...number, onkeydown: key, oninput: () => (typed = true)});
const stocks = h("select", {id: "row-stock", onchange: solve});
let typed = false; // whether the count of the pending row was typed
let requests = 0;

/** Listens to strokes, to the mode and to changes. */
export function begin() {
  on("stroke", stroked);
  on("mode", () => {
    if (modes.current !== "draw" && build.rows) dropRows();
  });
  on("changed", () => {
    if (build.rows && hasCamera(build.rows.photo)) dropRows();
  });
}

const hasCamera = name => Boolean(build.photos.find(p => p.name === name)?.camera);

/**
 * Begins to draw rows on a photo; on the first without a camera where none is named.
 * @param {string} [photo]
 */
export function startRows(photo = build.photos.find(p => p.here && !p.camera)?.name) {
  if (!photo) return;
  setMode("draw");
  open(photo);
  showPhoto(photo);
}

function open(photo) {
  if (build.rows?.photo !== photo) build.rows = {photo, pending: null, answers: [], number: 0, busy: false};
  emit("rows");
  emit("draw");
}

async function stroked({photo, start, end}) {
  if (hasCamera(photo)) return;
  open(photo);
  const pending = {start, end, words: "Counting the holes…"};
  build.rows.pending = pending;
  input.value = "";
  typed = false;
  dropGhosts();
  emit("rows");
  input.focus({preventScroll: true});
  try {
    const found = await post("/api/rows/count", {photo, start, end});
    if (build.rows?.pending !== pending) return;
    Object.assign(pending, {start: found.start, end: found.end, words: countWords(found)});
    if (!typed && found.holes) {
      input.value = found.holes;
      input.select();
    }
    announce(pending.words);
  } catch (error) {
    pending.words = error.message;
  }
  emit("rows");
  emit("draw");
}

const countWords = ({holes, sure, words}) =>
  holes ? `${plural(holes, "hole")} counted, ${percent(sure)} sure.` : words;

function key(event) {
  if (event.key === "Enter") {
    event.preventDefault();
    keepRow();
  } else if (event.key === "Escape") {
    event.preventDefault();
    dropPending();
  }
}

async function keepRow() {
  const {photo, pending} = build.rows;
  const holes = Number(input.value);
  if (!pending || !Number.isInteger(holes) || holes < 2) {
    notice("Type how many holes there are from the first to the last, both counted.", "warn");
    return;
  }
  build.rows.pending = null;
  input.blur(); // now: once the change is answered, the next row may be typed already
  const made = await edit({op: "row", photo, start: pending.start, end: pending.end, holes});
  if (!made && build.rows && !build.rows.pending) build.rows.pending = pending;
  rowsChanged();
}

function rowsChanged() {
  if (!build.rows) return;
  build.rows.answers = [];
  emit("rows");
  emit("draw");
  if (drawnRows(build.rows.photo).length >= ENOUGH) solve();
  else dropGhosts();
}

function dropPending() {
  build.rows.pending = null;
  input.blur();
  emit("rows");
  emit("draw");
}

/** Looks for what the rows mean. */
async function solve() {
  const rows = build.rows;
  if (!rows || drawnRows(rows.photo).length < LEAST) return;
  const request = ++requests;
  Object.assign(rows, {busy: true, answers: [], problem: ""});
  emit("rows");
  try {
    const found = await post("/api/rows/answers", {photo: rows.photo, stock: stocks.value || null});
    if (request !== requests || build.rows !== rows) return;
    Object.assign(rows, {busy: false, answers: found.answers, rough: found.focal_sigma > ROUGH});
    showAnswer(0);
  } catch (error) {
    if (request !== requests || build.rows !== rows) return;
    Object.assign(rows, {busy: false, problem: error.message});
    announce(error.message);
    emit("rows");
  }
}

function showAnswer(i) {
  const {answers, photo} = build.rows;
  build.rows.number = (i + answers.length) % answers.length;
  const {members, shapes} = answers[build.rows.number];
  const shown = build.members.size ? [...build.members.values()] : members;
  showGhosts(
    shown
      .filter(member => shapes[member.id])
      .map(member => ({member, shapes: {[photo]: shapes[member.id]}, current: true})),
  );
  announce(answerWords());
  emit("rows");
}

/** Shows the next answer. */
export const nextAnswer = () => hasAnswer() && showAnswer(build.rows.number + 1);

/** Uses the answer that is shown: the photo has a camera then, and the members are there. */
export async function takeAnswer() {
  if (!hasAnswer()) return;
  const {photo, number: answer} = build.rows;
  if (!(await changeBy("/api/rows/take", {photo, stock: stocks.value || null, answer}))) return;
  dropRows();
  showAll();
  const more = "Draw the other members now: drag along each, and choose among the places that fit.";
  notice(`${photo} has its camera. ${more}`);
}

/** Leaves the rows; those that were kept stay with the photo. */
export function dropRows() {
  build.rows = null;
  requests++;
  dropGhosts();
  emit("rows");
  emit("draw");
}

function answerWords() {
  const {answers, number: i, rough} = build.rows;
  const {chance, members, left_out: left} = answers[i];
  const what = build.members.size
    ? "The frame, as this camera sees it"
    : `Camera and ${plural(members.length, "member")}`;
  const which = answers.length > 1 ? ` This is answer ${i + 1} of ${answers.length}.` : "";
  const wrong = left.length ? ` ${plural(left.length, "row")} in red fit nothing: check the count.` : "";
  const camera = rough ? " The camera is known roughly; one more row helps." : "";
  return `${what}, ${percent(chance)} sure.${which}${wrong}${camera}`;
}

/**
 * The card.
 * @returns {HTMLElement[]}
 */
export function rowsCard() {
  const {photo, pending, problem, busy} = build.rows;
  const rows = drawnRows(photo);
  const close = button("✕", dropRows, {kind: "quiet", label: "Leave the rows"});
  return [
    h("div.cardhead", {}, h("h2", {}, "Rows by hand"), h("span.dim", {}, photo), close),
    ...(pending ? pendingRow(pending) : [h("p", {}, rows.length ? nextStep(rows.length) : HOW)]),
    problem && !pending ? h("p.warn", {}, problem) : null,
    busy ? h("p.dim", {}, "Looking for the camera…") : null,
    pending ? null : answerButtons(rows),
    rows.length
      ? h(
          "ul.list.rows",
          {},
          rows.map((row, i) => rowItem(photo, row, i)),
        )
      : null,
    build.members.size ? null : stockRow(),
  ].filter(Boolean);
}

function pendingRow(pending) {
  return [
    h("div.row", {}, h("label", {for: "row-holes"}, "Holes in this row"), input),
    h("p.dim", {"aria-live": "polite"}, pending.words),
    h(
      "div.buttons",
      {},
      button("Keep the row", keepRow, {kind: "main", title: "Key Enter"}),
      button("Cancel", dropPending, {title: "Key Escape"}),
    ),
  ];
}

function nextStep(count) {
  if (hasAnswer()) return answerWords();
  if (count < ENOUGH) return `${plural(ENOUGH - count, "row")} more, at least one of another direction.`;
  return "One more row may settle it.";
}

function answerButtons(rows) {
  if (hasAnswer()) {
    const several = build.rows.answers.length > 1;
    return h(
      "div.buttons",
      {},
      button("Use it", takeAnswer, {kind: "main", title: "Key Enter"}),
      several ? button("Another answer", nextAnswer, {title: "Key n"}) : null,
    );
  }
  const possible = rows.length >= LEAST && !build.rows.busy;
  return possible ? h("div.buttons", {}, button("Find the camera", solve)) : null;
}

function rowItem(photo, [, , , , holes], i) {
  const wrong = build.rows.answers[build.rows.number]?.left_out.includes(i);
  const remove = async () => {
    if (await edit({op: "row_gone", photo, row: i})) rowsChanged();
  };
  const words = `Row ${i + 1}: ${plural(holes, "hole")}${wrong ? ", fits nothing" : ""}`;
  return h(
    "li.row",
    {},
    h("span", {}, words),
    button("✕", remove, {kind: "quiet", label: `Take row ${i + 1} out`}),
  );
}

function stockRow() {
  if (stocks.options.length !== build.stocks.length + 1) {
    const options = build.stocks.map(s => h("option", {value: s.id}, s.name));
    stocks.replaceChildren(h("option", {value: ""}, "As wide as a pitch"), ...options);
  }
  return h("div.row", {}, h("label", {for: "row-stock"}, "Stock"), stocks);
}
