// @ts-check
/// <reference lib="deno.ns" />
// Marks of the long view: what is moved and not yet sent, and what comes of it where no decision is taken.

import assert from "node:assert/strict"
import {make_marks} from "../../emgreview/views/js/long/marks.js"
import {with_clock} from "./made.js"

/** Marks with one burst from 2 to 2.5 s, which is selected; `on` is what their screen does. */
function made() {
  const on = {
    takes: true,
    cursor_s: 1,
    /** @type {[string, Record<string, any>][]} */
    decided: [],
  }
  const setup = /** @type {any} */ ({rate_hz: 1000, n_samples: 10_000, decides: true})
  const marks = make_marks(setup, {
    decide(command, args) {
      if (on.takes) on.decided.push([command, args])
      return on.takes
    },
    asking: /** @type {any} */ ({}),
    notice: () => {},
    go_to: () => {},
    refresh: () => {},
    focus: () => 0,
    cursor: () => on.cursor_s,
    set_cursor: (s) => {
      on.cursor_s = s
    },
    range: () => [0, 10],
  })
  const burst = {row: 0, id: "b", kind: "response", onset_s: 2, offset_s: 2.5, sure: true}
  marks.take({trials: [{trial: "t", cue: "go", cue_s: 1.8, start_s: 1, stop_s: 3, bursts: [burst]}]})
  marks.commands.next_mark({command: "next_mark"})
  return {on, marks}
}

Deno.test("a nudged edge counts as held until it is sent", () =>
  with_clock((pass) => {
    const {on, marks} = made()
    assert.equal(marks.held, 0)
    marks.nudge(0.01)
    assert.deepEqual([marks.held, on.decided.length], [1, 0])
    pass(301)
    assert.deepEqual([marks.held, on.decided.length], [0, 1])
    marks.nudge(0.01)
    marks.flush() // the page hides
    assert.deepEqual(on.decided[1], ["move", {trial: "t", burst: "b", row: 0, onset_s: 2.02, offset_s: 2.5}])
    pass(301)
    assert.equal(on.decided.length, 2)
  }))

Deno.test("a dragged edge counts as held, and is sent when the page hides", () => {
  const {on, marks} = made()
  const at = (/** @type {number} */ s) => /** @type {any} */ ({s, band: {row: 0}, s_per_px: 0.001})
  assert.ok(marks.down(at(2), /** @type {any} */ ({shiftKey: false})))
  marks.drag(at(1.9))
  assert.equal(marks.held, 1)
  marks.flush()
  assert.deepEqual(on.decided.map(([, {onset_s}]) => onset_s), [1.9])
  marks.up()
  assert.equal(on.decided.length, 1)
})

Deno.test("a moved burst goes back where no decision is taken", () => {
  const {on, marks} = made()
  marks.nudge(0.01)
  on.takes = false
  marks.flush()
  assert.deepEqual(marks.shown.selected?.ends, [2, 2.5])
  assert.equal(marks.held, 0)
})
