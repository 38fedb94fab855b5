// Which panels there are, in order. A panel is {name, text, draw}: what its tab says, and a function that
// returns its elements (the same ones where nothing changed); `title` returns the tab's text where that
// changes, `button` is the id of a button of the page that opens it instead of a tab. Needs the panels.

import {drawChecks} from "./checks.js";
import {doubtsTitle, drawDoubts} from "./doubts.js";
import {drawFiles} from "./files.js";
import {drawLaps} from "./laps-list.js";
import {drawMembers} from "./members-list.js";
import {drawParts} from "./parts.js";

export const PANELS = [
  {name: "doubts", text: "Doubts", draw: drawDoubts, title: doubtsTitle},
  {name: "members", text: "Members", draw: drawMembers},
  {name: "laps", text: "Laps", draw: drawLaps},
  {name: "parts", text: "Parts", draw: drawParts},
  {name: "checks", text: "Checks", draw: drawChecks},
  {name: "away", text: "Take away", draw: drawFiles, button: "away"},
];
