// The frame in space (three.js), turned by hand or keys, drawn only when something changed. Needs build,
// selection, box-meshes, bolts, motion, labels.

import {build, lapKey} from "../core/build.js";
import {CHANGED, CHOSEN, SPACE, UNSURE} from "../core/colours.js";
import {isUnsure} from "../core/confidence.js";
import {h} from "../core/dom.js";
import {emit} from "../core/events.js";
import {groupColour} from "../core/groups.js";
import {changed, isRecent} from "../core/repaint.js";
import {choose, chooseFitting, chosen} from "../core/selection.js";
import {layers, modes} from "../photos/modes.js";
import {hold, leastMove, placeOn} from "../pictures/pointers.js";
import * as THREE from "../vendor/three.module.min.js";
import {BoltMeshes} from "./bolts.js";
import {firstOnRay} from "./box.js";
import {BoxMeshes, ballRound} from "./box-meshes.js";
import {FittingMeshes, fittingOnRay} from "./fitting-meshes.js";
import {answerAt, ghostOnRay, paintGhosts} from "./ghosts.js";
import {handAt, paintHand} from "./hand.js";
import {paintOverlay} from "./labels.js";
import {MotionBar} from "./motion.js";
import {spotOnRay} from "./spots.js";
import {viewpointSelect} from "./viewpoints.js";

const LABEL = "The frame in 3-D. Arrow keys turn it, plus and minus zoom, 0 shows all.";
const NO_WEBGL = "This browser draws nothing in 3-D (no WebGL). Photos and lists work all the same.";
const FIELD_DEGREES = 35;
const UNSURE_OPACITY = 0.75;
const NEAREST = 2; // of the camera, pitches
const FARTHEST = 3000;
const KEY_TURNS = {ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1]};

/** Whether pictures in space are drawn by the processor: smoothing would then cost more than all the rest. */
function drawnBySoftware() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const info = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = info ? String(gl.getParameter(info.UNMASKED_RENDERER_WEBGL)) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software/i.test(name);
}

function makeScene() {
  const scene = new THREE.Scene();
  scene.add(new THREE.HemisphereLight(SPACE.sky, SPACE.floor, 2.2));
  const sun = new THREE.DirectionalLight(SPACE.sun, 1.6);
  sun.position.set(0.5, -0.8, 1.2);
  scene.add(sun);
  return scene;
}

export class SpaceView {
  /** @param {function(SpaceView): void} onEnlarge called when it is to be enlarged, or made small again */
  constructor(onEnlarge) {
    this.title = "3-D";
    this.makeElements(() => onEnlarge(this));
    const software = drawnBySoftware();
    try {
      this.renderer = new THREE.WebGLRenderer({canvas: this.canvas, antialias: !software, alpha: true});
    } catch {
      this.note.textContent = NO_WEBGL;
      this.note.hidden = false;
      return;
    }
    this.scene = makeScene();
    this.camera = new THREE.PerspectiveCamera(FIELD_DEGREES, 1, 0.1, 5000);
    this.camera.up.set(0, 0, 1);
    this.boxes = new BoxMeshes(this.scene, software ? 1 : 4);
    this.fittings = new FittingMeshes(this.scene);
    this.bolts = new BoltMeshes(this.scene);
    this.faceFront();
    this.height = 0.42;
    this.far = 30;
    this.target = new THREE.Vector3();
    this.pointers = new Map();
    new ResizeObserver(() => this.resized()).observe(this.canvas);
    this.listen();
    this.pose = null;
    this.motion = new MotionBar(this);
  }

  makeElements(enlarge) {
    this.canvas = h("canvas", {tabindex: 0, role: "application", "aria-label": LABEL});
    this.labels = h("canvas.over", {"aria-hidden": "true"});
    this.note = h("p.tilenote", {hidden: true});
    const button = {type: "button", "aria-label": "Enlarge the frame in 3-D", onclick: enlarge};
    const caption = h(
      "figcaption",
      {},
      h("span.tilename", {}, this.title),
      viewpointSelect(this),
      h("button.quiet.enlarge", button, "⤢"),
    );
    this.element = h("figure.tile.space", {}, caption, this.canvas, this.labels, this.note);
  }

  resized() {
    const box = this.canvas.getBoundingClientRect();
    if (!box.width) return;
    const first = !this.width;
    this.ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.width = box.width;
    this.deep = box.height;
    this.renderer.setPixelRatio(this.ratio);
    this.renderer.setSize(box.width, box.height, false);
    this.labels.width = box.width * this.ratio;
    this.labels.height = box.height * this.ratio;
    this.camera.aspect = box.width / box.height;
    this.camera.updateProjectionMatrix();
    if (first) this.fit();
    else this.draw();
  }

  // The scene

  /** Takes over the members as they are now. */
  update() {
    if (!this.renderer) return;
    const first = this.empty !== false && build.members.size;
    this.empty = !build.members.size;
    this.boxes.update([...build.members.values()]);
    this.fittings.update();
    this.bolts.update(build.joints, build.members);
    if (first) {
      this.faceFront();
      this.fit();
    }
    this.tint();
  }

  /** Looks at the front, from a little to its left. */
  faceFront() {
    const [x, y] = build.sides.front || [0, -1];
    this.turn = Math.atan2(x, -y) - 0.65;
  }

  /** Draws again what is chosen or stands out. */
  redraw() {
    if (this.ghosts !== build.ghosts && !build.members.size) this.fit(); // there is nothing else to see
    this.ghosts = build.ghosts;
    this.tint();
  }

  /** Colours the members: chosen, changed just now, not sure. */
  tint() {
    if (!this.renderer) return;
    const taken = new Set(chosen.members);
    this.boxes.tint(m => {
      if (taken.has(m.id)) return [CHOSEN, 1];
      const opacity = isUnsure(m) ? UNSURE_OPACITY : 1;
      if (isRecent(changed.get(m.id))) return [CHANGED, opacity];
      return [groupColour(m.id) || (isUnsure(m) ? UNSURE : SPACE.wood), opacity];
    });
    this.fittings.tint();
    this.draw();
  }

  /** Draws the members where a motion has them (`pose`). */
  placeMembers() {
    this.boxes.place(this.pose);
    this.bolts.place(this.pose);
    this.draw();
  }

  fit() {
    const shown = build.members.size ? [...build.members.values()] : build.ghosts.map(({member}) => member);
    if (!this.width || !shown.length) {
      this.draw();
      return;
    }
    const ball = ballRound(shown, build.fittings);
    this.target.copy(ball.center);
    const far = ball.radius / Math.sin((this.camera.fov * Math.PI) / 360);
    this.far = far * Math.max(1, 1 / this.camera.aspect) * 0.95;
    this.draw();
  }

  draw() {
    if (this.renderer) this.frameRequest ||= requestAnimationFrame(() => this.paintNow());
  }

  /** Paints at once what would else be painted in the next animation frame. */
  paintNow() {
    cancelAnimationFrame(this.frameRequest);
    this.frameRequest = 0;
    this.paint();
  }

  paint() {
    if (!this.width || !this.canvas.isConnected) return;
    const flat = Math.cos(this.height) * this.far;
    this.camera.position.set(
      this.target.x + flat * Math.sin(this.turn),
      this.target.y - flat * Math.cos(this.turn),
      this.target.z + Math.sin(this.height) * this.far,
    );
    this.camera.near = this.far / 100;
    this.camera.far = this.far * 10;
    this.camera.updateProjectionMatrix();
    this.camera.lookAt(this.target);
    this.bolts.show(layers.bolts, this.pitchPx(), this.camera);
    this.renderer.render(this.scene, this.camera);
    paintOverlay(this);
    paintGhosts(this, this.labels.getContext("2d"));
    paintHand(this, this.labels.getContext("2d"));
    this.shown = build.n;
  }

  // The hand

  listen() {
    const canvas = this.canvas;
    const wheel = event => {
      event.preventDefault();
      this.zoom(Math.exp(event.deltaY * 0.0012));
    };
    canvas.addEventListener("pointerdown", event => this.down(event));
    canvas.addEventListener("pointermove", event => this.move(event));
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, event => this.up(event));
    canvas.addEventListener("contextmenu", event => event.preventDefault());
    canvas.addEventListener("wheel", wheel, {passive: false});
    canvas.addEventListener("keydown", event => this.key(event));
  }

  at(event) {
    return placeOn(this.canvas, event);
  }

  down(event) {
    hold(this.canvas, event);
    this.start = this.at(event);
    this.pointers.set(event.pointerId, this.start);
    this.moved = this.pointers.size > 1; // two fingers never click
    const alone = !this.moved && !event.button && !event.shiftKey;
    this.hand = alone ? handAt(this, this.start) : null;
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const at = this.at(event);
    const [dx, dy] = [at[0] - before[0], at[1] - before[1]];
    this.pointers.set(event.pointerId, at);
    if (Math.hypot(at[0] - this.start[0], at[1] - this.start[1]) > leastMove(event)) this.moved = true;
    if (!this.moved) return; // a click turns nothing, nor does a hand that begins to drag
    if (this.hand) {
      this.hand.move(at);
      this.draw();
    } else if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)[1];
      const far = p => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
      this.zoom(far(before) / far(at));
      this.slide(dx / 2, dy / 2);
    } else if (event.shiftKey || event.buttons & 2) this.slide(dx, dy);
    else this.rotate(-dx * 0.008, dy * 0.008);
  }

  up(event) {
    const wasDown = this.pointers.delete(event.pointerId);
    const hand = this.hand;
    this.hand = null;
    if (hand && this.moved && event.type === "pointerup") hand.drop();
    if (hand) this.draw();
    if (!wasDown || this.moved || build.copying || event.type !== "pointerup") return;
    this.click(event);
  }

  click(event) {
    const at = this.at(event);
    const ray = this.rayAt(at);
    if (modes.current === "measure" || modes.current === "fitting") {
      const spot = spotOnRay(...ray);
      if (spot) emit(modes.current, spot);
      return;
    }
    const request = answerAt(this, at);
    if (request) {
      emit("answer", request);
      return;
    }
    const ghost = ghostOnRay(...ray);
    if (ghost) {
      emit("ghost", ghost);
      return;
    }
    const lap = modes.current === "choose" && this.bolts.pointedAt(this, at, build.members.values());
    if (lap) {
      choose([lap.a, lap.b], lapKey(lap));
      return;
    }
    const {id: fitting, far} = fittingOnRay(...ray);
    const id = firstOnRay(...ray, build.members.values(), far);
    const add = event.shiftKey || event.ctrlKey || event.metaKey;
    if (fitting && !id && !add) chooseFitting(fitting);
    else choose(id ? [id] : [], null, Boolean(id) && add);
  }

  key(event) {
    const turns = KEY_TURNS[event.key];
    if (turns) this.rotate(...turns);
    else if (event.key === "+" || event.key === "=") this.zoom(1 / 1.2);
    else if (event.key === "-") this.zoom(1.2);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  rotate(turn, height) {
    this.turn += turn;
    this.height = Math.max(-1.5, Math.min(1.5, this.height + height));
    this.draw();
  }

  zoom(factor) {
    this.far = Math.max(NEAREST, Math.min(FARTHEST, this.far * factor));
    this.draw();
  }

  /** How large a pitch is in the middle of the view, px. */
  pitchPx() {
    return this.deep / (this.far * Math.tan((this.camera.fov * Math.PI) / 360) * 2);
  }

  slide(dx, dy) {
    const step = 1 / this.pitchPx();
    const column = i => new THREE.Vector3().setFromMatrixColumn(this.camera.matrixWorld, i);
    this.target.addScaledVector(column(0), -dx * step).addScaledVector(column(1), dy * step);
    this.draw();
  }

  memberAt(at) {
    return firstOnRay(...this.rayAt(at), build.members.values());
  }

  /** From the camera through a place of the canvas: where it begins, and its way. */
  rayAt([x, y]) {
    const caster = new THREE.Raycaster();
    const spot = new THREE.Vector2((x / this.width) * 2 - 1, 1 - (y / this.deep) * 2);
    caster.setFromCamera(spot, this.camera);
    const {origin, direction} = caster.ray;
    return [origin.toArray(), direction.toArray()];
  }
}
