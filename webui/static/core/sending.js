// A photo sent into the build, with a row that says how that goes or what is wrong with it. Needs api, dom.

import {upload} from "./api.js";
import {h} from "./dom.js";

const MOST_MB = 120;

/**
 * Sends one photo; its row goes where the photo is taken in, and stays, with the reason, where it is not.
 * @param {File} file
 * @param {string} name that it is to have
 * @param {HTMLElement} place the list that its row comes into
 * @returns {Promise<string>} why it was not taken in; "" where it was
 */
export async function sendPhoto(file, name, place) {
  const words = h("span", {}, "waiting");
  const bar = h("progress", {max: 1, value: 0, "aria-label": name});
  const row = h("li", {}, h("span.tilename", {}, name), bar, words);
  place.append(row);
  const refuse = reason => {
    words.textContent = reason;
    row.classList.add("bad");
    bar.remove();
    return reason;
  };
  if (file.size > MOST_MB * 2 ** 20) return refuse(`larger than ${MOST_MB} MB; save it as JPEG`);
  const headers = {"X-Photo-Name": encodeURIComponent(name), "Content-Type": "application/octet-stream"};
  const progress = share => {
    bar.value = share;
    words.textContent = share < 1 ? "sending" : "being checked";
  };
  try {
    await upload("/api/photos", file, headers, progress);
  } catch (error) {
    return refuse(error.message);
  }
  row.remove();
  return "";
}
