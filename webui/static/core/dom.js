// Elements made from values, never from markup. Needs nothing.

/**
 * The element with an id.
 * @param {string} id
 * @returns {HTMLElement|null}
 */
export const byId = id => document.getElementById(id);

const PROPERTIES = ["value", "checked", "disabled", "hidden"];
const isPresent = value => value !== null && value !== undefined && value !== false;

/**
 * An HTML element: h("button.main", {onclick, "aria-label": "..."}, "text", child). Text is text, whatever
 * is in it.
 * @param {string} name its tag, with classes after dots
 * @param {Object} [attributes] attributes, properties and listeners (on...); null, undefined and false are
 *   left out
 * @param {...(Node|string|Array|null|undefined|false)} children
 * @returns {HTMLElement}
 */
export function h(name, attributes = {}, ...children) {
  const [tag, ...classes] = name.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  for (const [key, value] of Object.entries(attributes)) {
    if (!isPresent(value)) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (PROPERTIES.includes(key)) element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat(Number.POSITIVE_INFINITY).filter(isPresent));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/**
 * An SVG element.
 * @param {string} tag
 * @param {Object} [attributes]
 * @param {...(Node|string)} children
 * @returns {SVGElement}
 */
export function s(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}
