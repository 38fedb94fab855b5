// Marks over a photo: openings, rows, members, ends, laps, and what the hand is doing. Places come in px of the photo.

import {build, changed, chosen, foundIn, lapKey, MOMENT_MS, shapesOf} from "./store.js";
import {CHOSEN, FALSE, INK, LEAST_SURE, OPENING, PLAN, ROW, SURE, UNSURE} from "./colours.js";
import {drawn, layers} from "./modes.js";

const MANY_LINES = 900;          // more are drawn without a dark rim, which would be all that is seen
const now = () => performance.now();

/** What draws over a photo: a view with `name`, `scale`, `x`, `y` (from photo to canvas), `width`, `height`, `hand` and `anchor`. */
export class Marked {
  path(c, flat) {
    for (let i = 0; i < flat.length; i += 2) {
      const x = flat[i] * this.scale + this.x, y = flat[i + 1] * this.scale + this.y;
      if (i) c.lineTo(x, y); else c.moveTo(x, y);
    }
  }

  stroke(c, lines, colour, width, dash = []) {
    c.lineJoin = c.lineCap = "round";
    c.setLineDash([]);
    for (const [style, w, d] of lines.length > MANY_LINES ? [[colour, width, dash]] : [[INK, width + 2.2, []], [colour, width, dash]]) {
      c.strokeStyle = style; c.lineWidth = w; c.globalAlpha = style === INK ? 0.55 : 1;
      c.setLineDash(d);
      for (const line of lines) {                              // one by one: a path of a thousand lines takes seven times as long
        c.beginPath();
        this.path(c, line);
        c.stroke();
      }
    }
    c.setLineDash([]); c.globalAlpha = 1;
  }

  paintFound(c) {
    foundIn(this.name).catch(() => {});
    const {openings, rows} = build.found.get(this.name) || {openings: [], rows: []};
    if (drawn("rows")) this.stroke(c, rows.map(r => r.flat()), ROW, 1.5, [6, 4]);
    const marks = build.said.marks?.[this.name] || {missed: [], false: []};
    c.lineWidth = 1.6;
    if (drawn("openings")) {
      for (const [paint, w] of [[INK, 3.4], [OPENING, 1.6]]) {
        c.strokeStyle = paint; c.lineWidth = w;
        c.beginPath();
        for (const [x, y, a, b, turn, taken] of openings) {
          const sx = x * this.scale + this.x, sy = y * this.scale + this.y;
          if (sx < -20 || sy < -20 || sx > this.width + 20 || sy > this.height + 20) continue;
          c.moveTo(sx + Math.cos(turn) * (a * this.scale + 2), sy + Math.sin(turn) * (a * this.scale + 2));
          c.ellipse(sx, sy, a * this.scale + 2, b * this.scale + 2, turn, 0, 2 * Math.PI);
          if (taken) { c.moveTo(sx + 2, sy); c.arc(sx, sy, 2, 0, 2 * Math.PI); }
        }
        c.stroke();
      }
      for (const [x, y] of marks.false) this.glyph(c, x, y, FALSE, "cross");
      for (const [x, y] of marks.missed) this.glyph(c, x, y, CHOSEN, "plus");
    }
  }

  glyph(c, px, py, colour, kind) {
    const x = px * this.scale + this.x, y = py * this.scale + this.y, r = 7;
    for (const [style, w] of [[INK, 5], [colour, 2.5]]) {
      c.strokeStyle = style; c.lineWidth = w;
      c.beginPath();
      if (kind === "cross") { c.moveTo(x - r, y - r); c.lineTo(x + r, y + r); c.moveTo(x - r, y + r); c.lineTo(x + r, y - r); }
      else { c.moveTo(x - r, y); c.lineTo(x + r, y); c.moveTo(x, y - r); c.lineTo(x, y + r); c.moveTo(x + r + 3, y); c.arc(x, y, r + 3, 0, 2 * Math.PI); }
      c.stroke();
    }
  }

  /** The marks of all members but the chosen ones. */
  paintRest(c) {
    shapesOf(this.name).catch(() => {});
    const all = build.shapes.get(this.name) || new Map(), sure = [], unsure = [], shapes = new Map();
    for (const [id, shape] of all) {
      const m = build.members.get(id);
      if (!m || chosen.members.includes(id) || !this.inSight(shape)) continue;
      shapes.set(id, shape);
      if (m.confidence < LEAST_SURE && layers.doubts) unsure.push(...shape.edges); else if (layers.members) sure.push(...shape.edges);
    }
    this.stroke(c, sure, SURE, 1.3);
    this.stroke(c, unsure, UNSURE, 2, [7, 5]);
    if (layers.ends) this.paintEnds(c, shapes);
    if (layers.labels) this.paintLabels(c, shapes);
  }

  /** What is chosen, what was changed just now, and what else comes and goes. */
  paintChosen(c) {
    const all = build.shapes.get(this.name) || new Map(), time = now();
    const shapes = new Map(chosen.members.filter(id => all.has(id)).map(id => [id, all.get(id)]));
    if (layers.members || layers.doubts) {
      for (const [id, when] of changed) if (time - when < MOMENT_MS && all.has(id) && !shapes.has(id)) this.stroke(c, all.get(id).edges, "#FFFFFF", 4, [2, 5]);
    }
    for (const shape of shapes.values()) { this.stroke(c, shape.edges, CHOSEN, 3); this.dots(c, shape.holes); }
    if (layers.ends) this.paintEnds(c, shapes);
    this.paintLaps(c);
    if (layers.plan && build.planShapes?.[this.name]) this.stroke(c, build.planShapes[this.name].flat(), PLAN, 2, [10, 4, 2, 4]);
    if (layers.labels) this.paintLabels(c, shapes);
    if (build.proposal?.shapes[this.name]) this.stroke(c, build.proposal.shapes[this.name].edges, CHOSEN, 3, [8, 6]);
    if (shapes.size === 1 && chosen.members.length === 1) this.paintHandles(c, shapes.get(chosen.members[0]));
  }

  /** Whether any of a member can be on the canvas. */
  inSight(shape) {
    if (!shape.box) {
      shape.box = [Infinity, Infinity, -Infinity, -Infinity];
      for (const line of shape.edges) for (let i = 0; i < line.length; i += 2) {
        shape.box[0] = Math.min(shape.box[0], line[i]); shape.box[2] = Math.max(shape.box[2], line[i]);
        shape.box[1] = Math.min(shape.box[1], line[i + 1]); shape.box[3] = Math.max(shape.box[3], line[i + 1]);
      }
    }
    const [x0, y0, x1, y1] = shape.box, room = 20;
    return x1 * this.scale + this.x > -room && y1 * this.scale + this.y > -room && x0 * this.scale + this.x < this.width + room && y0 * this.scale + this.y < this.height + room;
  }

  dots(c, flat) {
    for (const [style, r] of [[INK, 3.2], [CHOSEN, 1.9]]) {
      c.fillStyle = style;
      c.beginPath();
      for (let i = 0; i < flat.length; i += 2) {
        const x = flat[i] * this.scale + this.x, y = flat[i + 1] * this.scale + this.y;
        c.moveTo(x + r, y); c.arc(x, y, r, 0, 2 * Math.PI);
      }
      c.fill();
    }
  }

  paintEnds(c, shapes) {
    for (const [id, shape] of shapes) {
      const m = build.members.get(id);
      m?.ends.forEach((end, k) => {
        if (end.state === "seen") return;
        const [x, y] = [shape.ends[k][0] * this.scale + this.x, shape.ends[k][1] * this.scale + this.y];
        c.font = "bold 13px system-ui"; c.textAlign = "center"; c.textBaseline = "middle";
        c.beginPath(); c.arc(x, y, 9, 0, 2 * Math.PI);
        c.fillStyle = UNSURE; c.fill(); c.strokeStyle = INK; c.lineWidth = 2; c.stroke();
        c.fillStyle = INK; c.fillText("?", x, y + 1);
      });
    }
  }

  /** [[lap, x, y]] of the laps of what is chosen: where their bolts come out of the face that is turned this way, on the canvas. */
  laps() {
    const shapes = build.shapes.get(this.name), found = [];
    if (!shapes) return found;
    for (const j of build.joints) {
      if (!chosen.members.includes(j.a) && !chosen.members.includes(j.b)) continue;
      const a = shapes.get(j.a)?.axis, b = shapes.get(j.b)?.axis;
      if (!a || !b || a.length <= 2 * j.a_hole + 1 || b.length <= 2 * j.b_hole + 1) continue;
      const [x, y] = this.head(j, shapes, a.slice(2 * j.a_hole, 2 * j.a_hole + 2), b.slice(2 * j.b_hole, 2 * j.b_hole + 2));
      found.push([j, x * this.scale + this.x, y * this.scale + this.y]);
    }
    return found;
  }

  /** Where the bolt of a lap comes out, px: its axis, carried on from the centre lines p of a and q of b by half a width each, and of
      its two ends the one that is an opening of a face turned this way. Perspective over two pitches is left out. */
  head(j, shapes, p, q) {
    const wide = [build.members.get(j.a).width, build.members.get(j.b).width], on = (from, to, w) => [0, 1].map(i => to[i] + (to[i] - from[i]) * w / (wide[0] + wide[1]));
    const off = (id, [x, y]) => { const h = shapes.get(id).holes; let best = Infinity; for (let i = 0; i < h.length; i += 2) best = Math.min(best, Math.hypot(h[i] - x, h[i + 1] - y)); return best; };
    const a = on(q, p, wide[0]), b = on(p, q, wide[1]);
    return off(j.a, a) <= off(j.b, b) ? a : b;
  }

  paintLaps(c) {
    for (const [j, x, y] of this.laps()) {
      const here = chosen.lap && String(lapKey(j)) === String(chosen.lap), r = here ? 15 : 5;
      c.beginPath(); c.arc(x, y, r, 0, 2 * Math.PI);
      if (here) {                                                   // a ring: what is to be looked at is in it
        c.lineWidth = 6; c.strokeStyle = INK; c.stroke();
        c.setLineDash(j.bolt === "assumed" ? [5, 4] : []); c.lineWidth = 3; c.strokeStyle = CHOSEN; c.stroke(); c.setLineDash([]);
        continue;
      }
      c.fillStyle = j.bolt === "seen" ? "#0072B2" : "#fffdf6"; c.fill();
      c.setLineDash(j.bolt === "assumed" ? [3, 2.5] : []); c.lineWidth = 2; c.strokeStyle = INK; c.stroke(); c.setLineDash([]);
      if (j.bolt === "none") { c.beginPath(); c.moveTo(x - r, y + r); c.lineTo(x + r, y - r); c.strokeStyle = INK; c.stroke(); }
    }
  }

  paintLabels(c, shapes) {
    c.font = "600 12px system-ui"; c.textAlign = "center"; c.textBaseline = "middle";
    const taken = [];
    const order = [...shapes].sort(([a], [b]) => chosen.members.includes(b) - chosen.members.includes(a));
    for (const [id, shape] of order) {
      if (!build.members.has(id)) continue;
      const middle = Math.floor(shape.axis.length / 4) * 2;
      const x = shape.axis[middle] * this.scale + this.x, y = shape.axis[middle + 1] * this.scale + this.y;
      const w = 8 * id.length + 12;
      if (x < 0 || y < 0 || x > this.width || y > this.height || taken.some(([p, q]) => Math.abs(p - x) < w && Math.abs(q - y) < 18)) continue;
      taken.push([x, y]);
      c.beginPath(); c.roundRect(x - w / 2, y - 9, w, 18, 4);
      c.fillStyle = chosen.members.includes(id) ? CHOSEN : "#fffdf6"; c.fill();
      c.lineWidth = 1.4; c.strokeStyle = INK; c.stroke();
      c.fillStyle = INK; c.fillText(id, x, y + 0.5);
    }
  }

  paintHandles(c, shape) {
    shape.ends.forEach(([px, py], k) => {
      const x = px * this.scale + this.x, y = py * this.scale + this.y;
      c.beginPath(); c.arc(x, y, 11, 0, 2 * Math.PI);
      c.fillStyle = chosen.end === k ? CHOSEN : "#fffdf6"; c.fill();
      c.strokeStyle = INK; c.lineWidth = 2.5; c.stroke();
      c.beginPath(); c.arc(x, y, 3, 0, 2 * Math.PI); c.fillStyle = INK; c.fill();
    });
  }

  paintHand(c) {
    const hand = this.hand;
    if (hand?.kind === "end" && hand.to) {
      this.stroke(c, [[...hand.from, ...hand.to]], CHOSEN, 5);
      const x = hand.to[0] * this.scale + this.x, y = hand.to[1] * this.scale + this.y;
      this.plate(c, x, y - 28, hand.text);
    }
    if (hand?.kind === "stroke" && hand.to) this.stroke(c, [[...hand.from, ...hand.to]], CHOSEN, 4, [8, 6]);
    if (this.anchor) this.glyph(c, ...this.anchor, CHOSEN, "plus");
    const tape = (build.measure?.places[this.name] || []).filter(Boolean);
    if (tape.length === 2) this.stroke(c, [tape.flat()], CHOSEN, 2.5, [3, 5]);
    for (const [x, y] of tape) this.glyph(c, x, y, CHOSEN, "plus");
  }

  plate(c, x, y, text) {
    c.font = "600 15px system-ui"; c.textAlign = "center"; c.textBaseline = "middle";
    const w = c.measureText(text).width + 16;
    x = Math.min(Math.max(x, w / 2 + 2), this.width - w / 2 - 2); y = Math.max(y, 16);
    c.beginPath(); c.roundRect(x - w / 2, y - 13, w, 26, 6);
    c.fillStyle = "#fffdf6"; c.fill(); c.strokeStyle = INK; c.lineWidth = 1.5; c.stroke();
    c.fillStyle = INK; c.fillText(text, x, y + 1);
  }

  paintCross(c) {
    const x = this.width / 2, y = this.height / 2;
    for (const [style, w] of [[INK, 4], ["#FFFFFF", 1.5]]) {
      c.strokeStyle = style; c.lineWidth = w;
      c.beginPath(); c.moveTo(x - 16, y); c.lineTo(x - 4, y); c.moveTo(x + 4, y); c.lineTo(x + 16, y);
      c.moveTo(x, y - 16); c.lineTo(x, y - 4); c.moveTo(x, y + 4); c.lineTo(x, y + 16); c.stroke();
    }
  }
}
