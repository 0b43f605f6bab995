/** The desk: joins what is shown, how it is lit, where the reader is, and what was asked for. */

import { Lights } from "./lights.js";
import { Overlay } from "./overlay.js";
import { fragmentOf, mostSeen, placeOf, regionSeen, shared, viewMeant } from "./places.js";
import { covered, laidOut, openings, singles, spreadOf, withinReach } from "./spreads.js";
import { Stage } from "./stage.js";
import { Strip } from "./strip.js";

/** @typedef {import("./data.js").View} View */
/** @typedef {import("./spreads.js").Laid} Laid */
/** @typedef {import("./stage.js").Shown} Shown */

const ZOOM = 1.5;
const PAN = 0.25;
const LATER_MS = 1000;

export class Desk {
  /**
   * @param {HTMLElement} root
   * @param {import("./data.js").Item} item
   * @param {import("./language.js").Language} language
   * @param {any} OpenSeadragon
   */
  constructor(root, item, language, OpenSeadragon) {
    this.root = root;
    this.item = item;
    this.language = language;
    this.OpenSeadragon = OpenSeadragon;
    this.views = item.views;
    const isSingle = this.views.length < 2;
    root.classList.toggle("single", isSingle);
    this.isPaged = item.behavior === "paged" && !isSingle;
    this.isContinuous = item.behavior === "continuous";
    this.together = this.isPaged && innerWidth > innerHeight;
    this.turn = 0;
    this.view = item.start;
    this.spreads = singles(this.views);
    this.at = 0;
    /** @type {Laid[]} */
    this.laid = [];
    /** @type {import("./places.js").Box | null} that the address asked for, of the view asked for */
    this.region = null;
    this.writing = 0;
    /** @type {Stage | null} */
    this.second = null;
    /** @type {Stage | null} the one that the reader moves, if there are two */
    this.leads = null;
    this.one = (/** @type {string} */ name) => /** @type {HTMLElement} */ (root.querySelector(name));
    this.unit = Math.max(1, ...this.views.map((view) => view.width));
    this.stage = new Stage(OpenSeadragon, this.one("#plane"), this.unit, this.#listener());
    this.overlay = new Overlay(root, this.stage, language, (text) => this.announce(text));
    this.strip = new Strip(this.one("#strip"), this.views, (view) => this.chosen(view));
    this.lights = new Lights(this.one("#lights"), language, () => this.#relit());
    this.one("#turning").dir = item.direction === "right-to-left" ? "rtl" : "ltr";
    this.#listenToPointers();
    this.setTogether(this.together);
  }

  /** @returns {import("./stage.js").Listener} */
  #listener() {
    return {
      moved: () => this.#moved(),
      drawn: () => this.root.classList.add("drawn"),
      clicked: (/** @type {import("./stage.js").Point} */ at) => this.overlay.bring(at),
      failed: () => this.#lacks("failed", this.language.say("failed")),
    };
  }

  #relit() {
    this.render();
    this.#write();
  }

  #moved() {
    this.overlay?.draw();
    this.#moveAlong();
    if (this.second && this.leads !== this.second) this.second.follow(this.stage);
  }

  /** @param {string} text */
  announce(text) {
    this.one("#said").textContent = text;
  }

  // -------------------------------------------------------------------------------------- where we are

  /** The numbers of the views that lie open, in the order of reading. */
  get open() {
    return this.spreads[this.at];
  }

  /** The view that was asked for. */
  get current() {
    return this.views[this.view];
  }

  /** @param {boolean} together */
  setTogether(together) {
    this.together = together && this.isPaged;
    this.spreads = this.together ? openings(this.views) : singles(this.views);
    this.strip.pair(this.together ? this.spreads : []);
    this.one("#together").setAttribute("aria-pressed", String(this.together));
  }

  /**
   * Go to where an address says, or to the beginning.
   * @param {string} fragment
   */
  arrive(fragment) {
    const place = placeOf(fragment);
    const found = this.views.findIndex((view) => view.id === place.view);
    const view = found < 0 ? this.item.start : found;
    this.turn = place.turn;
    this.go(view, { light: place.light, region: place.region, atOnce: true });
  }

  /**
   * @param {number} view
   * @param {{light?: number, region?: import("./places.js").Box | null, atOnce?: boolean}} how
   */
  go(view, { light = undefined, region = null, atOnce = false } = {}) {
    this.#lay(Math.min(Math.max(view, 0), this.views.length - 1), light);
    const { width, height } = this.current;
    this.region = region && shared(region, { x: 0, y: 0, width, height });
    this.overlay.region = this.region && this.#onPlane(this.region);
    this.stage.rotate(this.turn);
    this.render();
    this.#look(atOnce);
    this.#tell();
    this.#write();
  }

  /**
   * @param {number} view
   * @param {number} [light] as before if none is asked for
   */
  #lay(view, light) {
    this.view = view;
    this.at = spreadOf(this.spreads, view);
    const open = this.open.map((each) => this.views[each]);
    this.laid = this.isContinuous
      ? withinReach(this.views, view, this.item.direction)
      : laidOut(this.views, this.open, this.item.direction);
    this.lights.open(open.find((each) => each.pictures.length > 1) ?? null, light);
    this.overlay.mm = open.find((each) => each.mm)?.mm ?? 0;
  }

  /** A reader who moves along a scroll comes to the next view, and what lies beyond comes within reach. */
  #moveAlong() {
    if (!this.isContinuous || this.stage.fitted) return;
    const seen = this.stage.seen;
    const middle = { x: seen.x + seen.width / 2, y: seen.y + seen.height / 2, width: 1, height: 1 };
    const reached = this.laid.find((each) => shared(middle, each));
    if (!reached || reached.view === this.view) return;
    this.#lay(reached.view);
    this.region = null;
    this.render();
    this.#tell();
    this.#write();
  }

  /** Keep the page's address in agreement with what is open, for reloading; links are made by `place`. */
  #write() {
    const light = this.lights.view ? this.lights.first : 0;
    const place = { view: this.current.id, region: this.region, turn: this.turn, light };
    clearTimeout(this.writing);
    try {
      history.replaceState(null, "", fragmentOf(place));
    } catch {
      this.writing = setTimeout(() => this.#write(), LATER_MS); // too many in a short time
    }
  }

  /** @param {boolean} atOnce */
  #look(atOnce) {
    if (this.overlay.region) this.stage.fit(this.overlay.region, atOnce, 1);
    else this.whole(atOnce);
  }

  /** Let all that lies open be seen. */
  whole(atOnce = false) {
    this.leads = this.stage;
    const open = this.laid.filter((each) => this.open.includes(each.view));
    this.stage.fit(covered(open), atOnce);
  }

  /** @param {import("./places.js").Box} region of the current view */
  #onPlane(region) {
    const place = this.#place;
    return { ...region, x: region.x + place.x, y: region.y + place.y };
  }

  /** @returns {Laid} */
  get #place() {
    return this.laid.find((each) => each.view === this.view) ?? this.laid[0];
  }

  /** What a link to what is seen leads to: a view, and a region of it unless all of it is seen. */
  get place() {
    const { seen } = this.stage;
    const laid = mostSeen(seen, this.laid, this.#place);
    const view = this.views[laid.view];
    const region = regionSeen(seen, laid);
    const light = this.lights.view === view ? this.lights.first : 0;
    return { view: view.id, region, turn: this.turn, light };
  }

  /** Say everything again, in another language. */
  speak() {
    this.lights.show();
    this.#nameLights();
    this.overlay.draw();
    this.#tell();
  }

  #tell() {
    const names = this.open.map((each) => this.language.text(this.views[each].label));
    const label = names.join(" – ");
    const values = { label, n: this.open[0] + 1, all: this.views.length };
    this.announce(this.language.say("now_shown", values));
    const field = /** @type {HTMLInputElement} */ (this.one("#go-to"));
    field.value = label;
    this.stage.canvas.setAttribute("role", "img");
    this.stage.canvas.setAttribute("aria-label", this.language.say("stage_label", { label }));
    const isCaptured = this.open.some((each) => this.views[each].pictures.length);
    this.one("#empty").hidden = isCaptured;
    if (!isCaptured) this.#lacks("not_captured", this.language.say("not_captured"));
    this.strip.mark(this.open);
    this.#markSection();
    const [first, last] = [this.at === 0, this.at === this.spreads.length - 1];
    this.one("#earlier").setAttribute("aria-disabled", String(first));
    this.one("#later").setAttribute("aria-disabled", String(last));
  }

  /**
   * Say why no image can be seen, where it would be.
   * @param {string} word
   * @param {string} text
   */
  #lacks(word, text) {
    const place = this.one("#empty");
    place.dataset.word = word;
    place.textContent = text;
    place.hidden = false;
    this.announce(text);
    this.root.classList.add("drawn");
  }

  #markSection() {
    const links = /** @type {HTMLElement[]} */ ([...document.querySelectorAll("#contents a")]);
    const reached = links.filter((link) => Number(link.dataset.view) <= this.open[this.open.length - 1]);
    const last = Math.max(...reached.map((link) => Number(link.dataset.view)));
    for (const link of links) {
      if (Number(link.dataset.view) === last) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
  }

  // ------------------------------------------------------------------------------------ what is shown

  /** Bring stage and second stage to what is chosen. */
  render() {
    const { comparing, view, first, second, mix } = this.lights;
    /** @type {Shown[]} */
    const shown = [];
    const beside = [];
    for (const laid of this.laid) {
      const { pictures } = this.views[laid.view];
      const isLit = this.views[laid.view] === view;
      const picture = pictures[isLit ? first : 0];
      if (!picture) continue;
      shown.push({ ...laid, picture, opacity: 1 });
      if (isLit && comparing === "fade") shown.push({ ...laid, picture: pictures[second], opacity: mix });
      beside.push({ ...laid, picture: isLit ? pictures[second] : picture, opacity: 1 });
    }
    this.#openSecond(comparing === "beside");
    this.stage.show(shown);
    this.second?.show(beside);
    this.#nameLights();
  }

  /** Say which light is on which side. */
  #nameLights() {
    const { view, first, second } = this.lights;
    const places = [this.one(".lit"), this.one(".lit.second")];
    for (const [at, light] of [first, second].entries()) {
      places[at].hidden = !this.second;
      if (this.second && view) places[at].textContent = this.lights.nameOf(light);
    }
    this.second?.canvas.setAttribute("aria-label", places[1].textContent || this.language.say("light"));
  }

  /** @param {boolean} isWanted open or close the second stage, which looks where the first looks */
  #openSecond(isWanted) {
    if (isWanted === Boolean(this.second)) return;
    this.root.classList.toggle("two", isWanted);
    const place = this.one("#plane-2");
    place.hidden = !isWanted;
    if (!isWanted) {
      this.second?.close();
      this.second = this.leads = null;
      return;
    }
    const follow = () => {
      if (this.leads === this.second && this.second) this.stage.follow(this.second);
    };
    const listener = { moved: follow, drawn: () => {}, clicked: () => {}, failed: () => {} };
    this.second = new Stage(this.OpenSeadragon, place, this.unit, listener);
    this.second.canvas.tabIndex = -1; // the keyboard moves the first, and this follows
    this.second.canvas.setAttribute("role", "img");
    this.second.follow(this.stage);
  }

  /** The stage that the pointer comes to is the one that the other follows. */
  #listenToPointers() {
    for (const name of ["pointerdown", "wheel", "pointerenter"]) {
      this.one("#plane").addEventListener(name, () => (this.leads = this.stage), true);
      this.one("#plane-2").addEventListener(name, () => (this.leads = this.second), true);
    }
  }

  // ------------------------------------------------------------------------------------------- acts

  /**
   * @param {number} by spreads in the order of reading
   */
  step(by) {
    const to = this.spreads[this.at + by];
    if (to) this.go(to[0]);
  }

  /** @param {number} rightwards 1 for the arrow to the right */
  arrow(rightwards) {
    this.step(this.item.direction === "right-to-left" ? -rightwards : rightwards);
  }

  /** @param {number} view chosen in the row of all views */
  chosen(view) {
    this.root.classList.remove("laid");
    this.one("#lay-out").setAttribute("aria-pressed", "false");
    this.go(view);
  }

  /** @param {string} typed */
  goTo(typed) {
    const labels = this.views.map((view) => this.language.text(view.label));
    const found = viewMeant(labels, typed.split(" – ")[0]);
    if (found < 0) this.announce(this.language.say("not_found", { label: typed }));
    else this.go(found);
    return found >= 0;
  }

  /** @param {number} by degrees clockwise */
  rotate(by) {
    this.leads = this.stage;
    this.turn = (((this.turn + by) % 360) + 360) % 360;
    this.stage.rotate(this.turn);
    this.whole();
    this.#write();
  }

  /** @param {boolean} isCloser */
  zoom(isCloser) {
    this.leads = this.stage;
    this.stage.zoom(isCloser ? ZOOM : 1 / ZOOM);
  }

  /**
   * @param {number} right
   * @param {number} down
   */
  pan(right, down) {
    this.leads = this.stage;
    this.stage.pan(right * PAN, down * PAN);
  }

  switchTogether() {
    if (!this.isPaged) return;
    this.setTogether(!this.together);
    this.go(this.view, { atOnce: true });
  }

  layOut() {
    if (this.views.length < 2) return;
    const isLaid = this.root.classList.toggle("laid");
    this.one("#lay-out").setAttribute("aria-pressed", String(isLaid));
    this.strip.reveal(this.open);
    if (isLaid) this.strip.links[this.open[0]].focus();
  }

  measure() {
    this.overlay.toggleLine();
    const isOn = Boolean(this.overlay.line);
    this.one("#measure").setAttribute("aria-pressed", String(isOn));
    const hint = this.one("#measuring");
    hint.hidden = !isOn;
    hint.textContent = isOn
      ? this.language.say("measure_hint") + (this.overlay.mm ? "" : ` ${this.language.say("measure_pixels")}`)
      : "";
    if (isOn) this.overlay.handles[0].focus();
    else this.stage.canvas.focus();
  }

  /** Put away the line, the outline of a region, the overview. */
  putAway() {
    if (this.overlay.line) this.measure();
    if (this.root.classList.contains("laid")) this.layOut();
    this.overlay.region = null;
    this.overlay.draw();
  }
}
