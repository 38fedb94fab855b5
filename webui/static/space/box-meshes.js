// The members in space, merged: every drilled box of one width is part of one mesh, so that three hundred
// members are drawn in as few steps as three. A member that changes is written over in its place; only
// where members come or go is a mesh made again. Needs three.js, box, pose.

import {SPACE} from "../core/colours.js";
import {isUnsure} from "../core/confidence.js";
import {h} from "../core/dom.js";
import * as THREE from "../vendor/three.module.min.js";
import {boxOf, CORNERS, placeInSpace} from "./box.js";
import {shownBox} from "./pose.js";

const HOLE_RADIUS = 0.15; // as drawn, pitches
const TEXTURE_PX = 64; // a pitch of the picture that repeats along a member
// Each face: the axis that is its normal, the normal's sign, and the two axes that turn about it.
const FACES = [
  [0, 1, 1, 2],
  [0, -1, 2, 1],
  [1, 1, 2, 0],
  [1, -1, 0, 2],
  [2, 1, 0, 1],
  [2, -1, 1, 0],
];
const ROUND = [
  [-1, -1],
  [1, -1],
  [1, 1],
  [-1, 1],
];
const TRIANGLES = [0, 1, 2, 0, 2, 3];
const EDGES = CORNERS.flatMap((_, i) => [1, 2, 4].filter(bit => !(i & bit)).flatMap(bit => [i, i | bit]));
const FACE_POINTS = 24; // of a box
const EDGE_POINTS = 8;
const END_UV = 0.02; // ends are plain: a place of the picture without a hole

/** Only what belongs to slot k goes to the graphics memory. */
function markChanged(attribute, k, points) {
  attribute.addUpdateRange(k * points * attribute.itemSize, points * attribute.itemSize);
  attribute.needsUpdate = true;
}

const floats = (points, size) => new THREE.BufferAttribute(new Float32Array(points * size), size);

function faceGeometry(count) {
  const faces = new THREE.BufferGeometry();
  const sizes = {position: 3, normal: 3, uv: 2, color: 4};
  for (const [name, size] of Object.entries(sizes)) {
    faces.setAttribute(name, floats(count * FACE_POINTS, size));
  }
  const index = [];
  for (let face = 0; face < count * FACES.length; face++) index.push(...TRIANGLES.map(i => 4 * face + i));
  faces.setIndex(index);
  return faces;
}

function edgeGeometry(count) {
  const edges = new THREE.BufferGeometry();
  edges.setAttribute("position", floats(count * EDGE_POINTS, 3));
  const index = [];
  for (let k = 0; k < count; k++) index.push(...EDGES.map(i => EDGE_POINTS * k + i));
  edges.setIndex(index);
  return edges;
}

/** One mesh of boxes and one of their edges, with room for a set number of members. */
class MergedBoxes {
  constructor(members, texture, transparent) {
    const wood = new THREE.MeshLambertMaterial({map: texture, vertexColors: true, transparent});
    const ink = new THREE.LineBasicMaterial({color: SPACE.edge});
    this.faces = new THREE.Mesh(faceGeometry(members.length), wood);
    this.edges = new THREE.LineSegments(edgeGeometry(members.length), ink);
    this.faces.frustumCulled = false;
    this.edges.frustumCulled = false;
    this.members = [...members];
    for (const [k, m] of members.entries()) this.write(m, k);
    this.tints = members.map(() => null);
    for (const part of this.parts) {
      // all of it goes there first
      for (const attribute of Object.values(part.geometry.attributes)) attribute.clearUpdateRanges();
    }
  }

  get parts() {
    return [this.faces, this.edges];
  }

  isOf(members) {
    return members.length === this.members.length && members.every((m, k) => m.id === this.members[k].id);
  }

  /** Writes a member into slot k, where its box is. */
  write(m, k, box = boxOf(m)) {
    this.members[k] = m;
    const {position, normal, uv} = this.faces.geometry.attributes;
    const line = this.edges.geometry.attributes.position;
    for (const [f, face] of FACES.entries()) this.writeFace(m, box, face, FACE_POINTS * k + 4 * f);
    for (const [i, corner] of CORNERS.entries()) {
      line.setXYZ(EDGE_POINTS * k + i, ...placeInSpace(box, corner));
    }
    for (const attribute of [position, normal, uv]) markChanged(attribute, k, FACE_POINTS);
    markChanged(line, k, EDGE_POINTS);
  }

  writeFace(m, box, [axis, sign, s, t], start) {
    const {position, normal, uv} = this.faces.geometry.attributes;
    const direction = box.axes[axis].map(v => v * sign);
    for (const [i, [a, b]] of ROUND.entries()) {
      const corner = [0, 0, 0];
      corner[axis] = sign;
      corner[s] = a;
      corner[t] = b;
      position.setXYZ(start + i, ...placeInSpace(box, corner));
      normal.setXYZ(start + i, ...direction);
      if (axis === 0) uv.setXY(start + i, END_UV, END_UV);
      else {
        // along the member a picture of one hole repeats
        const [along, across] = s === 0 ? [a, b] : [b, a];
        uv.setXY(start + i, ((along + 1) / 2) * m.holes, (across + 1) / 2);
      }
    }
  }

  tint(k, colour, opacity) {
    if (this.tints[k] === colour) return;
    this.tints[k] = colour;
    const {r, g, b} = new THREE.Color(colour);
    const attribute = this.faces.geometry.attributes.color;
    const start = FACE_POINTS * k;
    for (let i = start; i < start + FACE_POINTS; i++) attribute.setXYZW(i, r, g, b, opacity);
    markChanged(attribute, k, FACE_POINTS);
  }

  dispose() {
    for (const part of this.parts) {
      part.geometry.dispose();
      part.material.dispose();
    }
  }
}

/** The boxes of all members in a scene. */
export class BoxMeshes {
  /**
   * @param {THREE.Scene} scene
   * @param {number} anisotropy how much the texture is smoothed
   */
  constructor(scene, anisotropy) {
    this.scene = scene;
    this.anisotropy = anisotropy;
    this.merged = new Map();
    this.textures = new Map();
  }

  /**
   * Takes over the members as they are now.
   * @param {import("../core/build.js").Member[]} members
   */
  update(members) {
    const wanted = new Map();
    for (const m of members) {
      const key = `${m.width.toFixed(3)} ${isUnsure(m)}`;
      if (!wanted.has(key)) wanted.set(key, []);
      wanted.get(key).push(m);
    }
    for (const key of this.merged.keys()) if (!wanted.has(key)) this.drop(key);
    for (const [key, group] of wanted) this.updateGroup(key, group);
  }

  updateGroup(key, group) {
    const merged = this.merged.get(key);
    if (merged?.isOf(group)) {
      for (const [k, m] of group.entries()) if (merged.members[k] !== m) merged.write(m, k);
      return;
    }
    if (merged) this.drop(key);
    const made = new MergedBoxes(group, this.texture(group[0]), isUnsure(group[0]));
    this.merged.set(key, made);
    this.scene.add(...made.parts);
  }

  /**
   * Puts members where a motion has them, and those that it had elsewhere back.
   * @param {Map<string, THREE.Matrix4>|null} pose
   */
  place(pose) {
    const moved = id => pose?.has(id) || this.pose?.has(id);
    for (const merged of this.merged.values()) {
      for (const [k, m] of merged.members.entries()) if (moved(m.id)) merged.write(m, k, shownBox(m, pose));
    }
    this.pose = pose;
  }

  drop(key) {
    const merged = this.merged.get(key);
    this.scene.remove(...merged.parts);
    merged.dispose();
    this.merged.delete(key);
  }

  /**
   * Gives each member a colour and an opacity.
   * @param {function(import("../core/build.js").Member): [string, number]} tintOf
   */
  tint(tintOf) {
    for (const merged of this.merged.values()) {
      for (const [k, m] of merged.members.entries()) merged.tint(k, ...tintOf(m));
    }
  }

  texture(m) {
    const key = m.width.toFixed(3);
    if (!this.textures.has(key)) this.textures.set(key, this.makeTexture(m.width));
    return this.textures.get(key);
  }

  /** A picture of one pitch of a member: wood with a hole in it. */
  makeTexture(width) {
    const side = TEXTURE_PX;
    const tall = Math.round(side * width);
    const canvas = h("canvas", {width: side, height: tall});
    const c = canvas.getContext("2d");
    c.fillStyle = SPACE.face;
    c.fillRect(0, 0, side, tall);
    c.fillStyle = SPACE.hole;
    c.beginPath();
    c.arc(side / 2, tall / 2, side * HOLE_RADIUS, 0, 7);
    c.fill();
    const texture = new THREE.CanvasTexture(canvas);
    texture.wrapS = THREE.RepeatWrapping;
    texture.colorSpace = THREE.SRGBColorSpace;
    texture.anisotropy = this.anisotropy;
    return texture;
  }
}

/**
 * The ball round all members and fittings.
 * @param {import("../core/build.js").Member[]} members
 * @param {Object[]} [fittings] with `box`
 * @returns {THREE.Sphere}
 */
export function ballRound(members, fittings = []) {
  const bounds = new THREE.Box3();
  const boxes = [...members.map(boxOf), ...fittings.map(f => f.box).filter(Boolean)];
  for (const box of boxes) {
    for (const corner of CORNERS) bounds.expandByPoint(new THREE.Vector3(...placeInSpace(box, corner)));
  }
  return bounds.getBoundingSphere(new THREE.Sphere());
}
