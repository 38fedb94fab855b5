// How a phone comes in: its address with a one-time key, as a QR code. Needs api, dom, events,
// messages.

import {post} from "./api.js";
import {byId, h, s} from "./dom.js";
import {on} from "./events.js";
import {ask, notice} from "./messages.js";

const MARGIN = 4; // modules round the code (ISO/IEC 18004)
const HOW =
  "Point the phone's camera at the code and open what it offers. It takes photos straight into this build.";
const ONCE = "The code lets one phone in, once. Both have to be in the same network, one that you trust.";

const CAME_IN = "A device came in by its key. The photos that it takes come here.";
let isShown = false;

/** Listens to who comes in: a code that let one in is of no use any more, and goes. */
export function begin() {
  on("entered", () => {
    if (isShown) byId("dialog").close();
    notice(CAME_IN);
  });
}

/** @returns {SVGElement} a QR code, dark on light whatever the page's colours */
function codeOf(rows) {
  const size = rows.length + 2 * MARGIN;
  const dark = rows.flatMap((row, y) =>
    [...row].map((bit, x) => (bit === "1" ? `M${x + MARGIN} ${y + MARGIN}h1v1h-1z` : "")),
  );
  const attributes = {
    class: "qr",
    viewBox: `0 0 ${size} ${size}`,
    role: "img",
    "aria-label": "QR code of the address",
  };
  return s("svg", attributes, s("rect", {width: size, height: size}), s("path", {d: dark.join("")}));
}

/** Shows the code, or says how the page is started so that a phone can come in. */
export async function invitePhone() {
  try {
    const {address, qr} = await post("/api/device", {});
    const body = [h("p", {}, HOW), codeOf(qr), h("p.address", {}, address), h("p.dim", {}, ONCE)];
    isShown = true;
    await ask("Phone", body, [{text: "Done", value: 1}]);
    isShown = false;
  } catch (error) {
    if (error.status === 422) await ask("Phone", h("p", {}, error.message), [{text: "Close", value: 1}]);
    else notice(error.message, "warn");
  }
}
