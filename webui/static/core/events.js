// Events inside the page: a module emits one by its name, and those that listen are called, in the order in
// which they began to. Needs nothing.
//
//   changed     the build is another (detail: the change in words)
//   photos      the list of photos is another
//   chosen      another member or lap is chosen
//   draw        something drawn on the canvases is another
//   turned      a change turned or moved the whole frame
//   found       openings were found (detail: the photo)
//   derived     doubts, parts, checks or the audit have come
//   job         how the reading goes on
//   read        a reading has ended
//   firstread   a reading of a build without members has ended, well or not
//   entered     a key let another browser in
//   units       mm or inches
//   mode        what a click on a photo does
//   measure     a hole was clicked, to measure from or to (detail: photo, xy, within; or member, hole, face)
//   fitting     a hole was clicked, for a fitting to be bolted to (detail: likewise)
//   measuring   what is measured is another
//   stroke      a new member was drawn on a photo (detail: photo, start, end)
//   rows        what is drawn by hand on a photo without a camera is another
//   ghosts      other members are shown as ghosts
//   ghost       a ghost was clicked (detail: its id)
//   answer      the plate of a ghost was pressed that answers a doubt (detail: the edit)
//   spacestroke a new member was drawn in 3-D (detail: member, hole, normal, way, holes)
//   copying     copies are being placed, elsewhere, or no more
//   motion      another way to move is shown moving, or none
//   proposal    the proposed new member is another

const listeners = new Map();

/**
 * Calls `listener` each time the event is emitted.
 * @param {string} event
 * @param {function(*): void} listener
 */
export function on(event, listener) {
  if (!listeners.has(event)) listeners.set(event, []);
  listeners.get(event).push(listener);
}

/**
 * Calls all listeners of an event, with `detail`.
 * @param {string} event
 * @param {*} [detail]
 */
export function emit(event, detail) {
  for (const listener of listeners.get(event) || []) listener(detail);
}
