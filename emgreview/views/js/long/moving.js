// @ts-check
// Moving about in a recording: time, markers, channels, how they are shown; the commands of the key table that do so.

import {MOVES} from "../shared/asking.js"
import {lower_bound, whole_step} from "../shared/geometry.js"

/** @import {Commands} from "../types.js" */
/** @import {Marks} from "./marks.js" */
/** @import {Screen} from "./screen.js" */
/** @import {State} from "./state.js" */
/** @import {Setup} from "./types.js" */

/**
 * Seconds, m:ss or h:mm:ss to seconds; NaN where it is neither.
 * @param {string} words
 */
export function seconds_of(words) {
  const parts = words.replace(",", ".").replace(/s$/, "").trim().split(":")
  const numbers = parts.map((part) => (part.trim() === "" ? NaN : Number(part)))
  return parts.length > 3 ? NaN : numbers.reduce((sum, part) => sum * 60 + part, 0)
}

/**
 * @param {Setup} setup
 * @param {State} state
 * @param {Screen} screen
 * @param {() => void} refresh
 */
export function make_moving(setup, state, screen, refresh) {
  const {duration_s, rate_hz, markers} = setup
  const {rows, show} = state
  const all_rows = rows.map((_, row) => row)

  /** @param {number} by_s */
  function shift(by_s) {
    const [x0, x1] = state.range()
    show(x0 + by_s, x1 + by_s)
  }

  function span_s() {
    const [x0, x1] = state.range()
    return x1 - x0
  }

  /** Show as much time as now around a moment.
   * @param {number} s */
  const centre = (s) => show(s - span_s() / 2, s + span_s() / 2)

  /** Put the cursor to a moment, and bring that to the middle, if it is not well in view.
   * @param {number} s @param {string} words  for the screen reader */
  function go_to(s, words = "") {
    const span = span_s()
    state.cursor_s = state.inside(s)
    state.said = words
    const [x0, x1] = state.range()
    if (s < x0 + 0.1 * span || s > x1 - 0.1 * span) centre(s)
    refresh()
  }

  /** The cursor, or the middle of the view where it is not in it. */
  function middle() {
    const [x0, x1] = state.range()
    return state.cursor_s > x0 && state.cursor_s < x1 ? state.cursor_s : (x0 + x1) / 2
  }

  /** @param {number} factor @param {number} at  which stays where it is */
  function zoom(factor, at = middle()) {
    const [x0, x1] = state.range()
    const span = Math.min(duration_s, Math.max(state.shortest_s, (x1 - x0) * factor))
    const start = at - ((at - x0) / (x1 - x0)) * span
    show(start, start + span)
  }

  /** The cursor, which comes to the middle of the view if it was left behind. */
  function seen_cursor() {
    const [x0, x1] = state.range()
    if (state.cursor_s < x0 || state.cursor_s > x1) state.cursor_s = (x0 + x1) / 2
    return state.cursor_s
  }

  /** @param {1 | -1} by */
  function step_marker(by) {
    const half = 0.5 / rate_hz
    const from = seen_cursor()
    const marker = markers[by > 0 ? lower_bound(markers, from + half) : lower_bound(markers, from - half) - 1]
    if (!marker) return screen.notice.pass(by > 0 ? "There is no later marker." : "There is no earlier marker.")
    go_to(marker[0], `${marker[1]} at ${marker[0].toFixed(3)} s`)
  }

  /** @param {number} row */
  function face(row) {
    state.focus = Math.max(0, Math.min(rows.length - 1, row))
    state.said = ""
  }

  /** @param {number[]} which @param {string} kind */
  function set_kind(which, kind) {
    for (const row of which) if (!setup.channels[row].auxiliary) rows[row].kind = kind
    refresh()
  }

  /** @param {number[]} which @param {number | null | undefined} factor  none: the usual gain */
  function set_gain(which, factor) {
    for (const row of which) rows[row].gain = factor ? Math.min(256, Math.max(1 / 256, rows[row].gain * factor)) : 1
    refresh()
  }

  function choose_marker() {
    if (!markers.length) return screen.notice.pass("This recording has no markers.")
    const at = Math.min(markers.length - 1, lower_bound(markers, state.cursor_s - 0.5 / rate_hz))
    const items = markers.map(([s, words]) => `${s.toFixed(3)} s  ${words}`)
    screen.asking.pick(`Go to which of ${markers.length} markers?`, items, at, (i) => go_to(...markers[i]))
  }

  function ask_time() {
    const question = `Go to which time? Seconds from the start (0 to ${duration_s.toFixed(0)}), or h:mm:ss`
    screen.asking.ask(question, [{name: "time", words: "", value: state.cursor_s.toFixed(3)}], ({time}) => {
      const s = seconds_of(time)
      if (s >= 0 && s <= duration_s) return go_to(s)
      const allowed = `give 0 to ${duration_s.toFixed(3)} s, or h:mm:ss.`
      screen.asking.complain(`“${time}” is no time of this recording: ${allowed}`)
      return false
    }, MOVES)
  }

  /** The cursor's keys: the selected mark moves with them, if there is one.
   * @param {Pick<Marks, "nudge">} marks @param {{by_s?: number, widths?: number}} by */
  function step_cursor(marks, {by_s, widths = 0}) {
    const by = by_s == null ? widths * span_s() : whole_step(by_s, rate_hz) / rate_hz
    if (marks.nudge(by)) return refresh()
    const at = seen_cursor() + by
    go_to(by_s ? Math.round(at * rate_hz) / rate_hz : at)
  }

  /** Commands of the key table, by name.
   * @param {Pick<Marks, "nudge">} marks
   * @returns {Commands} */
  const commands = (marks) => ({
    pan: ({arguments: {widths}}) => shift(widths * span_s()),
    start: () => go_to(0, "start of the recording"),
    end: () => go_to(duration_s, "end of the recording"),
    next_marker: () => step_marker(1),
    previous_marker: () => step_marker(-1),
    marker_list: choose_marker,
    go_to: ask_time,
    next_channel: () => {
      face(state.focus + 1)
      refresh()
    },
    previous_channel: () => {
      face(state.focus - 1)
      refresh()
    },
    channel: ({row = state.focus}) => {
      face(row)
      refresh()
    },
    zoom: ({arguments: {factor}}) => zoom(factor),
    usual_span: () => {
      const [at, half] = [middle(), (setup.view_s[1] - setup.view_s[0]) / 2]
      show(at - half, at + half)
    },
    whole: () => show(0, duration_s),
    show: ({arguments: {kind}}) => set_kind([state.focus], kind),
    show_all: ({arguments: {kind}}) => set_kind(all_rows, kind),
    next_kind: ({row = state.focus}) => {
      state.focus = row
      set_kind([row], setup.kinds[(setup.kinds.indexOf(rows[row].kind) + 1) % setup.kinds.length])
    },
    gain: ({arguments: {factor}}) => set_gain([state.focus], factor),
    gain_all: ({arguments: {factor}}) => set_gain(all_rows, factor),
    cursor: ({arguments: by}) => step_cursor(marks, by),
    key_card: () => screen.key_card.toggle(),
  })

  return {commands, go_to, shift, zoom, centre, face, seen_cursor}
}

/** @typedef {ReturnType<typeof make_moving>} Moving */
