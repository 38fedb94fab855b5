// What is written over the frame in space: labels, a ring round the chosen lap, and which way right, back
// and up are. A view has `camera`, `labels` (the canvas), `width`, `deep`, `ratio` and `element`. Needs
// three.js, pose, core/brush.

import {centreText, drawLabels} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, INK} from "../core/colours.js";
import {chosen} from "../core/selection.js";
import {layers} from "../photos/modes.js";
import * as THREE from "../vendor/three.module.min.js";
import {paintCameraPath} from "./camera-path.js";
import {shownBox} from "./pose.js";
import {paintRuler, paintTape} from "./spots.js";
import {paintStand} from "./stand.js";

const LABEL_SIZE = {room: 10, rim: 1.2};
const RING = 8;
const AXES_PX = 52; // their origin, from the left and from the bottom
const AXIS_PX = 22;
const AXES_FONT = "600 12px system-ui";
const NAME_PX = 34;
const NAMED = ["right", "back", "up"]; // sides that the three axes point to

/**
 * Paints all of it.
 * @param {Object} view
 */
export function paintOverlay(view) {
  const c = view.labels.getContext("2d");
  c.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
  c.clearRect(0, 0, view.width, view.deep);
  const onView = point => project(view, point);
  drawLabels(c, labelsOf(view), LABEL_SIZE);
  if (layers.ruler) paintRuler(view, c, onView);
  paintLap(view, c);
  paintTape(c, onView);
  if (layers.path) paintCameraPath(view, c, onView);
  paintStand(view, c, onView);
  paintAxes(view, c);
}

/** Where a point of space is on the canvas: [x, y, depth]. */
function project(view, point) {
  const p = new THREE.Vector3(...point).project(view.camera);
  return [((p.x + 1) * view.width) / 2, ((1 - p.y) * view.deep) / 2, p.z];
}

function* labelsOf(view) {
  const isChosen = m => chosen.members.includes(m.id);
  const others = [...build.members.values()].filter(m => !isChosen(m));
  for (const m of [...chosen.members.map(id => build.members.get(id)), ...others]) {
    const [x, y, depth] = project(view, shownBox(m, view.pose).middle);
    if (depth <= 1) yield {id: m.id, x, y, chosen: isChosen(m)};
  }
  for (const f of build.fittings.filter(one => one.box)) {
    const [x, y, depth] = project(view, f.box.middle);
    if (depth <= 1) yield {id: f.id, x, y, chosen: f.id === chosen.fitting};
  }
}

function paintLap(view, c) {
  const joint = chosen.lap && build.laps.get(String(chosen.lap));
  if (!joint) return;
  const a = build.members.get(joint.a);
  const b = build.members.get(joint.b);
  const hole = (m, number) => m.first.map((v, i) => v + m.direction[i] * number);
  const p = hole(a, joint.a_hole);
  const q = hole(b, joint.b_hole);
  const [x, y] = project(
    view,
    p.map((v, i) => (v + q[i]) / 2),
  );
  c.beginPath();
  c.arc(x, y, RING, 0, 7);
  c.lineWidth = 4;
  c.strokeStyle = INK;
  c.stroke();
  c.lineWidth = 2;
  c.strokeStyle = CHOSEN;
  c.stroke();
}

function paintAxes(view, c) {
  const [x, y] = [AXES_PX, view.deep - AXES_PX];
  const colour = getComputedStyle(view.element).color;
  c.strokeStyle = colour;
  c.fillStyle = colour;
  c.lineWidth = 2;
  centreText(c, AXES_FONT);
  for (const name of NAMED.filter(side => build.sides[side])) {
    const d = new THREE.Vector3(...build.sides[name]).transformDirection(view.camera.matrixWorldInverse);
    c.beginPath();
    c.moveTo(x, y);
    c.lineTo(x + d.x * AXIS_PX, y - d.y * AXIS_PX);
    c.stroke();
    c.fillText(name, x + d.x * NAME_PX, y - d.y * NAME_PX);
  }
}
