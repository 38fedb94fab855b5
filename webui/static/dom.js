// Small helpers: elements from values (never from markup), words for screen readers, one dialog.

const byId = id => document.getElementById(id);

/** An element: h("button.main", {onclick, "aria-label": "..."}, "text", child). Text is text, whatever is in it. */
export function h(name, attributes = {}, ...children) {
  const [tag, ...classes] = name.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked" || key === "disabled" || key === "hidden") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter(c => c !== null && c !== undefined && c !== false));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/** An SVG element. */
export function s(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

export { byId };

/** Says something to screen readers. */
export function announce(text) {
  const live = byId("live");
  live.textContent = "";
  setTimeout(() => { live.textContent = text; }, 30);
}

let noticeTimer = 0;

/** Shows a sentence for a while; `stay` keeps it until it is closed. */
export function notice(text, kind = "", stay = false) {
  const place = byId("notice");
  clearTimeout(noticeTimer);
  place.className = `notice ${kind}`;
  place.replaceChildren(h("p", {}, text), h("button.quiet", {type: "button", "aria-label": "Close this message", onclick: () => { place.hidden = true; }}, "✕"));
  place.hidden = false;
  if (!stay) noticeTimer = setTimeout(() => { place.hidden = true; }, 6000);
}

/** Opens the dialog; returns a promise of the value of the button that closed it (null for Escape). */
export function ask(title, body, buttons) {
  const dialog = byId("dialog");
  return new Promise(resolve => {
    const close = value => { dialog.close(); resolve(value); };
    const form = h("form", {onsubmit: event => { event.preventDefault(); close(buttons[0].value ?? true); }},
      h("h2", {id: "dialog-title"}, title), ...[body].flat(),
      h("div.buttons", {}, buttons.map((b, i) => h(`button${i === 0 ? ".main" : ""}`, {type: i === 0 ? "submit" : "button", onclick: i === 0 ? null : () => close(b.value)}, b.text))));
    dialog.replaceChildren(form);
    dialog.oncancel = () => resolve(null);
    dialog.showModal();
  });
}
