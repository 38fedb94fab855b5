// Starts a reading of the photos, after a question: what stock and which length are known, or whether to
// read again. Needs api, messages, pulse.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {ask, notice} from "../core/messages.js";
import {pulse} from "../core/pulse.js";

const AGAIN =
  "The photos are read again around your corrections. What you said stays, stock and size too; where " +
  "the photos disagree, the page says so.";
const FIRST = "The photos are searched for holes, rows and members. Three photos take about half a minute.";

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
  const first = () => [
    h("p", {}, FIRST),
    h("label", {for: "read-stock"}, "Stock"),
    stock,
    h("label", {for: "read-length"}, "One length that you measured (may be left out)"),
    length,
  ];
  const choice = await ask(again ? "Read again" : "Read the photos", again ? [h("p", {}, AGAIN)] : first(), [
    {text: again ? "Read again" : "Read", value: "go"},
    {text: "Not now", value: null},
  ]);
  if (choice !== "go") return;
  try {
    build.job = await post("/api/read", {stock: stock.value || null, length: length.value.trim() || null});
    pulse();
  } catch (error) {
    notice(error.message, "warn", true);
  }
}
