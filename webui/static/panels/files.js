// The panel "Papers and files": what can be printed or opened elsewhere, once there is a frame. Needs api,
// messages.

import {get} from "../core/api.js";
import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {emit} from "../core/events.js";
import {notice} from "../core/messages.js";
import {emptyPanel} from "./elements.js";

const ZIP = "photos, corrections, frame file, in one zip that opens elsewhere";
const KEEP_MS = 60000; // until a saved file's memory is given back
const NO_FRAME = "Once there is a frame, its papers and files are here.";
let papers = null;

/**
 * Draws the panel.
 * @returns {HTMLElement[]}
 */
export function drawFiles() {
  if (!papers) fetchPapers();
  const whole = fileItem("The whole build", ZIP, "/api/build.zip");
  if (!build.members.size) return [...emptyPanel(NO_FRAME), h("ul.list", {}, whole)];
  const items = papers.map(p => fileItem(p.name, p.what, `/api/papers/${p.id}`));
  return [h("h3.pad", {}, "Papers and files"), h("ul.list", {}, items, whole)];
}

function fetchPapers() {
  papers = [];
  get("/api/papers")
    .then(payload => {
      papers = payload.papers;
      emit("derived");
    })
    .catch(() => {
      papers = null;
    });
}

function fileItem(name, words, path) {
  const attributes = {type: "button", onclick: () => save(path)};
  return h("li", {}, h("button.item", attributes, h("span.strong", {}, name), h("span.dim", {}, words)));
}

/**
 * Saves a file that the server sends.
 * @param {string} path
 */
export async function save(path) {
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
