// Notes and photos of a step: written, changed and taken away; a phone's camera takes them straight into the
// step. Needs work, dom, sending.

import {h} from "../core/dom.js";
import {rowOfFile, whenChosen} from "../core/sending.js";
import {keyText, say, send, sendPhoto} from "./work.js";

const draftKey = name => `draft ${name}`;

/**
 * Draws the notes and photos of a step, with what adds to them.
 * @param {Object} step
 * @param {{notes: Object[], photos: Object[]}} extras
 * @returns {HTMLElement}
 */
export function drawNotes(step, {notes, photos}) {
  const place = h("ul.sent", {"aria-label": "Photos on their way"});
  return h(
    "section.notes",
    {"aria-labelledby": "notes-title"},
    h("h2", {id: "notes-title"}, "Notes and photos of this step"),
    ...drawKept(step, {notes, photos}),
    noteField(`new ${keyText(step)}`, "", "A note at this step", text =>
      send("note", {step: step.key, text}),
    ),
    h(
      "div.buttons",
      {},
      photoButton(step, place, "Take a photo", true),
      photoButton(step, place, "Choose photos", false),
    ),
    place,
  );
}

/**
 * Draws notes and photos that are kept.
 * @param {Object|null} step
 * @param {{notes: Object[], photos: Object[]}} extras
 * @returns {Node[]}
 */
export function drawKept(step, {notes, photos}) {
  return [
    h(
      "ul.kept",
      {},
      notes.map(note => noteItem(note, step)),
    ),
    h("ul.photos", {}, photos.map(photoItem)),
  ];
}

const dayOf = at => new Date(at).toLocaleString([], {dateStyle: "medium", timeStyle: "short"});

function noteItem({id, text, at}, step) {
  const change = {step: step?.key ?? {kind: "join", members: []}, id, was: text};
  const item = h("li");
  const edit = () => {
    const field = noteField(`change ${id}`, text, "The note", now => send("note", {...change, text: now}));
    item.replaceChildren(field);
    field.querySelector("textarea").focus();
  };
  item.append(
    h("p.note", {}, text),
    h("p.dim", {}, dayOf(at)),
    h(
      "div.buttons",
      {},
      quiet("Change", edit),
      quiet("Take away", () => send("note", {...change, text: ""})),
    ),
  );
  return item;
}

function photoItem({file, at}) {
  const address = `/api/assembly/photos/${encodeURIComponent(file)}/whole.jpg`;
  const image = h("img", {src: address, alt: `Photo ${file}`, loading: "lazy"});
  const link = h("a", {href: address, target: "_blank", rel: "noopener"}, image);
  const remove = quiet("Take away", () => send("photo/remove", {file}));
  remove.setAttribute("aria-label", `Take away ${file}`);
  return h("li", {}, link, h("p.dim", {}, dayOf(at)), remove);
}

const quiet = (text, onclick) => h("button.quiet", {type: "button", onclick}, text);

/** A field for a note; what is typed stays until it is kept, also over a reload. */
function noteField(name, text, label, keep) {
  const draft = sessionStorage.getItem(draftKey(name)) ?? text;
  const area = h("textarea", {rows: 2, maxlength: 2000, "aria-label": label, "data-key": name, value: draft});
  area.addEventListener("input", () => sessionStorage.setItem(draftKey(name), area.value));
  const onclick = async () => {
    if (!area.value.trim() && !text) return say("Write the note first.");
    if (await keep(area.value)) {
      sessionStorage.removeItem(draftKey(name));
      area.value = "";
    }
    return undefined;
  };
  return h("div.field", {}, area, h("button", {type: "button", onclick}, "Keep the note"));
}

function photoButton(step, place, text, fromCamera) {
  const attributes = {type: "file", accept: "image/*,.heic,.heif", tabindex: -1, "aria-label": text};
  const camera = fromCamera ? {capture: "environment"} : {multiple: true};
  const input = h("input.unseen", {...attributes, ...camera});
  whenChosen(input, async files => {
    for (const file of files) await sendOne(file, step, place);
  });
  return h("span", {}, h("button", {type: "button", onclick: () => input.click()}, text), input);
}

async function sendOne(file, step, place) {
  const row = rowOfFile(file.name, place);
  try {
    await sendPhoto(file, step, share => row.show("sending", share));
    row.end("");
  } catch (error) {
    row.end(error.message, true);
    say(error.message, true);
  }
}
