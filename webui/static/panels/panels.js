// Which panels there are, in order. A panel is {name, text, draw}: what its tab says, and a function that
// returns its elements (the same ones where nothing changed); `count` returns a number that stands beside
// the tab's text, `button` is the id of a button of the page that opens it instead of a tab, and
// `within` the panel under whose tab it is. Needs the panels.

import {drawChecks} from "./checks.js";
import {doubtsCount, drawDoubts} from "./doubts.js";
import {drawFiles} from "./files.js";
import {drawFittings} from "./fittings.js";
import {drawLaps} from "./laps-list.js";
import {drawMembers} from "./members-list.js";
import {drawParts} from "./parts.js";
import {drawPlan, planCount} from "./plan.js";
import {drawSetUp} from "./set-up.js";
import {drawVersions} from "./versions.js";

export const PANELS = [
  {name: "doubts", text: "To confirm", draw: drawDoubts, count: doubtsCount},
  {name: "members", text: "Members", draw: drawMembers},
  {name: "fittings", text: "Fittings", draw: drawFittings, within: "members"},
  {name: "laps", text: "Joints", draw: drawLaps},
  {name: "parts", text: "Parts", draw: drawParts},
  {name: "checks", text: "Checks", draw: drawChecks},
  {name: "plan", text: "Plan", draw: drawPlan, count: planCount, button: "plan"},
  {name: "versions", text: "Versions", draw: drawVersions, button: "versions"},
  {name: "set-up", text: "Set-up", draw: drawSetUp, button: "set-up"},
  {name: "away", text: "Papers and files", draw: drawFiles, button: "away"},
];
