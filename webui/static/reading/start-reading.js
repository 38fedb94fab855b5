// Starts a reading of the photos, after a question: what stock and which length are known, or whether to
// read again. Needs api, messages, pulse.

import {get, post} from "../core/api.js";
import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {ask, notice} from "../core/messages.js";
import {pulse} from "../core/pulse.js";

const AGAIN =
  "The photos are read again around your corrections. What you said stays, stock and size too; where " +
  "the photos disagree, the page says so.";
const FIRST = "The photos are searched for holes, rows and members.";
const NOT_KNOWN = "How long that takes on this machine is learnt with the first reading.";

/** Asks, then starts the reading. */
export async function startReading() {
  if (!build.photos.some(p => p.here)) {
    notice("Add photos first: three or more, from different corners of the frame.", "warn");
    return;
  }
  const recognise = h("option", {value: ""}, "Recognise it");
  const stocks = build.stocks.map(s => h("option", {value: s.id}, s.name));
  const stock = h("select", {id: "read-stock"}, recognise, stocks);
  const example = {autocomplete: "off", placeholder: "16 holes = 610 mm"};
  const length = h("input", {id: "read-length", type: "text", ...example});
  const again = build.members.size > 0;
  const takes = await expected();
  const first = () => [
    h("p", {}, `${FIRST} ${takes}`),
    h("label", {for: "read-stock"}, "Stock"),
    stock,
    h("label", {for: "read-length"}, "One length that you measured (may be left out)"),
    length,
  ];
  const choice = await ask(
    again ? "Read again" : "Read the photos",
    again ? [h("p", {}, `${AGAIN} ${takes}`)] : first(),
    [
      {text: again ? "Read again" : "Read", value: "go"},
      {text: "Not now", value: null},
    ],
  );
  if (choice !== "go") return;
  try {
    build.job = await post("/api/read", {stock: stock.value || null, length: length.value.trim() || null});
    pulse();
  } catch (error) {
    notice(error.message, "warn", true);
  }
}

/** How long a reading will take, as those before took on this machine. */
async function expected() {
  const {seconds, photos} = await get("/api/read/expected").catch(() => ({seconds: null}));
  if (!seconds) return NOT_KNOWN;
  const round =
    seconds < 90 ? `${Math.max(5, 5 * Math.round(seconds / 5))} s` : `${Math.round(seconds / 60)} min`;
  const take = photos === 1 ? "photo takes" : "photos take";
  return `${photos} ${take} about ${round} on this machine.`;
}
