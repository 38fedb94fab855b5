// Photos and videos in: dropped or chosen, sent one by one, each with its progress or with what is wrong
// with it. Needs sending, loading, messages.

import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {invitePhone} from "../core/invite.js";
import {load} from "../core/loading.js";
import {announce} from "../core/messages.js";
import {ACCEPTED, sendAll, whenChosen} from "../core/sending.js";

const INTRO =
  "Three or more, from different corners, each with the whole frame in it where that can be. JPEG, PNG, " +
  "WebP, TIFF or HEIC. Or a video, walked slowly round the frame: its sharpest pictures are taken.";
let tile = null;
let sending = null;
let input = null;

/**
 * The tile that takes photos.
 * @returns {HTMLElement}
 */
export function startTile() {
  if (tile) return tile;
  input = fileInput();
  const choose = {type: "button", id: "add-photos", onclick: () => input.click()};
  tile = h(
    "div.tile.start",
    {},
    h(
      "div.startwords",
      {},
      h("p.lead", {}, "Photos of the frame"),
      h("p", {}, INTRO),
      h("button.main", choose, "Add photos"),
      input,
      h("p.dim", {}, "or drop them anywhere on this page"),
      h("button", {type: "button", onclick: invitePhone}, "Take them with a phone…"),
    ),
  );
  sending = h("ul.sending", {id: "sending", "aria-label": "Photos on their way"});
  document.querySelector(".sightbar").after(sending);
  takeDrops();
  return tile;
}

/** Opens the browser's dialog for files. */
export function choosePhotos() {
  startTile();
  input.click();
}

function fileInput() {
  const attributes = {type: "file", multiple: true, accept: ACCEPTED, id: "files", tabindex: -1};
  const field = h("input.unseen", {...attributes, "aria-label": "Photos and videos"});
  whenChosen(field, send);
  return field;
}

function takeDrops() {
  const mark = dropping => document.body.classList.toggle("dropping", dropping);
  const hasFiles = event => event.dataTransfer?.types.includes("Files");
  for (const name of ["dragover", "drop"]) {
    document.addEventListener(name, event => {
      if (hasFiles(event)) event.preventDefault();
    });
  }
  document.addEventListener("dragenter", event => {
    if (hasFiles(event)) mark(true);
  });
  document.addEventListener("dragleave", event => {
    if (!event.relatedTarget) mark(false);
  });
  document.addEventListener("drop", event => {
    mark(false);
    if (event.dataTransfer?.files.length) send([...event.dataTransfer.files]);
  });
}

async function send(files) {
  sending.replaceChildren();
  const say = (words, stays) => stays && announce(words); // photos are announced by their number
  await sendAll(files, sending, file => file.name, say);
  await load(true);
  if (sending.children.length) {
    const close = {type: "button", onclick: () => sending.replaceChildren()};
    sending.append(h("li", {}, h("button", close, "Close")));
  }
  announce(`${build.photos.length} photos in this build`);
}
