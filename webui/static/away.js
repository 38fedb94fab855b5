// What can be taken away, the plan, the scale, and other devices.

import {ask, h, notice} from "./dom.js";
import {start as measure} from "./measure.js";
import {build, edit, get, load, post, upload} from "./store.js";

let papers = null;

export function draw() {
  if (!papers) { papers = []; get("/api/papers").then(told => { papers = told.papers; load(true); }).catch(() => { papers = null; }); }
  const plan = h("input.unseen", {type: "file", accept: ".json", tabindex: -1, "aria-label": "Plan", onchange: async () => {
    try { const told = await upload("/api/plan", plan.files[0], {"Content-Type": "application/json"}, () => {}); notice(`Plan taken: ${told.members} members.`); await load(true); } catch (error) { notice(error.message, "warn", true); }
  }});
  return [
    h("h3.pad", {}, "Papers and files"),
    h("ul.list", {}, papers.map(p => h("li", {}, h("button.item", {type: "button", disabled: !build.members.size, onclick: () => fetchPaper(`/api/papers/${p.id}`)}, h("span.strong", {}, p.name), h("span.dim", {}, p.what)))),
      h("li", {}, h("button.item", {type: "button", onclick: () => fetchPaper("/api/build.zip")}, h("span.strong", {}, "The whole build"), h("span.dim", {}, "photos, corrections, frame file, in one zip that opens elsewhere")))),
    h("h3.pad", {}, "Plan"),
    h("div.buttons.pad", {}, h("button", {type: "button", onclick: () => plan.click()}, build.plan ? "Another plan" : "Load a plan"), plan,
      build.plan ? h("button", {type: "button", onclick: async () => { await post("/api/plan/remove", {}); await load(true); }}, "Put the plan away") : null),
    h("p.dim.pad", {}, build.plan ? `Held against ${build.plan}; see Checks.` : "A frame file that this build is held against."),
    h("h3.pad", {}, "Size and place"),
    h("div.buttons.pad", {}, h("button", {type: "button", onclick: scale}, "One measured length"), h("button", {type: "button", onclick: stock}, "Stock of all members"),
      ["x", "y", "z"].map(axis => h("button", {type: "button", onclick: () => edit({op: "turn", quarter: `${axis}+`})}, `Turn about ${axis}`))),
    document.body.dataset.shared ? h("div.buttons.pad", {}, h("button", {type: "button", onclick: device}, "Let another device in")) : null].filter(Boolean);
}

async function fetchPaper(path) {
  try {
    const answer = await fetch(path);
    if (!answer.ok) throw new Error((await answer.json()).problem);
    const name = /filename="?([^";]+)/.exec(answer.headers.get("Content-Disposition") || "")?.[1] || "frame";
    const link = h("a", {href: URL.createObjectURL(await answer.blob()), download: name});
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    notice(`Saved: ${name}`);
  } catch (error) { notice(error.message, "warn", true); }
}

export async function scale() {
  const text = h("input", {type: "text", id: "scale-text", autocomplete: "off", placeholder: "A = 610 mm   or   16 holes = 24 1/8 in"});
  const answer = await ask("One measured length", [h("label", {for: "scale-text"}, "A member or a number of holes, from end to end"), text],
    [{text: "Take it", value: 1}, ...(build.photos.some(p => p.camera) ? [{text: "Between two openings on a photo", value: "photo"}] : []), {text: "Leave it", value: null}]);
  if (answer === "photo") measure();
  else if (answer && await edit({op: "scale", text: text.value.trim()})) notice(build.undo);
}

async function stock() {
  const choice = h("select", {id: "all-stock"}, build.stocks.map(s => h("option", {value: s.id, selected: build.stock?.id === s.id}, s.name)));
  if (await ask("Stock of all members", [h("label", {for: "all-stock"}, "Stock"), choice], [{text: "Take it", value: 1}, {text: "Leave it", value: null}])) edit({op: "stock", members: null, stock: choice.value});
}

async function device() {
  try {
    const {address} = await post("/api/device", {});
    await ask("Another device", [h("p", {}, "Open this address there; its key works once."), h("p.address", {}, address)], [{text: "Done", value: 1}]);
  } catch (error) { notice(error.message, "warn"); }
}
