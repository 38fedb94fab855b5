// What is looked at, brought into view in 3-D: members, the place of a lap, or members of the plan. Needs
// three.js, box-meshes, build.

import {build} from "../core/build.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, CORNERS, placeInSpace} from "./box.js";
import {ballRound} from "./box-meshes.js";

const ROOM = 1.25; // how much more than it is shown
const LAP_RADIUS = 4; // pitches round a lap that are shown
const EDGE = 0.96; // of the canvas's half width and height, to count as in view

/** The ball round what is looked at, or null. */
function ballOf({ids, lap, planned = []}) {
  const joint = lap && build.laps.get(String(lap));
  if (joint) {
    const {first, direction} = build.members.get(joint.a);
    const place = first.map((v, i) => v + direction[i] * joint.a_hole);
    return new THREE.Sphere(new THREE.Vector3(...place), LAP_RADIUS);
  }
  const members = membersOf({ids, planned});
  return members.length ? ballRound(members) : null;
}

function membersOf({ids, planned = []}) {
  const built = ids.map(id => build.members.get(id));
  return [...built, ...planned.map(id => build.planLaid[id])].filter(Boolean);
}

/**
 * Brings it into the middle.
 * @param {import("./space-view.js").SpaceView} view
 * @param {import("../photos/look-at.js").Subject} subject
 */
export function lookAt(view, subject) {
  const ball = view.camera && view.width && ballOf(subject);
  if (!ball) return;
  view.target.copy(ball.center);
  const half = Math.sin((view.camera.fov * Math.PI) / 360);
  view.far = (ROOM * ball.radius * Math.max(1, 1 / view.camera.aspect)) / half;
  view.draw();
}

/**
 * Leaves the view as it is where all of it can be seen; else brings it into the middle.
 * @param {import("./space-view.js").SpaceView} view
 * @param {import("../photos/look-at.js").Subject} subject
 */
export function bringIntoView(view, subject) {
  if (!view.camera || !view.width) return;
  const inView = corner => {
    const p = new THREE.Vector3(...corner).project(view.camera);
    return Math.abs(p.x) < EDGE && Math.abs(p.y) < EDGE && p.z < 1;
  };
  const corners = membersOf(subject).flatMap(m => CORNERS.map(corner => placeInSpace(boxOf(m), corner)));
  if (!corners.every(inView)) lookAt(view, subject);
}
