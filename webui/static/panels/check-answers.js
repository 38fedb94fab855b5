// What can be done against a finding of the checks, by its kind: each answer is an edit. Needs nothing.

const MOST_LAPS = 4; // of one finding that are answered one by one

const lapName = lap => `hole ${lap[1] + 1} of ${lap[0]}`;

/** Where there are several laps the answer says of which it is. */
const ofLap = (text, lap, laps) => (laps.length > 1 ? `${text}: ${lapName(lap)}` : text);

const notThere = ids => ids.map(id => ({text: `${id} is not there`, request: {op: "delete", members: [id]}}));

function bolts(laps, text, word) {
  const asked = laps.slice(0, MOST_LAPS);
  return asked.map(lap => ({text: ofLap(text, lap, asked), request: {op: "lap", lap, word}}));
}

const ANSWERS = {
  "no bolt": ({laps}) => bolts(laps, "Bolt there", "said"),
  collision: ({members}) => notThere(members),
  loose: ({members}) => notThere(members.slice(0, 1)),
  "bolts cross": ({laps}) => bolts(laps, "No bolt", "none"),
  "bolt end": ({laps}) => bolts(laps, "No bolt", "none"),
  fitting: ({fittings}) =>
    fittings.map(id => ({text: `Take off ${id}`, request: {op: "fitting_gone", fitting: id}})),
  motion: ({laps}) =>
    laps.length === 1
      ? [{text: "That is meant to turn", request: {op: "may_turn", lap: laps[0], wanted: true}}]
      : [],
};

/**
 * The answers that can be pressed.
 * @param {Object} finding as the server lists it
 * @returns {{text: string, request: Object}[]}
 */
export const answersToCheck = finding => ANSWERS[finding.kind]?.(finding) ?? [];
