// One photo on the page: its tile, and what a hand or the keyboard does on it. Places are in px of the
// photo; where members lie comes from the server. Needs photo-canvas, changes, selection, modes.

import {get, post} from "../core/api.js";
import {build, lapKey} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit} from "../core/events.js";
import {hasAnswer} from "../core/ghosts.js";
import {load} from "../core/loading.js";
import {notice} from "../core/messages.js";
import {choose, chooseFitting, chosen} from "../core/selection.js";
import {GRAB_PX, hold, leastMove} from "../pictures/pointers.js";
import {rowAt} from "./by-hand-marks.js";
import {fittingAt} from "./fittings-on-photo.js";
import {lapsInView} from "./laps-on-photo.js";
import {markAt} from "./mark-holes.js";
import {userMarks} from "./marks.js";
import {modes} from "./modes.js";
import {PhotoCanvas} from "./photo-canvas.js";

// px of the screen
const NEAR_PX = 16;
const LAP_PX = 12;
const MOST_WITHIN = 400; // px of the photo in which an opening is looked for
const KEY_STEP = 50;
const KEY_LEAP = 200;

const distance = ([x0, y0], [x1, y1]) => Math.hypot(x0 - x1, y0 - y1);

/** The middle between the first two fingers, and how far they are apart, px of the canvas. */
function twoFingers(pointers) {
  const [p, q] = pointers.values();
  return {middle: [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2], apart: distance(p, q) || 1};
}

/** How far a place is from a line, less where the line is long; a little beyond its ends counts too. */
function nearness([x, y], [ax, ay], [bx, by]) {
  const square = (bx - ax) ** 2 + (by - ay) ** 2 || 1;
  const along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / square;
  const t = Math.max(-0.5, Math.min(1.5, along));
  return distance([ax + t * (bx - ax), ay + t * (by - ay)], [x, y]) - 0.4 * Math.sqrt(square);
}

export class PhotoView extends PhotoCanvas {
  /**
   * @param {Object} photo as the server lists it
   * @param {function(PhotoView): void} onEnlarge called when it is to be enlarged, or made small again
   */
  constructor(photo, onEnlarge) {
    super();
    this.name = photo.name;
    this.title = photo.name.replace(/\.[^.]+$/, "");
    this.pointers = new Map();
    this.makeElements(() => onEnlarge(this));
    this.open();
    this.update(photo);
    if (photo.here) this.load();
    this.listen();
  }

  makeElements(enlarge) {
    const name = this.name;
    const keys = "Arrow keys move, plus and minus zoom, 0 shows all, Enter acts at the cross in the middle.";
    const label = `Photo ${name}. ${keys}`;
    this.canvas = h("canvas", {tabindex: 0, role: "application", "aria-label": label});
    this.note = h("p.tilenote");
    this.aside = h("button.quiet", {type: "button", onclick: () => this.setAside()});
    const button = {type: "button", "aria-label": `Enlarge ${name}`, onclick: enlarge};
    this.element = h(
      "figure.tile",
      {"data-photo": name},
      h("figcaption", {}, h("span.tilename", {}, name), this.aside, h("button.quiet.enlarge", button, "⤢")),
      this.canvas,
      this.note,
    );
  }

  /**
   * Takes over what the server says of the photo now.
   * @param {Object} photo as the server lists it
   */
  update(photo) {
    this.photo = photo;
    if (photo.size && String(photo.size) !== String(this.size)) {
      const was = this.size;
      this.size = photo.size;
      if (was && this.fitted === false) this.rescale(was[0] / photo.size[0]);
      else this.fit();
    }
    this.element.classList.toggle("aside", !photo.used);
    const unused = photo.used ? "Set aside" : "Use again";
    const action = !photo.camera && !photo.reason ? "Take out" : unused;
    this.aside.hidden = !photo.here;
    this.aside.textContent = action;
    this.aside.setAttribute("aria-label", `${action} ${photo.name}`);
    const missing = photo.here ? "" : "This photo is not in the folder.";
    const notUsed = photo.used ? "" : `Not used: ${photo.reason}`;
    this.note.textContent = photo.problem || missing || notUsed;
    this.note.hidden = !this.note.textContent;
    this.draw();
  }

  /** Draws again what is chosen or stands out. */
  redraw() {
    this.draw();
  }

  async setAside() {
    if (this.photo.camera || this.photo.reason) {
      edit({op: "photo", file: this.name, used: !this.photo.used});
      return;
    }
    try {
      await post(`/api/photos/${encodeURIComponent(this.name)}/remove`, {});
      await load(true);
    } catch (error) {
      notice(error.message, "warn");
    }
  }

  /** The laps of what is chosen, and where they are on the canvas. */
  laps() {
    return lapsInView(this);
  }

  // The hand

  listen() {
    const canvas = this.canvas;
    const wheel = event => {
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0015)), this.at(event));
    };
    canvas.addEventListener("pointerdown", event => this.down(event));
    canvas.addEventListener("pointermove", event => this.move(event));
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, event => this.up(event));
    canvas.addEventListener("wheel", wheel, {passive: false});
    canvas.addEventListener("dblclick", event => this.zoom(2, this.at(event)));
    canvas.addEventListener("keydown", event => this.key(event));
    for (const change of ["focus", "blur"]) canvas.addEventListener(change, () => this.draw());
  }

  down(event) {
    if (event.button) return;
    const at = this.at(event);
    hold(this.canvas, event);
    this.pointers.set(event.pointerId, at);
    if (this.pointers.size > 1) {
      this.hand = null; // two fingers never click
      this.moved = true;
      this.holdPinch();
      this.draw();
      return;
    }
    this.start = at;
    this.moved = false;
    const end = modes.current === "choose" ? this.endAt(at) : null;
    if (end !== null) this.grab(end);
    else if (modes.current === "draw") this.hand = {kind: "stroke", from: this.toPhoto(at)};
    else this.hand = {kind: "pan"};
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const at = this.at(event);
    this.pointers.set(event.pointerId, at);
    if (distance(at, this.start) > leastMove(event))
      this.moved ||= this.pointers.size < 2 ? this.start : true;
    if (this.pointers.size === 2) this.pinch();
    else if (this.moved && this.hand) this.drag(before, at);
  }

  drag(before, at) {
    if (this.hand.kind === "pan") {
      // how far it moved before that was more than a click is made up for
      const [x, y] = this.moved === true ? before : this.moved;
      this.moved = true;
      this.pan(at[0] - x, at[1] - y);
    } else if (this.hand.kind === "end") {
      this.dragEnd(this.toPhoto(at));
    } else {
      this.hand.to = this.toPhoto(at);
      this.draw();
    }
  }

  /** Keeps where two fingers hold the photo. */
  holdPinch() {
    const {scale, x, y} = this;
    this.held = {...twoFingers(this.pointers), scale, x, y};
  }

  /**
   * Moves and zooms the photo as the two fingers that hold it have since, counted from where they took hold,
   * so that nothing is lost where a step of one finger comes late or several come as one.
   */
  pinch() {
    const {middle, apart, scale, x, y} = this.held;
    const now = twoFingers(this.pointers);
    Object.assign(this, {scale, x, y});
    this.pan(now.middle[0] - middle[0], now.middle[1] - middle[1]);
    this.zoom(now.apart / apart, now.middle);
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    const hand = this.hand;
    if (this.pointers.size) {
      this.hand = {kind: "pan"}; // the finger that stays goes on moving the photo
      if (this.pointers.size > 1) this.holdPinch();
      return;
    }
    this.hand = null;
    if (event.type !== "pointercancel") this.finish(hand, event);
    this.draw();
  }

  finish(hand, event) {
    if (!this.moved) {
      this.click(this.at(event), event.shiftKey || event.ctrlKey || event.metaKey);
    } else if (hand?.kind === "end" && hand.by) {
      edit({op: "end", member: hand.id, end: hand.end, by: hand.by});
    } else if (hand?.kind === "stroke" && hand.to) {
      emit("stroke", {photo: this.name, start: hand.from, end: hand.to});
    }
  }

  // An end that is dragged

  /** The end of the chosen member that a hand can take at a place of the canvas, or null. */
  endAt(at) {
    const shape = chosen.members.length === 1 && build.shapes.get(this.name)?.get(chosen.members[0]);
    if (!shape) return null;
    const far = shape.ends.map(([x, y]) => distance([x * this.scale + this.x, y * this.scale + this.y], at));
    const end = far[0] < far[1] ? 0 : 1;
    return far[end] < GRAB_PX ? end : null;
  }

  async grab(end) {
    const id = chosen.members[0];
    const shape = build.shapes.get(this.name).get(id);
    const hand = {kind: "end", id, end, from: shape.ends[1 - end], holes: build.members.get(id).holes};
    chosen.end = end;
    this.hand = hand;
    emit("chosen");
    try {
      hand.track = (await get(`/api/track/${encodeURIComponent(id)}`)).track[this.name];
    } catch {
      this.hand = null;
    }
  }

  dragEnd(place) {
    const {track, end, holes} = this.hand;
    if (!track) return;
    let least = Number.POSITIVE_INFINITY;
    let hole = 0;
    for (let i = 0; i < track.xy.length; i += 2) {
      const spot = [track.xy[i], track.xy[i + 1]];
      const far = distance(spot, place);
      const at = track.from + i / 2;
      if (far >= least || (end ? at < 1 : at > holes - 1)) continue;
      least = far;
      hole = at;
      this.hand.to = spot;
    }
    this.hand.by = end ? hole - holes : -hole;
    this.hand.text = `${this.hand.id}: ${holes + this.hand.by} holes`;
    this.draw();
  }

  // Clicks and keys

  click(at, add) {
    const place = this.toPhoto(at);
    if (modes.current === "openings") this.mark(place);
    else if (modes.current === "draw") this.drawPoint(place);
    else if (modes.current === "measure" || modes.current === "fitting") {
      const within = Math.min(MOST_WITHIN, Math.max(1, NEAR_PX / this.scale));
      emit(modes.current, {photo: this.name, xy: place, within});
    } else this.chooseAt(at, add);
  }

  chooseAt(at, add) {
    const lap = !add && this.laps().find(([, x, y]) => distance([x, y], at) < LAP_PX);
    if (lap) {
      choose([lap[0].a, lap[0].b], lapKey(lap[0]));
      return;
    }
    const id = this.memberAt(at);
    const fitting = !id && !add && fittingAt(this, at);
    if (fitting) chooseFitting(fitting);
    else choose(id ? [id] : [], null, add && Boolean(id));
  }

  /** Two clicks draw as one stroke does; so does one on a row that was found. */
  drawPoint(place) {
    const row = !this.photo.camera && !this.anchor && rowAt(this, place);
    if (row) emit("stroke", {photo: this.name, ...row});
    else if (this.anchor) {
      emit("stroke", {photo: this.name, start: this.anchor, end: place});
      this.anchor = null;
    } else this.anchor = place;
    this.draw();
  }

  /** Marks an opening that was missed or is none, or takes back such a mark. */
  mark(place) {
    const openings = build.found.get(this.name)?.openings || [];
    const {mine, found} = markAt(place, this.scale, userMarks(this.name), openings) || {};
    const unmarked = found ? "false" : "missed";
    const xy = (mine || found || place).slice(0, 2);
    edit({op: "mark", photo: this.name, xy, word: mine ? "clear" : unmarked});
  }

  memberAt(at) {
    let best = NEAR_PX;
    let found = null;
    const point = (flat, i) => [flat[i] * this.scale + this.x, flat[i + 1] * this.scale + this.y];
    for (const [id, shape] of build.shapes.get(this.name) || []) {
      const line = shape.axis.length > 2 ? shape.axis : shape.ends.flat();
      for (let i = 0; i + 3 < line.length; i += 2) {
        const far = nearness(at, point(line, i), point(line, i + 2));
        if (far >= best) continue;
        best = far;
        found = id;
      }
    }
    return found;
  }

  key(event) {
    const step = event.shiftKey ? KEY_LEAP : KEY_STEP;
    const middle = [this.width / 2, this.height / 2];
    const actions = {
      ArrowLeft: () => this.pan(step, 0),
      ArrowRight: () => this.pan(-step, 0),
      ArrowUp: () => this.pan(0, step),
      ArrowDown: () => this.pan(0, -step),
      "+": () => this.zoom(1.3),
      "=": () => this.zoom(1.3),
      "-": () => this.zoom(1 / 1.3),
      0: () => this.fit(),
      Enter: build.proposal || hasAnswer() ? null : () => this.click(middle, event.shiftKey),
      Escape: this.anchor ? () => this.dropAnchor() : null,
    };
    const action = actions[event.key];
    if (!action) return;
    action();
    event.preventDefault();
    event.stopPropagation();
  }

  dropAnchor() {
    this.anchor = null;
    this.draw();
  }
}
