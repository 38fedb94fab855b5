// Two tabs or devices changed one build: what was done there, what is wanted here, and what may become of
// both. Needs dom, messages.

import {h} from "./dom.js";
import {ask} from "./messages.js";

const MOST = 12; // lines of a list; what comes after is counted

/**
 * Asks what to do.
 * @param {Object} conflict the server's description: there, mine, both, on_top, why_not, can_replace
 * @returns {Promise<string|null>} "again" (mine on top of theirs), "instead" (mine in place of theirs) or
 *   null (theirs alone)
 */
export async function settleConflict(conflict) {
  const buttons = [
    conflict.on_top ? {text: "Do mine on top of theirs", value: "again"} : null,
    conflict.can_replace ? {text: "Use mine in place of theirs", value: "instead"} : null,
    {text: "Keep theirs, leave mine", value: "theirs"},
  ].filter(Boolean);
  const choice = await ask("Changed somewhere else", description(conflict), buttons);
  return choice === "theirs" ? null : choice;
}

const list = lines => {
  const more = lines.length > MOST ? h("li", {}, `and ${lines.length - MOST} more`) : null;
  return h("ul", {}, ...lines.slice(0, MOST).map(words => h("li", {}, words)), more);
};

function doneThere({there}) {
  if (there?.length) return list(there);
  return h(
    "p",
    {},
    there ? "Nothing that is left: what was done was taken back." : "It cannot be put into words.",
  );
}

function outcome(conflict) {
  if (conflict.on_top) return h("p", {}, `On top of theirs, yours comes to: ${conflict.on_top}.`);
  if (conflict.why_not) return h("p", {}, `Yours cannot be done on top of theirs: ${conflict.why_not}`);
  return null;
}

function description(conflict) {
  const intro =
    "Another tab or device changed this build after this page last heard of it. Nothing of theirs or " +
    "yours is lost.";
  return [
    h("p", {}, intro),
    h("h3", {}, "Done there"),
    doneThere(conflict),
    h("h3", {}, "Yours, not done yet"),
    h("p.mine", {}, conflict.mine || "It can no longer be described."),
    ...(conflict.both?.length ? [h("h3", {}, "Changed by both"), list(conflict.both)] : []),
    outcome(conflict),
  ].filter(Boolean);
}
