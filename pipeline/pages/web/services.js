/** Image services: each info.json is fetched once, and its tiles are looked for beside it. */

/** @typedef {import("./data.js").Picture} Picture */
/** @typedef {{width: number, height: number, sizes?: unknown, [key: string]: unknown}} Info */

/** @type {Map<string, Promise<Info | null>>} */
const known = new Map();

/**
 * Return what a service says of itself; null if it says nothing. Its `id` is the address that it was read
 * from: a copy of the site under another name must not send its readers to the first.
 * @param {string} service
 * @returns {Promise<Info | null>}
 */
export function infoOf(service) {
  const found = known.get(service);
  if (found) return found;
  const asked = fetch(`${service}/info.json`)
    .then((answer) => (answer.ok ? answer.json() : null))
    .then((info) => (info && info.width > 0 && info.height > 0 ? { ...info, id: service } : null))
    .catch(() => null);
  known.set(service, asked);
  asked.then((info) => info ?? known.delete(service));
  return asked;
}

/**
 * Return what OpenSeadragon opens: the tiles of a picture, or the picture as one image.
 * @param {Picture} picture
 * @returns {Promise<object>}
 */
export async function tileSource(picture) {
  const info = picture.service ? await infoOf(picture.service) : null;
  return info ?? wholeImage(picture);
}

/** @param {Picture} picture for a service that says nothing, or nothing that can be understood */
export function wholeImage(picture) {
  return { type: "image", url: picture.whole, buildPyramid: false };
}
