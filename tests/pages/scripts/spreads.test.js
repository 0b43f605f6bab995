import assert from "node:assert/strict";
import { test } from "node:test";
import { covered, laidOut, openings, singles, spreadOf, withinReach } from "./spreads.js";

const views = (marks) => [...marks].map((mark) => ({ behavior: { n: "non-paged", f: "facing-pages" }[mark] ?? "" }));

test("the first page lies alone, then two by two", () => {
  assert.deepEqual(openings(views("ppppp")), [[0], [1, 2], [3, 4]]);
  assert.deepEqual(openings(views("pppp")), [[0], [1, 2], [3]]);
});

test("what is not counted lies alone and shifts no page to the other side", () => {
  assert.deepEqual(openings(views("nppp")), [[0], [1], [2, 3]]);
  assert.deepEqual(openings(views("ppnpp")), [[0], [1], [2], [3], [4]]);
  assert.deepEqual(openings(views("pppnpp")), [[0], [1, 2], [3], [4, 5]]);
  assert.deepEqual(openings(views("pppfpp")), [[0], [1, 2], [3], [4, 5]]);
});

test("every view lies in exactly one spread, in its order", () => {
  for (let number = 0; number < 3 ** 7; number += 1) {
    const marks = number.toString(3).padStart(7, "0").replace(/[012]/g, (digit) => "pnf"[Number(digit)]);
    assert.deepEqual(openings(views(marks)).flat(), [0, 1, 2, 3, 4, 5, 6], marks);
  }
});

test("a spread is found by its view", () => {
  assert.equal(spreadOf([[0], [1, 2]], 2), 1);
  assert.equal(spreadOf(singles(views("ppp")), 2), 2);
});

const sizes = [{ width: 100, height: 200 }, { width: 80, height: 160 }];

test("pages of an opening touch on a common middle line, the first on the side where reading begins", () => {
  assert.deepEqual(laidOut(sizes, [0, 1], "left-to-right").map(({ view, x, y }) => [view, x, y]), [[0, 0, 0], [1, 100, 20]]);
  assert.deepEqual(laidOut(sizes, [0, 1], "right-to-left").map(({ view, x, y }) => [view, x, y]), [[1, 0, 20], [0, 80, 0]]);
});

test("a scroll goes down or up as it is read", () => {
  assert.deepEqual(laidOut(sizes, [0, 1], "top-to-bottom").map(({ view, x, y }) => [view, x, y]), [[0, 0, 0], [1, 10, 200]]);
  assert.deepEqual(laidOut(sizes, [0, 1], "bottom-to-top").map(({ view, y }) => [view, y]), [[1, 0], [0, 160]]);
});

test("the part of a scroll within reach lies where it lies in the whole", () => {
  const many = Array.from({ length: 9 }, () => ({ width: 10, height: 5 }));
  const near = withinReach(many, 4, "left-to-right", 1);
  assert.deepEqual(near.map(({ view, x }) => [view, x]), [[3, 30], [4, 40], [5, 50]]);
});

test("what boxes cover is as wide and high as all of them", () => {
  assert.deepEqual(covered([{ x: 0, y: 5, width: 10, height: 5 }, { x: 10, y: 0, width: 2, height: 2 }]), { x: 0, y: 0, width: 12, height: 10 });
});
