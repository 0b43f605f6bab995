/** What opens over the page: citing, downloading, the list of keys. It is fetched when it is first asked for. */

import { KEYS, keepLetters, lettersAreKeys } from "./keys.js";
import { fragmentOf, xywh } from "./places.js";
import { infoOf } from "./services.js";
import { wholeImages } from "./sizes.js";
import { DIALOG_WORDS } from "./dialog-words.js";

/** @typedef {import("./data.js").Item} Item */
/** @typedef {import("./data.js").View} View */
/** @typedef {import("./language.js").Language} Language */
/** @typedef {import("./places.js").Place} Place */

/**
 * Make the page's dialogs ready; to be called once.
 * @param {Language} language
 * @param {(text: string) => void} announce
 */
export function prepare(language, announce) {
  Object.assign(language.words, DIALOG_WORDS);
  for (const dialog of document.querySelectorAll("dialog")) {
    dialog.querySelector(".close")?.addEventListener("click", () => dialog.close());
    dialog.addEventListener("click", (event) => event.target === dialog && dialog.close());
  }
  makeCopyable(language, announce);
}

/**
 * @param {string} id
 * @returns {HTMLDialogElement}
 */
function dialogOf(id) {
  return /** @type {HTMLDialogElement} */ (document.getElementById(id));
}

/**
 * Open a dialog at its heading, not at whatever can be pressed first.
 * @param {HTMLDialogElement} dialog
 */
function opened(dialog) {
  dialog.showModal();
  dialog.querySelector("h2")?.focus();
}

// ----------------------------------------------------------------------------------------------- citing

/**
 * @param {Item} item
 * @param {Place} place with the region that is seen
 * @param {Language} language
 */
export function openCiting(item, place, language) {
  const dialog = dialogOf("citing");
  const view = item.views.find((each) => each.id === place.view) ?? item.views[0];
  const bare = { ...place, region: null, turn: 0 };
  const region = place.region ? `#xywh=${xywh(place.region)}` : "";
  const values = {
    citation: citation(item, view, bare, language),
    view: item.page + fragmentOf(bare),
    region: item.page + fragmentOf(place),
    canvas: view.canvas + region,
  };
  for (const [name, value] of Object.entries(values)) {
    /** @type {HTMLTextAreaElement} */ (dialog.querySelector(`[name=${name}]`)).value = value;
  }
  opened(dialog);
}

/**
 * @param {Item} item
 * @param {View} view
 * @param {Place} place
 * @param {Language} language
 */
function citation(item, view, place, language) {
  const manner = language.current === "en" ? "en-GB" : language.current;
  const day = new Intl.DateTimeFormat(manner, { dateStyle: "long" }).format(new Date());
  const named = [item.holder, item.label, view.label].map((texts) => language.text(texts)).filter(Boolean);
  return `${named.join(", ")}. ${item.page}${fragmentOf(place)} (${language.say("seen_on", { date: day })})`;
}

/**
 * Copy what stands in a field; where the browser does not allow it, select it.
 * @param {Language} language
 * @param {(text: string) => void} announce
 */
function makeCopyable(language, announce) {
  for (const button of document.querySelectorAll("#citing .copy")) {
    const field = /** @type {HTMLTextAreaElement} */ (button.parentElement?.querySelector("textarea"));
    button.addEventListener("click", async () => {
      field.select();
      const done = await copied(field.value);
      const said = language.say(done ? "copied" : "copy_failed");
      announce(said);
      /** @type {HTMLElement} */ (dialogOf("citing").querySelector(".outcome")).textContent = said;
    });
  }
}

/** @param {string} text */
async function copied(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

// ------------------------------------------------------------------------------------------ downloading

/**
 * @param {View[]} views those that lie open
 * @param {Language} language
 */
export async function openTaking(views, language) {
  const dialog = dialogOf("taking");
  const place = /** @type {HTMLElement} */ (dialog.querySelector(".sizes"));
  place.replaceChildren();
  opened(dialog);
  const lists = await Promise.all(views.map((view) => listOf(view, language)));
  place.replaceChildren(...lists.flat());
}

/**
 * @param {View} view
 * @param {Language} language
 * @returns {Promise<HTMLElement[]>}
 */
async function listOf(view, language) {
  if (!view.pictures.length) return [heading(language.text(view.label)), nothing(language)];
  const parts = await Promise.all(view.pictures.map((picture, at) => pictureList(view, picture, at, language)));
  return parts.flat();
}

/**
 * @param {View} view
 * @param {import("./data.js").Picture} picture
 * @param {number} at
 * @param {Language} language
 */
async function pictureList(view, picture, at, language) {
  const info = picture.service ? await infoOf(picture.service) : null;
  const sizes = info ? wholeImages(info, picture.service) : [];
  const list = document.createElement("ul");
  for (const [number, { width, height, href }] of sizes.entries()) {
    const largest = number === sizes.length - 1 ? `, ${language.say("take_whole")}` : "";
    list.append(entry(href, `${language.say("take_image", { width, height })}${largest}`, `${view.id}-${width}.jpg`));
  }
  const file = view.files[at];
  if (file) list.append(entry(file.href, `${language.say("take_access")} (${language.text(file.label)})`, ""));
  const named = [view.label, picture.label].map((texts) => language.text(texts)).filter(Boolean);
  return [heading(named.join(", ")), list];
}

/** @param {string} text */
function heading(text) {
  const node = document.createElement("h3");
  node.textContent = text;
  return node;
}

/** @param {Language} language */
function nothing(language) {
  const node = document.createElement("p");
  node.textContent = language.say("take_nothing");
  return node;
}

/**
 * @param {string} href
 * @param {string} text
 * @param {string} name that the file gets; the server's own if empty
 */
function entry(href, text, name) {
  const item = document.createElement("li");
  const link = document.createElement("a");
  Object.assign(link, { href, textContent: text, download: name });
  item.append(link);
  return item;
}

// ----------------------------------------------------------------------------------------------- keys

/** @param {Language} language */
export function openKeys(language) {
  const dialog = dialogOf("keys");
  const rows = KEYS.map((key) => {
    const [name, does] = [document.createElement("dt"), document.createElement("dd")];
    name.textContent = key.shown.replace(/\[(\w+)\]/g, (_, word) => language.say(word));
    does.textContent = language.say(key.word);
    return [name, does];
  });
  dialog.querySelector("dl")?.replaceChildren(...rows.flat());
  const letters = /** @type {HTMLInputElement} */ (dialog.querySelector("input"));
  letters.checked = lettersAreKeys();
  letters.onchange = () => keepLetters(letters.checked);
  opened(dialog);
}
