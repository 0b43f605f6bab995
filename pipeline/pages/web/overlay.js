/** What is drawn over the images: the scale bar, the outline of a region, the line that measures. */

import { distance, lengthText, scaleBar } from "./lengths.js";

/** @typedef {import("./places.js").Box} Box */
/** @typedef {import("./stage.js").Stage} Stage */
/** @typedef {import("./stage.js").Point} Point */

const BAR_PX = 160;
const STEP_PX = 1;
const LEAP_PX = 10;

export class Overlay {
  /**
   * @param {HTMLElement} place
   * @param {Stage} stage
   * @param {import("./language.js").Language} language
   * @param {(text: string) => void} announce
   */
  constructor(place, stage, language, announce) {
    this.stage = stage;
    this.language = language;
    this.announce = announce;
    this.mm = 0;
    /** @type {Box | null} */
    this.region = null;
    /** @type {[Point, Point] | null} */
    this.line = null;
    const one = (/** @type {string} */ name) => /** @type {HTMLElement} */ (place.querySelector(name));
    this.scale = one(".scale");
    this.bar = one(".scale-bar");
    this.length = one(".scale-length");
    this.outline = one(".region");
    this.rule = one(".rule");
    this.measured = one(".measured");
    this.handles = /** @type {HTMLElement[]} */ ([...place.querySelectorAll(".end")]);
    this.handles.forEach((handle, at) => this.#movable(handle, at));
  }

  /** Draw everything where it is now. */
  draw() {
    this.#drawScale();
    this.#drawRegion();
    this.#drawLine();
  }

  #drawScale() {
    this.scale.classList.toggle("unknown", !this.mm);
    if (!this.mm) return;
    const { length, px } = scaleBar(this.mm * this.stage.unitsPerPixel, Math.min(BAR_PX, innerWidth / 3));
    this.bar.style.width = `${px}px`;
    this.length.textContent = lengthText(length, "mm", this.language.current);
    Object.assign(this.scale.dataset, { mm: length, px });
  }

  #drawRegion() {
    this.outline.toggleAttribute("hidden", !this.region);
    if (!this.region) return;
    const { x, y, width, height } = this.region;
    const corners = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]];
    const points = corners.map(([left, top]) => this.stage.toScreen({ x: left, y: top }));
    this.outline.setAttribute("points", points.map((point) => `${point.x},${point.y}`).join(" "));
  }

  // ------------------------------------------------------------------------------------------ measuring

  /** Lay a line over the middle of what is seen, or put it away. */
  toggleLine() {
    const { clientWidth, clientHeight } = this.stage.viewer.element;
    const ends = [0.35, 0.65].map((part) => ({ x: clientWidth * part, y: clientHeight / 2 }));
    const [one, other] = ends.map((end) => this.stage.toPlane(end));
    this.line = this.line ? null : [one, other];
    this.draw();
    if (this.line) this.#tell();
  }

  /**
   * Bring the nearer end of the line to a point of the plane.
   * @param {Point} point
   */
  bring(point) {
    if (!this.line) return;
    const nearer = distance(this.line[0], point) <= distance(this.line[1], point) ? 0 : 1;
    this.line[nearer] = point;
    this.draw();
    this.#tell();
  }

  /** The line's length as text. */
  get lengthText() {
    if (!this.line) return "";
    const units = distance(...this.line);
    return lengthText(units * (this.mm || 1), this.mm ? "mm" : "px", this.language.current);
  }

  #tell() {
    this.announce(`${this.language.say("measure_label")}: ${this.lengthText}`);
  }

  #drawLine() {
    const hidden = !this.line;
    for (const node of [this.rule, this.measured, ...this.handles]) node.toggleAttribute("hidden", hidden);
    if (!this.line) return;
    const [one, other] = this.line.map((end) => this.stage.toScreen(end));
    const ends = { x1: one.x, y1: one.y, x2: other.x, y2: other.y };
    for (const each of this.rule.children) {
      for (const [name, value] of Object.entries(ends)) each.setAttribute(name, String(value));
    }
    [one, other].forEach((end, at) => put(this.handles[at], end));
    put(this.measured, { x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 });
    this.measured.textContent = this.lengthText;
    if (this.mm) this.measured.dataset.mm = String(distance(...this.line) * this.mm);
  }

  /**
   * An end follows the pointer that holds it, and the arrow keys.
   * @param {HTMLElement} handle
   * @param {number} at
   */
  #movable(handle, at) {
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
      handle.focus();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const { left, top } = this.stage.viewer.element.getBoundingClientRect();
      this.#moveEnd(at, { x: event.clientX - left, y: event.clientY - top });
    });
    handle.addEventListener("pointerup", () => this.#tell());
    handle.addEventListener("keydown", (event) => {
      const by = ARROWS[event.key];
      if (!by || !this.line) return;
      const step = event.shiftKey ? LEAP_PX : STEP_PX;
      const from = this.stage.toScreen(this.line[at]);
      this.#moveEnd(at, { x: from.x + by[0] * step, y: from.y + by[1] * step });
      this.#tell();
      event.preventDefault();
      event.stopPropagation();
    });
  }

  /**
   * @param {number} at
   * @param {Point} screen
   */
  #moveEnd(at, screen) {
    if (!this.line) return;
    this.line[at] = this.stage.toPlane(screen);
    this.draw();
  }
}

/** @type {Record<string, [number, number]>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * @param {HTMLElement} node
 * @param {Point} at
 */
function put(node, { x, y }) {
  node.style.left = `${x}px`;
  node.style.top = `${y}px`;
}
