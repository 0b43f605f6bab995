/** The row of all views under the stage: the gallery of the page without script, made to turn pages. */

/** Turns that follow each other faster than this pass by what lies between. */
export const HURRY_MS = 100;

export class Strip {
  /**
   * @param {HTMLElement} nav
   * @param {import("./data.js").View[]} views
   * @param {(view: number) => void} go
   */
  constructor(nav, views, go) {
    this.nav = nav;
    this.marked = -HURRY_MS;
    this.following = 0;
    this.list = /** @type {HTMLElement} */ (nav.querySelector("ol"));
    /** @type {HTMLElement[]} */
    this.entries = /** @type {any} */ ([...this.list.children]);
    this.links = this.entries.map((entry, view) => this.#link(entry, views[view].id));
    this.list.addEventListener("click", (event) => this.#chosen(event, go));
    this.list.addEventListener("keydown", (event) => this.#walk(event));
  }

  /**
   * The one link of an entry: to the view. The links to its files have moved to the download.
   * @param {HTMLElement} entry
   * @param {string} id
   */
  #link(entry, id) {
    const picture = /** @type {HTMLElement} */ (entry.querySelector("[id]"));
    const link = document.createElement("a");
    link.href = `#view=${id}`;
    link.tabIndex = -1;
    const label = document.createElement("span");
    label.className = "label";
    picture.removeAttribute("id"); // the fragment is the script's now: no jump
    const [, ...said] = /** @type {HTMLElement} */ (picture.parentElement).childNodes;
    label.append(...said);
    link.append(picture, label);
    entry.replaceChildren(link);
    return link;
  }

  /**
   * @param {MouseEvent} event
   * @param {(view: number) => void} go
   */
  #chosen(event, go) {
    const entry = /** @type {HTMLElement} */ (event.target).closest("li");
    const view = entry ? this.entries.indexOf(entry) : -1;
    if (view < 0 || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(view);
  }

  /** @param {KeyboardEvent} event arrows walk along the row, Enter opens */
  #walk(event) {
    const at = this.links.indexOf(/** @type {any} */ (document.activeElement));
    const rightwards = getComputedStyle(this.list).direction === "rtl" ? -1 : 1;
    const step = { ArrowRight: rightwards, ArrowLeft: -rightwards, ArrowDown: 1, ArrowUp: -1 }[event.key];
    const next = step && !event.shiftKey ? this.links[at + step] : undefined;
    if (at < 0 || !next) return;
    this.#tabbable(next);
    next.focus();
    event.preventDefault();
    event.stopPropagation();
  }

  /** @param {HTMLElement} link */
  #tabbable(link) {
    for (const each of this.links) if (each.tabIndex === 0) each.tabIndex = -1;
    link.tabIndex = 0;
  }

  /**
   * Mark the views that lie open, and bring them into sight.
   * @param {readonly number[]} open
   */
  mark(open) {
    for (const link of this.list.querySelectorAll("[aria-current]")) link.removeAttribute("aria-current");
    for (const view of open) this.links[view].setAttribute("aria-current", "true");
    this.#tabbable(this.links[open[0]]);
    this.#follow(open);
  }

  /**
   * Come along; but past a key that is held down, so that pictures passed by are not fetched.
   * @param {readonly number[]} open
   */
  #follow(open) {
    const isHurried = performance.now() - this.marked < HURRY_MS;
    this.marked = performance.now();
    clearTimeout(this.following);
    if (isHurried) this.following = setTimeout(() => this.reveal(open), HURRY_MS);
    else this.reveal(open);
  }

  /** @param {readonly number[]} open */
  reveal(open) {
    const [first, last] = [this.entries[open[0]], this.entries[open[open.length - 1]]];
    const from = this.nav.getBoundingClientRect();
    const [one, other] = [first.getBoundingClientRect(), last.getBoundingClientRect()];
    const middle = (Math.min(one.left, other.left) + Math.max(one.right, other.right)) / 2;
    this.nav.scrollLeft += middle - (from.left + from.width / 2);
    this.nav.scrollTop += one.top - from.top - (from.height - one.height) / 2;
  }

  /**
   * Let facing pages touch.
   * @param {readonly number[][]} spreads
   */
  pair(spreads) {
    for (const entry of this.entries) entry.classList.remove("faces");
    for (const spread of spreads) if (spread.length > 1) this.entries[spread[0]].classList.add("faces");
    this.nav.classList.toggle("paired", spreads.length > 0);
  }
}
