// The card of what is chosen, large, with all that can be done to it: which card, and when it is drawn.
// Needs the cards, modes.

import {build} from "../core/build.js";
import {byId} from "../core/dom.js";
import {on} from "../core/events.js";
import {chosen, chosenMember} from "../core/selection.js";
import {modes} from "../photos/modes.js";
import {copyCard} from "./copy-card.js";
import {fittingCard} from "./fitting-card.js";
import {formCard} from "./fitting-form.js";
import {lapCard} from "./lap-card.js";
import {measureCard} from "./measure.js";
import {memberCard, severalCard} from "./member-card.js";
import {proposalCard} from "./new-member.js";
import {rowsCard} from "./rows-by-hand.js";

const REDRAWN_ON = ["chosen", "changed", "units", "proposal", "rows", "mode", "measuring", "copying"];
const LEAST_SHOWN = 80; // px of the card that have to be in sight
let subject = "";

/** Listens to what changes the card. */
export function begin() {
  for (const event of REDRAWN_ON) on(event, draw);
}

function body() {
  if (build.proposal) return proposalCard();
  if (build.copying) return copyCard();
  if (build.rows) return rowsCard();
  if (modes.current === "measure") return measureCard();
  if (build.fitting) return formCard();
  const fitting = build.fittings.find(f => f.id === chosen.fitting);
  if (fitting) return fittingCard(fitting);
  if (chosen.lap) return lapCard(chosen.lap);
  const one = chosenMember();
  if (one) return memberCard(one);
  return chosen.members.length ? severalCard(chosen.members) : null;
}

function draw() {
  const card = byId("card");
  const focused = card.contains(document.activeElement) ? document.activeElement : null;
  const number = focused?.dataset.keep;
  const opened = [...card.querySelectorAll("details[open] > summary")].map(line => line.textContent);
  const nodes = body();
  const now = named();
  card.hidden = !nodes;
  card.replaceChildren(...(nodes || []));
  if (now === subject) openAgain(card, opened);
  for (const [i, button] of card.querySelectorAll("button").entries()) button.dataset.keep = i;
  if (focused) focusAgain(card, focused, number);
  if (now !== subject && nodes) bringIn(card);
  subject = now;
}

/** What the card is of. */
const named = () =>
  JSON.stringify([
    chosen.members,
    chosen.lap,
    modes.current === "measure",
    chosen.fitting,
    Boolean(build.fitting),
    Boolean(build.proposal),
    Boolean(build.copying),
    build.rows?.photo,
  ]);

/** Opens what was open before a change of the same thing: who shifts by three holes presses three times. */
function openAgain(card, opened) {
  for (const line of card.querySelectorAll("details > summary"))
    if (opened.includes(line.textContent)) line.parentNode.open = true;
}

/** Keeps the focus where it was in the card; where that is no more, on the card, or else on the list. */
function focusAgain(card, focused, number) {
  if (/INPUT|SELECT/.test(focused.tagName) && card.contains(focused)) focused.focus();
  else card.querySelector(`[data-keep="${number}"]`)?.focus();
  if (card.contains(document.activeElement)) return;
  (card.hidden ? byId("panel") : card).focus({preventScroll: true});
}

/**
 * On a narrow page the card may have been scrolled away: what was just asked for is brought in under the
 * photos.
 */
function bringIn(card) {
  const {top} = card.getBoundingClientRect();
  const {bottom} = document.querySelector(".sight").getBoundingClientRect();
  const isOff = top < bottom - 1 || top > innerHeight - LEAST_SHOWN;
  if (matchMedia("(max-width: 999px)").matches && isOff) card.scrollIntoView({block: "start"});
}
