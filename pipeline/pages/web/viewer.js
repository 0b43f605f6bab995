/** The page of an item comes to life: language, keyboard, buttons, and the desk once its library is there. */

import { itemOf } from "./data.js";
import { Desk } from "./desk.js";
import { keep, kept } from "./kept.js";
import { actionOf, lettersAreKeys } from "./keys.js";
import { Language } from "./language.js";
import { WORDS } from "./words.js";

const GROUNDS = ["light", "middle", "dark"];

const language = new Language(WORDS);
await language.start();
const root = document.getElementById("desk");
if (root) start(root);

/** @param {HTMLElement} desk */
async function start(desk) {
  const library = desk.dataset.library;
  const OpenSeadragon = library ? await loaded(library, desk) : null;
  if (OpenSeadragon) wake(desk, OpenSeadragon);
  else sleep(desk);
}

/** @param {HTMLElement} desk without its library the page stays as it is without a script, but for what it says */
function sleep(desk) {
  desk.removeAttribute("data-library");
  const notice = /** @type {HTMLElement | null} */ (desk.querySelector(".no-script"));
  if (!notice) return;
  notice.dataset.word = "lacks_library";
  notice.textContent = language.say("lacks_library");
}

/**
 * Bring in OpenSeadragon, after the first picture: readers see something before they can magnify it.
 * @param {string} address
 * @param {HTMLElement} desk
 */
async function loaded(address, desk) {
  const first = /** @type {HTMLImageElement | null} */ (desk.querySelector("#first img"));
  await first?.decode().catch(() => {});
  return new Promise((done) => {
    const script = document.createElement("script");
    script.src = address;
    script.onload = () => done(/** @type {any} */ (window).OpenSeadragon);
    script.onerror = () => done(null);
    document.head.append(script);
  });
}

/**
 * @param {HTMLElement} root
 * @param {any} OpenSeadragon
 */
function wake(root, OpenSeadragon) {
  const item = itemOf(document);
  const desk = new Desk(root, item, language, OpenSeadragon);
  const acts = actsOf(desk, item);
  root.classList.add("awake");
  listenToKeys(acts, item.direction);
  listenToButtons(desk, acts);
  setGround(keptGround(), root);
  language.listeners.push(() => {
    desk.speak();
    setGround(root.dataset.ground ?? "", root);
  });
  addEventListener("hashchange", () => location.hash.includes("view=") && desk.arrive(location.hash));
  desk.arrive(location.hash);
}

/**
 * @param {Desk} desk
 * @param {import("./data.js").Item} item
 * @returns {Record<string, () => void>}
 */
function actsOf(desk, item) {
  const field = /** @type {HTMLInputElement} */ (desk.one("#go-to"));
  return {
    left: () => desk.arrow(-1),
    right: () => desk.arrow(1),
    earlier: () => desk.step(-1),
    later: () => desk.step(1),
    first: () => desk.go(0),
    last: () => desk.go(item.views.length - 1),
    goTo: () => field.select(),
    closer: () => desk.zoom(true),
    farther: () => desk.zoom(false),
    whole: () => desk.whole(),
    panLeft: () => desk.pan(-1, 0),
    panRight: () => desk.pan(1, 0),
    panUp: () => desk.pan(0, -1),
    panDown: () => desk.pan(0, 1),
    turnRight: () => desk.rotate(90),
    turnLeft: () => desk.rotate(-90),
    together: () => desk.switchTogether(),
    layOut: () => desk.layOut(),
    light: () => desk.lights.view && desk.lights.choose(desk.lights.next),
    fade: () => desk.lights.compare("fade"),
    beside: () => desk.lights.compare("beside"),
    measure: () => desk.measure(),
    ground: () => setGround(nextGround(desk.root), desk.root),
    cite: () => opening(desk, (dialogs) => dialogs.openCiting(item, desk.place, language)),
    take: () => opening(desk, (dialogs) => dialogs.openTaking(desk.open.map((view) => item.views[view]), language)),
    full: () => fullScreen(desk.root),
    keys: () => opening(desk, (dialogs) => dialogs.openKeys(language)),
    close: () => desk.putAway(),
  };
}

/** @typedef {typeof import("./dialogs.js")} Dialogs */
/** @type {Promise<Dialogs> | undefined} */
let asked;

/**
 * Open a dialog. What they all need comes with the first; if it does not come, that is said where it is seen,
 * and the next one asks again.
 * @param {Desk} desk
 * @param {(dialogs: Dialogs) => void} open
 */
async function opening(desk, open) {
  asked ??= fetchedDialogs(desk);
  const dialogs = await asked.catch(() => null);
  if (dialogs) return open(dialogs);
  asked = undefined;
  alert(language.say("failed_dialog"));
}

/** @param {Desk} desk */
async function fetchedDialogs(desk) {
  const dialogs = await import(new URL(desk.root.dataset.dialogs ?? "", document.baseURI).href);
  dialogs.prepare(language, (/** @type {string} */ text) => desk.announce(text));
  return dialogs;
}

/**
 * Keys act wherever the focus is, except in fields and over open dialogs.
 * @param {Record<string, () => void>} acts
 * @param {string} direction
 */
function listenToKeys(acts, direction) {
  document.addEventListener("keydown", (event) => {
    const target = /** @type {HTMLElement} */ (event.target);
    const isField = target.matches("input, textarea, select");
    if (isField || document.querySelector("dialog[open]")) return;
    const act = verticalAct(event, target, direction) ?? actionOf(event, lettersAreKeys());
    if (!act || (isElsewhere(target) && event.key.length > 1)) return;
    event.preventDefault();
    acts[act]();
  });
}

/**
 * Up and down turn what is read downwards, while the focus is on the stage.
 * @param {KeyboardEvent} event
 * @param {HTMLElement} target
 * @param {string} direction
 */
function verticalAct(event, target, direction) {
  const step = { ArrowUp: -1, ArrowDown: 1 }[event.key];
  if (!step || event.shiftKey || !target.closest("#plane")) return undefined;
  if (direction === "top-to-bottom") return step > 0 ? "later" : "earlier";
  if (direction === "bottom-to-top") return step > 0 ? "earlier" : "later";
  return undefined;
}

/** @param {HTMLElement} target in the description, keys that scroll are the browser's */
function isElsewhere(target) {
  return target !== document.body && !target.closest("#desk");
}

/**
 * @param {Desk} desk
 * @param {Record<string, () => void>} acts
 */
function listenToButtons(desk, acts) {
  for (const button of desk.root.querySelectorAll("button[data-act]")) {
    button.addEventListener("click", () => acts[/** @type {HTMLElement} */ (button).dataset.act ?? ""]());
  }
  desk.one("#together").hidden = !desk.isPaged;
  const form = /** @type {HTMLFormElement} */ (desk.one("#places"));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const field = /** @type {HTMLInputElement} */ (desk.one("#go-to"));
    if (desk.goTo(field.value)) desk.stage.canvas.focus();
    else field.select();
  });
  desk.one("#go-to").addEventListener("focus", (event) => /** @type {HTMLInputElement} */ (event.target).select());
  document.getElementById("contents")?.addEventListener("click", (event) => {
    const link = /** @type {HTMLElement} */ (event.target).closest("a");
    if (!link) return;
    event.preventDefault();
    desk.chosen(Number(link.dataset.view));
    desk.root.scrollIntoView({ block: "nearest" });
  });
  const full = desk.one("#full");
  full.hidden = !document.fullscreenEnabled;
  document.addEventListener("fullscreenchange", () => {
    full.setAttribute("aria-pressed", String(Boolean(document.fullscreenElement)));
  });
}

/** @param {HTMLElement} root */
function fullScreen(root) {
  if (document.fullscreenElement) document.exitFullscreen();
  else root.requestFullscreen?.().catch(() => {});
}

// ------------------------------------------------------------------------------------------ the ground

/** @param {HTMLElement} root */
function nextGround(root) {
  return GROUNDS[(GROUNDS.indexOf(root.dataset.ground ?? "") + 1) % GROUNDS.length];
}

/**
 * Colours are judged against what surrounds them: the ground is always a neutral grey.
 * @param {string} ground
 * @param {HTMLElement} root
 */
function setGround(ground, root) {
  root.dataset.ground = ground;
  const name = language.say(`ground_${ground}`);
  root.querySelector("#ground")?.setAttribute("aria-label", language.say("ground_now", { name }));
  keep("ground", ground);
}

function keptGround() {
  const ground = kept("ground") ?? "";
  if (GROUNDS.includes(ground)) return ground;
  return matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
}
