// A member drawn small: its holes, which of them a bolt takes, and which ends were not seen. Needs dom.

import {s} from "../core/dom.js";

const MOST = 48; // holes that are drawn
const NUMBER_PX = 16; // from one number to the next, at least
const SMALL = {tall: 14, top: 1, deep: 12, radius: 2.3};
const BIG = {tall: 34, top: 10, deep: 14, radius: 3.6};

/**
 * An SVG of a member.
 * @param {import("../core/build.js").Member} member
 * @param {Map<number, string>} [taken] hole -> its bolt
 * @param {boolean} [big] with its holes numbered
 * @returns {SVGElement}
 */
export function memberIcon(member, taken = new Map(), big = false) {
  const size = big ? BIG : SMALL;
  const pitch = big ? Math.max(11, Math.min(26, 340 / member.holes)) : 9;
  const count = Math.min(member.holes, MOST);
  const wide = count * pitch;
  const body = {x: 1, y: size.top, width: wide, height: size.deep, rx: 1.5, class: "wood"};
  const parts = [s("rect", body)];
  const holes = Array.from({length: count}, (_, k) => ({k, x: 1 + (k + 0.5) * pitch, bolt: taken.get(k)}));
  for (const {x, bolt} of holes) {
    if (bolt) parts.push(boltCircle(x, bolt, size));
  }
  if (big) parts.push(...numberTexts(count, taken, pitch, size));
  const open = holes.filter(hole => !hole.bolt).map(hole => holePath(hole.x, size));
  // one path: a list of hundreds of members has thousands of holes
  if (open.length) parts.push(s("path", {d: open.join(""), class: "hole"}));
  if (member.ends[0].state !== "seen") parts.push(unseenEnd(1, 1, size));
  if (member.ends[1].state !== "seen") parts.push(unseenEnd(wide + 1, -1, size));
  const height = big ? size.tall + 2 : size.tall;
  const box = {viewBox: `0 0 ${wide + 2} ${height}`, width: wide + 2, height};
  return s("svg", {class: big ? "membericon big" : "membericon", ...box, "aria-hidden": "true"}, ...parts);
}

function numberTexts(count, taken, pitch, {tall}) {
  const text = k =>
    s("text", {x: 1 + (k + 0.5) * pitch, y: tall, class: k ? "number" : "number first"}, String(k + 1));
  return [...numbered(count, taken, pitch)].map(text);
}

/** The holes that are numbered: the first, the last, those of joints, every fifth; none over another. */
function numbered(holes, taken, pitch) {
  const all = Array.from({length: holes}, (_, k) => k);
  const order = [
    0,
    holes - 1,
    ...[...taken.keys()].sort((a, b) => a - b),
    ...all.filter(k => (k + 1) % 5 === 0),
  ];
  const found = new Set();
  for (const k of order) {
    const isFree = [...found].every(other => Math.abs(k - other) * pitch >= NUMBER_PX);
    if (isFree) found.add(k);
  }
  return found;
}

function boltCircle(x, bolt, {top, deep, radius}) {
  const r = bolt === "none" ? radius : radius + 0.8;
  return s("circle", {cx: x, cy: top + deep / 2, r, class: `hole ${bolt}`});
}

function holePath(x, {top, deep, radius: r}) {
  return `M${x - r} ${top + deep / 2}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
}

/** A jagged line across an end; `inwards`: 1 where the member is to its right, else -1. */
function unseenEnd(x, inwards, {top, deep}) {
  const dy = (deep + 2) / 4;
  const [there, back] = [`l${3 * inwards} ${dy}`, `l${-3 * inwards} ${dy}`];
  return s("path", {d: `M${x} ${top - 1} ${there} ${back} ${there} ${back}`, class: "unseenend"});
}
