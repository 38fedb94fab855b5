// The way to move that is shown (`build.motion`), in 3-D: slowly to and fro, with a bar that says how far and
// stops it. Where the system asks for less motion it stands at its end until it is started or moved by hand.
// Needs build, dom, pose.

import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {on} from "../core/events.js";
import {endMotion} from "../core/motion.js";
import {poseAt} from "./pose.js";

const PERIOD_MS = 6000; // to and fro: slow enough to be followed
const MOST = 100; // of the slider
const QUARTER = Math.PI / 2;

const still = matchMedia("(prefers-reduced-motion: reduce)");

export class MotionBar {
  /** @param {Object} view with `element`, `boxes`, `pose` and `placeMembers` */
  constructor(view) {
    this.view = view;
    this.phase = 0; // rad
    this.words = h("p", {});
    this.slider = h("input", {
      type: "range",
      min: -MOST,
      max: MOST,
      value: 0,
      "aria-label": "How far it has moved",
      oninput: () => this.byHand(),
    });
    this.button = h("button", {type: "button", onclick: () => this.setPlaying(!this.playing)});
    const close = {type: "button", "aria-label": "Show no motion", onclick: endMotion};
    const row = h("div.row", {}, this.button, this.slider, h("button.quiet", close, "✕"));
    this.element = h("div.motionbar", {role: "group", "aria-label": "Motion", hidden: true}, this.words, row);
    view.element.append(this.element);
    on("motion", () => this.update());
    still.addEventListener("change", () => still.matches && this.setPlaying(false));
  }

  /** Begins with another motion, or ends. */
  update() {
    const {motion} = build;
    this.element.hidden = !motion;
    this.phase = still.matches ? QUARTER : 0;
    this.setPlaying(Boolean(motion) && !still.matches);
    if (motion) this.words.textContent = motion.words;
    this.show(Math.sin(this.phase));
  }

  setPlaying(playing) {
    this.playing = playing;
    this.button.textContent = playing ? "Stop" : "Move";
    this.since = null;
    if (playing) this.request ||= requestAnimationFrame(now => this.tick(now));
  }

  tick(now) {
    this.request = 0;
    if (!this.playing || !this.view.element.isConnected) return;
    this.phase += ((now - (this.since ?? now)) / PERIOD_MS) * 2 * Math.PI;
    this.since = now;
    this.show(Math.sin(this.phase));
    this.request = requestAnimationFrame(next => this.tick(next));
  }

  byHand() {
    this.setPlaying(false);
    const share = this.slider.value / MOST;
    this.phase = Math.asin(share);
    this.show(share);
  }

  /** @param {number} share -1 to 1 */
  show(share) {
    const {view} = this;
    view.pose = build.motion ? poseAt(build.motion, share) : null;
    this.slider.value = Math.round(share * MOST);
    view.placeMembers();
  }
}
