/**
 * The stage: views laid out on a plane, looked at through OpenSeadragon. Lengths on the plane are in units of the
 * canvases, scaled so that the widest view is about 1 wide.
 */

import { tileSource, wholeImage } from "./services.js";
import { HURRY_MS } from "./strip.js";

/** @typedef {import("./data.js").Picture} Picture */
/** @typedef {import("./places.js").Box} Box */
/** @typedef {Box & {view: number, picture: Picture, opacity: number}} Shown an image on the plane */
/** @typedef {{x: number, y: number}} Point */
/** @typedef {{moved: () => void, drawn: () => void, clicked: (at: Point) => void, failed: () => void}} Listener */

const MARGIN = 1.06;
/** Images that stay, unseen, for a reader who turns back. */
const KEPT_IMAGES = 8;

export class Stage {
  /**
   * @param {any} OpenSeadragon
   * @param {HTMLElement} element
   * @param {number} unit canvas units that are 1 on the plane
   * @param {Listener} listener
   */
  constructor(OpenSeadragon, element, unit, listener) {
    this.library = OpenSeadragon;
    this.unit = unit;
    this.listener = listener;
    /** @type {Map<string, {item: any, shown: Shown}>} */
    this.images = new Map();
    this.turn = 0;
    /** @type {Shown[]} */
    this.wanted = [];
    this.asked = -HURRY_MS;
    /** @type {any} what was last fitted in, until the reader moves away from it */
    this.fitted = null;
    this.inner = document.createElement("div"); // OpenSeadragon gives it a position of its own
    this.inner.className = "inner";
    element.append(this.inner);
    this.viewer = OpenSeadragon({ element: this.inner, ...OPTIONS, animationTime: prefersStillness() ? 0 : 0.5 });
    this.viewer.addHandler("canvas-key", (/** @type {any} */ event) => (event.preventDefaultAction = true));
    this.viewer.addHandler("update-viewport", () => listener.moved());
    // OpenSeadragon settles its own zoom right after this event
    this.viewer.addHandler("after-resize", () => queueMicrotask(() => this.#resized()));
    for (const name of ["canvas-drag", "canvas-scroll", "canvas-pinch", "canvas-double-click"]) {
      this.viewer.addHandler(name, () => (this.fitted = null));
    }
    this.viewer.addHandler("tile-drawn", () => listener.drawn());
    this.viewer.addHandler("canvas-click", (/** @type {any} */ event) => {
      if (event.quick) listener.clicked(this.toPlane(event.position));
    });
  }

  /** The element that takes the keyboard's focus. */
  get canvas() {
    return /** @type {HTMLElement} */ (this.viewer.canvas);
  }

  /**
   * Show these images and no others. What lay there stays until the new ones are there, so that turning a page
   * does not flash.
   * @param {Shown[]} wanted bottom first
   */
  async show(wanted) {
    this.wanted = wanted;
    const added = wanted.filter((shown) => !this.images.has(keyOf(shown)));
    if (added.length && (await this.#isPassed(wanted))) return;
    await Promise.all(added.map((shown) => this.#add(shown)));
    if (this.wanted !== wanted) return;
    this.#hideOthers(wanted.map(keyOf));
    wanted.forEach((shown) => this.#settle(shown));
  }

  /**
   * A key that is held down turns faster than images come: what is passed is not asked for.
   * @param {Shown[]} wanted
   */
  async #isPassed(wanted) {
    const isHurried = performance.now() - this.asked < HURRY_MS;
    this.asked = performance.now();
    if (isHurried) await new Promise((done) => setTimeout(done, HURRY_MS));
    return this.wanted !== wanted;
  }

  /** @param {string[]} keys of what is shown */
  #hideOthers(keys) {
    const others = [...this.images.keys()].filter((key) => !keys.includes(key));
    for (const key of others) this.images.get(key)?.item.setOpacity(0);
    for (const key of others.slice(0, -KEPT_IMAGES)) {
      this.viewer.world.removeItem(this.images.get(key)?.item);
      this.images.delete(key);
    }
  }

  /** @param {Shown} shown */
  async #add(shown) {
    const source = await tileSource(shown.picture);
    if (!this.wanted.includes(shown)) return;
    if ((await this.#opened(shown, source)) || (await this.#opened(shown, wholeImage(shown.picture)))) return;
    this.listener.failed();
  }

  /**
   * @param {Shown} shown
   * @param {object} tileSource
   * @returns {Promise<boolean>}
   */
  #opened(shown, tileSource) {
    return new Promise((done) => {
      this.viewer.addTiledImage({
        tileSource,
        x: shown.x / this.unit,
        y: shown.y / this.unit,
        width: shown.width / this.unit,
        opacity: shown.opacity,
        success: (/** @type {{item: any}} */ { item }) => {
          this.images.set(keyOf(shown), { item, shown });
          done(true);
        },
        error: () => done(false),
      });
    });
  }

  /** @param {Shown} shown laid above what was settled before it, and the last to be dropped */
  #settle(shown) {
    const image = this.images.get(keyOf(shown));
    if (!image) return;
    image.item.setOpacity(shown.opacity);
    this.viewer.world.setItemIndex(image.item, this.viewer.world.getItemCount() - 1);
    this.images.delete(keyOf(shown));
    this.images.set(keyOf(shown), image);
  }

  /**
   * Let the whole of some boxes be seen.
   * @param {Box} box in units of the canvases
   * @param {boolean} atOnce
   */
  fit(box, atOnce = false, margin = MARGIN) {
    const { x, y, width, height } = box;
    const wide = [width * margin, height * margin];
    const rect = [x - (wide[0] - width) / 2, y - (wide[1] - height) / 2, ...wide].map((each) => each / this.unit);
    this.fitted = new this.library.Rect(...rect);
    this.viewer.viewport.fitBounds(this.fitted, atOnce || prefersStillness());
  }

  /** What was fitted into a larger or smaller stage stays fitted. */
  #resized() {
    if (this.fitted && this.viewer.viewport) this.viewer.viewport.fitBounds(this.fitted, true);
    this.listener.moved();
  }

  /** What is seen now, in units of the canvases; without regard to a turn. @returns {Box} */
  get seen() {
    const bounds = this.viewer.viewport.getBoundsNoRotate(true);
    const [x, y, width, height] = [bounds.x, bounds.y, bounds.width, bounds.height].map((each) => each * this.unit);
    if (this.turn % 180 === 0) return { x, y, width, height };
    return { x: x + (width - height) / 2, y: y + (height - width) / 2, width: height, height: width };
  }

  /** @param {number} factor above 1 to magnify */
  zoom(factor) {
    this.fitted = null;
    this.viewer.viewport.zoomBy(factor, null, prefersStillness());
    this.viewer.viewport.applyConstraints(prefersStillness());
  }

  /**
   * @param {number} right parts of what is seen
   * @param {number} down
   */
  pan(right, down) {
    this.fitted = null;
    const { width, height } = this.viewer.viewport.getBoundsNoRotate();
    const by = new this.library.Point(right * width, down * height).rotate(-this.viewer.viewport.getRotation());
    this.viewer.viewport.panBy(by, prefersStillness());
    this.viewer.viewport.applyConstraints(prefersStillness());
  }

  /** @param {number} degrees clockwise, from upright */
  rotate(degrees) {
    this.turn = ((degrees % 360) + 360) % 360;
    this.viewer.viewport.setRotation(degrees, prefersStillness());
  }

  /** Units of the canvases for each pixel of the screen. */
  get unitsPerPixel() {
    const { viewport } = this.viewer;
    return (viewport.getBoundsNoRotate(true).width * this.unit) / viewport.getContainerSize().x;
  }

  /**
   * From the plane, in units of the canvases, to pixels of the stage.
   * @param {Point} point
   * @returns {Point}
   */
  toScreen({ x, y }) {
    const at = this.viewer.viewport.pixelFromPoint(new this.library.Point(x / this.unit, y / this.unit), true);
    return { x: at.x, y: at.y };
  }

  /**
   * From pixels of the stage to the plane.
   * @param {Point} point
   * @returns {Point}
   */
  toPlane({ x, y }) {
    const at = this.viewer.viewport.pointFromPixel(new this.library.Point(x, y), true);
    return { x: at.x * this.unit, y: at.y * this.unit };
  }

  /**
   * Look at the same as another stage.
   * @param {Stage} other
   */
  follow(other) {
    const { viewport } = other.viewer;
    this.turn = other.turn;
    this.fitted = null;
    this.viewer.viewport.zoomTo(viewport.getZoom(true), null, true);
    this.viewer.viewport.panTo(viewport.getCenter(true), true);
    this.viewer.viewport.setRotation(viewport.getRotation(true), true);
  }

  close() {
    this.viewer.destroy();
    this.inner.remove();
  }
}

/** @param {Shown} shown */
function keyOf({ picture, x, y }) {
  return `${picture.whole} ${x} ${y}`;
}

export function prefersStillness() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}

const OPTIONS = {
  drawer: "canvas",
  preserveViewport: true,
  showNavigationControl: false,
  gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true },
  gestureSettingsTouch: { pinchRotate: false, flickEnabled: true },
  visibilityRatio: 0.4,
  minZoomImageRatio: 0.7,
  maxZoomPixelRatio: 4,
  zoomPerScroll: 1.25,
  imageLoaderLimit: 6,
  silenceMultiImageWarnings: true,
  preserveImageSizeOnResize: false,
};
