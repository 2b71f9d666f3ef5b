// @ts-check
/// <reference lib="deno.ns" />
// What is selected and where it is put: nudges, the cursor, intervals, and keys pressed while a burst is on its way.

import assert from "node:assert/strict"
import {make_selection, marks_of, NUDGE_MS} from "../../emgreview/views/js/review/selection.js"
import {with_clock} from "./made.js"

const RATE_HZ = 2000

/** @param {string} id @param {number} onset_s @param {number | null} offset_s */
const burst = (id, onset_s, offset_s = null, kind = "response") => ({id, kind, onset_s, offset_s, half_width_s: null})

/** A selection on a screen of its own; `on` is what that shows.
 * @param {object} channel */
function made(channel = {}, rate_hz = RATE_HZ) {
  const on = {
    channel: /** @type {any} */ ({bursts: [burst("response", 0.2, 0.5)], interval_s: null, automatic: {}, ...channel}),
    place: {index: 0, row: 0},
    adding: false,
    stopped: "",
    takes: true,
    /** @type {[string, Record<string, any>][]} */
    decided: [],
    /** @type {string[]} */
    said: [],
  }
  const selection = make_selection({spans: [[-1, 1.5], [-0.1, 0.6]], rate_hz, cursor_s: 0.25}, {
    channel: () => on.channel,
    place: () => on.place,
    range: () => [-1, 1.5],
    adding: () => on.adding,
    stopped: () => on.stopped,
    decide(command, args) {
      if (on.takes) on.decided.push([command, args])
      return on.takes
    },
    notice: (words) => on.said.push(words),
    refuse: (words) => on.said.push(`refused: ${words}`),
    refresh: () => {},
    redraw: () => {},
  })
  selection.select()
  const press = (/** @type {string} */ command, args = {}) => selection.commands[command]({command, arguments: args})
  return {on, selection, press}
}

Deno.test("the marks of a channel are its onsets and offsets as far as there are any, or the edges of its interval", () => {
  const marks = marks_of({bursts: [burst("a", 0.1, 0.3), burst("b", 0.5)], interval_s: null})
  assert.deepEqual(marks.map(({burst, side, s}) => [burst, side, s]), [
    ["a", "onset", 0.1],
    ["a", "offset", 0.3],
    ["b", "onset", 0.5],
  ])
  const edges = marks_of({bursts: [], interval_s: [0.1, 0.2]})
  assert.deepEqual(edges.map(({burst, side}) => [burst, side]), [[null, "earliest"], [null, "latest"]])
})

Deno.test("the response is selected first, else the first burst, else an edge of the interval, else nothing", () => {
  const cross = burst("x", 0.1, null, "crosstalk")
  assert.equal(made({bursts: [cross, burst("response", 0.2)]}).selection.mark.burst, "response")
  assert.equal(made({bursts: [cross]}).selection.mark.burst, "x")
  assert.equal(made({bursts: [], interval_s: [0.1, 0.2]}).selection.mark.side, "earliest")
  assert.deepEqual(made({bursts: []}).selection.mark, {burst: null, side: "onset", at_s: null})
})

Deno.test("nudges add up and are sent once, when no further one follows", () =>
  with_clock((pass) => {
    const {on, selection, press} = made()
    for (const by_s of [0.001, 0.001, 0.01, -0.001]) {
      press("nudge", {by_s})
      pass(NUDGE_MS / 2)
    }
    assert.ok(selection.nudged)
    assert.equal(on.decided.length, 0)
    pass(NUDGE_MS)
    const [command, {burst, onset_s}] = on.decided[0]
    assert.deepEqual([command, burst, on.decided.length], ["move", "response", 1])
    assert.ok(Math.abs(onset_s - 0.211) < 1e-9)
    assert.equal(on.channel.bursts[0].onset_s, onset_s)
    assert.ok(!selection.nudged)
  }))

Deno.test("a held nudge counts, and is sent when another mark is taken, not lost", () =>
  with_clock((pass) => {
    const {on, selection, press} = made()
    assert.equal(selection.held, 0)
    press("nudge", {by_s: 0.01})
    assert.equal(selection.held, 1)
    selection.take({burst: "response", side: "offset"}) // a press of the mouse
    assert.deepEqual(on.decided, [["move", {burst: "response", onset_s: 0.21}]])
    assert.equal(selection.held, 0)
    pass(2 * NUDGE_MS)
    assert.equal(on.decided.length, 1)
  }))

Deno.test("what is not taken is not shown as if it were", () => {
  const {on, selection, press} = made()
  press("nudge", {by_s: 0.01})
  on.takes = false
  selection.flush()
  assert.deepEqual([on.decided.length, on.channel.bursts[0].onset_s], [0, 0.2])
})

Deno.test("what is pressed for a burst on its way counts as held", () => {
  const {on, selection, press} = made()
  press("add")
  on.adding = true
  selection.keep(true, () => {})
  selection.keep(false, () => {})
  assert.equal(selection.held, 2)
  selection.drop_kept()
  assert.equal(selection.held, 0)
})

Deno.test("a nudge moves a sample at least, and whole samples always", () => {
  for (const rate_hz of [200, 500, 2000, 10000]) {
    const {selection, press} = made({}, rate_hz)
    press("nudge", {by_s: 0.001})
    const moved = ((selection.held_s ?? NaN) - 0.2) * rate_hz
    assert.ok(Math.abs(moved - Math.max(1, rate_hz / 1000)) < 1e-6, `${moved} samples at ${rate_hz} Hz`)
    selection.flush()
  }
})

Deno.test("an offset is never put before its onset", () => {
  const {on, selection, press} = made()
  press("switch_side")
  assert.equal(selection.mark.side, "offset")
  selection.set_cursor(0.1)
  press("to_cursor")
  assert.deepEqual(on.decided, [])
  assert.match(on.said[0], /^refused: the offset would not come after its onset/)
})

Deno.test("a side that is not there is not nudged, and is placed by the cursor", () => {
  const {on, selection, press} = made({bursts: [burst("response", 0.2)]})
  press("switch_side")
  press("nudge", {by_s: 0.001})
  assert.match(on.said[0], /has no offset yet/)
  selection.set_cursor(0.4)
  press("to_cursor")
  assert.deepEqual(on.decided, [["move", {burst: "response", offset_s: 0.4}]])
})

Deno.test("the cursor stays on samples and within the trial", () => {
  const {selection, press} = made()
  selection.set_cursor(0.10013)
  assert.equal(selection.cursor_s, 0.1)
  selection.set_cursor(99)
  assert.equal(selection.cursor_s, 1.5)
  press("cursor", {by_s: 0.05})
  assert.equal(selection.cursor_s, 1.5)
  press("cursor", {by_s: -0.05})
  assert.equal(selection.cursor_s, 1.45)
})

Deno.test("bursts are selected in turn", () => {
  const {selection, press} = made({bursts: [burst("a", 0.1, null, "other"), burst("response", 0.2), burst("c", 0.4)]})
  const seen = [1, 2, 3].map(() => {
    press("next_burst")
    return selection.mark.burst
  })
  assert.deepEqual(seen, ["c", "a", "response"])
})

Deno.test("the edges of an interval are moved one by one, and change places when they cross", () => {
  const {on, selection, press} = made({bursts: [], interval_s: [0.1, 0.2]})
  selection.set_cursor(0.3)
  press("to_cursor")
  assert.deepEqual(on.decided, [["not_locatable", {earliest_s: 0.2, latest_s: 0.3}]])
  assert.equal(selection.mark.side, "latest")
})

Deno.test("an interval begins as it stands, else as found, else around the cursor", () => {
  assert.deepEqual(made({interval_s: [0.1, 0.2]}).selection.interval(), [0.1, 0.2])
  assert.deepEqual(made({automatic: {low_s: 0.15, high_s: 0.3}}).selection.interval(), [0.15, 0.3])
  assert.deepEqual(made().selection.interval(), [0.2, 0.3])
})

Deno.test("an added burst is selected once it is there, and what was pressed meanwhile follows it", () => {
  const {on, selection, press} = made()
  selection.set_cursor(0.8)
  press("add")
  on.adding = true
  assert.deepEqual(on.decided, [["add", {onset_s: 0.8}]])
  /** @type {string[]} */
  const ran = []
  assert.ok(selection.keep(true, () => ran.push("of the mark")))
  assert.ok(selection.keep(false, () => ran.push("after it")))
  selection.run_kept()
  assert.deepEqual(ran, [])
  on.adding = false
  on.channel.bursts.push(burst("b2", 0.8))
  selection.select()
  selection.run_kept()
  assert.deepEqual([selection.mark.burst, selection.mark.side], ["b2", "offset"])
  assert.deepEqual(ran, ["of the mark", "after it"])
})

Deno.test("a key that is of no mark is not kept, unless others are kept before it", () => {
  const {on, selection, press} = made()
  press("add")
  on.adding = true
  assert.ok(!selection.keep(false, () => {}))
  on.stopped = "no decision is taken"
  assert.ok(!selection.keep(true, () => {}))
})

Deno.test("an added burst that was refused takes with it what was pressed after it", () => {
  const {on, selection, press} = made()
  press("add")
  on.adding = true
  selection.keep(true, () => assert.fail("it was to be forgotten"))
  assert.equal(selection.forget_added(), 1)
  on.adding = false
  selection.run_kept()
})

Deno.test("another place has no part in an added burst", () => {
  const {on, selection, press} = made()
  press("add")
  on.adding = true
  on.place = {index: 1, row: 0}
  assert.ok(!selection.keep(true, () => {}))
  press("remove")
  assert.deepEqual(on.decided.at(-1), ["remove", {burst: "response"}])
})

Deno.test("a dragged mark is sent where it is let go; one that is dropped stays", () => {
  const {on, selection} = made()
  selection.take({burst: "response", side: "onset"})
  selection.hold(0.31)
  selection.drop()
  assert.deepEqual([selection.held_s, on.decided.length], [0.2, 0])
  selection.hold(0.31)
  selection.put()
  assert.deepEqual(on.decided, [["move", {burst: "response", onset_s: 0.31}]])
  assert.equal(selection.cursor_s, 0.31)
})

Deno.test("nothing is sent while decisions are stopped", () => {
  const {on, selection} = made()
  on.stopped = "Python does not answer"
  selection.hold(0.31)
  selection.put()
  assert.deepEqual(on.decided, [])
})
