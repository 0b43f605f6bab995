/**
 * Where a reader is: a view of the item, and of it a region, a turn, a light. Written as the fragment of the
 * page's address, so that a link leads back to it without a server:
 *
 *     #view=ms7_0009_003r&xywh=120,80,300,200&turn=90&light=1
 *
 * The region is a W3C Media Fragment in units of the IIIF canvas.
 */

/**
 * @typedef {{x: number, y: number, width: number, height: number}} Box
 * @typedef {{view: string, region: Box | null, turn: number, light: number}} Place
 */

const REGION = /^(?:pixel:)?(\d+),(\d+),(\d+),(\d+)$/;

/**
 * Read a fragment; what it does not say, or says wrongly, is left at its usual value.
 * @param {string} fragment with or without its `#`
 * @returns {Place}
 */
export function placeOf(fragment) {
  const said = new Map();
  for (const pair of fragment.replace(/^#/, "").split("&")) {
    const at = pair.indexOf("=");
    if (at > 0) said.set(pair.slice(0, at), decoded(pair.slice(at + 1)));
  }
  return {
    view: said.get("view") ?? "",
    region: regionOf(said.get("xywh") ?? ""),
    turn: wholeTurn(Number(said.get("turn"))),
    light: Math.max(0, Math.trunc(Number(said.get("light"))) || 0),
  };
}

/** @param {string} text */
function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

/**
 * @param {string} text
 * @returns {Box | null}
 */
function regionOf(text) {
  const found = REGION.exec(text);
  if (!found) return null;
  const [x, y, width, height] = found.slice(1).map(Number);
  return width > 0 && height > 0 ? { x, y, width, height } : null;
}

/**
 * Quarter turns clockwise, as degrees from 0 to 270.
 * @param {number} degrees
 */
export function wholeTurn(degrees) {
  const quarters = Math.round((Number.isFinite(degrees) ? degrees : 0) / 90);
  return (((quarters % 4) + 4) % 4) * 90;
}

/**
 * Write a place as a fragment, with its `#`.
 * @param {Place} place
 */
export function fragmentOf(place) {
  const said = [`view=${place.view}`];
  if (place.region) said.push(`xywh=${xywh(place.region)}`);
  if (place.turn) said.push(`turn=${place.turn}`);
  if (place.light) said.push(`light=${place.light}`);
  return `#${said.join("&")}`;
}

/**
 * A box in whole units, at least one wide and high.
 * @param {Box} box
 */
export function xywh({ x, y, width, height }) {
  const least = [Math.max(0, Math.round(x)), Math.max(0, Math.round(y))];
  return [...least, Math.max(1, Math.round(width)), Math.max(1, Math.round(height))].join(",");
}

/**
 * What two boxes share, or null if they do not meet.
 * @param {Box} one
 * @param {Box} other
 * @returns {Box | null}
 */
export function shared(one, other) {
  const x = Math.max(one.x, other.x);
  const y = Math.max(one.y, other.y);
  const width = Math.min(one.x + one.width, other.x + other.width) - x;
  const height = Math.min(one.y + one.height, other.y + other.height) - y;
  return width > 0 && height > 0 ? { x, y, width, height } : null;
}

/** Parts of a view that nobody misses. */
const LITTLE = 0.002;

/** @param {{width: number, height: number} | null} box */
function area(box) {
  return box ? box.width * box.height : 0;
}

/**
 * Of what lies on the desk, that of which the largest part is seen; of equals, what was asked for.
 * @template {Box} T
 * @param {Box} seen
 * @param {readonly T[]} laid
 * @param {T} asked
 */
export function mostSeen(seen, laid, asked) {
  const part = (/** @type {T} */ each) => area(shared(seen, each)) / area(each);
  return laid.reduce((most, each) => (part(each) > part(most) + LITTLE ? each : most), asked);
}

/**
 * What is seen of a view, from its own corner; null if it is the whole, or nothing.
 * @param {Box} seen
 * @param {Box} laid
 * @returns {Box | null}
 */
export function regionSeen(seen, laid) {
  const part = shared(seen, laid);
  if (!part || area(part) > area(laid) * (1 - LITTLE)) return null;
  return { ...part, x: part.x - laid.x, y: part.y - laid.y };
}

/**
 * The number of the view that a reader means by what was typed: its label, its label without what stands
 * before the number (`3r` for `f. 3r`), a part of it, or its place in the row. -1 if none.
 * @param {readonly string[]} labels
 * @param {string} typed
 */
export function viewMeant(labels, typed) {
  const wanted = folded(typed);
  if (!wanted) return -1;
  const known = labels.map(folded);
  const tries = [
    (/** @type {string} */ label) => label === wanted,
    (/** @type {string} */ label) => label.split(" ").pop() === wanted,
    (/** @type {string} */ label) => label.startsWith(wanted),
    (/** @type {string} */ label) => label.includes(wanted),
  ];
  for (const fits of tries) {
    const found = known.findIndex(fits);
    if (found >= 0) return found;
  }
  return /^\d+$/.test(wanted) && Number(wanted) <= labels.length ? Number(wanted) - 1 : -1;
}

/** @param {string} text */
function folded(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(/[.\s]+/g, " ").trim();
}
