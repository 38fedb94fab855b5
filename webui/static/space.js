// The frame in space (three.js), turned by hand or keys, drawn only when something changed.

import * as THREE from "./vendor/three.module.min.js";
import {h} from "./dom.js";
import {build, changed, chosen, choose, MOMENT_MS} from "./store.js";
import {Boxes, boxOf} from "./boxes.js";
import {LEAST_SURE} from "./colours.js";

const CLICK_PX = 5;

/** Whether pictures in space are reckoned by the processor: smoothing would then cost more than all the rest. */
function drawnBySoftware() {
  const gl = document.createElement("canvas").getContext("webgl2"), info = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = info ? String(gl.getParameter(info.UNMASKED_RENDERER_WEBGL)) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software/i.test(name);
}

export class SpaceView {
  constructor(onEnlarge) {
    this.name = "space";
    this.canvas = h("canvas", {tabindex: 0, role: "application", "aria-label": "The frame in space. Arrow keys turn it, plus and minus zoom, 0 shows all."});
    this.labels = h("canvas.over", {"aria-hidden": "true"});
    this.note = h("p.tilenote", {hidden: true});
    this.element = h("figure.tile.space", {}, h("figcaption", {}, h("span.tilename", {}, "In space"),
      h("button.quiet.enlarge", {type: "button", "aria-label": "Enlarge the frame in space", onclick: () => onEnlarge(this)}, "⤢")), this.canvas, this.labels, this.note);
    const software = drawnBySoftware();
    try { this.renderer = new THREE.WebGLRenderer({canvas: this.canvas, antialias: !software, alpha: true}); } catch {
      this.note.textContent = "This browser draws nothing in space (no WebGL). Photos and lists work all the same.";
      this.note.hidden = false;
      return;
    }
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(35, 1, 0.1, 5000);
    this.camera.up.set(0, 0, 1);
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0x8a8272, 2.2));
    const sun = new THREE.DirectionalLight(0xffffff, 1.6);
    sun.position.set(0.5, -0.8, 1.2);
    this.scene.add(sun);
    this.boxes = new Boxes(this.scene, software ? 1 : 4);
    this.turn = -0.65; this.height = 0.42; this.far = 30; this.target = new THREE.Vector3();
    this.pointers = new Map();
    new ResizeObserver(() => this.resized()).observe(this.canvas);
    this.listen();
  }

  resized() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2), first = !this.width;
    this.width = box.width; this.deep = box.height;
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(box.width, box.height, false);
    this.labels.width = box.width * ratio; this.labels.height = box.height * ratio; this.ratio = ratio;
    this.camera.aspect = box.width / box.height;
    this.camera.updateProjectionMatrix();
    if (first) this.fit(); else this.draw();
  }

  // The scene

  update() {
    if (!this.renderer) return;
    const first = this.empty !== false && build.members.size;
    this.empty = !build.members.size;
    this.boxes.update([...build.members.values()]);
    if (first) this.fit();
    this.tint();
  }

  tint() {
    if (!this.renderer) return;
    const time = performance.now(), taken = new Set(chosen.members);
    this.boxes.tint(m => {
      const unsure = m.confidence < LEAST_SURE;
      if (taken.has(m.id)) return [0xf0e442, 1];
      return [time - (changed.get(m.id) ?? -1e9) < MOMENT_MS ? 0xffffff : unsure ? 0xe69f00 : 0xc9b28c, unsure ? 0.75 : 1];
    });
    this.draw();
  }

  fit() {
    if (!this.width || !build.members.size) return this.draw();
    const ball = this.boxes.bounds(build.members.values()).getBoundingSphere(new THREE.Sphere());
    this.target.copy(ball.center);
    this.far = ball.radius / Math.sin(this.camera.fov * Math.PI / 360) * Math.max(1, 1 / this.camera.aspect) * 0.95;
    this.draw();
  }

  lookAt() { this.draw(); }

  draw() { if (this.renderer) this.asked ||= requestAnimationFrame(() => this.paintNow()); }
  paintNow() { cancelAnimationFrame(this.asked); this.asked = 0; this.paint(); }

  paint() {
    if (!this.width || !this.canvas.isConnected) return;
    const flat = Math.cos(this.height) * this.far;
    this.camera.position.set(this.target.x + flat * Math.sin(this.turn), this.target.y - flat * Math.cos(this.turn), this.target.z + Math.sin(this.height) * this.far);
    this.camera.near = this.far / 100; this.camera.far = this.far * 10;
    this.camera.updateProjectionMatrix();
    this.camera.lookAt(this.target);
    this.renderer.render(this.scene, this.camera);
    this.paintLabels();
    this.shown = build.n;
  }

  paintLabels() {
    const c = this.labels.getContext("2d"), taken = [];
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    c.clearRect(0, 0, this.width, this.deep);
    c.font = "600 12px system-ui"; c.textAlign = "center"; c.textBaseline = "middle";
    const order = [...chosen.members.map(id => build.members.get(id)), ...[...build.members.values()].filter(m => !chosen.members.includes(m.id))];
    const p = new THREE.Vector3();
    for (const m of order) {
      const id = m.id;
      p.set(...boxOf(m).middle).project(this.camera);
      const x = (p.x + 1) * this.width / 2, y = (1 - p.y) * this.deep / 2, w = 8 * id.length + 10;
      if (p.z > 1 || taken.some(([a, b]) => Math.abs(a - x) < w && Math.abs(b - y) < 18)) continue;
      taken.push([x, y]);
      c.beginPath(); c.roundRect(x - w / 2, y - 9, w, 18, 4);
      c.fillStyle = chosen.members.includes(id) ? "#f0e442" : "#fffdf6"; c.fill();
      c.strokeStyle = "#14191c"; c.lineWidth = 1.2; c.stroke();
      c.fillStyle = "#14191c"; c.fillText(id, x, y + 0.5);
    }
    const j = chosen.lap && build.laps.get(String(chosen.lap));
    if (j) {
      const a = build.members.get(j.a), b = build.members.get(j.b);
      const p = new THREE.Vector3(...[0, 1, 2].map(i => (a.first[i] + a.direction[i] * j.a_hole + b.first[i] + b.direction[i] * j.b_hole) / 2)).project(this.camera);
      c.beginPath(); c.arc((p.x + 1) * this.width / 2, (1 - p.y) * this.deep / 2, 8, 0, 7);
      c.lineWidth = 4; c.strokeStyle = "#14191c"; c.stroke(); c.lineWidth = 2; c.strokeStyle = "#f0e442"; c.stroke();
    }
    const axes = [["x", 1, 0, 0], ["y", 0, 1, 0], ["z", 0, 0, 1]], at = [34, this.deep - 34];
    for (const [name, ...v] of axes) {
      const d = new THREE.Vector3(...v).transformDirection(this.camera.matrixWorldInverse), x = at[0] + d.x * 22, y = at[1] - d.y * 22;
      c.beginPath(); c.moveTo(...at); c.lineTo(x, y); c.strokeStyle = c.fillStyle = getComputedStyle(this.element).color; c.lineWidth = 2; c.stroke();
      c.fillText(name, at[0] + d.x * 31, at[1] - d.y * 31);
    }
  }

  // The hand

  listen() {
    const canvas = this.canvas;
    const at = e => { const box = canvas.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; };
    canvas.addEventListener("pointerdown", e => { try { canvas.setPointerCapture(e.pointerId); } catch { /* gone */ } this.pointers.set(e.pointerId, at(e)); this.start = at(e); this.moved = false; });
    canvas.addEventListener("pointermove", e => {
      const before = this.pointers.get(e.pointerId);
      if (!before) return;
      const p = at(e), dx = p[0] - before[0], dy = p[1] - before[1];
      this.pointers.set(e.pointerId, p);
      if (Math.hypot(p[0] - this.start[0], p[1] - this.start[1]) > CLICK_PX) this.moved = true;
      if (this.pointers.size === 2) {
        const other = [...this.pointers].find(([id]) => id !== e.pointerId)[1], far = q => Math.hypot(q[0] - other[0], q[1] - other[1]) || 1;
        this.zoom(far(before) / far(p)); this.slide(dx / 2, dy / 2);
      } else if (e.shiftKey || e.buttons & 2) this.slide(dx, dy);
      else this.rotate(-dx * 0.008, dy * 0.008);
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, e => {
      const had = this.pointers.delete(e.pointerId);
      if (had && !this.moved && end === "pointerup") { const id = this.memberAt(at(e)); choose(id ? [id] : [], null, Boolean(id) && (e.shiftKey || e.ctrlKey || e.metaKey)); }
    });
    canvas.addEventListener("contextmenu", e => e.preventDefault());
    canvas.addEventListener("wheel", e => { e.preventDefault(); this.zoom(Math.exp(e.deltaY * 0.0012)); }, {passive: false});
    canvas.addEventListener("keydown", e => {
      const turns = {ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1]}[e.key];
      if (turns) this.rotate(...turns);
      else if (e.key === "+" || e.key === "=") this.zoom(1 / 1.2);
      else if (e.key === "-") this.zoom(1.2);
      else if (e.key === "0") this.fit();
      else return;
      e.preventDefault(); e.stopPropagation();
    });
  }

  rotate(turn, height) { this.turn += turn; this.height = Math.max(-1.5, Math.min(1.5, this.height + height)); this.draw(); }
  zoom(factor) { this.far = Math.max(2, Math.min(3000, this.far * factor)); this.draw(); }
  slide(dx, dy) {
    const step = this.far * Math.tan(this.camera.fov * Math.PI / 360) * 2 / this.deep;
    const right = new THREE.Vector3().setFromMatrixColumn(this.camera.matrixWorld, 0), up = new THREE.Vector3().setFromMatrixColumn(this.camera.matrixWorld, 1);
    this.target.addScaledVector(right, -dx * step).addScaledVector(up, dy * step);
    this.draw();
  }

  memberAt([x, y]) {
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(x / this.width * 2 - 1, 1 - y / this.deep * 2), this.camera);
    return this.boxes.on(ray.ray, build.members.values());
  }
}
