// One photo on the page, and what a hand does on it.
// Places are in px of the photo; where members lie comes from the server.

import {h, notice} from "./dom.js";
import {build, chosen, choose, edit, get, lapKey, load, post, tell} from "./store.js";
import {Picture} from "./picture.js";
import {modes} from "./modes.js";

const CLICK_PX = 5, TAP_PX = 10, GRAB_PX = 24, NEAR_PX = 16;

export class PhotoView extends Picture {
  constructor(photo, onEnlarge) {
    super();
    this.name = photo.name;
    this.pointers = new Map();
    this.canvas = h("canvas", {tabindex: 0, role: "application", "aria-label": `Photo ${photo.name}. Arrow keys move, plus and minus zoom, 0 shows all, Enter acts at the cross in the middle.`});
    this.note = h("p.tilenote");
    this.aside = h("button.quiet", {type: "button", onclick: () => this.setAside()});
    this.element = h("figure.tile", {"data-photo": photo.name},
      h("figcaption", {}, h("span.tilename", {}, photo.name), this.aside,
        h("button.quiet.enlarge", {type: "button", "aria-label": `Enlarge ${photo.name}`, onclick: () => onEnlarge(this)}, "⤢")),
      this.canvas, this.note);
    this.open();
    this.update(photo);
    if (photo.here) this.load();
    this.listen();
  }

  update(photo) {
    this.photo = photo;
    if (photo.size && String(photo.size) !== String(this.size)) { this.size = photo.size; this.fit(); }
    this.element.classList.toggle("aside", !photo.used);
    const what = !photo.camera && !photo.reason ? "Take out" : photo.used ? "Set aside" : "Use again";
    this.aside.hidden = !photo.here;
    this.aside.textContent = what;
    this.aside.setAttribute("aria-label", `${what} ${photo.name}`);
    this.note.textContent = photo.problem || (!photo.here ? "This photo is not in the folder." : !photo.used ? `Not used: ${photo.reason}` : "");
    this.note.hidden = !this.note.textContent;
    this.draw();
  }

  async setAside() {
    if (this.photo.camera || this.photo.reason) return edit({op: "photo", file: this.name, used: !this.photo.used});
    try { await post(`/api/photos/${encodeURIComponent(this.name)}/remove`, {}); await load(true); } catch (error) { notice(error.message, "warn"); }
  }

  // The hand

  listen() {
    const canvas = this.canvas;
    canvas.addEventListener("pointerdown", e => this.down(e));
    canvas.addEventListener("pointermove", e => this.move(e));
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, e => this.up(e));
    canvas.addEventListener("wheel", e => { e.preventDefault(); this.zoom(Math.exp(-e.deltaY * (e.ctrlKey ? 0.01 : 0.0015)), this.at(e)); }, {passive: false});
    canvas.addEventListener("dblclick", e => this.zoom(2, this.at(e)));
    canvas.addEventListener("keydown", e => this.key(e));
    for (const change of ["focus", "blur"]) canvas.addEventListener(change, () => this.draw());
  }

  down(event) {
    if (event.button) return;
    const at = this.at(event);
    try { this.canvas.setPointerCapture(event.pointerId); } catch { /* a pointer that is gone already */ }
    this.pointers.set(event.pointerId, at);
    if (this.pointers.size > 1) { this.hand = null; this.moved = true; return this.draw(); }      // two fingers never click
    this.start = at; this.moved = false;
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
    if (Math.hypot(at[0] - this.start[0], at[1] - this.start[1]) > (event.pointerType === "touch" ? TAP_PX : CLICK_PX)) this.moved ||= this.pointers.size < 2 ? this.start : true;
    if (this.pointers.size === 2) return this.pinch(event.pointerId, before, at);
    if (!this.moved || !this.hand) return;
    if (this.hand.kind === "pan") {
      const [x, y] = this.moved === true ? before : this.moved;         // what it moved before it was more than a click is made up for
      this.moved = true;
      this.pan(at[0] - x, at[1] - y);
    }
    else if (this.hand.kind === "end") this.dragEnd(this.toPhoto(at));
    else { this.hand.to = this.toPhoto(at); this.draw(); }
  }

  pinch(id, before, at) {
    const other = [...this.pointers].find(([key]) => key !== id)[1];
    const far = (p, q) => Math.hypot(p[0] - q[0], p[1] - q[1]) || 1;
    this.pan((at[0] - before[0]) / 2, (at[1] - before[1]) / 2);
    this.zoom(far(at, other) / far(before, other), [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2]);
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    const hand = this.hand;
    if (this.pointers.size) { this.hand = {kind: "pan"}; return; }      // the finger that stays goes on moving the photo
    this.hand = null;
    if (event.type === "pointercancel") return this.draw();
    if (!this.moved) this.click(this.at(event), event.shiftKey || event.ctrlKey || event.metaKey);
    else if (hand?.kind === "end" && hand.by) edit({op: "end", member: hand.id, end: hand.end, by: hand.by});
    else if (hand?.kind === "stroke" && hand.to) tell("stroke", {photo: this.name, start: hand.from, end: hand.to});
    this.draw();
  }

  endAt([x, y]) {
    const shape = chosen.members.length === 1 && build.shapes.get(this.name)?.get(chosen.members[0]);
    if (!shape) return null;
    const far = shape.ends.map(([px, py]) => Math.hypot(px * this.scale + this.x - x, py * this.scale + this.y - y));
    const k = far[0] < far[1] ? 0 : 1;
    return far[k] < GRAB_PX ? k : null;
  }

  async grab(end) {
    const id = chosen.members[0], shape = build.shapes.get(this.name).get(id);
    chosen.end = end;
    const hand = this.hand = {kind: "end", id, end, from: shape.ends[1 - end], holes: build.members.get(id).holes};
    tell("chosen");
    try { hand.track = (await get(`/api/track/${encodeURIComponent(id)}`)).track[this.name]; } catch { this.hand = null; }
  }

  dragEnd([x, y]) {
    const hand = this.hand, track = hand.track;
    if (!track) return;
    let best = Infinity, k = 0;
    for (let i = 0; i < track.xy.length; i += 2) {
      const far = Math.hypot(track.xy[i] - x, track.xy[i + 1] - y), at = track.from + i / 2;
      if (far < best && (hand.end ? at >= 1 : at <= hand.holes - 1)) { best = far; k = at; hand.to = [track.xy[i], track.xy[i + 1]]; }
    }
    hand.by = hand.end ? k - hand.holes : -k;
    hand.text = `${hand.id}: ${hand.holes + hand.by} holes`;
    this.draw();
  }

  click(at, add) {
    const place = this.toPhoto(at);
    if (modes.current === "openings") return this.mark(place);
    if (modes.current === "draw") return this.drawPoint(place);
    if (modes.current === "measure") return tell("measure", {photo: this.name, xy: place, within: Math.min(400, Math.max(1, NEAR_PX / this.scale))});
    const lap = !add && this.laps().find(([, x, y]) => Math.hypot(x - at[0], y - at[1]) < 12);
    if (lap) return choose([lap[0].a, lap[0].b], lapKey(lap[0]));
    const id = this.memberAt(at);
    choose(id ? [id] : [], null, add && Boolean(id));
  }

  drawPoint(place) {                          // two clicks draw as one stroke does
    if (!this.anchor) { this.anchor = place; return this.draw(); }
    tell("stroke", {photo: this.name, start: this.anchor, end: place});
    this.anchor = null;
    this.draw();
  }

  mark([x, y]) {
    const marks = build.said.marks?.[this.name] || {missed: [], false: []};
    const near = list => list.find(p => Math.hypot(p[0] - x, p[1] - y) < Math.max((p[2] || 0) + 2, 10 / this.scale));
    const mine = near(marks.missed) || near(marks.false);
    const there = near(build.found.get(this.name)?.openings || []);
    const word = mine ? "clear" : there ? "false" : "missed";
    edit({op: "mark", photo: this.name, xy: (mine || there || [x, y]).slice(0, 2), word});
  }

  memberAt([x, y]) {
    let best = NEAR_PX, found = null;
    for (const [id, shape] of build.shapes.get(this.name) || []) {
      const a = shape.axis.length > 2 ? shape.axis : [...shape.ends[0], ...shape.ends[1]];
      for (let i = 0; i + 3 < a.length; i += 2) {
        const [ax, ay, bx, by] = [a[i] * this.scale + this.x, a[i + 1] * this.scale + this.y, a[i + 2] * this.scale + this.x, a[i + 3] * this.scale + this.y];
        const len = (bx - ax) ** 2 + (by - ay) ** 2 || 1, t = Math.max(-0.5, Math.min(1.5, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / len));
        const far = Math.hypot(ax + t * (bx - ax) - x, ay + t * (by - ay) - y) - 0.4 * Math.sqrt(len);
        if (far < best) { best = far; found = id; }
      }
    }
    return found;
  }

  key(event) {
    const step = event.shiftKey ? 200 : 50;
    const moves = {ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step]};
    if (moves[event.key]) this.pan(...moves[event.key]);
    else if (event.key === "+" || event.key === "=") this.zoom(1.3);
    else if (event.key === "-") this.zoom(1 / 1.3);
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter" && !build.proposal) this.click([this.width / 2, this.height / 2], event.shiftKey);
    else if (event.key === "Escape" && this.anchor) { this.anchor = null; this.draw(); }
    else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
