// @ts-check
/// <reference lib="deno.ns" />
// Texts of strangers: nothing in them turns round, hides or breaks what stands beside them, and ordinary ones stay.

import assert from "node:assert/strict"
import {brief, shown} from "../../emgreview/views/js/shared/texts.js"
import {cut_to, plate, width_of} from "../../emgreview/views/js/shared/paint.js"

const RLO = "\u202e"

Deno.test("ordinary texts stay as they are", () => {
  for (
    const text of [
      "",
      "FDI",
      "m. biceps · über 50 µV ≤ ½ “ok” − ▲ ✕ ◆ → ▸",
      "筋電図 12",
      "первый",
      "e\u0301",
      "👩🏽‍🔬 x",
      "नमस्ते",
    ]
  ) {
    assert.equal(shown(text), text)
  }
})

Deno.test("what turns the order of others is a sign, and is undone by none", () => {
  for (const turn of "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u061c") {
    assert.equal(shown(`a${turn}b · 6 channels`), "a\ufffdb · 6 channels")
  }
  assert.equal(shown(`x\u2069${RLO}y`), "x\ufffd\ufffdy")
})

Deno.test("words from right to left are isolated as a whole, so that numbers beside them stay", () => {
  assert.equal(shown("שלום · 6 channels"), "\u2067שלום\u2069 · 6 channels")
  assert.equal(shown("1 שלום עולם 2"), "1 \u2067שלום עולם\u2069 2")
  assert.equal(shown("عضلة 3، يد"), "\u2067عضلة 3، يد\u2069")
  assert.equal(shown("ab\u200f 6"), "ab\u2067\u200f\u2069 6")
})

Deno.test("a text that is shown again stays the same, so that no place can do it once too often", () => {
  const texts = [
    "שלום · 6",
    `a${RLO}b`,
    "a\nb\tc\x00\x7f\x85",
    "x\u2067שלום\u2069y",
    "o" + "\u0301".repeat(40),
    "\u2067abc\u2069",
  ]
  for (const text of texts) assert.equal(shown(shown(text)), shown(text), JSON.stringify(text))
})

Deno.test("line breaks and control characters are signs; lines stay where they are lines", () => {
  assert.equal(shown("a\nb\rc\t\x00\x1b[31m\x7f\x9b\u2028"), "a↵b\ufffdc\ufffd\ufffd\ufffd[31m\ufffd\ufffd↵")
  assert.equal(shown("a\nb\r", true), "a\nb\ufffd")
})

Deno.test("what is not seen is a sign, and marks do not heap up", () => {
  assert.equal(shown("F\u200bD\ufeffI\u{e0041}\u00ad\u2060"), "F\ufffdD\ufffdI\ufffd\ufffd\ufffd")
  assert.equal([...shown("o" + "\u0301".repeat(500))].length, 5)
})

Deno.test("a word of ten thousand letters is brief, and never cut in the middle of a letter", () => {
  assert.equal(brief("x".repeat(10_000)).length, 160)
  assert.ok(brief("x".repeat(10_000)).endsWith("x…"))
  assert.ok(brief("👩".repeat(10_000), 24).isWellFormed())
  assert.equal(brief("FDI"), "FDI")
})

/** A paper that notes what is written on it; letters are 6 px wide. */
function paper() {
  /** @type {string[]} */
  const written = []
  let measured = 0
  const ctx = /** @type {any} */ ({
    font: "11px sans",
    fillRect: () => {},
    fillText: (/** @type {string} */ text) => written.push(text),
    measureText(/** @type {string} */ text) {
      measured += text.length
      return {width: 6 * [...text].length}
    },
  })
  return {ctx, written, measured: () => measured}
}

Deno.test("a picture writes as much as there is room for, quickly, whatever comes", () => {
  const {ctx, written, measured} = paper()
  const cut = cut_to(ctx, "x".repeat(10_000), 120)
  assert.equal(cut, `${"x".repeat(19)}…`)
  assert.equal(cut_to(ctx, "too long", 12), "")
  assert.equal(cut_to(ctx, "too long", 18, 1), "to…")
  assert.equal(cut_to(ctx, "fits", 60), "fits")
  const colours = /** @type {any} */ ({})
  plate(ctx, `a${RLO}b`, 0, 0, colours)
  plate(ctx, "y".repeat(10_000), 0, 0, colours)
  assert.deepEqual(written, ["a\ufffdb", `${"y".repeat(159)}…`])
  assert.equal(width_of(ctx, "y".repeat(10_000)), 960)
  assert.ok(measured() < 5000, `${measured()} letters were measured`)
})
