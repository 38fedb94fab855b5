// Elements that several panels and cards have. Needs dom, selection.

import {h} from "../core/dom.js";
import {choose} from "../core/selection.js";

/**
 * A button.
 * @param {string} text
 * @param {function(): void} act
 * @param {{kind?: string, label?: string, title?: string, disabled?: boolean, pressed?: boolean}} [options]
 *   kind: a class
 * @returns {HTMLElement}
 */
export function button(text, act, {kind, label, title, disabled, pressed} = {}) {
  const attributes = {type: "button", onclick: act, "aria-label": label, title, disabled};
  const state = pressed === undefined ? {} : {"aria-pressed": String(pressed)};
  return h(kind ? `button.${kind}` : "button", {...attributes, ...state}, text);
}

/** The button that closes a card: nothing is chosen any more. */
export const closeButton = () => button("✕", () => choose([]), {kind: "quiet", label: "Select nothing"});

/**
 * A sentence that stands for a list that has nothing.
 * @param {string} text
 * @returns {HTMLElement[]}
 */
export const emptyPanel = text => [h("p.dim.pad", {}, text)];

/**
 * Keeps elements while nothing that they show is another.
 * @returns {function(Array, function(): Node[]): Node[]} called with all that they show, and what makes them
 */
export function keeper() {
  let shown = null;
  let nodes = null;
  return (values, make) => {
    if (!shown || shown.some((value, i) => value !== values[i])) {
      shown = values;
      nodes = make();
    }
    return nodes;
  };
}
