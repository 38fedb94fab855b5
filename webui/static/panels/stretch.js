// The whole frame made longer or shorter across a plane between two holes of a member: asked for, seen in
// words before it is made. Needs api, build, changes.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {ask, notice} from "../core/messages.js";

const TYPING_MS = 250;
const ALONG = 0.999; // cosine from which a member runs to a side
const WHAT =
  "Every member that crosses the plane grows or shrinks by so many holes, what lies beyond it moves, and " +
  "joints and fittings stay as they are. Undo brings it back.";

/**
 * Asks where and by how much, and stretches the frame.
 * @param {import("../core/build.js").Member} m along which it is stretched
 */
export async function askStretch(m) {
  if (m.holes < 2) {
    notice(`${m.id} has one hole; choose a longer member.`, "warn");
    return;
  }
  const number = (id, value, range) =>
    h("input", {type: "number", id: `stretch-${id}`, value, inputmode: "numeric", ...range});
  const after = number("after", Math.ceil(m.holes / 2), {min: 1, max: m.holes - 1});
  const by = number("by", 1, {});
  const end = h(
    "select",
    {id: "stretch-end"},
    h("option", {value: 1}, sideWords(m, m.holes, 1)),
    h("option", {value: 0}, sideWords(m, 1, -1)),
  );
  const effect = h("p", {id: "stretch-effect", "aria-live": "polite"});
  const request = () => ({
    member: m.id,
    after: Number(after.value) - 1,
    end: Number(end.value),
    by: Number(by.value),
  });
  previewOf([after, by, end], request, effect);
  const body = [
    h("p", {}, WHAT),
    h("label", {for: "stretch-after"}, `The plane lies after hole (1 to ${m.holes - 1})`),
    after,
    h("label", {for: "stretch-by"}, "Holes longer (below 0: shorter)"),
    by,
    h("label", {for: "stretch-end"}, "What moves"),
    end,
    effect,
  ];
  const buttons = [
    {text: "Stretch", value: 1},
    {text: "Cancel", value: null},
  ];
  if (await ask(`Longer or shorter along ${m.id}`, body, buttons)) edit({op: "stretch", ...request()});
}

/** Which side of the plane is meant: "Right, the side of hole 20". */
function sideWords({direction}, hole, sign) {
  const isThat = ([, way]) => way.reduce((sum, v, i) => sum + v * direction[i] * sign, 0) > ALONG;
  const name = Object.entries(build.sides).find(isThat)?.[0];
  const words = `he side of hole ${hole}`;
  return name ? `${name[0].toUpperCase()}${name.slice(1)}, t${words}` : `T${words}`;
}

/** Says in `effect` what the request would come to, now and whenever one of the inputs changes. */
function previewOf(inputs, request, effect) {
  let timer = 0;
  let requests = 0;
  const update = async () => {
    const number = ++requests;
    const found = await post("/api/stretch", request()).catch(error => ({problem: error.message}));
    if (number !== requests) return;
    effect.textContent = found.problem || `${found.words}.`;
    effect.className = found.problem ? "warned" : "strong";
  };
  for (const input of inputs) {
    input.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(update, TYPING_MS);
    });
  }
  update();
}
