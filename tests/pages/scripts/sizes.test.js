import assert from "node:assert/strict";
import { test } from "node:test";
import { wholeImages } from "./sizes.js";

const info = { width: 10328, height: 7760, sizes: [{ width: 646, height: 485 }, { width: 323, height: 243 }] };
const hrefs = (of) => wholeImages(of, "s").map(({ href }) => href);

test("only sizes that are listed are offered, and the largest", () => {
  assert.deepEqual(hrefs(info), ["s/full/323,243/0/default.jpg", "s/full/646,485/0/default.jpg", "s/full/max/0/default.jpg"]);
  assert.deepEqual(hrefs({ width: 10, height: 10 }), ["s/full/max/0/default.jpg"]);
});

test("a full size that is listed is offered once", () => {
  assert.equal(wholeImages({ ...info, sizes: [{ width: 10328, height: 7760 }] }, "s").length, 1);
});

test("the largest is as large as the service allows", () => {
  const largest = (limits) => wholeImages({ ...info, sizes: [], ...limits }, "s")[0];
  assert.deepEqual([largest({ maxWidth: 5164, maxHeight: 3880 }).width, largest({ maxWidth: 1000 }).height], [5164, 751]);
  assert.equal(largest({ maxArea: 10328 * 1940 }).width, 5164);
  assert.equal(largest({ maxWidth: 20000 }).width, 10328);
});

test("odd lists are passed over", () => {
  assert.equal(hrefs({ ...info, sizes: [{}, null, { width: "x", height: 1 }] }).length, 1);
  assert.equal(hrefs({ ...info, sizes: "many" }).length, 1);
});
