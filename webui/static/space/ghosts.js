// Ghosts of members in space (`build.ghosts`): their edges as lines. Needs build, box, three.js.

import {drawPlate} from "../core/brush.js";
import {build} from "../core/build.js";
import {CHOSEN, PLAN} from "../core/colours.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, CORNERS, firstOnRay, placeInSpace} from "./box.js";

const EDGES = CORNERS.flatMap((_, i) => [1, 2, 4].filter(bit => !(i & bit)).map(bit => [i, i | bit]));
const LABEL_OFF = 22; // px over its end
const FAINT = 0.75;

export class Ghosts {
  /** @param {THREE.Scene} scene */
  constructor(scene) {
    this.scene = scene;
    this.lines = [];
    this.shown = [];
  }

  /**
   * Takes over the ghosts as they are now.
   * @returns {boolean} whether they are others than before
   */
  update() {
    if (this.shown === build.ghosts) return false;
    this.shown = build.ghosts;
    for (const line of this.lines) {
      this.scene.remove(line);
      line.geometry.dispose();
      line.material.dispose();
    }
    this.lines = build.ghosts.map(ghostLines);
    for (const line of this.lines) this.scene.add(line);
    return true;
  }
}

function ghostLines({member, current}) {
  const box = boxOf(member);
  const corners = CORNERS.map(corner => placeInSpace(box, corner));
  const points = EDGES.flatMap(([i, j]) => [...corners[i], ...corners[j]]);
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.Float32BufferAttribute(points, 3));
  const looks = {color: current ? CHOSEN : PLAN, transparent: true, opacity: current ? 1 : FAINT};
  const material = new THREE.LineDashedMaterial({...looks, dashSize: 0.6, gapSize: current ? 0.15 : 0.4});
  const lines = new THREE.LineSegments(geometry, material);
  lines.computeLineDistances();
  return lines;
}

/**
 * The ghost of a drawn member on a ray that could be meant in place of the current one.
 * @param {number[]} from
 * @param {number[]} way
 * @returns {string|null} its id
 */
export function ghostOnRay(from, way) {
  if (!build.proposal) return null;
  return firstOnRay(
    from,
    way,
    build.ghosts.map(({member}) => member),
  );
}

/**
 * Writes what is said of ghosts at their ends.
 * @param {Object} view
 * @param {CanvasRenderingContext2D} c
 */
export function paintGhostLabels(view, c) {
  for (const {member, label, end} of build.ghosts) {
    if (!label) continue;
    const hole = end ? member.holes - 1 : 0;
    const place = member.first.map((v, i) => v + member.direction[i] * hole);
    const {x, y} = new THREE.Vector3(...place).project(view.camera);
    drawPlate(
      {width: view.width},
      c,
      [((x + 1) * view.width) / 2, ((1 - y) * view.deep) / 2 - LABEL_OFF],
      label,
    );
  }
}
