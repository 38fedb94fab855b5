// A hand that drags copies which are being placed (`build.copying`) in 3-D: along the side of the frame that
// the hand's way is nearest to, hole by hole. Needs build, copying, box, brush, three.js.

import {drawPlate} from "../core/brush.js";
import {build} from "../core/build.js";
import {moveCopies, showCopies} from "../core/copying.js";
import {plural} from "../core/units.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, firstOnRay} from "./box.js";

const LEAST_PX = 2; // of a pitch: along a side seen end-on nothing can be dragged
const SIDES = ["right", "left", "back", "front", "up", "down"];

/**
 * The hand that begins at a place of the canvas, or null where no copy is there.
 * @param {Object} view
 * @param {number[]} at px of the canvas
 */
export function copyHand(view, at) {
  const members = build.copying.place?.members || [];
  const id = firstOnRay(...view.rayAt(at), members);
  if (!id) return null;
  const {middle} = boxOf(members.find(m => m.id === id));
  let found = null;
  return {
    move(to) {
      found = draggedBy(view, middle, [to[0] - at[0], to[1] - at[1]]);
      showCopies(found.by);
    },
    drop() {
      if (found?.holes) moveCopies(found.by);
    },
    paint(c) {
      if (!found) return;
      const words = ["up", "down"].includes(found.side) ? found.side : `to the ${found.side}`;
      const [x, y] = onCanvas(
        view,
        middle.map((v, i) => v + found.by[i]),
      );
      drawPlate({width: view.width}, c, [x, y - 26], `${plural(found.holes, "hole")} ${words}`);
    },
  };
}

/** Along which side, and by how many holes, a hand that has gone so many px moves what is at `place`. */
function draggedBy(view, place, [dx, dy]) {
  const origin = onCanvas(view, place);
  let best = {side: "", holes: 0, by: [0, 0, 0], score: 0};
  for (const side of SIDES.filter(name => build.sides[name])) {
    const way = build.sides[side];
    const [x, y] = onCanvas(
      view,
      place.map((v, i) => v + way[i]),
    );
    const step = [x - origin[0], y - origin[1]];
    const size = Math.hypot(...step);
    if (size < LEAST_PX) continue;
    const along = (dx * step[0] + dy * step[1]) / size;
    const off = Math.abs(dx * step[1] - dy * step[0]) / size;
    const holes = Math.round(along / size);
    if (holes > 0 && along - off > best.score) {
      best = {side, holes, by: way.map(v => v * holes), score: along - off};
    }
  }
  return best;
}

/** Where a place in space is on the canvas, px. */
function onCanvas(view, place) {
  const {x, y} = new THREE.Vector3(...place).project(view.camera);
  return [((x + 1) * view.width) / 2, ((1 - y) * view.deep) / 2];
}
