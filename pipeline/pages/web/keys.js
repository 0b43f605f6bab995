/** What each key does: one table, from which both the keyboard and the list for readers are made. */

/**
 * @typedef {object} Key
 * @property {string[]} keys values of KeyboardEvent.key, upper case where Shift makes it so
 * @property {string} act name of the action
 * @property {string} shown how the list writes them; words of the page in brackets
 * @property {string} word what the list says
 * @property {boolean} [shift] true if Shift must be held, for keys that have no upper case
 */

/** @type {Key[]} */
export const KEYS = [
  { keys: ["ArrowLeft"], act: "left", shown: "← →", word: "key_later" },
  { keys: ["ArrowRight"], act: "right", shown: "", word: "" },
  { keys: ["PageUp"], act: "earlier", shown: "[page_keys]", word: "key_read" },
  { keys: ["PageDown"], act: "later", shown: "", word: "" },
  { keys: ["Home"], act: "first", shown: "[end_keys]", word: "key_ends" },
  { keys: ["End"], act: "last", shown: "", word: "" },
  { keys: ["g"], act: "goTo", shown: "G", word: "key_go" },
  { keys: ["+", "="], act: "closer", shown: "+ −", word: "key_zoom" },
  { keys: ["-", "_"], act: "farther", shown: "", word: "" },
  { keys: ["0"], act: "whole", shown: "0", word: "key_whole" },
  { keys: ["ArrowLeft"], act: "panLeft", shown: "[shift] + [arrows]", word: "key_pan", shift: true },
  { keys: ["ArrowRight"], act: "panRight", shown: "", word: "", shift: true },
  { keys: ["ArrowUp"], act: "panUp", shown: "", word: "", shift: true },
  { keys: ["ArrowDown"], act: "panDown", shown: "", word: "", shift: true },
  { keys: ["r"], act: "turnRight", shown: "R, [shift] + R", word: "key_turn" },
  { keys: ["R"], act: "turnLeft", shown: "", word: "" },
  { keys: ["o"], act: "together", shown: "O", word: "key_together" },
  { keys: ["a"], act: "layOut", shown: "A", word: "key_lay_out" },
  { keys: ["l"], act: "light", shown: "L", word: "key_light" },
  { keys: ["b"], act: "fade", shown: "B", word: "key_fade" },
  { keys: ["n"], act: "beside", shown: "N", word: "key_beside" },
  { keys: ["m"], act: "measure", shown: "M", word: "key_measure" },
  { keys: ["s"], act: "ground", shown: "S", word: "key_ground" },
  { keys: ["c"], act: "cite", shown: "C", word: "key_link" },
  { keys: ["d"], act: "take", shown: "D", word: "key_take" },
  { keys: ["f"], act: "full", shown: "F", word: "key_full" },
  { keys: ["?"], act: "keys", shown: "?", word: "key_keys" },
  { keys: ["Escape"], act: "close", shown: "Esc", word: "key_close" },
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
  const found = KEYS.find(
    ({ keys, shift }) => keys.includes(event.key) && (isCharacter || Boolean(shift) === event.shiftKey),
  );
  return found?.act;
}

const KEPT_LETTERS = "solander-letters";

export function lettersAreKeys() {
  try {
    return localStorage.getItem(KEPT_LETTERS) !== "no";
  } catch {
    return true;
  }
}

/** @param {boolean} are */
export function keepLetters(are) {
  try {
    localStorage.setItem(KEPT_LETTERS, are ? "yes" : "no");
  } catch {
    // a browser may refuse to remember; the choice then holds for this page
  }
}
