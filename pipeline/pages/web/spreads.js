/**
 * Which views lie open together, and where each lies: the arithmetic of books, scrolls and single things.
 *
 * Source: IIIF Presentation API 3.0, section 3.4 (behavior) and viewingDirection.
 */

/**
 * @typedef {import("./data.js").View} View
 * @typedef {{view: number, x: number, y: number, width: number, height: number}} Laid
 *   a view on the desk, in units of its canvas
 */

/**
 * Return the spreads of a paged volume: the first page alone, then two by two; what is not counted
 * (`non-paged`, `facing-pages`) stands alone where it is listed. A page pairs with the next counted one, and
 * only if nothing lies between them.
 * @param {readonly {behavior: string}[]} views
 * @returns {number[][]}
 */
export function openings(views) {
  const spreads = [];
  let counted = 0;
  for (let at = 0; at < views.length; at += 1) {
    if (views[at].behavior) {
      spreads.push([at]);
    } else {
      const opens = counted % 2 === 1 && at + 1 < views.length && !views[at + 1].behavior;
      spreads.push(opens ? [at, at + 1] : [at]);
      counted += opens ? 2 : 1;
      at += opens ? 1 : 0;
    }
  }
  return spreads;
}

/**
 * Return the spreads in which each view lies alone.
 * @param {readonly unknown[]} views
 * @returns {number[][]}
 */
export function singles(views) {
  return views.map((_, at) => [at]);
}

/**
 * The number of the spread in which a view lies.
 * @param {readonly number[][]} spreads
 * @param {number} view
 */
export function spreadOf(spreads, view) {
  return Math.max(0, spreads.findIndex((spread) => spread.includes(view)));
}

/**
 * Lay the views of a spread side by side in the direction of reading, on a common middle line. Facing pages
 * touch.
 * @param {readonly {width: number, height: number}[]} views all views of the item
 * @param {readonly number[]} spread
 * @param {string} direction
 * @returns {Laid[]}
 */
export function laidOut(views, spread, direction) {
  const isVertical = direction.endsWith("bottom") || direction.endsWith("top");
  const order = direction === "right-to-left" || direction === "bottom-to-top" ? [...spread].reverse() : spread;
  const across = Math.max(...spread.map((view) => (isVertical ? views[view].width : views[view].height)));
  let along = 0;
  return order.map((view) => {
    const { width, height } = views[view];
    const middle = (across - (isVertical ? width : height)) / 2;
    const laid = isVertical ? { x: middle, y: along } : { x: along, y: middle };
    along += isVertical ? height : width;
    return { view, ...laid, width, height };
  });
}

/**
 * The views of a scroll that lie within reach of one: itself and its neighbours on both sides, laid out as in
 * the whole scroll, so that nothing moves when the reach does.
 * @param {readonly {width: number, height: number}[]} views
 * @param {number} view
 * @param {string} direction
 * @param {number} reach how many neighbours on each side
 * @returns {Laid[]}
 */
export function withinReach(views, view, direction, reach = 2) {
  const all = views.map((_, at) => at);
  const laid = laidOut(views, all, direction);
  return laid.filter((each) => Math.abs(each.view - view) <= reach);
}

/**
 * What some boxes cover together.
 * @param {readonly {x: number, y: number, width: number, height: number}[]} boxes
 */
export function covered(boxes) {
  const x = Math.min(...boxes.map((box) => box.x));
  const y = Math.min(...boxes.map((box) => box.y));
  const right = Math.max(...boxes.map((box) => box.x + box.width));
  const bottom = Math.max(...boxes.map((box) => box.y + box.height));
  return { x, y, width: right - x, height: bottom - y };
}
