/**
 * The language of the page: chosen by the reader, else the first that the browser prefers and we speak. Labels
 * of the item follow the reader too, and may be in languages that the page itself does not speak.
 */

import { keep, kept } from "./kept.js";

/** @typedef {Record<string, string>} Words */
/** @typedef {string | Record<string, string>} Texts a text, or one for each language; `""` is no language */

const FIRST = "en";

/**
 * The first wanted language that is offered, by its whole tag or its first part.
 * @param {readonly string[]} wanted
 * @param {readonly string[]} offered
 * @returns {string | undefined}
 */
export function preferred(wanted, offered) {
  for (const tag of wanted.map(lower)) {
    const found =
      offered.find((each) => lower(each) === tag) ?? offered.find((each) => primary(each) === primary(tag));
    if (found !== undefined) return found;
  }
  return undefined;
}

/** @param {string} tag */
const lower = (tag) => tag.toLowerCase();
/** @param {string} tag */
const primary = (tag) => lower(tag).split("-")[0];

/**
 * A text as a reader of these languages wants it: in one of them, else in no language, else as it comes.
 * @param {Texts} texts
 * @param {readonly string[]} wanted
 */
export function said(texts, wanted) {
  if (typeof texts === "string") return texts;
  const offered = Object.keys(texts);
  const found = preferred(wanted, offered.filter(Boolean)) ?? (offered.includes("") ? "" : offered[0]);
  return texts[found] ?? "";
}

/**
 * Put values into a sentence: `{n} views`.
 * @param {string} sentence
 * @param {Record<string, string | number>} values
 */
export function filled(sentence, values) {
  return sentence.replace(/\{(\w+)\}/g, (whole, name) => String(values[name] ?? whole));
}

/**
 * The language in force, the words in it, and who wants to know when it changes. The page's head has a button for
 * each language, which knows where its words lie. The page comes with its own words: they are fetched only for a
 * reader who comes back to its language from another.
 */
export class Language {
  /** @param {Words} words that the script says, in the language of the page as it comes */
  constructor(words = {}) {
    this.buttons = /** @type {HTMLButtonElement[]} */ ([...document.querySelectorAll("#languages button")]);
    this.words = words;
    /** @type {Map<string, Words>} */
    this.known = new Map();
    /** @type {(() => void)[]} */
    this.listeners = [];
    this.current = FIRST;
  }

  /** What the reader wants, best first. */
  get wanted() {
    return [this.current, ...navigator.languages];
  }

  /**
   * @param {string} key
   * @param {Record<string, string | number>} values
   */
  say(key, values = {}) {
    return filled(this.known.get(this.current)?.[key] ?? this.words[key] ?? "", values);
  }

  /** @param {Texts} texts */
  text(texts) {
    return said(texts, this.wanted);
  }

  /** Offer the languages, and bring the page into the one that the reader prefers. */
  async start() {
    for (const button of this.buttons) {
      button.addEventListener("click", () => {
        keep("language", button.lang);
        this.change(button.lang);
      });
    }
    const place = document.getElementById("languages");
    if (place) place.hidden = false;
    const offered = this.buttons.map((button) => button.lang);
    await this.change(preferred([kept("language") ?? "", ...navigator.languages], offered) ?? FIRST);
  }

  /** @param {string} tag */
  async change(tag) {
    if (tag !== this.current && !this.known.has(tag)) {
      const address = this.buttons.find((button) => button.lang === tag)?.dataset.words;
      const answer = await fetch(address ?? "").catch(() => null);
      if (!answer?.ok) return this.apply();
      this.known.set(tag, await answer.json());
    }
    this.current = tag;
    this.apply();
  }

  /** Bring what the page says into the current language. */
  apply() {
    document.documentElement.lang = this.current;
    if (this.known.has(this.current)) this.#translate();
    for (const button of this.buttons) button.setAttribute("aria-pressed", String(button.lang === this.current));
    document.querySelectorAll(".texts").forEach((group) => this.#choose(group));
    this.listeners.forEach((listener) => listener());
  }

  #translate() {
    for (const node of document.querySelectorAll("[data-word]")) {
      const { word, values } = /** @type {HTMLElement} */ (node).dataset;
      node.textContent = this.say(word ?? "", values ? JSON.parse(values) : {});
    }
    for (const node of document.querySelectorAll("[data-word-label]")) {
      node.setAttribute("aria-label", this.say(/** @type {HTMLElement} */ (node).dataset.wordLabel ?? ""));
    }
  }

  /** @param {Element} group the same text in several languages, one of them to be shown */
  #choose(group) {
    const nodes = /** @type {HTMLElement[]} */ ([...group.children]);
    const tag = preferred(this.wanted, nodes.map((node) => node.lang).filter(Boolean));
    const shown = nodes.find((node) => node.lang === tag) ?? nodes.find((node) => !node.lang) ?? nodes[0];
    for (const node of nodes) node.hidden = node !== shown;
  }
}
