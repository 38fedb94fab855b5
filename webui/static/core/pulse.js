// What happens without this page: a reading goes on, photos become ready, another tab or device changes the
// build, the program is started again. Asked for every 2 s, and twice a second while photos are read. Needs
// api, build, loading, changes, sending.

import {get, silentBut} from "./api.js";
import {build} from "./build.js";
import {changesDone} from "./changes.js";
import {emit} from "./events.js";
import {load, refreshPhotos} from "./loading.js";
import {announce, notice} from "./messages.js";
import {backdrop} from "./repaint.js";
import {isOwn, isSending} from "./sending.js";

const READING_MS = 500;
const QUIET_MS = 2000;
let timer = 0;
let pulses = 0;
const known = new Set(); // names of all photos that were shown here, also of those taken out since
const arrived = new Set(); // names of photos that came: whether from here is known once nothing is being sent
let start = null; // which start of the program this page is of
let entered = null; // how many browsers a key has let in

/** Asks now, and again and again from then on. */
export async function pulse() {
  clearTimeout(timer);
  const number = ++pulses;
  try {
    const status = await get("/api/pulse");
    if (number !== pulses) return; // a newer one is under way; this may be of the time before a reading began
    if (start && status.start !== start) {
      location.reload(); // the program was started again; all that was confirmed is in its journal
      return;
    }
    start = status.start;
    if (status.entered > (entered ?? status.entered)) emit("entered");
    entered = status.entered;
    await takeOver(status);
  } catch (error) {
    notice(error.status ? error.message : silentBut("Nothing of what was confirmed is lost."), "warn");
  }
  clearTimeout(timer);
  timer = setTimeout(pulse, build.job.running ? READING_MS : QUIET_MS);
}

async function takeOver(status) {
  const before = build.job;
  build.job = status.job;
  for (const [photo, times] of Object.entries(status.job.found)) {
    if (before.found?.[photo] === times) continue;
    build.found.delete(photo);
    backdrop.version++;
    emit("found", photo);
  }
  await takeOverPhotos(status);
  await changesDone();
  if (status.n > build.n) {
    const news = (status.news || []).slice(build.n - status.n).join("; ");
    if (!before.running) {
      notice(`Changed in another tab or on another device, and shown here now: ${news}.`);
    }
    await load(true);
  }
  if (before.running && !status.job.running) readingEnded(status);
  emit("job");
}

/** Takes over photos that came, went or became ready. */
async function takeOverPhotos({photos, ready}) {
  const becameReady = p => p.here && p.levels === null && !p.problem && ready.includes(p.name);
  const isHere = name => build.photos.some(p => p.here && p.name === name);
  for (const p of build.photos) if (p.here) known.add(p.name);
  for (const name of photos) if (!known.has(name)) arrived.add(name);
  if (!photos.every(isHere) || build.photos.some(becameReady)) await refreshPhotos();
  sayWhatCame(isHere);
}

/** Says which photos came that were not sent from here. */
function sayWhatCame(isHere) {
  if (isSending()) return;
  const names = [...arrived].filter(name => !isOwn(name) && isHere(name));
  arrived.clear();
  if (!names.length) return;
  notice(`${names.length === 1 ? names[0] : `${names.length} photos`} came from another device.`);
}

/** Says what became of a reading, with all photos that it left out. */
function readingEnded({job, news}) {
  // without members the panel of doubts says why, too: the notice does not stay over the photo
  if (job.problem) return notice(job.problem, "warn", build.members.size > 0);
  if (job.cancelled) return notice("The reading was cancelled; nothing was changed.");
  emit("read");
  const differ = (build.corrections.conflicts || []).length > 0;
  const first = differ ? "That comes first in To confirm." : "What is least sure comes first in To confirm.";
  const words = `${(news || []).at(-1) || "The photos were read"}. ${first}`;
  const leftOut = job.left_out.map(([photo, reason]) => `${photo}: ${reason}`);
  notice([words, ...leftOut].join(" "), leftOut.length ? "warn" : "", differ || leftOut.length > 0);
  announce(words);
}
