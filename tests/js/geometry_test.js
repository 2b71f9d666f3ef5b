// @ts-check
/// <reference lib="deno.ns" />
// Seconds, samples, values and pixels: there and back again, and what lies under the pointer.

import assert from "node:assert/strict"
import {
  band_at,
  lower_bound,
  nearest,
  place_of,
  px_of,
  round_below,
  seconds_at,
  snap,
  whole_step,
  within,
} from "../../emgreview/views/js/shared/geometry.js"
import {head_px, heights, lay_rows, least_row_px, scale_bar} from "../../emgreview/views/js/long/bands.js"
import {seconds_of} from "../../emgreview/views/js/long/moving.js"
import {lay_bands, least_bands_px} from "../../emgreview/views/js/review/bands.js"
import {cell_at} from "../../emgreview/views/js/review/queue_map.js"

/** @import {Span} from "../../emgreview/views/js/types.js" */

/** @param {number} a @param {number} b */
const close = (a, b) => assert.ok(Math.abs(a - b) < 1e-6, `${a} is not ${b}`)

Deno.test("a time and its pixel are each other's", () => {
  for (const [range, width] of /** @type {[Span, number][]} */ ([[[-1, 1.5], 900], [[3600, 3600.02], 317]])) {
    const [from_s, to_s] = range
    close(px_of(from_s, range, width), 0)
    close(px_of(to_s, range, width), width)
    for (const x of [0, 1, 100.5, width]) close(px_of(seconds_at(x, range, width), range, width), x)
  }
})

Deno.test("a time snaps to the nearest sample, and again to itself", () => {
  for (const rate_hz of [200, 1000, 2048, 4000]) {
    for (const s of [-0.73, 0, 0.1234567, 1800.00012]) {
      const there = snap(s, rate_hz)
      assert.ok(Math.abs(there - s) <= 0.5 / rate_hz + 1e-12)
      assert.equal(snap(there, rate_hz), there)
    }
  }
})

Deno.test("a step is whole samples, one at least, to its own side", () => {
  assert.equal(whole_step(0.001, 500), 1)
  assert.equal(whole_step(-0.001, 500), -1)
  assert.equal(whole_step(0.01, 2000), 20)
  assert.equal(whole_step(-0.01, 2000), -20)
})

Deno.test("a value is kept within its limits", () => {
  assert.deepEqual([-3, 0.5, 7].map((value) => within(value, 0, 1)), [0, 0.5, 1])
})

Deno.test("bands fill the picture under the strip for words, without gap or overlap", () => {
  const channels = [false, false, false, true].map((auxiliary) => ({auxiliary}))
  for (const bands of [lay_bands({channels}, 640, 11), lay_rows(channels, 640, 11)]) {
    assert.deepEqual(bands.map(({row}) => row), [0, 1, 2, 3])
    for (const [i, band] of bands.entries()) {
      close(band.top + band.height, bands[i + 1]?.top ?? 640)
      assert.equal(band_at(bands, band.top), band)
      assert.equal(band_at(bands, band.top + band.height - 0.01), band)
    }
    assert.ok(bands[3].height < bands[0].height)
    assert.equal(band_at(bands, bands[0].top - 1), undefined)
    assert.equal(band_at(bands, 640.01), undefined)
  }
})

Deno.test("the least height leaves every band room for its words", () => {
  const channels = [false, true, false].map((auxiliary) => ({auxiliary}))
  for (const font_px of [11, 16, 22]) {
    const bands = lay_bands({channels}, least_bands_px({channels}, font_px), font_px)
    close(bands[0].height, 3.6 * font_px)
    const rows = lay_rows(channels, head_px(font_px) + 3 * least_row_px(font_px), font_px)
    for (const {height} of rows) assert.ok(height >= least_row_px(font_px) - 1e-9)
  }
})

Deno.test("a full-scale value of a long view reaches the edge of its band and not beyond", () => {
  const kinds = {raw: 100, "band-passed": 50, rectified: 50, envelope: 20}
  const channel = {
    label: "a",
    over: "",
    unit_label: "µV",
    auxiliary: false,
    limits: /** @type {Span} */ ([0, 1]),
    kinds,
    middle: 7,
    level_words: "",
  }
  const band = {row: 0, top: 40, height: 90}
  for (const [kind, full] of Object.entries(kinds)) {
    const to = heights(channel, {kind, gain: 1}, band)
    const middle = kind === "raw" ? channel.middle : 0
    const top = to.zero + (middle + full) * to.rise
    assert.ok(top >= band.top && top < band.top + 6, `${kind}: ${top}`)
    const twice = heights(channel, {kind, gain: 2}, band)
    close(twice.rise, 2 * to.rise)
    close(twice.shown, to.shown / 2)
    const bar = scale_bar(to, band)
    assert.ok(bar.long <= 0.7 * band.height && bar.long > 0.2 * band.height, `${kind}: ${bar.long}`)
  }
  const turned = heights({...channel, auxiliary: true, limits: [-10, 30]}, {kind: "raw", gain: 1}, band)
  close(turned.zero + 10 * turned.rise, band.top + band.height / 2)
})

Deno.test("the nearest mark is hit within reach, and none beyond it", () => {
  const marks = [{s: 0.3, name: "late"}, {s: 0.1, name: "early"}]
  assert.equal(nearest(marks, 0.12, 0.05)?.name, "early")
  assert.equal(nearest(marks, 0.26, 0.05)?.name, "late")
  assert.equal(nearest(marks, 0.2, 0.05), null)
  assert.equal(nearest([], 0.2, 1), null)
  assert.deepEqual(marks.map(({s}) => s), [0.3, 0.1], "the list itself stays in its order")
})

Deno.test("the pointer's place has its time, its band and whether it is on the picture at all", () => {
  const channels = [{auxiliary: false}, {auxiliary: false}]
  const canvas = {getBoundingClientRect: () => ({left: 50, top: 100, width: 500, height: 400})}
  const layer = /** @type {any} */ ({canvas, range: () => [-1, 1.5]})
  const at = (/** @type {number} */ x, /** @type {number} */ y) =>
    place_of({clientX: x, clientY: y}, layer, (height) => lay_bands({channels}, height, 11))
  close(at(50, 300).s, -1)
  close(at(550, 300).s, 1.5)
  close(at(250, 300).s, 0)
  close(at(250, 300).s_per_px, 0.005)
  assert.deepEqual([at(250, 150).band?.row, at(250, 490).band?.row, at(250, 105).band?.row], [0, 1, undefined])
  assert.deepEqual([at(49, 300).inside, at(551, 300).inside, at(250, 501).inside, at(50, 100).inside], [
    false,
    false,
    false,
    true,
  ])
})

Deno.test("the first entry at or after a time is found", () => {
  /** @type {[number, string][]} */
  const markers = [[1, "a"], [2, "b"], [2, "c"], [5, "d"]]
  for (const s of [0, 1, 1.5, 2, 3, 5, 6]) {
    const slow = markers.findIndex(([at]) => at >= s)
    assert.equal(lower_bound(markers, s), slow < 0 ? markers.length : slow)
  }
})

Deno.test("a round number is 1, 2 or 5 times a power of ten, at or below its value and above 0.4 of it", () => {
  for (const value of [0.003, 0.7, 1, 4.99, 5, 19, 23, 99, 12345]) {
    const round = round_below(value)
    assert.ok(round <= value && round > 0.4 * value - 1e-12, `${round} for ${value}`)
    assert.match(round.toExponential(), /^[125]e/)
  }
})

Deno.test("a click on the map of trials hits its cell, and none beside the last", () => {
  const map = {per_row: 10, cell: 11, n: 23}
  assert.equal(cell_at(0, 0, map), 0)
  assert.equal(cell_at(109, 5, map), 9)
  assert.equal(cell_at(12, 23, map), 21)
  assert.equal(cell_at(60, 23, map), undefined)
})

Deno.test("a time is read as seconds, minutes or hours", () => {
  assert.deepEqual(["12.5", "12,5 s", "1:05", "1:01:05"].map(seconds_of), [12.5, 12.5, 65, 3665])
  for (const words of ["", "a", "1:", ":5", "1:2:3:4"]) assert.ok(Number.isNaN(seconds_of(words)), words)
})
