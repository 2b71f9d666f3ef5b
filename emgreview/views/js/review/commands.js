// @ts-check
// The commands of the key table (keys.py) that move the view, by name. All others are decisions: those that ask first
// stand in forms.js, those of the selected mark in selection.js, and the rest goes to Python as it is.

import {next_sort} from "./overview.js"

/** @import {Commands} from "../types.js" */
/** @import {Review} from "./types.js" */

/** @param {Review} review
 * @returns {Commands} */
export function make_commands({setup, screen, state, selection, lists, moving, painting, words}) {
  const {refresh} = painting

  /** @param {number} gain */
  function set_gain(gain) {
    state.gain = Math.min(64, Math.max(1 / 64, gain))
    refresh()
  }

  /** Show a part of the screen, or hide it.
   * @param {HTMLElement} part */
  function toggle(part) {
    part.hidden = !part.hidden
    refresh()
  }

  function not_locatable() {
    const here = state.here()
    if (!state.loaded() || !here) {
      return screen.notice.pass(`Trial ${state.count()} is not here yet: no decision was taken.`)
    }
    const ends = selection.interval()
    if (!state.times_shown()) { // no numbers: its edges are moved by key or mouse
      if (!here.interval_s) return selection.put_interval(ends)
      return screen.notice.pass("It is not locatable already: move its edges, not before and not after.")
    }
    const [a, b] = ends.map((s) => Number((s * 1000).toFixed(1)))
    screen.asking.ask("Present, but the onset cannot be located. Times from the cue, in ms:", [
      {name: "a", words: "not before", type: "number", value: a},
      {name: "b", words: "not after", type: "number", value: b},
    ], (said) => selection.put_interval([said.a / 1000, said.b / 1000]) && moving.go_on())
  }

  return {
    next_trial: () => lists.step(1),
    previous_trial: () => lists.step(-1),
    next_row: () => moving.step_row(1),
    previous_row: () => moving.step_row(-1),
    next_channel: () => moving.step_channel(1),
    previous_channel: () => moving.step_channel(-1),
    next_unreviewed: moving.next_open_trial,
    trial: ({index}) => index != null && moving.show(index),
    channel: ({row}) => moving.show(state.index, row),
    list: lists.choose,
    overview: () => toggle(screen.overview),
    sort: () => {
      state.sort = next_sort(state.sort, state.blind)
      screen.overview.hidden = false
      refresh()
    },
    smear: () => {
      state.smear = !state.smear
      refresh()
    },
    read_out: () => {
      state.read_out = !state.read_out
      refresh()
    },
    spectrum: () => {
      state.spectrum_for = ""
      toggle(screen.spectrum)
    },
    listen: moving.listen,
    gain_up: () => set_gain(state.gain * 2),
    gain_down: () => set_gain(state.gain / 2),
    span: () => {
      if (painting.at_usual_span()) state.span = 1 - state.span
      state.layer?.set_range(...setup.spans[state.span])
      refresh()
    },
    words: () => screen.asking.tell("Every word of this trial", words.in_full()),
    key_card: () => screen.key_card.toggle(),
    not_locatable,
  }
}
