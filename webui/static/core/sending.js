// Photos and videos sent to the build, one by one: how large they may be, how far each has come, and which
// photos are this page's own. Needs api, dom.

import {get, upload} from "./api.js";
import {h} from "./dom.js";

const MOST_PHOTO_MB = 120;
const MOST_VIDEO_MB = 2048;
const VIDEO = /\.(mp4|mov|m4v|3gp|mkv|webm|avi|m2?ts|mpe?g)$/i;
const ASK_MS = 500;

/** What a dialog for files offers. */
export const ACCEPTED = "image/*,video/*,.heic,.heif,.mkv,.mts";

/**
 * Whether a file is a video.
 * @param {File} file
 * @returns {boolean}
 */
export const isVideo = file => file.type.startsWith("video/") || VIDEO.test(file.name);

const own = new Set(); // names of the photos that this page sent
let underWay = 0;

/**
 * Whether photos are being sent from here: until they all are, what is new may be this page's own.
 * @returns {boolean}
 */
export const isSending = () => underWay > 0;

/**
 * Whether this page sent a photo.
 * @param {string} name
 * @returns {boolean}
 */
export const isOwn = name => own.has(name);

const pause = () => new Promise(resolve => setTimeout(resolve, ASK_MS));

/** Waits until the pictures of a video are chosen and taken in. */
async function chosenFrom(key, show) {
  for (;;) {
    const {running, stage, share, photos, problem, note} = await get(`/api/videos/${key}`);
    if (problem) throw new Error(problem);
    if (!running) return {photos, note};
    show(stage, share);
    await pause();
  }
}

/**
 * Sends a photo, or a video, of which the sharpest pictures from all round become photos; gives the names of
 * the photos that there are now, and what could not be used.
 */
async function sendFile(file, name, show) {
  const video = isVideo(file);
  if (!video && file.size > MOST_PHOTO_MB * 2 ** 20) {
    throw new Error(`larger than ${MOST_PHOTO_MB} MB; save it as JPEG`);
  }
  if (file.size > MOST_VIDEO_MB * 2 ** 20) throw new Error("larger than 2 GB; cut it to half a minute");
  underWay++;
  try {
    const taken = await takenIn(file, name, video, show);
    for (const photo of taken.photos) own.add(photo);
    return taken;
  } finally {
    underWay--;
  }
}

async function takenIn(file, name, video, show) {
  const headers = {"X-Photo-Name": encodeURIComponent(name), "Content-Type": "application/octet-stream"};
  const progress = share => show(share < 1 ? "sending" : "being checked", share);
  const answer = await upload(video ? "/api/videos" : "/api/photos", file, headers, progress);
  return video ? chosenFrom(answer.video, show) : {photos: [answer.name], note: ""};
}

/**
 * A row that shows how far a file has come, while it is being sent.
 * @param {string} name of the file
 * @param {HTMLElement} place the list that the row comes into
 * @returns {{show: function(string, number): void, end: function(string, boolean=): void}} `show` takes words
 *   and the share that is done, 0..1; `end` leaves only words, which may be bad ones, or no row where they
 *   are ""
 */
export function rowOfFile(name, place) {
  const words = h("span", {}, "waiting");
  const bar = h("progress", {max: 1, value: 0, "aria-label": name});
  const row = h("li", {}, h("span.tilename", {}, name), bar, words);
  place.append(row);
  const show = (text, share) => {
    bar.value = share;
    words.textContent = text;
  };
  const end = (text, isBad = false) => {
    if (!text) return row.remove();
    words.textContent = text;
    row.classList.toggle("bad", isBad);
    return bar.remove();
  };
  return {show, end};
}

/**
 * Sends photos and videos one after another, each with a row; a photo's goes once it is taken in. A video's
 * stays and says how many pictures were taken, as does what is not taken in, with the reason.
 * @param {File[]} files
 * @param {HTMLElement} place the list that the rows come into
 * @param {function(File): string} nameOf the name that each is to have
 * @param {function(string, boolean): void} say called with what became of each, and whether its row says so,
 *   too
 */
export async function sendAll(files, place, nameOf, say) {
  for (const file of files) {
    const name = nameOf(file);
    const row = rowOfFile(name, place);
    try {
      const {photos, note} = await sendFile(file, name, row.show);
      const words = isVideo(file) ? `${photos.length} pictures are in the build. ${note}`.trim() : "";
      row.end(words);
      say(words ? `${name}: ${words}` : `${name} is in the build.`, Boolean(words));
    } catch (error) {
      row.end(error.message, true);
      say(error.message, true);
    }
  }
}

/**
 * Sends what is chosen in a field for files, which is empty again then.
 * @param {HTMLInputElement} input
 * @param {function(File[]): void} send
 */
export function whenChosen(input, send) {
  input.addEventListener("change", () => {
    const files = [...input.files];
    input.value = "";
    send(files);
  });
}
