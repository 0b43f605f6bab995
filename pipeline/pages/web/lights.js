/** The same view in different light: which is shown, and two of them compared in place. */

/** @typedef {import("./data.js").View} View */
/** @typedef {"one" | "fade" | "beside"} Comparing */

export class Lights {
  /**
   * @param {HTMLElement} place
   * @param {import("./language.js").Language} language
   * @param {() => void} changed
   */
  constructor(place, language, changed) {
    this.place = place;
    this.language = language;
    this.changed = changed;
    this.first = 0;
    this.second = 1;
    /** @type {Comparing} */
    this.comparing = "one";
    this.mix = 0.5;
    /** @type {View | null} */
    this.view = null;
    const one = (/** @type {string} */ name) => place.querySelector(name);
    this.firsts = /** @type {HTMLSelectElement} */ (one("#first-light"));
    this.seconds = /** @type {HTMLSelectElement} */ (one("#second-light"));
    this.slider = /** @type {HTMLInputElement} */ (one("input"));
    this.fading = /** @type {HTMLElement} */ (one(".fade"));
    this.besides = /** @type {HTMLElement} */ (one(".beside"));
    this.listen();
  }

  listen() {
    this.firsts.addEventListener("change", () => this.choose(Number(this.firsts.value)));
    this.seconds.addEventListener("change", () => {
      this.second = Number(this.seconds.value);
      this.apply();
    });
    this.slider.addEventListener("input", () => {
      this.mix = Number(this.slider.value) / 100;
      this.changed();
    });
    this.fading.addEventListener("click", () => this.compare("fade"));
    this.besides.addEventListener("click", () => this.compare("beside"));
  }

  /**
   * A view has been opened.
   * @param {View | null} view the one with lights, if there is one
   * @param {number} [light] if none is asked for, the one that was chosen stays, by its name
   */
  open(view, light) {
    const names = [this.first, this.second].map((each) => this.view && this.nameOf(each));
    const isOther = view !== this.view;
    this.view = view;
    this.place.hidden = !view;
    if (!view) this.comparing = "one";
    if (view && (isOther || light !== undefined)) {
      const [first, second] = names.map((name) => this.names.indexOf(name ?? ""));
      this.first = Math.min(light ?? Math.max(0, first), view.pictures.length - 1);
      this.second = second >= 0 && second !== this.first ? second : this.next;
    }
    this.show();
  }

  /** The names of the lights, in the reader's language; numbers for those that have none. */
  get names() {
    return (this.view?.pictures ?? []).map((picture, at) => this.language.text(picture.label) || String(at + 1));
  }

  /** @param {number} light */
  nameOf(light) {
    return this.names[light] ?? "";
  }

  /** The light after the first. */
  get next() {
    return this.view ? (this.first + 1) % this.view.pictures.length : 0;
  }

  /** @param {number} light */
  choose(light) {
    this.first = light;
    if (this.second === light) this.second = this.next;
    this.apply();
  }

  /** @param {Comparing} how the same again ends it */
  compare(how) {
    if (!this.view) return;
    this.comparing = this.comparing === how ? "one" : how;
    this.apply();
  }

  apply() {
    this.show();
    this.changed();
  }

  /** Bring the controls into agreement with what is chosen, in the reader's language. */
  show() {
    if (!this.view) return;
    const { names } = this;
    this.firsts.replaceChildren(...names.map((name, at) => new Option(name, String(at))));
    const others = names.map((name, at) => new Option(name, String(at))).filter((_, at) => at !== this.first);
    this.seconds.replaceChildren(...others);
    this.firsts.value = String(this.first);
    this.seconds.value = String(this.second);
    this.slider.value = String(Math.round(this.mix * 100));
    this.fading.setAttribute("aria-pressed", String(this.comparing === "fade"));
    this.besides.setAttribute("aria-pressed", String(this.comparing === "beside"));
    for (const node of this.place.querySelectorAll(".when-comparing")) {
      /** @type {HTMLElement} */ (node).hidden = this.comparing === "one";
    }
    /** @type {HTMLElement} */ (this.place.querySelector(".when-fading")).hidden = this.comparing !== "fade";
  }
}
