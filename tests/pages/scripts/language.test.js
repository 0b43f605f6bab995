import assert from "node:assert/strict";
import { test } from "node:test";
import { filled, preferred, said } from "./language.js";

test("the first wanted language that is offered is taken, by its first part if need be", () => {
  assert.equal(preferred(["sv", "de-AT", "en"], ["en", "de", "fr"]), "de");
  assert.equal(preferred(["fr"], ["fr-CA", "fr"]), "fr");
  assert.equal(preferred(["sv", ""], ["en"]), undefined);
});

test("a text is in a language that is wanted, else in none, else as it comes", () => {
  const book = { en: "book", de: "Buch" };
  assert.equal(said(book, ["de-CH"]), "Buch");
  assert.equal(said(book, ["sv"]), "book");
  assert.equal(said({ la: "liber", "": "MS 7" }, ["sv"]), "MS 7");
  assert.equal(said("f. 1r", ["de"]), "f. 1r");
  assert.equal(said({}, ["de"]), "");
});

test("gaps are filled, and left where nothing is known", () => {
  assert.equal(filled("{n} of {all} {x}", { n: 3, all: 9 }), "3 of 9 {x}");
});
