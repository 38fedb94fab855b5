// The members in space, merged: every drilled box of one width is part of one mesh, so that three hundred members are drawn in as few
// steps as three. A member that changes is written over in its place; only where members come or go is a mesh made anew.

import * as THREE from "./vendor/three.module.min.js";
import {h} from "./dom.js";
import {LEAST_SURE} from "./colours.js";

const HOLE = 0.15;                                           // radius drawn, pitches
const FACES = [[0, 1, 1, 2], [0, -1, 2, 1], [1, 1, 2, 0], [1, -1, 0, 2], [2, 1, 0, 1], [2, -1, 1, 0]];   // normal, its sign, two axes that turn about it
const ROUND = [[-1, -1], [1, -1], [1, 1], [-1, 1]], FACE = [0, 1, 2, 0, 2, 3];
const CORNERS = [0, 1, 2, 3, 4, 5, 6, 7].map(i => [i & 1 ? 1 : -1, i & 2 ? 1 : -1, i & 4 ? 1 : -1]);
const EDGES = [0, 1, 2, 3, 4, 5, 6, 7].flatMap(i => [1, 2, 4].filter(bit => !(i & bit)).flatMap(bit => [i, i | bit]));
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const reckoned = new WeakMap();

/** A member's box: its middle, three axes (along, and two face normals), and half its size along each, in pitches. */
export function boxOf(m) {
  if (!reckoned.has(m)) {
    const d = m.direction, size = d.map(Math.abs), least = size.indexOf(Math.min(...size)), e = [0, 1, 2].map(i => +(i === least));
    const raw = e.map((v, i) => v - d[i] * d[least]), length = Math.hypot(...raw), across = raw.map(v => v / length);
    reckoned.set(m, {middle: m.first.map((v, i) => v + d[i] * (m.holes - 1) / 2), axes: [d, across, cross(d, across)], half: [m.holes / 2, m.width / 2, m.width / 2]});
  }
  return reckoned.get(m);
}

const place = ({middle, axes, half}, [x, y, z]) => [0, 1, 2].map(i => middle[i] + x * half[0] * axes[0][i] + y * half[1] * axes[1][i] + z * half[2] * axes[2][i]);

/** How far along a ray a box is met, or Infinity. */
function met(box, from, way) {
  let near = 0, far = Infinity;
  const to = box.middle.map((v, i) => v - from[i]);
  for (let k = 0; k < 3; k++) {
    const speed = dot(way, box.axes[k]), off = dot(to, box.axes[k]);
    if (Math.abs(speed) < 1e-9) { if (Math.abs(off) > box.half[k]) return Infinity; continue; }
    const [a, b] = [(off - box.half[k]) / speed, (off + box.half[k]) / speed];
    near = Math.max(near, Math.min(a, b)); far = Math.min(far, Math.max(a, b));
  }
  return near <= far ? near : Infinity;
}

/** One mesh of boxes and one of their edges, with room for a set number of members. */
class Merged {
  constructor(members, texture, clear) {
    const n = members.length, attribute = (size, per) => new THREE.BufferAttribute(new Float32Array(n * per * size), size);
    const faces = new THREE.BufferGeometry(), edges = new THREE.BufferGeometry();
    for (const [name, size] of [["position", 3], ["normal", 3], ["uv", 2], ["color", 4]]) faces.setAttribute(name, attribute(size, 24));
    edges.setAttribute("position", attribute(3, 8));
    faces.setIndex(members.flatMap((_, k) => FACES.flatMap((_, f) => FACE.map(i => 24 * k + 4 * f + i))));
    edges.setIndex(members.flatMap((_, k) => EDGES.map(i => 8 * k + i)));
    this.faces = new THREE.Mesh(faces, new THREE.MeshLambertMaterial({map: texture, vertexColors: true, transparent: clear}));
    this.edges = new THREE.LineSegments(edges, new THREE.LineBasicMaterial({color: 0x1a1f22}));
    this.faces.frustumCulled = this.edges.frustumCulled = false;
    this.ids = members.map(m => m.id);
    this.members = members.map((m, k) => this.write(m, k));
    this.tints = members.map(() => null);
    for (const part of this.parts) for (const attribute of Object.values(part.geometry.attributes)) attribute.clearUpdateRanges();   // all of it goes there first
  }

  get parts() { return [this.faces, this.edges]; }

  write(m, k) {
    const box = boxOf(m), {position, normal, uv} = this.faces.geometry.attributes, line = this.edges.geometry.attributes.position;
    FACES.forEach(([axis, sign, s, t], f) => ROUND.forEach(([a, b], i) => {
      const at = 24 * k + 4 * f + i, corner = [0, 0, 0];
      corner[axis] = sign; corner[s] = a; corner[t] = b;
      position.setXYZ(at, ...place(box, corner));
      normal.setXYZ(at, ...box.axes[axis].map(v => v * sign));
      if (axis === 0) uv.setXY(at, 0.02, 0.02);              // ends are plain; along the member a picture of one hole repeats
      else uv.setXY(at, ((s === 0 ? a : b) + 1) / 2 * m.holes, ((s === 0 ? b : a) + 1) / 2);
    }));
    CORNERS.forEach((corner, i) => line.setXYZ(8 * k + i, ...place(box, corner)));
    for (const [attribute, per] of [[position, 24], [normal, 24], [uv, 24], [line, 8]]) touch(attribute, k, per);
    return m;
  }

  tint(k, hex, opacity) {
    if (this.tints[k] === hex) return;
    this.tints[k] = hex;
    const colour = new THREE.Color(hex), attribute = this.faces.geometry.attributes.color;
    for (let i = 24 * k; i < 24 * k + 24; i++) attribute.setXYZW(i, colour.r, colour.g, colour.b, opacity);
    touch(attribute, k, 24);
  }

  dispose() { for (const part of this.parts) { part.geometry.dispose(); part.material.dispose(); } }
}

/** Only what belongs to slot k goes to the graphics memory. */
function touch(attribute, k, per) {
  attribute.addUpdateRange(k * per * attribute.itemSize, per * attribute.itemSize);
  attribute.needsUpdate = true;
}

export class Boxes {
  constructor(scene, smooth) { this.scene = scene; this.smooth = smooth; this.merged = new Map(); this.textures = new Map(); }

  /** Takes over the members as they are now: [m, ...]. */
  update(members) {
    const wanted = new Map();
    for (const m of members) {
      const key = `${m.width.toFixed(3)} ${m.confidence < LEAST_SURE}`;
      if (!wanted.has(key)) wanted.set(key, []);
      wanted.get(key).push(m);
    }
    for (const [key, merged] of this.merged) if (!wanted.has(key)) this.drop(key, merged);
    for (const [key, group] of wanted) {
      const merged = this.merged.get(key);
      if (merged && merged.ids.length === group.length && group.every((m, k) => m.id === merged.ids[k])) {
        group.forEach((m, k) => { if (merged.members[k] !== m) merged.members[k] = merged.write(m, k); });
      } else {
        if (merged) this.drop(key, merged);
        const made = new Merged(group, this.texture(group[0]), group[0].confidence < LEAST_SURE);
        this.merged.set(key, made);
        this.scene.add(...made.parts);
      }
    }
  }

  drop(key, merged) { this.scene.remove(...merged.parts); merged.dispose(); this.merged.delete(key); }

  /** Gives each member the colour and opacity that `of(m)` names: [hex, 0..1]. */
  tint(of) { for (const merged of this.merged.values()) merged.members.forEach((m, k) => merged.tint(k, ...of(m))); }

  texture(m) {
    const key = m.width.toFixed(3);
    if (!this.textures.has(key)) {
      const side = 64, tall = Math.round(side * m.width), canvas = h("canvas", {width: side, height: tall}), c = canvas.getContext("2d");
      c.fillStyle = "#fff"; c.fillRect(0, 0, side, tall);
      c.fillStyle = "#3a3a36"; c.beginPath(); c.arc(side / 2, tall / 2, side * HOLE, 0, 7); c.fill();
      const texture = new THREE.CanvasTexture(canvas);
      texture.wrapS = THREE.RepeatWrapping;
      texture.colorSpace = THREE.SRGBColorSpace;
      texture.anisotropy = this.smooth;
      this.textures.set(key, texture);
    }
    return this.textures.get(key);
  }

  /** The box round all of them, axis-parallel. */
  bounds(members) {
    const all = new THREE.Box3();
    for (const m of members) for (const corner of CORNERS) all.expandByPoint(new THREE.Vector3(...place(boxOf(m), corner)));
    return all;
  }

  /** The id of the first member on a ray (three.js), or null. */
  on(ray, members) {
    const from = ray.origin.toArray(), way = ray.direction.toArray();
    let nearest = Infinity, found = null;
    for (const m of members) { const far = met(boxOf(m), from, way); if (far < nearest) { nearest = far; found = m.id; } }
    return found;
  }
}
