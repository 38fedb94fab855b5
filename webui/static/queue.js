// The queue of doubts: gone through one by one, by keys or by clicks, each answered where it stands.

import {byId, h, notice} from "./dom.js";
import {build, choose, chosen, edit, on} from "./store.js";
import {start as measure} from "./measure.js";
import {lookAt} from "./views.js";
import {plural} from "./units.js";
import {isOpen, show} from "./rail.js";
import * as effects from "./effects.js";

const KIND = {conflict: "You and the photos differ", room: "Same room", loose: "Touches nothing", member: "Not sure", end: "End out of sight", bolt: "Bolt out of sight", size: "Size", note: "Note"};
const BY_TEXT = ["conflict", "size", "note"];      // several of these may be of one member
const MOST_MORE = 4;                               // holes that one press can add

// What names a doubt while its text changes with the frame. `chosen.doubt` is where the present one stood last.
const keyOf = d => JSON.stringify([d.kind, d.members, d.lap, d.end, BY_TEXT.includes(d.kind) ? d.text : ""]);
let present = null, nodes = null, nodesOf = [];
on("read", () => { present = null; chosen.doubt = -1; });      // the least sure of what was read now comes first
const place = () => build.doubts.findIndex(d => keyOf(d) === present);

export function drawDoubts(empty) {
  if (!build.members.size && build.job.running) return empty("The photos are being read. Openings and rows are drawn on each as they are found.");
  if (!build.members.size) return empty(build.photos.length ? "Now press “Read photos”. What is least sure then comes first here." : "Once photos are read, what is least sure comes first here.");
  if (!build.doubts.length) return empty(effects.live.doubts < 0 ? "Being reckoned…" : "No doubts are left.");
  const at = place(), of = [build.doubts, build.moreDoubts, at, build.members];
  if (at >= 0) chosen.doubt = at;
  if (!nodes || of.some((value, i) => value !== nodesOf[i])) {
    nodesOf = of;
    nodes = [h("p.dim.pad", {}, "Least sure first. Keys: j next, k back, y right as it is, Delete not there, e other end, comma and full stop one hole less or more, < > shift along itself."),
      h("ol.list.doubts", {}, build.doubts.map((d, i) => h("li", {}, h("button.item", {type: "button", "data-key": `doubt${i}`, "aria-current": at === i ? "true" : null, onclick: () => goTo(i)},
        h("span.kind", {"data-kind": d.kind}, KIND[d.kind]), h("span", {}, d.text)), answers(d, i)))),
      build.moreDoubts ? h("p.dim.pad", {}, `${build.moreDoubts} more come after these.`) : null].filter(Boolean);
  }
  return nodes;
}

function answers(d, i) {
  const act = (text, request, aria = text) => h("button", {type: "button", "aria-label": `${aria}: ${d.text}`, onclick: () => { present = keyOf(d); chosen.doubt = i; settle(request); }}, text);
  const [id] = d.members, gone = id => ({op: "delete", members: [id]});
  const differs = (mine, photos) => [act(mine, {op: "settle", text: d.text, word: "mine"}), d.take ? act(photos, {op: "settle", text: d.text, word: "photos"}) : null];
  const row = {
    conflict: () => !id ? differs("It stays away", "It is there") : d.take === "none" ? differs("It stays", "Not there") : differs("As I said", "As the photos show"),
    bolt: () => [act("Bolt there", {op: "lap", lap: d.lap, word: "seen"}), act("No bolt", {op: "lap", lap: d.lap, word: "none"})],
    member: () => [act("Right as it is", {op: "confirm", member: id}), act("Not there", gone(id))],
    loose: () => d.members.length === 1 ? [act("Not there", gone(id))] : null,
    room: () => d.members.map(id => act(`${id} is not there`, gone(id))),
    end: () => [act("It ends here", {op: "end", member: id, end: d.end, by: 0}),
      ...Array.from({length: Math.min(MOST_MORE, build.members.get(id)?.ends[d.end].extra || 0)}, (_, k) => act(`+${k + 1}`, {op: "end", member: id, end: d.end, by: k + 1}, `${plural(k + 1, "hole")} more`))],
    size: () => [h("button", {type: "button", onclick: measure}, "Measure between two openings"), act("Leave it so", {op: "note", text: d.text})],
    note: () => [act("Seen", {op: "note", text: d.text})],
  }[d.kind]?.();
  return row && h("span.answers", {}, row);
}

/** Makes the change that answers the present doubt and goes on to the one that moves up into its place. */
async function settle(request) {
  if (!await edit(request)) return;
  await effects.settled();
  const at = place();
  if (build.doubts.length) goTo(at >= 0 ? at + 1 : chosen.doubt); else notice("No doubts are left.");
}

/** Goes so many doubts on, of those of the frame as it stands now. */
export async function step(by) {
  await effects.settled();
  const at = place();
  goTo(at >= 0 ? at + by : by > 0 ? chosen.doubt : chosen.doubt - 1);     // where the present one is gone, the next has moved up
}

function goTo(i) {
  if (!build.doubts.length) return notice("No doubts are left.");
  chosen.doubt = Math.max(0, Math.min(build.doubts.length - 1, i));
  const d = build.doubts[chosen.doubt];
  present = keyOf(d);
  if (d.end !== null) chosen.end = d.end;
  if (!isOpen("doubts")) show("doubts");
  choose(d.members, d.lap && build.laps.has(String(d.lap)) ? d.lap : null);
  if (d.members.length) lookAt(d.members, d.lap);
  byId("panel").querySelector("[aria-current=true]")?.scrollIntoView({block: "nearest"});
}

/** The present doubt, where it is what is chosen. */
function shown() {
  const d = build.doubts[place()];
  const open = d && (d.members.length || BY_TEXT.includes(d.kind) && !chosen.members.length);
  return open && d.members.every(id => chosen.members.includes(id)) ? d : null;
}

export async function answerDoubt() {
  await effects.settled();
  const d = shown();
  if (!d) return chosen.members.length === 1 ? edit({op: "confirm", member: chosen.members[0]}) : null;
  const request = d.kind === "conflict" ? {op: "settle", text: d.text, word: "mine"} : ["note", "size"].includes(d.kind) ? {op: "note", text: d.text} : d.kind === "bolt" ? {op: "lap", lap: d.lap, word: "seen"} : d.kind === "end" ? {op: "end", member: d.members[0], end: d.end, by: 0}
    : d.members.length === 1 && d.kind !== "loose" ? {op: "confirm", member: d.members[0]} : null;
  return request ? settle(request) : notice("This one is put right by moving, lengthening or deleting a member.");
}

/** Deletes what is chosen; in the queue, goes on. */
export function deleteChosen() {
  if (!chosen.members.length || chosen.lap) return null;
  const request = {op: "delete", members: chosen.members};
  return shown()?.members.length === chosen.members.length ? settle(request) : edit(request);
}
