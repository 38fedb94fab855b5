// What is chosen, large, with all that can be done to it.

import {announce, ask, byId, h, notice} from "./dom.js";
import {build, choose, chosen, edit, lapName, on, post, shapesOf, tell} from "./store.js";
import {stick} from "./stick.js";
import {lengthText, percent, plural} from "./units.js";
import {measureCard} from "./measure.js";
import {modes, setMode} from "./modes.js";

const button = (text, act, options = {}) => h(`button${options.kind ? "." + options.kind : ""}`, {type: "button", onclick: act, "aria-label": options.label, title: options.title}, text);
const AXES = ["x", "y", "z"];

export function begin() {
  for (const event of ["chosen", "changed", "units", "proposal", "mode", "measuring"]) on(event, draw);
  on("stroke", propose);
}

function draw() {
  const card = byId("card"), focused = card.contains(document.activeElement) ? document.activeElement : null, focus = focused?.dataset.keep;
  const body = build.proposal ? proposalCard() : modes.current === "measure" ? measureCard() : chosen.lap ? lapCard(chosen.lap) : chosen.members.length === 1 ? memberCard(build.members.get(chosen.members[0])) : chosen.members.length ? severalCard() : null;
  card.hidden = !body;
  card.replaceChildren(...(body || []));
  card.querySelectorAll("button").forEach((b, i) => { b.dataset.keep = i; });
  if (focused?.tagName === "INPUT" && card.contains(focused)) focused.focus();
  else if (focus !== null && focus !== undefined) card.querySelector(`[data-keep="${focus}"]`)?.focus();
  const now = JSON.stringify([chosen.members, chosen.lap, modes.current === "measure", Boolean(build.proposal)]);
  if (now !== subject && body) bringIn(card);
  subject = now;
}

let subject = "";

/** On a narrow page the card may have been scrolled away: what was just asked for is brought in under the photos. */
function bringIn(card) {
  const {top} = card.getBoundingClientRect(), {bottom} = document.querySelector(".sight").getBoundingClientRect();
  if (matchMedia("(max-width: 999px)").matches && (top < bottom - 1 || top > innerHeight - 80)) card.scrollIntoView({block: "start"});
}

const close = () => button("✕", () => choose([]), {kind: "quiet", label: "Choose nothing"});

// One member

function memberCard(m) {
  const length = build.pitch_mm ? lengthText(m.holes * build.pitch_mm) : "";
  const word = build.said.members?.[m.id];
  const sure = word && word.place && word.ends.every(Boolean) ? "as you said" : `${percent(m.confidence)} sure`;
  return [
    h("div.cardhead", {}, h("h2", {}, h("span.tag", {}, m.id), ` ${plural(m.holes, "hole")}`), h("span.dim", {}, [length, sure].filter(Boolean).join(" · ")), close()),
    h("div.scroll", {tabindex: 0, role: "img", "aria-label": `Member ${m.id}, ${plural(m.holes, "hole")}`}, stick(m, build.bolts.get(m.id), true)),
    h("div.ends", {}, endControls(m, 0), endControls(m, 1)),
    h("div.buttons", {}, button("Right as it is", () => edit({op: "confirm", member: m.id}), {kind: "main", title: "Key y"}),
      button("Delete", () => edit({op: "delete", members: [m.id]}), {title: "Key Delete"}),
      button("Split…", () => split(m), {title: "Key s"})),
    moreOf([m.id], m),
  ];
}

function endControls(m, end) {
  const hole = end ? m.holes : 1, state = m.ends[end].state;
  const how = {seen: build.said.members?.[m.id]?.ends[end] ? "as you said" : "seen", hidden: "hidden", cut: "cut by the photo's border"}[state] || state;
  const by = step => { chosen.end = end; edit({op: "end", member: m.id, end, by: step}); };
  return h(`fieldset.end${chosen.end === end ? ".active" : ""}`, {}, h("legend", {}, `End at hole ${hole}: ${how}`),
    button("−", () => by(-1), {label: `One hole less at hole ${hole}`, title: chosen.end === end ? "Key ," : null}),
    button("+", () => by(1), {label: `One hole more at hole ${hole}`, title: chosen.end === end ? "Key ." : null}),
    button("It ends here", () => by(0), {kind: "wide", label: `It ends here, at hole ${hole}`}));
}

function moreOf(ids, m) {
  const shift = (i, step) => { const by = [0, 0, 0]; by[i] = step; return edit({op: "shift", members: ids, by}); };
  const stock = h("select", {"aria-label": "Stock", onchange: e => e.target.value && edit({op: "stock", members: ids, stock: e.target.value})},
    h("option", {value: ""}, "Stock…"), build.stocks.map(s => h("option", {value: s.id, selected: m && m.stock === s.id}, s.name)));
  return h("details.more", {}, h("summary", {}, "Shift, stock, turn"),
    m && h("div.row", {}, h("span", {}, "Along itself"), button("−", () => edit({op: "shift", members: ids, along: -1}), {label: "Shift back by a hole"}), button("+", () => edit({op: "shift", members: ids, along: 1}), {label: "Shift on by a hole"})),
    h("div.row.wrap", {}, h("span", {}, "Shift"), AXES.map((axis, i) => [button(`−${axis}`, () => shift(i, -1), {label: `−${axis}: shift by one pitch back along ${axis}`}), button(`+${axis}`, () => shift(i, 1), {label: `+${axis}: shift by one pitch along ${axis}`})])),
    h("div.row", {}, stock),
    m && h("div.row.wrap", {}, button("Stands up", () => edit({op: "turn", up: m.id, end: 1}), {label: `Stands up: turn the frame so that ${m.id} stands up`}),
      button("Stands up, other end", () => edit({op: "turn", up: m.id, end: 0})),
      button("Origin at hole 1", () => edit({op: "turn", origin: m.id, hole: 0}))),
    h("div.row.wrap", {}, button("Join to another…", () => joinLap(ids[0]))));
}

export async function split(m) {
  if (m.holes < 2) return notice(`${m.id} has one hole and cannot be split.`, "warn");
  const after = h("input", {type: "number", min: 1, max: m.holes - 1, value: Math.ceil(m.holes / 2), id: "split-after", inputmode: "numeric"});
  if (await ask(`Split ${m.id}`, [h("label", {for: "split-after"}, `After hole (1 to ${m.holes - 1})`), after], [{text: "Split", value: 1}, {text: "Leave it", value: null}])) edit({op: "split", member: m.id, after: Number(after.value) - 1});
}

async function joinLap(id) {
  const m = build.members.get(id), others = [...build.members.values()].filter(o => o.id !== id);
  const number = (name, most) => h("input", {type: "number", min: 1, max: most, value: 1, id: name, inputmode: "numeric"});
  const mine = number("join-mine", m.holes), other = h("select", {id: "join-other"}, others.map(o => h("option", {value: o.id}, o.id))), theirs = number("join-theirs", 1000);
  if (await ask(`Join ${id} by a lap`, [h("label", {for: "join-mine"}, `Hole of ${id}`), mine, h("label", {for: "join-other"}, "On member"), other, h("label", {for: "join-theirs"}, "Hole of that member"), theirs],
    [{text: "Join", value: 1}, {text: "Leave it", value: null}])) edit({op: "lap", lap: [id, Number(mine.value) - 1, other.value, Number(theirs.value) - 1], word: "joined"});
}

// Several members

function severalCard() {
  const ids = chosen.members;
  return [h("div.cardhead", {}, h("h2", {}, ids.map(id => h("span.tag", {}, id))), close()),
    h("div.buttons", {}, ids.length === 2 ? button("Merge into one", () => edit({op: "merge", members: ids}), {title: "Key m"}) : null, button("Delete all", () => edit({op: "delete", members: ids}))),
    moreOf(ids, null)];
}

// A lap

function lapCard(key) {
  const joint = build.laps.get(String(key));
  if (!joint) return null;
  const name = lapName(key), say = word => edit({op: "lap", lap: key, word});
  const turning = (build.said.may_turn || []).some(e => String(e) === String(key));
  const choice = (word, text) => h("button", {type: "button", "aria-pressed": String(joint.bolt === word), onclick: () => say(word)}, text);
  return [h("div.cardhead", {}, h("h2", {}, "Lap"), h("span.dim", {}, joint.three_way ? "three-way" : ""), close()),
    h("p", {}, `Hole ${key[1] + 1} of `, h("span.tag", {}, key[0]), ` on hole ${key[3] + 1} of `, h("span.tag", {}, key[2])),
    h("div.buttons", {role: "group", "aria-label": `Bolt in ${name}`}, choice("seen", "Bolt there"), choice("assumed", "Bolt assumed"), choice("none", "No bolt")),
    h("div.buttons", {}, button("Part the lap", () => say("apart")), h("button", {type: "button", "aria-pressed": String(turning), onclick: () => edit({op: "may_turn", lap: key, wanted: !turning})}, "Meant to turn"))];
}

// A member drawn on a photo

async function propose(strokeOf) {
  try {
    const {strokes} = await post("/api/stroke", strokeOf);
    build.proposal = null;
    proposals = strokes;
    show(0);
  } catch (error) { notice(error.message, "warn"); announce(error.message); }
}

let proposals = [];

function show(i) {
  const each = proposals[(i + proposals.length) % proposals.length];
  build.proposal = {...each, number: (i + proposals.length) % proposals.length};
  for (const photo of Object.keys(each.shapes)) shapesOf(photo).catch(() => {});
  announce(`${plural(each.holes, "hole")}, ${plural(each.laps, "lap")}`);
  tell("proposal"); tell("draw");
}

export function drop() { build.proposal = null; tell("proposal"); tell("draw"); }

export async function accept() {
  const {first, direction, holes} = build.proposal;
  drop();
  const before = new Set(build.members.keys());
  if (await edit({op: "add", first, direction, holes})) { choose([...build.members.keys()].filter(id => !before.has(id))); setMode("choose"); }
}

function proposalCard() {
  const p = build.proposal;
  return [h("div.cardhead", {}, h("h2", {}, `New member, ${plural(p.holes, "hole")}`)),
    h("p", {}, `${p.laps ? plural(p.laps, "lap") : "Touches no other member"}${p.clash ? "; takes the room of another member" : ""}. One photo fits ${plural(proposals.length, "place")}; this is number ${p.number + 1}.`),
    h("div.buttons", {}, button("Add it", accept, {kind: "main", title: "Key Enter"}), proposals.length > 1 ? button("Another place", () => show(p.number + 1), {title: "Key n"}) : null, button("Leave it", drop, {title: "Key Escape"}))];
}

export const nextProposal = () => build.proposal && show(build.proposal.number + 1);
