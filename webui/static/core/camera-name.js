// Names for what comes straight from a camera. Needs nothing.

/**
 * A name for a file: phones call every picture from the camera the same.
 * @param {File} file
 * @returns {string}
 */
export function nameOf(file) {
  if (!/^(image|video|trim)[^ ]*\.\w+$/i.test(file.name)) return file.name;
  const time = new Date().toTimeString().slice(0, 8).replaceAll(":", "-");
  return `phone ${time}${file.name.slice(file.name.lastIndexOf("."))}`;
}
