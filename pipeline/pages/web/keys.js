/** What each key does: one table, from which both the keyboard and the list for readers are made. */

import { keep, kept } from "./kept.js";

/**
 * @typedef {object} Key
 * @property {Record<string, string>} acts by values of KeyboardEvent.key, upper case where Shift makes it so
 * @property {boolean} [shift] true if Shift must be held, for keys that have no upper case
 * @property {string} shown how the list writes them; words of the page in brackets
 * @property {string} word what the list says
 */

/** @type {Key[]} */
export const KEYS = [
  { acts: { ArrowLeft: "left", ArrowRight: "right" }, shown: "← →", word: "key_later" },
  { acts: { PageUp: "earlier", PageDown: "later" }, shown: "[page_keys]", word: "key_read" },
  { acts: { Home: "first", End: "last" }, shown: "[end_keys]", word: "key_ends" },
  { acts: { g: "goTo" }, shown: "G", word: "key_go" },
  { acts: { "+": "closer", "=": "closer", "-": "farther", _: "farther" }, shown: "+ −", word: "key_zoom" },
  { acts: { 0: "whole" }, shown: "0", word: "key_whole" },
  {
    acts: { ArrowLeft: "panLeft", ArrowRight: "panRight", ArrowUp: "panUp", ArrowDown: "panDown" },
    shift: true,
    shown: "[shift] + [arrows]",
    word: "key_pan",
  },
  { acts: { r: "turnRight", R: "turnLeft" }, shown: "R, [shift] + R", word: "key_turn" },
  { acts: { o: "together" }, shown: "O", word: "key_together" },
  { acts: { a: "layOut" }, shown: "A", word: "key_lay_out" },
  { acts: { l: "light" }, shown: "L", word: "key_light" },
  { acts: { b: "fade" }, shown: "B", word: "key_fade" },
  { acts: { n: "beside" }, shown: "N", word: "key_beside" },
  { acts: { m: "measure" }, shown: "M", word: "key_measure" },
  { acts: { s: "ground" }, shown: "S", word: "key_ground" },
  { acts: { c: "cite" }, shown: "C", word: "key_link" },
  { acts: { d: "take" }, shown: "D", word: "key_take" },
  { acts: { f: "full" }, shown: "F", word: "key_full" },
  { acts: { "?": "keys" }, shown: "?", word: "key_keys" },
  { acts: { Escape: "close" }, shown: "Esc", word: "key_close" },
];

/**
 * Which action a key asks for; nothing if it belongs to the browser or to a field.
 * @param {{key: string, shiftKey: boolean, ctrlKey: boolean, metaKey: boolean, altKey: boolean}} event
 * @param {boolean} letters false if single letters and signs do nothing (WCAG 2.2, 2.1.4)
 * @returns {string | undefined}
 */
export function actionOf(event, letters) {
  if (event.ctrlKey || event.metaKey || event.altKey) return undefined;
  const isCharacter = event.key.length === 1;
  if (isCharacter && !letters) return undefined;
  const fits = KEYS.filter(({ shift }) => isCharacter || Boolean(shift) === event.shiftKey);
  return fits.find(({ acts }) => Object.hasOwn(acts, event.key))?.acts[event.key];
}

export function lettersAreKeys() {
  return kept("letters") !== "no";
}

/** @param {boolean} are */
export function keepLetters(are) {
  keep("letters", are ? "yes" : "no");
}
