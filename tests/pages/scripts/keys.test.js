import assert from "node:assert/strict";
import { test } from "node:test";
import { KEYS, actionOf } from "./keys.js";

const press = (key, more = {}) => ({ key, shiftKey: false, ctrlKey: false, metaKey: false, altKey: false, ...more });

test("keys act", () => {
  assert.equal(actionOf(press("ArrowLeft"), true), "left");
  assert.equal(actionOf(press("ArrowLeft", { shiftKey: true }), true), "panLeft");
  assert.equal(actionOf(press("R", { shiftKey: true }), true), "turnLeft");
  assert.equal(actionOf(press("?", { shiftKey: true }), true), "keys");
  assert.equal(actionOf(press("x"), true), undefined);
  assert.equal(actionOf(press("toString"), true), undefined);
});

test("keys of the browser are left to it", () => {
  for (const held of ["ctrlKey", "metaKey", "altKey"]) assert.equal(actionOf(press("f", { [held]: true }), true), undefined);
});

test("letters and signs can be turned off, other keys stay", () => {
  const left = KEYS.flatMap(({ acts, shift }) => Object.keys(acts).map((key) => press(key, { shiftKey: Boolean(shift) }))).filter((event) => actionOf(event, false));
  assert.ok(left.length > 0);
  assert.ok(left.every(({ key }) => key.length > 1));
});

test("no two actions share a key", () => {
  const all = KEYS.flatMap(({ acts, shift }) => Object.keys(acts).map((key) => `${shift ? "shift " : ""}${key}`));
  assert.equal(new Set(all).size, all.length);
});
