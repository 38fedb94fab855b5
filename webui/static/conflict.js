// Two tabs or devices changed one build: what was done there, what is wanted here, and what may become of both.

import {ask, h} from "./dom.js";

const MOST = 12;      // lines of a list; what comes after is counted
const list = lines => h("ul", {}, lines.slice(0, MOST).map(words => h("li", {}, words)), lines.length > MOST ? h("li", {}, `and ${lines.length - MOST} more`) : null);

/** Asks what to do: "again" (mine on top of theirs), "instead" (mine in place of theirs) or null (theirs, without mine). */
export async function settleConflict(told) {
  const body = [
    h("p", {}, "Another tab or device changed this build after this page last heard of it. Nothing of theirs or yours is lost."),
    h("h3", {}, "Done there"), told.there?.length ? list(told.there) : h("p", {}, told.there ? "Nothing that is left: what was done was taken back." : "It cannot be told in words."),
    h("h3", {}, "Yours, not done yet"), h("p.mine", {}, told.mine || "It can no longer be told."),
    told.both?.length ? [h("h3", {}, "Changed by both"), list(told.both)] : null,
    told.on_top ? h("p", {}, `On top of theirs, yours comes to: ${told.on_top}.`) : told.why_not ? h("p", {}, `Yours cannot be done on top of theirs: ${told.why_not}`) : null,
  ];
  const buttons = [
    told.on_top ? {text: "Do mine on top of theirs", value: "again"} : null,
    told.can_replace ? {text: "Take mine in place of theirs", value: "instead"} : null,
    {text: "Keep theirs, leave mine", value: "theirs"}].filter(Boolean);
  const answer = await ask("Changed somewhere else", body.filter(Boolean).flat(), buttons);
  return answer === "theirs" ? null : answer;
}
