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
 * Sends a photo, or a video, of which the sharpest pictures from all round become photos.
 * @param {File} file
 * @param {string} name that it is to have
 * @param {function(string, number): void} show called with words and the share that is done, 0..1
 * @returns {Promise<{photos: string[], note: string}>} names of the photos that there are now, and what could
 *   not be used
 */
export async function sendFile(file, name, show) {
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
 * Sends one file; a photo's row goes once it is taken in. A video's stays and says how many pictures were
 * taken, as does what is not taken in, with the reason.
 * @param {File} file
 * @param {string} name that it is to have
 * @param {HTMLElement} place the list that its row comes into
 * @returns {Promise<{problem: string, words: string}>} why it was not taken in, or what was; the other is ""
 */
export async function sendWithRow(file, name, place) {
  const words = h("span", {}, "waiting");
  const bar = h("progress", {max: 1, value: 0, "aria-label": name});
  const row = h("li", {}, h("span.tilename", {}, name), bar, words);
  place.append(row);
  const show = (text, share) => {
    bar.value = share;
    words.textContent = text;
  };
  try {
    const {photos, note} = await sendFile(file, name, show);
    if (!isVideo(file)) {
      row.remove();
      return {problem: "", words: `${name} is in the build.`};
    }
    words.textContent = `${photos.length} pictures are in the build. ${note}`.trim();
    bar.remove();
    return {problem: "", words: `${name}: ${words.textContent}`};
  } catch (error) {
    words.textContent = error.message;
    row.classList.add("bad");
    bar.remove();
    return {problem: error.message, words: ""};
  }
}
