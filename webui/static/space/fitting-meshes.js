// Fittings in space: plain boxes, made anew when any of them is another. Needs three.js, build, box.

import {build} from "../core/build.js";
import {CHOSEN, SPACE} from "../core/colours.js";
import {chosen} from "../core/selection.js";
import * as THREE from "../vendor/three.module.min.js";
import {distanceAlong} from "./box.js";

/** The boxes of all fittings in a scene. */
export class FittingMeshes {
  /** @param {THREE.Scene} scene */
  constructor(scene) {
    this.group = new THREE.Group();
    this.materials = [];
    scene.add(this.group);
  }

  /** Takes over the fittings as they are now. */
  update() {
    if (this.shown === build.fittings) return;
    this.shown = build.fittings;
    for (const part of this.group.children) part.geometry.dispose();
    for (const material of this.materials) material.dispose();
    this.group.clear();
    this.materials = [];
    for (const f of build.fittings) if (f.box) this.add(f);
    this.tint();
  }

  add({id, box}) {
    const geometry = new THREE.BoxGeometry(...box.half.map(v => 2 * v));
    const face = new THREE.MeshLambertMaterial({color: SPACE.fitting});
    const ink = new THREE.LineBasicMaterial({color: SPACE.edge});
    const mesh = new THREE.Mesh(geometry, face);
    const edges = new THREE.LineSegments(new THREE.EdgesGeometry(geometry), ink);
    const [x, y, z] = box.axes.map(axis => new THREE.Vector3(...axis));
    const place = new THREE.Matrix4().makeBasis(x, y, z).setPosition(...box.middle);
    for (const part of [mesh, edges]) {
      part.matrixAutoUpdate = false;
      part.matrix.copy(place);
      this.group.add(part);
    }
    mesh.userData.fitting = id;
    this.materials.push(face, ink);
  }

  /** Colours the chosen one. */
  tint() {
    for (const {userData, material} of this.group.children) {
      if (userData.fitting) material.color.set(userData.fitting === chosen.fitting ? CHOSEN : SPACE.fitting);
    }
  }
}

/**
 * The first fitting on a ray, and how far off it is.
 * @param {number[]} from
 * @param {number[]} way
 * @returns {{id: string|null, far: number}} Infinity where there is none
 */
export function fittingOnRay(from, way) {
  const met = build.fittings
    .filter(f => f.box)
    .map(f => ({id: f.id, far: distanceAlong(f.box, from, way)}))
    .filter(({far}) => Number.isFinite(far));
  return met.reduce((a, b) => (b.far < a.far ? b : a), {id: null, far: Number.POSITIVE_INFINITY});
}
