// From where the frame in space is looked at: the front, the back, a side or above, or as in a photo. Needs
// build, dom.

import {build} from "../core/build.js";
import {h} from "../core/dom.js";

const QUARTER = Math.PI / 2;
const ABOVE = 1.5; // rad: the view's steepest
// name: [turn from the front, height], rad
const SIDES = {
  Front: [0, 0],
  Right: [QUARTER, 0],
  Back: [2 * QUARTER, 0],
  Left: [-QUARTER, 0],
  Top: [0, ABOVE],
};

/**
 * A list from which one chooses where to look from.
 * @param {Object} view with turn, height, far and target
 * @returns {HTMLElement}
 */
export function viewpointSelect(view) {
  const select = h("select.quiet", {
    "aria-label": "Look at the frame from",
    onchange: () => look(select, view),
  });
  const fill = () => fillWith(select);
  for (const event of ["focus", "pointerdown"]) select.addEventListener(event, fill);
  fill();
  return select;
}

function fillWith(select) {
  const seen = build.photos.filter(photo => photo.eye);
  const names = [...Object.keys(SIDES), ...seen.map(photo => `As in ${photo.name}`)];
  if (select.options.length === names.length + 1) return;
  const options = names.map(name => h("option", {value: name}, name));
  select.replaceChildren(h("option", {value: ""}, "View…"), ...options);
}

function look(select, view) {
  const name = select.value;
  select.value = "";
  if (SIDES[name]) {
    const [x, y] = build.sides.front || [0, -1];
    const [turn, height] = SIDES[name];
    view.turn = Math.atan2(x, -y) + turn;
    view.height = height;
    view.fit();
    return;
  }
  const photo = build.photos.find(other => name === `As in ${other.name}`);
  if (photo?.eye) lookAsIn(photo, view);
}

/** Looks at the frame from where a photo was taken, its middle in the middle. */
function lookAsIn({eye}, view) {
  view.fit();
  const from = eye.map((v, i) => v - view.target.getComponent(i));
  const far = Math.hypot(...from) || 1;
  view.turn = Math.atan2(from[0], -from[1]);
  view.height = Math.asin(Math.max(-1, Math.min(1, from[2] / far)));
  view.draw();
}
