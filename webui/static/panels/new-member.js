// A member drawn on a photo: the places in space that the stroke fits, one of which is shown
// (`build.proposal`) until it is added or dropped. Needs api, changes, loading, selection, modes.

import {post} from "../core/api.js";
import {build} from "../core/build.js";
import {edit} from "../core/changes.js";
import {h} from "../core/dom.js";
import {emit, on} from "../core/events.js";
import {shapesOf} from "../core/loading.js";
import {announce, notice} from "../core/messages.js";
import {choose} from "../core/selection.js";
import {plural} from "../core/units.js";
import {setMode} from "../photos/modes.js";
import {button} from "./elements.js";

let proposals = [];

/** Listens to strokes on photos. */
export function begin() {
  on("stroke", propose);
}

async function propose(stroke) {
  try {
    const {strokes} = await post("/api/stroke", stroke);
    build.proposal = null;
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
  for (const photo of Object.keys(proposal.shapes)) shapesOf(photo).catch(() => {});
  announce(`${plural(proposal.holes, "hole")}, ${plural(proposal.laps, "joint")}`);
  setProposal({...proposal, number});
}

function setProposal(proposal) {
  build.proposal = proposal;
  emit("proposal");
  emit("draw");
}

/** Shows the next place that the stroke fits. */
export function nextProposal() {
  if (build.proposal) show(build.proposal.number + 1);
}

/** Leaves the new member. */
export function dropProposal() {
  setProposal(null);
}

/** Adds the new member, and chooses it. */
export async function acceptProposal() {
  const {first, direction, holes} = build.proposal;
  dropProposal();
  const before = new Set(build.members.keys());
  if (!(await edit({op: "add", first, direction, holes}))) return;
  choose([...build.members.keys()].filter(id => !before.has(id)));
  setMode("choose");
}

/**
 * The card of the new member.
 * @returns {HTMLElement[]}
 */
export function proposalCard() {
  const {holes, laps, clash, number} = build.proposal;
  const touches = laps ? plural(laps, "joint") : "Touches no other member";
  const takes = clash ? "; takes the room of another member" : "";
  const fits = `One photo fits ${plural(proposals.length, "place")}; this is number ${number + 1}.`;
  return [
    h("div.cardhead", {}, h("h2", {}, `New member, ${plural(holes, "hole")}`)),
    h("p", {}, `${touches}${takes}. ${fits}`),
    h(
      "div.buttons",
      {},
      button("Add it", acceptProposal, {kind: "main", title: "Key Enter"}),
      proposals.length > 1 ? button("Another place", nextProposal, {title: "Key n"}) : null,
      button("Cancel", dropProposal, {title: "Key Escape"}),
    ),
  ];
}
