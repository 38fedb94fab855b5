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

/**
 * What names a doubt while its text changes with the frame; several by text may be of one member.
 * @param {Object} d as the server lists it
 * @returns {string}
 */
export const keyOf = d => JSON.stringify([d.kind, d.members, d.lap, d.end, isByText(d) ? d.text : ""]);

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
    ...choicesOf(d),
  ],
  loose: d => (d.members.length === 1 ? [{text: "Not there", request: remove(d.members[0])}] : null),
  room: d => d.members.map(id => ({text: `${id} is not there`, request: remove(id)})),
  end: d => [{text: "End is right", request: endMoves(d, 0)}, ...longerBy(d)],
  unlikely: d => [{text: "End is right", request: endMoves(d, 0)}, ...choicesOf(d)],
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
  const {choices, extra} = build.members.get(d.members[0])?.ends[d.end] || {};
  if (choices?.length) return choicesOf(d);
  const known = new Set((d.choices || []).map(choice => choice.by));
  const more = Array.from({length: Math.min(MOST_MORE, extra || 0)}, (_, k) => k + 1);
  return [
    ...choicesOf(d),
    ...more
      .filter(by => !known.has(by))
      .map(by => ({text: `+${by}`, label: `${plural(by, "hole")} more`, request: endMoves(d, by)})),
  ];
}

/**
 * What else a doubt's member could be, in words.
 * @param {{holes: number, at: string|null}} choice
 * @returns {string}
 */
export const choiceText = ({holes, at}) => `${holes}${at && build.members.has(at) ? `, at ${at}` : ""}`;

/**
 * The edit that makes a doubt's member what it could be besides.
 * @param {Object} d
 * @param {{end: number, by: number}} choice
 * @returns {Object}
 */
export const choiceRequest = (d, {end, by}) => ({op: "end", member: d.members[0], end, by});

function choicesOf(d) {
  return (d.choices || []).map(choice => ({
    text: choiceText(choice),
    request: choiceRequest(d, choice),
  }));
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
  if (doubt.kind === "end" || doubt.kind === "unlikely") return endMoves(doubt, 0);
  return doubt.members.length === 1 && doubt.kind !== "loose" ? confirm(doubt) : null;
}
