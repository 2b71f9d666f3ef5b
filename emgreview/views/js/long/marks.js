// @ts-check
// Marks on a recording: trials, bursts, stretches and cues as Python confirmed them, what is selected, and the decisions
// that come of it. Times in seconds from the start of the recording.

import {snap, within} from "../shared/geometry.js"

/** @import {Asking} from "../shared/asking.js" */
/** @import {Place} from "../shared/geometry.js" */
/** @import {Commands, News, Span, Timer} from "../types.js" */
/** @import {Burst, Card, Selection, Setup, Status} from "./types.js" */

const NEAR_PX = 6
const NUDGE_MS = 300 // a nudge is sent this long after the last one
const SIDES = /** @type {const} */ ([0, 1])
const other = (/** @type {0 | 1} */ side) => SIDES[1 - side]

/**
 * @param {Setup} setup
 * @param {{
 *   decide: (command: string, args: Record<string, unknown>) => boolean, asking: Asking, notice: (words: string) => void,
 *   go_to: (s: number, words: string) => void, refresh: () => void, focus: () => number, cursor: () => number,
 *   set_cursor: (s: number) => void, range: () => Span}} host
 *   the screen around them: the channel in focus, the cursor as it is in view, the time shown
 */
export function make_marks(setup, host) {
  /** @type {Map<string, Card>} */
  const cards = new Map()
  /** @type {Status} */
  let status = {aside: [], marked: [], added: []}
  /** @type {Selection | null} */
  let selected = null
  let dragging = false
  /** @type {Timer} of a nudge that is not yet sent */
  let nudged

  const {rate_hz, n_samples} = setup
  const snapped = (/** @type {number} */ s) => within(snap(s, rate_hz), 0, (n_samples - 1) / rate_hz)
  const in_view = (/** @type {number} */ s) => s >= host.range()[0] && s <= host.range()[1]
  /** @param {{trial: string, id: string}} burst @param {number} row */
  const burst_of = ({trial, id}, row) => cards.get(trial)?.bursts.find((b) => b.id === id && b.row === row)

  /** @param {News} update */
  function take(update) {
    for (const card of update.trials ?? []) cards.set(card.trial, card)
    if (update.status) status = update.status
    if (!selected?.burst || selected.moved || dragging) return
    const burst = burst_of(selected.burst, selected.row)
    if (burst) selected.ends = [burst.onset_s, burst.offset_s]
    else selected = null
  }

  /** @param {Card} card @param {Burst} burst @param {0 | 1} side */
  function take_burst(card, burst, side) {
    flush()
    const {id, row, onset_s, offset_s} = burst
    selected = {burst: {trial: card.trial, id}, row, ends: [onset_s, offset_s], side, moved: false}
  }

  /** Send a burst that was moved; it goes back where no decision is taken. */
  function flush() {
    clearTimeout(nudged)
    if (!selected?.moved || !selected.burst) return
    selected.moved = false
    const {burst: {trial, id}, row, ends: [onset_s, offset_s]} = selected
    if (!host.decide("move", {trial, burst: id, row, onset_s, offset_s})) take({})
  }

  /** @param {Selection} held @param {0 | 1} side @param {number} s */
  function move_edge(held, side, s) {
    held.ends[side] = snapped(s)
    held.side = side
    held.moved = true
    const [a, b] = held.ends
    if (b != null && b < a) {
      held.ends = [b, a]
      held.side = other(side)
    }
    host.set_cursor(held.ends[held.side] ?? a)
    if (!held.burst || dragging) return
    clearTimeout(nudged)
    nudged = setTimeout(flush, NUDGE_MS)
  }

  /** The cursor's keys move the selected edge: true if there is one.
   * @param {number} by_s */
  function nudge(by_s) {
    if (selected?.side == null) return false
    const at_s = selected.ends[selected.side]
    if (at_s == null) return false
    move_edge(selected, selected.side, at_s + by_s)
    return true
  }

  /** The selected stretch, if it has a length. */
  function whole_stretch() {
    if (!selected || selected.burst) return null
    const {row, ends: [start_s, stop_s]} = selected
    return stop_s != null && stop_s > start_s ? {row, start_s, stop_s} : null
  }
  const need_stretch = () =>
    host.notice(
      selected && !selected.burst ?
        "The selected stretch has no length: move its end first."
        : "Select a stretch first: [ and ] at the cursor, or drag with Shift.",
    )

  function nearest_card() {
    const s = host.cursor()
    const away = (/** @type {Card} */ card) => Math.abs((card.corrected_s ?? card.cue_s) - s)
    return [...cards.values()].sort((a, b) => away(a) - away(b))[0]
  }

  function nearest_cue() {
    const card = nearest_card()
    if (card && in_view(card.cue_s)) return card
    host.notice("No cue of a trial is in view.")
    return null
  }

  /** @param {string} command @param {object} more */
  function stretch_decision(command, more) {
    const stretch = whole_stretch()
    if (!stretch) return need_stretch()
    const taken = host.decide(command, {...stretch, ...more})
    if (taken) selected = null
    host.refresh()
    return taken
  }

  /** @param {string} question @param {string} value @param {(said: string) => void} done */
  const why = (question, value, done) =>
    host.asking.ask(question, [{name: "said", words: "", value}], ({said}) => done(said))

  /** @type {Commands} */
  const commands = {
    edge: ({arguments: {side}}) => {
      const s = snapped(host.cursor())
      const held = selected?.row === host.focus() ? selected : null
      const across = held && (side === 0 ? held.ends[1] != null && s >= held.ends[1] : s < held.ends[0])
      if (across && held.burst) {
        return host.notice("That would put the end of the burst before its start. Esc lets go of it.")
      }
      if (!held || across) {
        flush()
        selected = {burst: null, row: host.focus(), ends: [s, s], side: other(side), moved: false} // the other end goes along
      } else move_edge(held, side, s)
      host.refresh()
    },
    switch_side: () => {
      if (!selected) return host.notice("Nothing is selected: [ and ] select a stretch, I the next burst.")
      flush()
      const held = selected
      held.side = held.side === 0 ? 1 : held.side === 1 ? null : 0
      const at_s = held.side == null ? null : held.ends[held.side]
      if (at_s != null) host.set_cursor(at_s)
      host.refresh()
    },
    let_go: () => {
      flush()
      selected = null
      host.refresh()
    },
    next_mark: () => {
      flush()
      const s = host.cursor() + 0.5 / rate_hz
      const all = [...cards.values()].flatMap((card) => card.bursts.map((burst) => ({card, burst})))
      const [later] = all.filter(({burst}) => burst.row === host.focus() && burst.onset_s > s)
        .sort((a, b) => a.burst.onset_s - b.burst.onset_s)
      if (!later) return host.notice("There is no later burst on this channel.")
      take_burst(later.card, later.burst, 0)
      host.go_to(later.burst.onset_s, `burst, onset ${later.burst.onset_s.toFixed(3)} s`)
    },
    mark_burst: () => stretch_decision("mark_burst", {kind: "response"}),
    set_aside: () => {
      if (!whole_stretch()) return need_stretch()
      host.asking.choose(
        "Why is this stretch set aside?",
        setup.choices.reasons,
        true,
        (reasons) => stretch_decision("set_aside", {reasons}) ? host.asking.close() : false,
      )
    },
    burst_kind: () => {
      if (!selected?.burst) return host.notice("Select a burst first: click its edge, or I for the next one.")
      flush()
      const {burst: {trial, id}, row} = selected
      host.asking.choose(
        "What kind of burst is this?",
        setup.choices.kind,
        false,
        ([kind]) => host.decide("kind", {trial, burst: id, row, kind}),
      )
    },
    remove: () => {
      if (!selected?.burst) {
        return host.notice("Select a burst first; stretches set aside are taken back by undo.")
      }
      selected.moved = false
      const {burst: {trial, id}, row} = selected
      if (host.decide("remove", {trial, burst: id, row})) selected = null
      host.refresh()
    },
    correct_cue: () => {
      const card = nearest_cue()
      const at_s = snapped(host.cursor())
      if (!card) return
      const by_ms = (at_s - card.cue_s) * 1000
      const by = `${Math.abs(by_ms).toFixed(1)} ms ${by_ms < 0 ? "earlier" : "later"}`
      why(
        `The cue ${card.cue} at ${card.cue_s.toFixed(3)} s belongs at ${at_s.toFixed(3)} s (${by}). Why?`,
        by_ms < 0 ? "late" : "early",
        (reason) => host.decide("correct_cue", {trial: card.trial, at_s, reason}),
      )
    },
    no_cue: () => {
      const card = nearest_cue()
      if (!card) return
      if (card.none) return host.decide("no_cue", {trial: card.trial, reason: null})
      why(
        `The cue ${card.cue} at ${card.cue_s.toFixed(3)} s is none. Why?`,
        "double",
        (reason) => host.decide("no_cue", {trial: card.trial, reason}),
      )
    },
    add_cue: () => {
      const at_s = snapped(host.cursor())
      const which = setup.cues.length > 1 ? `Which (${setup.cues.join(" or ")})?` : "Which?"
      why(
        `A cue is missing at ${at_s.toFixed(4)} s. ${which}`,
        nearest_card()?.cue ?? setup.cues[0],
        (label) => host.decide("add_cue", {at_s, label}),
      )
    },
    undo: () => {
      flush()
      host.decide("undo", {})
    },
    redo: () => {
      flush()
      host.decide("redo", {})
    },
  }

  // --- the pointer ------------------------------------------------------------------------------------------------

  /** The edge under the pointer: of what is selected, or of a burst.
   * @param {Place} at
   * @returns {{side: 0 | 1, card?: Card, burst?: Burst} | null} */
  function edge_at({s, band, s_per_px}) {
    if (!band) return null
    const slack = NEAR_PX * s_per_px
    const close = (/** @type {number | null} */ t) => t != null && Math.abs(t - s) <= slack
    const side = selected?.row === band.row ? SIDES.find((one) => close(selected?.ends[one] ?? null)) : undefined
    if (side != null) return {side}
    for (const card of cards.values()) {
      if (card.stop_s < s - slack || card.start_s > s + slack) continue
      for (const burst of card.bursts) {
        if (burst.row !== band.row) continue
        if (close(burst.onset_s)) return {card, burst, side: 0}
        if (close(burst.offset_s)) return {card, burst, side: 1}
      }
    }
    return null
  }

  /** True if the pointer takes a mark, so that the picture does not pan.
   * @param {Place} at @param {PointerEvent} event */
  function down(at, event) {
    if (!setup.decides || !at.band) return false
    if (event.shiftKey) {
      flush()
      const s = snapped(at.s)
      selected = {burst: null, row: at.band.row, ends: [s, s], side: 1, moved: false}
    } else {
      const edge = edge_at(at)
      if (!edge) return false
      if (edge.card && edge.burst) take_burst(edge.card, edge.burst, edge.side)
      else if (selected) selected.side = edge.side
    }
    dragging = true
    return true
  }

  /** @param {Place} at */
  function drag(at) {
    if (dragging && selected?.side != null) move_edge(selected, selected.side, at.s)
    return dragging
  }

  function up() {
    if (!dragging) return false
    dragging = false
    if (selected && !selected.burst && (selected.ends[1] ?? 0) - selected.ends[0] < 1.5 / rate_hz) selected = null
    flush()
    return true
  }

  /** What is set aside at a moment on a channel, and what is selected, in words.
   * @param {number} row @param {number} s */
  function words(row, s) {
    const aside = status.aside.filter((a) => a.row === row && a.start_s <= s && s < a.stop_s)
    return [...aside.map((a) => `set aside: ${a.words}`), selected_words()].filter(Boolean).join(" · ")
  }

  function selected_words() {
    if (!selected) return ""
    const {ends: [a, b], side} = selected
    const what = selected.burst ? "burst" : "stretch"
    const long = b == null ? "" : ` to ${b.toFixed(4)} s (${((b - a) * 1000).toFixed(0)} ms)`
    return `selected ${what}: ${a.toFixed(4)}${long}${side == null ? "" : `, ${["start", "end"][side]} moves`}`
  }

  return {
    take,
    commands,
    nudge,
    down,
    drag,
    up,
    edge_at,
    words,
    /** What there is to be drawn. */
    get shown() {
      return {cards: [...cards.values()], status, selected}
    },
    /** How much is moved that is not yet sent. */
    get held() {
      return Number(Boolean(selected?.burst && selected.moved))
    },
    flush,
    close: () => clearTimeout(nudged),
  }
}

/** @typedef {ReturnType<typeof make_marks>} Marks */
