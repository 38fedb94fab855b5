// The switch between the two lists under the tab "Members": the members, and the fittings on them. Needs
// build, tabs.

import {build} from "../core/build.js";
import {h} from "../core/dom.js";
import {button} from "./elements.js";
import {show} from "./tabs.js";

/**
 * The switch, as one of the two lists has it.
 * @param {"members"|"fittings"} current the list that it stands over
 * @returns {HTMLElement}
 */
export function listSwitch(current) {
  const one = (name, text) => {
    const made = button(text, () => show(name));
    if (name === current) made.setAttribute("aria-current", "true");
    made.id = `list-${name}`;
    made.dataset.key = `list-${name}`;
    return made;
  };
  return h(
    "div.buttons.pad.lists",
    {role: "group", "aria-label": "Which list"},
    one("members", `Members ${build.members.size}`),
    one("fittings", `Fittings ${build.fittings.length}`),
  );
}
