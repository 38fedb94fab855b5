// Ghosts of members in space (`build.ghosts`): their edges as lines. Needs build, box, three.js.

import {build} from "../core/build.js";
import {CHOSEN, PLAN} from "../core/colours.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, CORNERS, firstOnRay, placeInSpace} from "./box.js";

const EDGES = CORNERS.flatMap((_, i) => [1, 2, 4].filter(bit => !(i & bit)).map(bit => [i, i | bit]));
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
