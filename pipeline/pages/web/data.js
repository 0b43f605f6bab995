/**
 * What the page knows of its item: the rows that it carries, as values with names. The rows leave out what is
 * the same for most views, so that a volume of 900 views stays small.
 */

/** @typedef {import("./language.js").Texts} Texts */
/**
 * @typedef {object} Picture one image of a view; there are several if it was taken in different light
 * @property {Texts} label
 * @property {string} service its IIIF image service; empty if there is none
 * @property {string} whole the image itself
 */
/**
 * @typedef {object} View
 * @property {string} id its name in the page's address
 * @property {string} canvas
 * @property {Texts} label
 * @property {number} width in units of its canvas
 * @property {number} height
 * @property {number} mm for each unit; 0 if not known
 * @property {string} behavior
 * @property {Picture[]} pictures none if it was not captured
 * @property {{href: string, label: Texts}[]} files
 */
/** @typedef {{label: Texts, view: number, sections: Section[]}} Section */
/**
 * @typedef {object} Item
 * @property {Texts} label
 * @property {Texts} holder
 * @property {string} page its own address
 * @property {string} direction
 * @property {string} behavior
 * @property {number} start
 * @property {View[]} views
 */

/**
 * @param {Document} page
 * @returns {Item}
 */
export function itemOf(page) {
  const rows = JSON.parse(page.getElementById("item")?.textContent ?? "{}");
  const marks = [...page.querySelectorAll("#strip [id]")];
  return { ...rows, views: rows.views.map((/** @type {any} */ row, /** @type {number} */ at) => viewOf(row, rows, marks[at])) };
}

/**
 * @param {any} row what is not as usual
 * @param {any} rows what is usual
 * @param {Element} mark of the gallery: its picture, which has the name and stands beside the label
 * @returns {View}
 */
function viewOf(row, rows, mark) {
  const id = mark.id.replace("view=", "");
  const [width, height] = row.s ?? rows.size;
  const files = row.f ?? [[`${rows.files}${id}.jpg`, rows.file]];
  return {
    id,
    canvas: row.c ?? rows.canvases + id,
    label: row.l ?? mark.parentElement?.textContent ?? "",
    width,
    height,
    mm: row.m ?? rows.mm,
    behavior: row.b ?? "",
    pictures: (row.p ?? [{ s: id }]).map((/** @type {any} */ picture) => pictureOf(picture, rows)),
    files: files.map((/** @type {any} */ [path, label]) => ({ href: absolute(path), label })),
  };
}

/**
 * @param {any} row `s` is a service of our own below the item's folder, `S` any other; `w` an image without one
 * @param {any} rows
 * @returns {Picture}
 */
function pictureOf(row, rows) {
  const service = row.s ? rows.folder + row.s : (row.S ?? "");
  return {
    label: row.l ?? "",
    service: service && absolute(service),
    whole: absolute(row.w ?? `${service}/full/max/0/default.jpg`),
  };
}

/** @param {string} href */
function absolute(href) {
  return new URL(href, document.baseURI).href;
}
