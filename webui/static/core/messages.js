// What the page says to people: sentences for screen readers, notices that go away, and the one dialog.
// Needs dom.

import {byId, h} from "./dom.js";

const NOTICE_MS = 6000;
let noticeTimer = 0;

/**
 * Says something to screen readers.
 * @param {string} text
 */
export function announce(text) {
  const live = byId("live");
  live.textContent = "";
  setTimeout(() => {
    live.textContent = text;
  }, 30);
}

/**
 * Shows a sentence for a while.
 * @param {string} text
 * @param {string} [kind] "warn" or ""
 * @param {boolean} [stay] until it is closed
 */
export function notice(text, kind = "", stay = false) {
  const place = byId("notice");
  const hide = () => {
    place.hidden = true;
  };
  clearTimeout(noticeTimer);
  place.className = `notice ${kind}`;
  const close = h("button.quiet", {type: "button", "aria-label": "Close this message", onclick: hide}, "✕");
  place.replaceChildren(h("p", {}, text), close);
  place.hidden = false;
  if (!stay) noticeTimer = setTimeout(hide, NOTICE_MS);
}

/**
 * Opens the dialog.
 * @param {string} title
 * @param {Node|Node[]} body
 * @param {{text: string, value: *}[]} buttons the first is the one that Enter presses
 * @returns {Promise<*>} the value of the button that closed it (null for Escape)
 */
export function ask(title, body, buttons) {
  const dialog = byId("dialog");
  return new Promise(resolve => {
    const close = value => {
      dialog.close();
      resolve(value);
    };
    const submit = event => {
      event.preventDefault();
      close(buttons[0].value ?? true);
    };
    const [first, ...others] = buttons;
    const form = h(
      "form",
      {onsubmit: submit},
      h("h2", {id: "dialog-title"}, title),
      ...[body].flat(),
      h(
        "div.buttons",
        {},
        h("button.main", {type: "submit"}, first.text),
        others.map(b => h("button", {type: "button", onclick: () => close(b.value)}, b.text)),
      ),
    );
    dialog.replaceChildren(form);
    dialog.oncancel = () => resolve(null);
    dialog.showModal();
  });
}
