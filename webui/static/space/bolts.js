// Bolts in 3-D, on both faces that they come out of. Their shape says what is known: a hexagon where a photo
// shows one, a hexagon with a knob where a person says so, a broken ring where one is assumed, and a ring
// struck through where there is none. All of one kind are drawn in one step. Needs three.js, box, colours.

import {BOLT, INK, PLATE} from "../core/colours.js";
import * as THREE from "../vendor/three.module.min.js";
import {distanceAlong} from "./box.js";
import {shownBox} from "./pose.js";

const HEAD = {radius: 0.3, high: 0.18, sides: 6}; // pitches, as all that follows
const KNOB = {radius: 0.13, high: 0.12, sides: 8};
const BROKEN = [0.23, 0.36]; // inner and outer radius
const WHOLE = [0.24, 0.3];
const OFF = 0.03; // of flat rings from the face
const ARCS = 4; // of a broken ring
const GAP = 0.5; // of each arc, rad
const BAR = [0.95, 0.11, 0.08];
const LEAST_PX = 5; // of a pitch: smaller bolts could not be told apart
const REACH_PX = 11; // a click this near to a bolt means it
const HIDDEN = 0.7; // pitches that a bolt may lie behind the face that is seen
const UP = new THREE.Vector3(0, 0, 1);

const upright = geometry => geometry.rotateX(Math.PI / 2);
const cylinder = ({radius, high, sides}, low) =>
  upright(new THREE.CylinderGeometry(radius, radius, high, sides)).translate(0, 0, low + high / 2);

function arc(k) {
  const length = (2 * Math.PI) / ARCS;
  return new THREE.RingGeometry(...BROKEN, 3, 1, k * length, length - GAP).translate(0, 0, OFF);
}

const SHAPES = {
  seen: () => [[cylinder(HEAD, 0), BOLT]],
  said: () => [
    [cylinder(HEAD, 0), BOLT],
    [cylinder(KNOB, HEAD.high), PLATE],
  ],
  assumed: () => Array.from({length: ARCS}, (_, k) => [arc(k), INK]),
  none: () => [
    [new THREE.RingGeometry(...WHOLE, 12).translate(0, 0, OFF), INK],
    [new THREE.BoxGeometry(...BAR).rotateZ(Math.PI / 4), INK],
  ],
};

/** Several geometries, each in its colour, as one. */
function joined(parts) {
  const points = {position: [], normal: [], color: []};
  for (const [geometry, colour] of parts) {
    const plain = geometry.toNonIndexed();
    const {r, g, b} = new THREE.Color(colour);
    for (const name of ["position", "normal"]) points[name].push(...plain.attributes[name].array);
    for (let i = 0; i < plain.attributes.position.count; i++) points.color.push(r, g, b);
  }
  const whole = new THREE.BufferGeometry();
  for (const [name, values] of Object.entries(points)) {
    whole.setAttribute(name, new THREE.Float32BufferAttribute(values, 3));
  }
  return whole;
}

/**
 * Where a lap's bolt comes out: of the face of one member and of that of the other.
 * @param {import("../core/build.js").Joint} joint
 * @param {Map<string, import("../core/build.js").Member>} members
 * @returns {{at: THREE.Vector3, out: THREE.Vector3}[]}
 */
function headsOf(joint, members) {
  const [a, b] = [members.get(joint.a), members.get(joint.b)];
  if (!a || !b) return [];
  const hole = (m, k) =>
    new THREE.Vector3(...m.direction).multiplyScalar(k).add(new THREE.Vector3(...m.first));
  const [p, q] = [hole(a, joint.a_hole), hole(b, joint.b_hole)];
  const axis = q.clone().sub(p).normalize();
  return [
    {at: p.addScaledVector(axis, -a.width / 2), out: axis.clone().negate()},
    {at: q.addScaledVector(axis, b.width / 2), out: axis},
  ];
}

/** The bolts of all laps in a scene. */
export class BoltMeshes {
  /** @param {THREE.Scene} scene */
  constructor(scene) {
    this.scene = scene;
    this.material = new THREE.MeshLambertMaterial({vertexColors: true});
    this.meshes = new Map(); // kind -> mesh
    this.heads = [];
  }

  /**
   * Takes over the laps as they are now.
   * @param {import("../core/build.js").Joint[]} joints
   * @param {Map<string, import("../core/build.js").Member>} members
   */
  update(joints, members) {
    this.heads = joints.flatMap(joint =>
      headsOf(joint, members).map(({at, out}) => {
        const turn = new THREE.Quaternion().setFromUnitVectors(UP, out);
        const matrix = new THREE.Matrix4().compose(at, turn, new THREE.Vector3(1, 1, 1));
        return {joint, at, out, matrix};
      }),
    );
    this.place(null);
  }

  /**
   * Puts bolts where a motion has the members that they are in.
   * @param {Map<string, THREE.Matrix4>|null} pose
   */
  place(pose) {
    this.pose = pose;
  }

  /** The mesh of a kind, with room for so many; null where none was needed yet. */
  roomFor(kind, count) {
    const mesh = this.meshes.get(kind);
    if (mesh && mesh.instanceMatrix.count >= count) return mesh;
    if (!count) return null;
    if (mesh) {
      this.scene.remove(mesh);
      mesh.dispose();
    }
    const geometry = mesh?.geometry || joined(SHAPES[kind]());
    const made = new THREE.InstancedMesh(geometry, this.material, Math.ceil(count * 1.5));
    made.frustumCulled = false;
    this.meshes.set(kind, made);
    this.scene.add(made);
    return made;
  }

  /**
   * Shows bolts where they are wanted and large enough to be told apart: those in view, on the faces that are
   * turned to the camera.
   * @param {boolean} wanted
   * @param {number} pitch px
   * @param {THREE.Camera} camera
   */
  show(wanted, pitch, camera) {
    this.visible = wanted && pitch >= LEAST_PX;
    for (const mesh of this.meshes.values()) mesh.visible = this.visible;
    if (!this.visible) return;
    const byKind = new Map(Object.keys(SHAPES).map(kind => [kind, []]));
    for (const head of this.heads) if (this.isTurned(head, camera)) byKind.get(head.joint.bolt)?.push(head);
    const inView = frustumOf(camera);
    for (const [kind, heads] of byKind) {
      this.fill(
        kind,
        heads.filter(({at, joint}) => this.pose?.has(joint.a) || inView.containsPoint(at)),
      );
    }
  }

  /** Whether a head is on a face that is turned to the camera; of what moves both are drawn. */
  isTurned({at, out, joint}, {position: eye}) {
    if (this.pose?.has(joint.a)) return true;
    return out.x * (eye.x - at.x) + out.y * (eye.y - at.y) + out.z * (eye.z - at.z) > 0;
  }

  fill(kind, heads) {
    const mesh = this.roomFor(kind, heads.length);
    if (!mesh) return;
    for (const [k, {joint, matrix}] of heads.entries()) {
      const moved = this.pose?.get(joint.a);
      mesh.setMatrixAt(k, moved ? matrix.clone().premultiply(moved) : matrix);
    }
    mesh.count = heads.length;
    mesh.instanceMatrix.needsUpdate = true;
  }

  /**
   * The lap whose bolt a hand points at.
   * @param {Object} view with `camera`, `width`, `deep` and `rayAt`
   * @param {number[]} at px of the canvas
   * @param {Iterable<import("../core/build.js").Member>} members
   * @returns {import("../core/build.js").Joint|null}
   */
  pointedAt(view, at, members) {
    if (!this.visible) return null;
    let best = {far: REACH_PX, joint: null, depth: 0};
    for (const head of this.heads) {
      const {x, y, z} = head.at.clone().project(view.camera);
      const off = Math.hypot(((x + 1) * view.width) / 2 - at[0], ((1 - y) * view.deep) / 2 - at[1]);
      if (z < 1 && off < best.far && !isHidden(view, head.at, members)) best = {far: off, joint: head.joint};
    }
    return best.joint;
  }
}

function frustumOf(camera) {
  camera.updateMatrixWorld();
  const matrix = new THREE.Matrix4().multiplyMatrices(camera.projectionMatrix, camera.matrixWorldInverse);
  return new THREE.Frustum().setFromProjectionMatrix(matrix);
}

/** Whether a member lies between the camera and a place. */
function isHidden(view, place, members) {
  const from = view.camera.position;
  const way = place.clone().sub(from);
  const far = way.length();
  const ray = [from.toArray(), way.divideScalar(far).toArray()];
  return [...members].some(m => distanceAlong(shownBox(m, null), ...ray) < far - HIDDEN);
}
