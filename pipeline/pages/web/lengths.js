/** Lengths on the object and how they are written. */

/**
 * The longest round length (1, 2 or 5 times a power of ten) whose bar is not longer than `mostPx`.
 * @param {number} perPixel length for each pixel of the screen, above 0
 * @param {number} mostPx
 * @returns {{length: number, px: number}}
 */
export function scaleBar(perPixel, mostPx) {
  const most = perPixel * mostPx;
  const power = 10 ** Math.floor(Math.log10(most));
  const times = [5, 2, 1].find((each) => each * power <= most * (1 + 1e-9)) ?? 1;
  return { length: times * power, px: (times * power) / perPixel };
}

/**
 * A length for people: in millimetres to three significant places, or in pixels if the scale is not known.
 * @param {number} length
 * @param {"mm" | "px"} unit
 * @param {string} language
 */
export function lengthText(length, unit, language) {
  const digits = unit === "px" ? 0 : Math.min(3, Math.max(0, 2 - Math.floor(Math.log10(Math.max(length, 1e-3)))));
  const number = new Intl.NumberFormat(language, { maximumFractionDigits: digits }).format(length);
  return `${number}\u00a0${unit}`;
}

/**
 * @param {{x: number, y: number}} one
 * @param {{x: number, y: number}} other
 */
export function distance(one, other) {
  return Math.hypot(one.x - other.x, one.y - other.y);
}
