// A member drawn on a photo or in 3-D: the places that fit, all shown as ghosts, one of which is current
// (`build.proposal`) until it is added or dropped. Needs api, changes, ghosts, selection, modes.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {changeBy, edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {showGhosts} from "../core/ghosts.js";
import {announce, notice} from "../core/messages.js";
import {choose} from "../core/selection.js";
import {plural} from "../core/units.js";
import {drawnRows} from "../photos/by-hand-marks.js";
import {setMode} from "../photos/modes.js";
import {button} from "./elements.js";

const TYPING_MS = 1500; // digits that come faster after one another make one number
const MOST_HOLES = 1000;

let proposals = [];
let drawn = null; // the stroke that they are of, where it is one on a photo
let typing = {text: "", at: 0};

/** Listens to strokes on photos and in 3-D. */
export function begin() {
  on("stroke", stroke => {
    if (build.photos.find(p => p.name === stroke.photo)?.camera) propose("/api/stroke", stroke);
  });
  on("ghost", id => build.proposal && show(Number(id.slice(1))));
  on("spacestroke", stroke => propose("/api/space-stroke", stroke));
}

async function propose(path, stroke) {
  try {
    const {strokes} = await post(path, stroke);
    build.proposal = null;
    drawn = stroke.photo ? stroke : null;
    proposals = strokes;
    show(0);
  } catch (error) {
    notice(error.message, "warn");
    announce(error.message);
  }
}

function show(i) {
  const number = (i + proposals.length) % proposals.length;
  const proposal = proposals[number];
  typing = {text: "", at: 0};
  announce(`${plural(proposal.holes, "hole")}, ${plural(proposal.laps, "joint")}`);
  setProposal({...proposal, number});
}

function setProposal(proposal) {
  build.proposal = proposal;
  const places = proposal ? proposals : [];
  showGhosts(
    places.map((place, i) => {
      const current = i === proposal.number;
      const shown = current ? proposal : place;
      return {member: {id: `?${i}`, ...shown}, shapes: shown.shapes, current};
    }),
  );
  emit("proposal");
}

/** Shows the next place that the stroke fits. */
export function nextProposal() {
  if (build.proposal) show(build.proposal.number + 1);
}

/** Leaves the new member. */
export function dropProposal() {
  setProposal(null);
}

/**
 * Takes a digit of the new member's count of holes; its far end moves.
 * @param {string} digit
 */
export function typeCount(digit) {
  const now = performance.now();
  const text = now - typing.at < TYPING_MS ? typing.text + digit : digit;
  typing = {text, at: now};
  setCount(Number(text));
}

/** Gives the new member another count of holes, from its first hole on. */
async function setCount(holes) {
  if (!build.proposal || holes < 1 || holes > MOST_HOLES) return;
  const {number} = build.proposal;
  const {first, direction, holes: was} = proposals[number];
  const where = drawn ? {photo: drawn.photo, start: drawn.start} : {};
  const {stroke} = await post("/api/stroke/count", {first, direction, was, holes, ...where});
  if (build.proposal?.number === number) setProposal({...stroke, number});
}

/** Adds the new member, and chooses it. */
export async function acceptProposal() {
  const {first, direction, holes} = build.proposal;
  const ask = {op: "add", first, direction, holes};
  const stroke = drawn;
  const counted = proposals[build.proposal.number].holes; // those under the stroke
  dropProposal();
  const before = new Set(build.members.keys());
  // on a photo whose camera is known by hand the row makes it better
  const byHand = stroke && drawnRows(stroke.photo).length > 0;
  const made = byHand ? changeBy("/api/rows/add", {...stroke, holes: counted, ask}) : edit(ask);
  if (!(await made)) return;
  choose([...build.members.keys()].filter(id => !before.has(id)));
  if (!byHand) setMode("choose");
}

/**
 * The card of the new member.
 * @returns {HTMLElement[]}
 */
export function proposalCard() {
  const {holes, laps, clash, number} = build.proposal;
  const touches = laps ? plural(laps, "joint") : "Touches no other member";
  const takes = clash ? "; takes the room of another member" : "";
  const where = drawn ? "One photo" : "What was drawn";
  const fits = `${where} fits ${plural(proposals.length, "place")}; this is number ${number + 1}.`;
  const by = step => setCount(holes + step);
  return [
    h("div.cardhead", {}, h("h2", {}, `New member, ${plural(holes, "hole")}`)),
    h("p", {}, `${touches}${takes}. ${fits} Type a number for another count.`),
    h(
      "div.buttons",
      {},
      button("Add it", acceptProposal, {kind: "main", title: "Key Enter"}),
      proposals.length > 1 ? button("Another place", nextProposal, {title: "Key n"}) : null,
      button("−", () => by(-1), {label: "One hole less"}),
      button("+", () => by(1), {label: "One hole more"}),
      button("Cancel", dropProposal, {title: "Key Escape"}),
    ),
  ];
}
