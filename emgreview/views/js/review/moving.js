// @ts-check
// Moving about: trials, channels, what is open next, and what is asked for beside the trial.

import {canvas_font_px} from "../shared/palette.js"
import {lay_bands} from "./bands.js"
import {overview_order} from "./overview.js"

/** @import {Review} from "./types.js" */

const HEARD_AROUND_S = 0.1 // what is heard before and after the selected burst
const HEARD_S = 0.5 // of a burst without an offset

/** @param {Review} review */
export function make_moving(review) {
  const {setup, store, screen, state, selection, lists} = review
  let listened = 0

  /** Leave what is selected: a nudge is sent, a form closed, a drag dropped. */
  function leave() {
    selection.flush()
    review.pointer.let_go()
    screen.asking.close()
    const lost = selection.drop_kept()
    if (lost) screen.notice.pass(`Pressed for a burst that was not yet saved, and not taken: ${lost}.`)
  }

  /** @param {number} i @param {number | null} row */
  function show(i, row = null) {
    leave()
    state.index = i
    state.awaited = !state.loaded()
    state.row = row ?? first_open(state.index) ?? rows_of(state.index)[0]
    selection.let_go()
    selection.select()
    lists.at(state.index)
    review.painting.refresh()
  }

  /** Show what Python names, unless something is being typed that would go with its form.
   * @param {number} i @param {number | null} row */
  function arrive(i, row = null) {
    if (screen.asking.unsent) review.painting.refresh()
    else show(i, row)
  }

  /** The channels that are stepped through in a trial.
   * @param {number} i */
  const rows_of = (i) => lists.rows(i) ?? state.emg_rows

  /** The first channel of a trial that is not decided.
   * @param {number} i */
  const first_open = (i) => rows_of(i).find((row) => !state.decided(i, row))

  /** To what is open next. */
  function go_on() {
    const {index} = state
    const later = rows_of(index).find((row) => row > state.row && !state.decided(index, row)) ?? first_open(index)
    if (later != null) show(index, later)
    else if (lists.words || state.count() < store.order.length) lists.step(1)
    else review.painting.refresh()
  }

  return {
    show,
    arrive,
    go_on,
    first_open,
    /** Scroll to the present channel, where the page shows less than the picture. */
    reveal() {
      if (!state.layer || screen.asking.key || screen.key_card.open) return
      const {top, height} = state.layer.frame()
      const band = lay_bands(setup, height, canvas_font_px())[state.row]
      screen.reveal(top + band.top, band.height)
    },
    /** To another row of the overview.
     * @param {number} by */
    step_row(by) {
      const order = overview_order(store, state.row, state.sort)
      const next = order[order.indexOf(state.index) + by]
      if (next != null) show(next, state.row)
    },
    /** @param {number} by */
    step_channel(by) {
      const row = state.emg_rows[state.emg_rows.indexOf(state.row) + by]
      if (row != null) show(state.index, row)
    },
    /** The next trial that is open, of those stepped through, from the present one around to it. */
    next_open_trial() {
      let untold = false // whether a trial came before it of which nothing is known
      const next = lists.next_where((i) => {
        if (!store.summaries[i]) return untold = true
        const [status, , channels] = store.summaries[i]
        const open = status === "open" || channels.some(([, , , , reviewed]) => !reviewed)
        return open && !store.pending.some(({index}) => index === i)
      })
      if (untold) {
        return screen.notice.pass(`The states of ${store.untold} trials are still being read: press again in a moment.`)
      }
      if (next != null) return show(next)
      screen.notice.pass(`${setup.none_left}${lists.words ? " in those stepped through" : ""}.`)
    },
    /** Hear the selected burst, or what is shown. */
    listen() {
      const burst = selection.burst()
      let [start_s, stop_s] = state.range()
      if (burst) {
        start_s = burst.onset_s - HEARD_AROUND_S
        stop_s = (burst.offset_s ?? burst.onset_s + HEARD_S) + HEARD_AROUND_S
      }
      listened += 1
      store.ask("listen", {n: listened, index: state.index, channel: state.label(), start_s, stop_s})
    },
    ask_spectrum() {
      const {index, row} = state
      const burst = selection.burst()
      const wanted = `${index}|${row}|${burst?.onset_s}|${burst?.offset_s}`
      if (wanted === state.spectrum_for) return
      state.spectrum_for = wanted
      screen.spectrum_map.getContext("2d")?.clearRect(0, 0, 9999, 9999)
      if (burst?.offset_s == null) return screen.notice.pass("A spectrum needs a burst with onset and offset.")
      const {onset_s, offset_s} = burst
      store.ask("spectrum", {index, channel: state.label(), onset_s, offset_s, for: wanted})
    },
  }
}

/** @typedef {ReturnType<typeof make_moving>} Moving */
