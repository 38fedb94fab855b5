// The page, put together: each part begins, in the order in which they listen, then the build is loaded.
// Needs all of them.

import {post} from "./core/api.js";
import {build} from "./core/build.js";
import {redo, undo} from "./core/changes.js";
import * as copying from "./core/copying.js";
import * as derived from "./core/derived.js";
import {byId} from "./core/dom.js";
import {emit} from "./core/events.js";
import * as invite from "./core/invite.js";
import {load} from "./core/loading.js";
import {notice} from "./core/messages.js";
import {pulse} from "./core/pulse.js";
import * as keyboard from "./keyboard.js";
import * as doubts from "./panels/doubts.js";
import * as fittingForm from "./panels/fitting-form.js";
import * as measure from "./panels/measure.js";
import * as newMember from "./panels/new-member.js";
import {PANELS} from "./panels/panels.js";
import * as rowsByHand from "./panels/rows-by-hand.js";
import * as selectionCard from "./panels/selection-card.js";
import * as standing from "./panels/standing.js";
import * as tabs from "./panels/tabs.js";
import * as topBar from "./panels/top-bar.js";
import * as versions from "./panels/versions.js";
import * as modes from "./photos/modes.js";
import * as arrangement from "./pictures/arrangement.js";
import * as progress from "./reading/progress.js";
import {startReading} from "./reading/start-reading.js";

async function cancelReading() {
  build.job = await post("/api/read/cancel", {});
  emit("job");
  pulse();
}

byId("undo").onclick = undo;
byId("redo").onclick = redo;
byId("read").onclick = startReading;
byId("assemble").onclick = () => location.assign("/assemble");
byId("help").onclick = keyboard.help;
byId("job-cancel").onclick = cancelReading;

topBar.begin();
standing.begin();
modes.begin();
arrangement.begin();
selectionCard.begin();
newMember.begin();
rowsByHand.begin();
measure.begin();
fittingForm.begin();
copying.begin();
progress.begin();
derived.begin();
doubts.begin();
versions.begin();
invite.begin();
tabs.begin(PANELS);
keyboard.begin();

try {
  await load();
  topBar.showUnits();
  pulse();
  document.body.dataset.ready = "true";
} catch (error) {
  notice(error.message, "warn", true);
}
