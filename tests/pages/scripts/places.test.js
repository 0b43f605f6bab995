import assert from "node:assert/strict";
import { test } from "node:test";
import { fragmentOf, mostSeen, placeOf, regionSeen, shared, viewMeant, wholeTurn } from "./places.js";

test("a place is the same after it was written and read", () => {
  const place = { view: "ms7_0009_003r", region: { x: 120, y: 80, width: 300, height: 200 }, turn: 90, light: 1 };
  assert.deepEqual(placeOf(fragmentOf(place)), place);
  assert.equal(fragmentOf(place), "#view=ms7_0009_003r&xywh=120,80,300,200&turn=90&light=1");
});

test("what a fragment does not say has its usual value", () => {
  const usual = { view: "", region: null, turn: 0, light: 0 };
  for (const fragment of ["", "#", "#record", "#&&=&view", "#xywh=1,2,3", "#xywh=0,0,0,9", "#turn=x&light=-2", "#light=NaN"]) {
    assert.deepEqual(placeOf(fragment), usual, fragment);
  }
});

test("a region may be said in pixels, as Media Fragments allow, and not in percent", () => {
  assert.deepEqual(placeOf("#view=a&xywh=pixel:1,2,3,4").region, { x: 1, y: 2, width: 3, height: 4 });
  assert.equal(placeOf("#view=a&xywh=percent:1,2,3,4").region, null);
});

test("a broken escape is taken as it stands", () => {
  assert.equal(placeOf("#view=%E0%A4%A").view, "%E0%A4%A");
});

test("turns are quarter turns", () => {
  assert.deepEqual([0, 90, -90, 450, 44, 359, NaN].map(wholeTurn), [0, 90, 270, 90, 0, 0, 0]);
});

test("boxes share what lies in both", () => {
  const box = (x, y, width, height) => ({ x, y, width, height });
  assert.deepEqual(shared(box(-5, -5, 20, 20), box(0, 0, 10, 8)), box(0, 0, 10, 8));
  assert.equal(shared(box(0, 0, 5, 5), box(5, 0, 5, 5)), null);
});

test("a view is meant by its label, what follows in it, a part of it, or its number", () => {
  const labels = ["Vorderdeckel", "f. 1r", "f. 1v", "f. 11r", "Rücken"];
  const expected = [["f. 1v", 2], ["F.1V", 2], ["1r", 1], ["11r", 3], ["ruck", 4], ["5", 4], ["vorder", 0], ["6", -1], ["", -1], ["x", -1]];
  for (const [typed, view] of expected) assert.equal(viewMeant(labels, typed), view, typed);
});

const OPENING = [
  { view: 1, x: 0, y: 0, width: 100, height: 150 },
  { view: 2, x: 100, y: 0, width: 90, height: 150 },
];

test("a link is to the page of which most is seen, and of equals to the one that was asked for", () => {
  const [verso, recto] = OPENING;
  const names = (seen) => [mostSeen(seen, OPENING, verso).view, mostSeen(seen, OPENING, recto).view];
  assert.deepEqual(names({ x: -20, y: -20, width: 300, height: 200 }), [1, 2]);
  assert.deepEqual(names({ x: 20, y: 20, width: 30, height: 30 }), [1, 1]);
  assert.deepEqual(names({ x: 90, y: 0, width: 40, height: 150 }), [2, 2]);
  assert.deepEqual(names({ x: 900, y: 900, width: 40, height: 150 }), [1, 2]);
});

test("what is seen of a page is a region of it, and no region if it is the whole", () => {
  const recto = OPENING[1];
  assert.equal(regionSeen({ x: 99.99, y: -20, width: 300, height: 200 }, recto), null);
  assert.equal(regionSeen({ x: 0, y: 0, width: 50, height: 50 }, recto), null);
  assert.deepEqual(regionSeen({ x: 150, y: -20, width: 80, height: 70 }, recto), { x: 50, y: 0, width: 40, height: 50 });
});
