// What can be answered to a doubt, by its kind, and the edit that each answer is. Needs build, measure.

import {build} from "../core/build.js";
import {plural} from "../core/units.js";
import {start as measure} from "./measure.js";

const MOST_MORE = 4; // holes that one press can add
const BY_TEXT = ["conflict", "size", "note"];

/**
 * Whether a doubt is known by its text: several of its kind may be of one member.
 * @param {{kind: string}} doubt
 * @returns {boolean}
 */
export const isByText = doubt => BY_TEXT.includes(doubt.kind);

const remove = id => ({op: "delete", members: [id]});
const lapIs = (d, word) => ({op: "lap", lap: d.lap, word});
const endMoves = (d, by) => ({op: "end", member: d.members[0], end: d.end, by});
const leaveIt = d => ({op: "note", text: d.text});
const take = (d, word) => ({op: "settle", text: d.text, word});
const confirm = d => ({op: "confirm", member: d.members[0]});

const ANSWERS = {
  conflict: d => {
    const [mine, photos] = conflictWords(d);
    const answers = [{text: mine, request: take(d, "mine")}];
    return d.take ? [...answers, {text: photos, request: take(d, "photos")}] : answers;
  },
  bolt: d => [
    {text: "Bolt there", request: lapIs(d, "said")},
    {text: "No bolt", request: lapIs(d, "none")},
  ],
  member: d => [
    {text: "Correct", request: confirm(d)},
    {text: "Not there", request: remove(d.members[0])},
  ],
  loose: d => (d.members.length === 1 ? [{text: "Not there", request: remove(d.members[0])}] : null),
  room: d => d.members.map(id => ({text: `${id} is not there`, request: remove(id)})),
  end: d => [{text: "End is right", request: endMoves(d, 0)}, ...longerBy(d)],
  size: d => [
    {text: "Measure between two holes", act: measure},
    {text: "Keep it", request: leaveIt(d)},
  ],
  note: d => [{text: "Seen", request: leaveIt(d)}],
};

function conflictWords(d) {
  if (!d.members.length) return ["It stays away", "It is there"];
  return d.take === "none" ? ["It stays", "Not there"] : ["As I said", "As the photos show"];
}

function longerBy(d) {
  const {holes, ends} = build.members.get(d.members[0]) || {holes: 0, ends: []};
  const others = (ends[d.end]?.choices || []).filter(choice => choice.holes !== holes);
  if (others.length) return others.map(choice => choiceOf(d, choice, holes));
  const most = Math.min(MOST_MORE, build.members.get(d.members[0])?.ends[d.end].extra || 0);
  return Array.from({length: most}, (_, k) => ({
    text: `+${k + 1}`,
    label: `${plural(k + 1, "hole")} more`,
    request: endMoves(d, k + 1),
  }));
}

function choiceOf(d, {holes, at}, now) {
  const reached = at && build.members.has(at) ? `, at ${at}` : "";
  const text = `${holes}${reached}`;
  return {text, label: `${plural(holes, "hole")}${reached}`, request: endMoves(d, holes - now)};
}

/**
 * The answers that can be pressed.
 * @param {Object} doubt as the server lists it
 * @returns {{text: string, label?: string, request?: Object, act?: function(): void}[]|null}
 */
export const answersTo = doubt => ANSWERS[doubt.kind]?.(doubt) ?? null;

/**
 * The edit that says that all is right as it is.
 * @param {Object} doubt as the server lists it
 * @returns {Object|null} null where something has to be changed
 */
export function mainAnswer(doubt) {
  if (doubt.kind === "conflict") return take(doubt, "mine");
  if (doubt.kind === "note" || doubt.kind === "size") return leaveIt(doubt);
  if (doubt.kind === "bolt") return lapIs(doubt, "said");
  if (doubt.kind === "end") return endMoves(doubt, 0);
  return doubt.members.length === 1 && doubt.kind !== "loose" ? confirm(doubt) : null;
}
