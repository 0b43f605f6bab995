/**
 * Which images a static IIIF service has: only what its info.json promises is ever asked for.
 *
 * Source: IIIF Image API 3.0, sections 4 and 5.3 to 5.4.
 */

/**
 * @typedef {{width: number, height: number, href: string}} Sized
 */

/**
 * Return the whole images of a service, the smallest first, `full/max` last.
 * @param {{width: number, height: number, sizes?: unknown, maxWidth?: number, maxHeight?: number, maxArea?: number}} info
 * @param {string} service without a slash at its end
 * @returns {Sized[]}
 */
export function wholeImages(info, service) {
  const listed = (Array.isArray(info.sizes) ? info.sizes : [])
    .filter((size) => size?.width > 0 && size.height > 0)
    .map(({ width, height }) => ({ width, height, href: `${service}/full/${width},${height}/0/default.jpg` }));
  const largest = { ...largestSize(info), href: `${service}/full/max/0/default.jpg` };
  const smaller = listed.filter((size) => size.width < largest.width);
  return [...smaller.sort((one, other) => one.width - other.width), largest];
}

/**
 * The size of `full/max`: that of the image, unless the service limits it (`maxWidth` alone limits both sides).
 * @param {{width: number, height: number, maxWidth?: number, maxHeight?: number, maxArea?: number}} info
 */
function largestSize({ width, height, maxWidth = Infinity, maxHeight = maxWidth, maxArea = Infinity }) {
  const scale = Math.min(1, maxWidth / width, maxHeight / height, Math.sqrt(maxArea / (width * height)));
  return { width: Math.round(width * scale), height: Math.round(height * scale) };
}
