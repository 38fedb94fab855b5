// The page, put together.

import {ask, byId, h, notice} from "./dom.js";
import {build, edit, load, on, post, pulse, redo, tell, undo} from "./store.js";
import {inInches, switchUnits} from "./units.js";
import {startReading} from "./start.js";
import * as modes from "./modes.js";
import * as views from "./views.js";
import * as card from "./card.js";
import * as rail from "./rail.js";
import * as effects from "./effects.js";
import * as keys from "./keys.js";
import * as measure from "./measure.js";
import * as progress from "./progress.js";

const THEMES = ["auto", "light", "dark"];

function theme(name) {
  document.documentElement.dataset.theme = name;
  localStorage.setItem("theme", name);
  byId("theme").setAttribute("aria-label", `Light or dark: ${name === "auto" ? "as the system" : name}`);
  tell("draw");
}

function units() {
  byId("units").textContent = inInches() ? "inch" : "mm";
  byId("units").setAttribute("aria-label", inInches() ? "inch, lengths in inches" : "mm, lengths in millimetres");
  effects.standing();
  tell("units");
}

async function rename() {
  const name = h("input", {type: "text", id: "new-name", maxlength: 120, value: build.name, autocomplete: "off"});
  if (await ask("Name of the frame", [h("label", {for: "new-name"}, "Name"), name], [{text: "Take it", value: 1}, {text: "Leave it", value: null}])) edit({op: "name", name: name.value.trim()});
}

function bar() {
  const name = build.name || build.folder || "Build";
  byId("name").textContent = name;
  byId("name").setAttribute("aria-label", `${name}: rename`);
  document.title = name;
  for (const [id, words] of [["undo", build.undo], ["redo", build.redo]]) {
    byId(id).disabled = !words;
    byId(id).title = words ? `${id === "undo" ? "Undo" : "Redo"}: ${words}` : "";
  }
  byId("read").textContent = build.members.size ? "Solve again" : "Read photos";
  byId("read").classList.toggle("main", !build.members.size && build.photos.length > 0);
  byId("away").disabled = !build.photos.length && !build.members.size;
  effects.standing();
}

byId("undo").onclick = undo;
byId("redo").onclick = redo;
byId("read").onclick = startReading;
byId("name").onclick = rename;
byId("help").onclick = keys.help;
byId("units").onclick = () => { switchUnits(); units(); };
byId("theme").onclick = () => theme(THEMES[(THEMES.indexOf(document.documentElement.dataset.theme) + 1) % THEMES.length]);
byId("job-cancel").onclick = async () => { build.job = await post("/api/read/cancel", {}); tell("job"); pulse(); };
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => tell("draw"));

on("changed", bar);
on("photos", bar);
theme(THEMES.includes(localStorage.getItem("theme")) ? localStorage.getItem("theme") : "auto");
modes.begin();
views.begin();
card.begin();
measure.begin();
progress.begin();
effects.begin();
rail.begin();
keys.begin();
load().then(() => { units(); pulse(); document.body.dataset.ready = "true"; }).catch(error => notice(error.message, "warn", true));
