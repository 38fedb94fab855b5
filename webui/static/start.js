// Photos in: dropped or chosen, sent one by one, each told of as it goes.

import {announce, ask, h, notice} from "./dom.js";
import {build, load, post, pulse, upload} from "./store.js";

let tile = null, sending = null, input = null;
const MOST_MB = 120;

/** The tile that takes photos. */
export function startTile() {
  if (tile) return tile;
  input = h("input.unseen", {type: "file", multiple: true, accept: "image/*,.heic,.heif", id: "files", tabindex: -1, "aria-label": "Photos", onchange: () => { send([...input.files]); input.value = ""; }});
  tile = h("div.tile.start", {}, h("div.startwords", {},
    h("p.lead", {}, "Photos of the frame"),
    h("p", {}, "Three or more, from different corners, each with the whole frame in it where that can be. JPEG, PNG, WebP, TIFF or HEIC."),
    h("button.main", {type: "button", id: "add-photos", onclick: () => input.click()}, "Add photos"), input,
    h("p.dim", {}, "or drop them anywhere on this page")));
  sending = h("ul.sending", {id: "sending", "aria-label": "Photos on their way"});
  document.querySelector(".sightbar").after(sending);
  for (const event of ["dragover", "drop"]) document.addEventListener(event, e => { if (e.dataTransfer?.types.includes("Files")) e.preventDefault(); });
  document.addEventListener("dragenter", e => e.dataTransfer?.types.includes("Files") && document.body.classList.add("dropping"));
  document.addEventListener("dragleave", e => e.relatedTarget || document.body.classList.remove("dropping"));
  document.addEventListener("drop", e => { document.body.classList.remove("dropping"); if (e.dataTransfer?.files.length) send([...e.dataTransfer.files]); });
  return tile;
}

export function choosePhotos() { startTile(); input.click(); }

async function send(files) {
  sending.replaceChildren();
  for (const file of files) {
    const words = h("span", {}, "waiting"), bar = h("progress", {max: 1, value: 0, "aria-label": file.name});
    const row = h("li", {}, h("span.tilename", {}, file.name), bar, words);
    sending.append(row);
    if (file.size > MOST_MB * 2 ** 20) { words.textContent = `larger than ${MOST_MB} MB; save it as JPEG`; row.classList.add("bad"); continue; }
    try {
      await upload("/api/photos", file, {"X-Photo-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream"}, share => { bar.value = share; words.textContent = share < 1 ? "sending" : "being checked"; });
      row.remove();
    } catch (error) { words.textContent = error.message; row.classList.add("bad"); bar.remove(); announce(error.message); }
  }
  await load(true);
  if (sending.children.length) sending.append(h("li", {}, h("button", {type: "button", onclick: () => sending.replaceChildren()}, "Close")));
  announce(`${build.photos.length} photos in this build`);
}

/** Reads the photos, first asking what is known of the stock. */
export async function startReading() {
  if (!build.photos.some(p => p.here)) { notice("Add photos first: three or more, from different corners of the frame.", "warn"); return; }
  const stock = h("select", {id: "read-stock"}, h("option", {value: ""}, "Recognise it"), build.stocks.map(s => h("option", {value: s.id}, s.name)));
  const length = h("input", {id: "read-length", type: "text", autocomplete: "off", placeholder: "16 holes = 610 mm"});
  const again = build.members.size > 0;
  const body = again ? [h("p", {}, "The photos are read again around your corrections. What you said stays, stock and size too; where the photos say otherwise, you are told.")] : [
    h("p", {}, "The photos are searched for openings, rows and members. Three photos take about half a minute."),
    h("label", {for: "read-stock"}, "Stock"), stock,
    h("label", {for: "read-length"}, "One length that you measured (may be left out)"), length];
  const answer = await ask(again ? "Solve again" : "Read the photos", body, [{text: again ? "Solve again" : "Read", value: "go"}, {text: "Not now", value: null}]);
  if (answer !== "go") return;
  try { build.job = await post("/api/read", {stock: stock.value || null, length: length.value.trim() || null}); pulse(); } catch (error) { notice(error.message, "warn", true); }
}
