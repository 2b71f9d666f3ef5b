// @ts-check
// Taking a decision: where none can be taken, what was visible, and which marks an acceptance has seen.

/** @import {Review} from "./types.js" */

/** @param {Review} review */
export function make_deciding(review) {
  const {store, screen, state} = review

  function visible() {
    const {layer, gain, index, row, shown} = state
    const [x0, x1] = state.range()
    const seconds = shown.index === index ? (performance.now() - shown.since) / 1000 : 0
    const trial = store.trials.get(index)
    return {
      seconds: Number(seconds.toFixed(2)),
      gain,
      full_scale: trial ? Number((trial.full_scale[row] / gain).toPrecision(4)) : null,
      span_s: [Number(x0.toFixed(4)), Number(x1.toFixed(4))],
      ms_per_px: layer?.frame().width ? Number((((x1 - x0) * 1000) / layer.frame().width).toFixed(2)) : null,
      walk: review.lists.name,
      automatic: !state.here()?.hidden,
      read_out: state.times_shown(),
      overview: !screen.overview.hidden,
      response: !state.blind,
      typical: !state.blind && store.typical.has(`${trial?.recording}|${row}`),
      spectrum: !screen.spectrum.hidden,
      smear: state.smear,
    }
  }

  /** The marks that an acceptance takes as they are seen, by channel: Python refuses where something else stands.
   * @param {string} command */
  function seen_by(command) {
    const {index, row, emg_rows} = state
    const channels = state.card()?.channels
    if (!channels || (command !== "accept" && command !== "accept_rest")) return null
    const rows = command === "accept" ? [row] : emg_rows.filter((r) => !state.decided(index, r))
    const marks = rows.map((r) => channels[r].bursts.map(({id, onset_s, offset_s}) => [id, onset_s, offset_s]))
    return Object.fromEntries(rows.map((r, i) => [state.label(r), marks[i]]))
  }

  /** Why nothing can be decided just now; "" = all well. */
  function hindrance() {
    if (!state.loaded()) return `Trial ${state.count()} is not here yet: no decision was taken.`
    const back = store.pending.some(({command}) => command === "undo" || command === "redo")
    return back ? "Taking back: no decision was taken." : ""
  }

  /** Send a decision about the trial on the screen; false, and said so, where none may be taken.
   * @param {string} command @param {object} args @param {string | null} channel  null: the whole trial */
  function decide(command, args = {}, channel = state.label()) {
    const why = hindrance()
    if (why) {
      screen.notice.pass(why)
      return false
    }
    const edges = command === "not_locatable" && state.here()?.interval_s // they may be moved
    const closes = state.closes(command) && !edges
    const seen = seen_by(command)
    if (!store.decide({command, index: state.index, channel, args, visible: visible(), seen})) {
      if (store.stopped) screen.notice.pass(store.stopped)
      return false
    }
    if (closes) review.words.closed()
    review.words.propose_break()
    return true
  }

  return {
    decide,
    /** Whether an added burst of the present channel is on its way. */
    adding: () =>
      store.pending.some(({command, index, channel}) =>
        command === "add" && index === state.index && channel === state.label()
      ),
    /** Refuse before Python is asked.
     * @param {string} words */
    refuse(words) {
      screen.notice.show(`Trial ${state.count()}, ${state.label()}: not taken: ${words}`)
      review.painting.refresh()
    },
  }
}

/** @typedef {ReturnType<typeof make_deciding>} Deciding */
