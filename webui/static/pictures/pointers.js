// Fingers and the mouse on a canvas: held while they are down, where they are, how far one may move that
// still clicks, and how near one must come to take hold of something. Needs nothing.

const CLICK_PX = 5; // a mouse that moves less clicks; px of the screen, as what follows
const TAP_PX = 10; // a finger is never quite still

/** How near a hand must come to the handle of an end, px. */
export const GRAB_PX = 24;

/**
 * How far a mouse or finger must move to do more than click, px.
 * @param {PointerEvent} event
 * @returns {number}
 */
export const leastMove = event => (event.pointerType === "touch" ? TAP_PX : CLICK_PX);

/**
 * Where an event is on a canvas, px.
 * @param {HTMLCanvasElement} canvas
 * @param {MouseEvent} event
 * @returns {number[]}
 */
export function placeOn(canvas, event) {
  const box = canvas.getBoundingClientRect();
  return [event.clientX - box.left, event.clientY - box.top];
}

/**
 * Sends all that a mouse or finger does to a canvas until it is lifted.
 * @param {HTMLCanvasElement} canvas
 * @param {PointerEvent} event
 */
export function hold(canvas, event) {
  try {
    canvas.setPointerCapture(event.pointerId);
  } catch {
    // it was lifted already
  }
}
