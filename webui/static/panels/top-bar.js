// The bar above: the name of the frame, undo and redo, units, light or dark. Needs build, changes, units.

import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {byId, h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {ask} from "../core/messages.js";
import {inInches, switchUnits} from "../core/units.js";

const THEMES = ["auto", "light", "dark"];

/** Makes the bar's buttons work and listens to what changes them. */
export function begin() {
  byId("name").onclick = rename;
  byId("units").onclick = () => {
    switchUnits();
    showUnits();
  };
  byId("theme").onclick = () => {
    const now = THEMES.indexOf(document.documentElement.dataset.theme);
    setTheme(THEMES[(now + 1) % THEMES.length]);
  };
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => emit("draw"));
  on("changed", draw);
  on("photos", draw);
  const kept = localStorage.getItem("theme");
  setTheme(THEMES.includes(kept) ? kept : "auto");
}

function setTheme(name) {
  document.documentElement.dataset.theme = name;
  localStorage.setItem("theme", name);
  byId("theme").setAttribute("aria-label", `Light or dark: ${name === "auto" ? "as the system" : name}`);
  emit("draw");
}

/** Shows whether lengths are in mm or inches, on the button and wherever they stand. */
export function showUnits() {
  const words = inInches() ? "inch, lengths in inches" : "mm, lengths in millimetres";
  byId("units").textContent = inInches() ? "inch" : "mm";
  byId("units").setAttribute("aria-label", words);
  emit("units");
}

async function rename() {
  const attributes = {type: "text", id: "new-name", maxlength: 120, autocomplete: "off"};
  const name = h("input", {...attributes, value: build.name});
  const buttons = [
    {text: "Use", value: 1},
    {text: "Cancel", value: null},
  ];
  if (await ask("Name of the frame", [h("label", {for: "new-name"}, "Name"), name], buttons)) {
    edit({op: "name", name: name.value.trim()});
  }
}

function draw() {
  const name = build.name || build.folder || "Build";
  byId("name").textContent = name;
  byId("name").setAttribute("aria-label", `${name}: rename`);
  document.title = name;
  for (const id of ["undo", "redo"]) {
    const words = build[id];
    byId(id).disabled = !words;
    byId(id).title = words ? `${id === "undo" ? "Undo" : "Redo"}: ${words}` : "";
  }
  byId("read").textContent = build.members.size ? "Read again" : "Read photos";
  byId("read").classList.toggle("main", !build.members.size && build.photos.length > 0);
}
