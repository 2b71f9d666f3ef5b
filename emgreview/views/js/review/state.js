// @ts-check
// What is on the screen: which trial and channel, how it is looked at; and what is known of it.

/** @import {Layer} from "../shared/layer.js" */
/** @import {Span} from "../types.js" */
/** @import {Store} from "./store.js" */
/** @import {Card, Setup} from "./types.js" */

/** @param {Setup} setup @param {Store} store */
export function make_state(setup, store) {
  const closing = new Set(setup.keys.filter((key) => key.goes_on).map((key) => key.command))
  const state = {
    index: setup.where, // the trial on the screen, and its channel
    row: 0,
    awaited: true, // the trial on the screen has not arrived since it was gone to
    gain: 1,
    span: 0, // which of the usual spans of time
    sort: 0, // of the overview: which of its orders
    read_out: true,
    smear: false,
    spectrum_for: "", // the burst whose spectrum was asked for
    progress: setup.progress,
    blind: setup.blind,
    awaited_words: setup.awaited, // what is still to come of the review
    shown: {index: -1, since: 0}, // the trial that was painted last, and since when
    layer: /** @type {Layer | null} */ (null),
  }
  return Object.assign(state, {
    emg_rows: setup.channels.flatMap((channel, row) => (channel.auxiliary ? [] : [row])),
    card: () => store.cards.get(state.index),
    here: () => store.cards.get(state.index)?.channels[state.row],
    loaded: () => store.trials.has(state.index) && store.cards.has(state.index),
    /** The number of a trial as people count, in the order of the review. */
    count: (i = state.index) => store.place(i) + 1,
    label: (row = state.row) => setup.channels[row].label,
    times_shown: () => state.read_out && !state.blind,
    /** @param {Card | undefined} card */
    titled: (card) => (state.read_out ? card?.title : card?.bare_title),
    /** The time on the screen.
     * @returns {Span} */
    range: () => state.layer?.range() ?? setup.spans[0],
    /** Whether a command closes a channel, so that the screen goes on.
     * @param {string} command */
    closes: (command) => closing.has(command),
    /** Whether a channel is decided, or a decision on its way will have it decided.
     * @param {number} i @param {number} row */
    decided(i, row) {
      const card = store.cards.get(i)?.channels[row]
      if (card?.reviewed ?? store.summaries[i]?.[2][row][4]) return true
      return store.pending.some(({index, command, channel}) =>
        index === i && closing.has(command) &&
        (command === "accept_rest" ? !card?.unfit : channel === setup.channels[row].label)
      )
    },
  })
}

/** @typedef {ReturnType<typeof make_state>} State */
