import assert from "node:assert/strict";
import { test } from "node:test";
import { distance, lengthText, scaleBar } from "./lengths.js";

test("a bar is a round length, as long as the room allows", () => {
  for (let exponent = -4; exponent < 4; exponent += 0.037) {
    const perPixel = 10 ** exponent;
    const { length, px } = scaleBar(perPixel, 160);
    assert.ok(px <= 160 * (1 + 1e-9) && px > 160 / 2.6, `${perPixel}: ${px}`);
    assert.ok(Math.abs(length - px * perPixel) < 1e-9 * length);
    assert.ok(["1", "2", "5"].includes(length.toExponential()[0]));
  }
});

test("lengths are written to three significant places in the reader's language", () => {
  const said = (length, language = "en") => lengthText(length, "mm", language).replace("\u00a0", " ");
  assert.deepEqual([0.1234, 1.234, 12.34, 123.4, 1234].map((length) => said(length)), ["0.123 mm", "1.23 mm", "12.3 mm", "123 mm", "1,234 mm"]);
  assert.equal(said(1.5, "de"), "1,5 mm");
  assert.equal(lengthText(12.7, "px", "en"), "13\u00a0px");
});

test("distances are straight", () => assert.equal(distance({ x: 0, y: 0 }, { x: 3, y: 4 }), 5));
