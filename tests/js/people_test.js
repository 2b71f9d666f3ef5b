// @ts-check
/// <reference lib="deno.ns" />
// The screen of people: orders with missing values last, round ticks, panels that fit, colours in even steps, packs.

import assert from "node:assert/strict"
import {unpack} from "../../emgreview/views/js/shared/pack.js"
import {extent, log_ticks, nearest_of, round_ticks, share_along} from "../../emgreview/views/js/people/axes.js"
import {rate_points} from "../../emgreview/views/js/people/group.js"
import {HEATS, ramp, row_at, run_starts, step_of, trial_ticks} from "../../emgreview/views/js/people/heat.js"
import {lay_panels} from "../../emgreview/views/js/people/multiples.js"
import {by_response, flag_words, FLAGGED, people_order, stepped, STUDY} from "../../emgreview/views/js/people/order.js"
import {trials_of, values_of} from "../../emgreview/views/js/people/store.js"
import {cell_words} from "../../emgreview/views/js/people/table.js"
import {pack_of} from "./made.js"

/** @param {(number | string | null)[]} values  one cell a person */
function study(values) {
  const people = values.map((value, i) => ({name: `P${i}`, n: 1, unit: "µV", runs: [], cells: [[value]]}))
  const flag = (/** @type {number} */ person, /** @type {number} */ rank) => (
    {person, channel: "", code: "late", reason: "", kind: "", value: null, limit: null, trials: [], rank}
  )
  return {people, flags: [flag(2, 5), flag(2, 9), flag(4, 1)]}
}

Deno.test("flagged people stand first, the gravest flag before all, the others in the order of the study", () => {
  assert.deepEqual(people_order(study([1, 1, 1, 1, 1]), {by: FLAGGED, down: false, row: 0}), [4, 2, 0, 1, 3])
  assert.deepEqual(people_order(study([1, 1, 1]), {by: STUDY, down: true, row: 0}), [2, 1, 0])
})

Deno.test("what is missing stands last, whichever way round", () => {
  const setup = study([3, null, 1, null, 2])
  assert.deepEqual(people_order(setup, {by: 0, down: false, row: 0}), [2, 4, 0, 1, 3])
  assert.deepEqual(people_order(setup, {by: 0, down: true, row: 0}), [0, 4, 2, 1, 3])
  assert.deepEqual(people_order(setup, {by: 0, down: true, row: 7}), [0, 1, 2, 3, 4], "a channel that nobody has")
  assert.deepEqual(people_order(study(["run 10", "", "run 9"]), {by: 0, down: false, row: 0}), [2, 0, 1])
  assert.deepEqual(by_response([0.4, NaN, 0.2, 0.4]), [2, 0, 3, 1])
})

Deno.test("steps through a list stay within it", () => {
  assert.equal(stepped([5, 3, 8], 3, 1), 8)
  assert.equal(stepped([5, 3, 8], 8, 1), 8)
  assert.equal(stepped([5, 3, 8], null, 1), 5)
  assert.equal(stepped([5, 3, 8], null, -1), 8)
  assert.equal(stepped([], null, 1), null)
})

Deno.test("flags are words: a code once, with its channels", () => {
  const {flags} = study([1])
  const mains = (/** @type {string} */ channel) => ({...flags[0], code: "mains", channel})
  assert.equal(flag_words([mains("BB"), flags[0], mains("FCR")]), "mains (BB, FCR); late")
  assert.equal(flag_words([]), "")
})

Deno.test("ticks are round, within, and not too many", () => {
  for (const [low, high] of [[0, 1], [-1, 1.5], [0, 36.2], [-0.003, 0.0041], [190, 1200]]) {
    const ticks = round_ticks(low, high, 4)
    assert.ok(ticks.length >= 1 && ticks.length <= 5, String(ticks))
    assert.ok(ticks.every((tick) => tick >= low - 1e-9 && tick <= high + 1e-9))
  }
  assert.deepEqual(round_ticks(0, 1, 4), [0, 0.5, 1])
  assert.deepEqual(log_ticks(1, 100), [1, 2, 5, 10, 20, 50, 100])
  assert.deepEqual(log_ticks(1, 10000), [1, 10, 100, 1000, 10000])
  assert.ok(log_ticks(2.1, 2.9).length > 1, "a narrow one has ticks, too")
  assert.deepEqual(trial_ticks(40), [1, 10, 20, 30, 40])
  assert.deepEqual(trial_ticks(3), [1, 2, 3])
})

Deno.test("an extent holds all that is finite, and is never empty", () => {
  assert.deepEqual(extent([NaN, Infinity], [0, 1]), [0, 1])
  const [low, high] = extent([2, 4, NaN], [0, 1])
  assert.ok(low < 2 && high > 4)
  const [a, b] = extent([5, 5], [0, 1])
  assert.ok(a < 5 && b > 5)
  assert.equal(share_along({low: 1, high: 100, words: "", log: true}, 10), 0.5)
})

Deno.test("panels fit into the picture, and pages hold all people", () => {
  for (const n of [1, 2, 3, 8, 16, 40, 200]) {
    for (const size of [{width: 400, height: 260}, {width: 780, height: 377}, {width: 1500, height: 377}]) {
      const {across, down, per_page, wide, high} = lay_panels(size, n, 11)
      assert.ok(across * wide <= size.width && down * high <= size.height)
      assert.equal(per_page, across * down)
      assert.ok(per_page >= Math.min(n, 6), `${n} people: ${per_page} a page`)
    }
  }
})

/** Lightness of a colour from 0 to 1, as sRGB has its luminance (WCAG 2).
 * @param {number} abgr */
function luminance(abgr) {
  const part = (/** @type {number} */ shift) => {
    const v = ((abgr >> shift) & 255) / 255
    return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4
  }
  return 0.2126 * part(0) + 0.7152 * part(8) + 0.0722 * part(16)
}

Deno.test("colours of a heat map get darker, or lighter, with every step: no hue is needed to read them", () => {
  for (const [theme, way] of /** @type {[string, number][]} */ ([["light", -1], ["dark", 1]])) {
    const lights = Array.from(ramp(HEATS[theme]), luminance)
    for (let i = 8; i < lights.length; i += 8) assert.ok(way * (lights[i] - lights[i - 8]) > 0, `${theme} at ${i}`)
    assert.ok(Math.abs(lights[255] - lights[0]) > 0.8)
  }
  assert.equal(step_of(5, 10), 128)
  assert.equal(step_of(99, 10), 255)
  assert.equal(step_of(-1, 10), 0)
})

Deno.test("rows, runs and dots are found where they lie", () => {
  const box = {left: 30, top: 10, width: 100, height: 40}
  assert.deepEqual(row_at(50, 35, box, 10, 4, (row) => 3 - row), {trial: 1})
  assert.equal(row_at(20, 35, box, 10, 4), null)
  assert.equal(row_at(50, 55, box, 10, 4), null)
  assert.deepEqual(run_starts([0, 0, 1, 1, 2]), [2, 4])
  const find = nearest_of([[0, 0, {trial: 1}], [10, 0, {trial: 2}]])
  assert.deepEqual(find(7, 1), {trial: 2})
  assert.equal(find(60, 60), null)
})

Deno.test("people with the same rate stand beside each other; one without the channel nowhere", () => {
  const points = rate_points({n: [40, 40, 40, 0, 38], none: [1, 1, 1, 0, 1]})
  assert.deepEqual(points.map(([, , , person]) => person), [0, 1, 2, 4])
  assert.equal(new Set(points.slice(0, 3).map(([, , aside]) => aside)).size, 3)
})

Deno.test("a pack gives each channel its own values, and what is missing is NaN", () => {
  const bins = 2
  const traces = {
    onset: [100, -32768, 300, 400], // two channels of two trials
    low: [0, 0, 0, 0],
    high: [0, 0, 0, 0],
    offset: [0, 0, 0, 0],
    response: [500, -32768],
    level: [1, 2, 3, 4],
    rest: [0, 1, 2, -32768],
    envelope: [1, 2, 3, 4, 5, 6, 7, 8],
    alike: [1, 0, 0, 1],
    spectra: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12], // before and after, two channels, three frequencies
  }
  const head = {
    person: 0,
    labels: ["FCR", "ECR"],
    run: [0, 0],
    ids: ["/a", "/b"],
    signal: [[0, 0], [1, 2]],
    reviewed: [[false, true], [true, true]],
    none: [[false, false], [false, true]],
    heat_limit: [8, null],
  }
  const pack = pack_of(head, traces)
  const {head: {people: [came]}, fill} = unpack(pack)
  Object.values(came.traces).forEach(fill)
  const one = trials_of(came, "ECR", bins, 3)
  assert.ok(one)
  assert.deepEqual([...one.onset], [300, 400])
  assert.deepEqual([...one.rest], [100, NaN], "rest comes as powers of ten")
  assert.deepEqual([...one.envelope.samples], [5, 6, 7, 8])
  assert.deepEqual([...one.response], [500, NaN])
  assert.deepEqual(one.spectra.map((half) => [...half]), [[4, 5, 6], [10, 11, 12]])
  assert.deepEqual(one.signal, [1, 2])
  assert.equal(trials_of(came, "BB", bins, 3), null)
  assert.deepEqual([...values_of({samples: Int16Array.of(-32768, 4), scale: 0.5})], [NaN, 2])
})

Deno.test("what is missing in a cell is said, never 0", () => {
  const column = {name: "", head: "", unit: "", words: "", digits: 1}
  assert.equal(cell_words(null, column), "n/a")
  assert.equal(cell_words(-0.25, column), "−0.3")
  assert.equal(cell_words("clipped", column), "clipped")
})
