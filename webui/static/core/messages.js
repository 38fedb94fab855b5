// What the page says to people: sentences for screen readers, notices that go away, and the one dialog.
// Needs dom.

import {byId, h} from "./dom.js";

const NOTICE_MS = 6000;
// Common practice in subtitling, no source: some 17 characters a second are read with ease.
const LETTER_MS = 60;
const MOST_NOTICES = 3;
const MOST_SAID = 50;
const said = [];

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
 * Shows a sentence for a while, below those that are shown already; it stays in the list of messages.
 * @param {string} text
 * @param {string} [kind] "warn" or ""
 * @param {boolean} [stay] until it is closed
 */
export function notice(text, kind = "", stay = false) {
  record(text);
  const place = byId("notice");
  for (const old of [...place.children]) if (old.dataset.text === text) old.remove();
  const box = h("div.notice", {"data-text": text, "data-stays": stay}, h("p", {}, text));
  if (kind) box.classList.add(kind);
  const close = () => box.remove();
  box.append(h("button.quiet", {type: "button", "aria-label": "Close this message", onclick: close}, "✕"));
  place.append(box);
  if (place.children.length > MOST_NOTICES) {
    (place.querySelector(".notice:not([data-stays])") || place.firstElementChild).remove();
  }
  if (!stay) leaveLater(box, Math.max(NOTICE_MS, LETTER_MS * text.length));
}

/** Takes a notice away after some time, but not from under the focus. */
function leaveLater(box, time) {
  let timer = 0;
  const wait = () => {
    clearTimeout(timer);
    timer = setTimeout(() => box.remove(), time);
  };
  const hold = () => clearTimeout(timer);
  box.addEventListener("focusin", hold);
  box.addEventListener("focusout", wait);
  wait();
}

/** Keeps what was said, for whoever asks later: in the help, and in a list for screen readers. */
function record(text) {
  if (said.at(-1) === text) return;
  said.push(text);
  if (said.length > MOST_SAID) said.shift();
  byId("messages").replaceChildren(...said.map(words => h("p", {}, words)));
}

/** @returns {string[]} what notices said since the page was opened, the last first */
export const lastMessages = () => said.toReversed();

/**
 * Opens the dialog.
 * @param {string} title
 * @param {Node|Node[]} body
 * @param {{text: string, value: *}[]} buttons the first is the one that Enter presses
 * @returns {Promise<*>} the value of the button that closed it (null for Escape, and where
 *   it is closed from elsewhere)
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
    dialog.onclose = () => resolve(null);
    dialog.showModal();
  });
}
