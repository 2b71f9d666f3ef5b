// @ts-check
// The words of the review as it stands: head line, panel, foot, and what a screen reader is told.

import {set_cut_text, set_text} from "../shared/elements.js"
import {show_saved} from "../shared/frame.js"
import {ms_words} from "../shared/paint.js"
import {brief, shown} from "../shared/texts.js"
import {SIDE_WORDS} from "./selection.js"

/** @import {Review} from "./types.js" */

const PACE_MS = 600_000 // pace is that of the last ten minutes
const LEAST_DECISIONS = 20

/** @param {Review} review */
export function make_words({setup, store, screen, state, selection, lists}) {
  const {root} = screen
  const began = performance.now()
  let reminded = began
  /** @type {number[]} times at which a channel was closed */
  const paces = []

  /** Pace over the last ten minutes, and what is left at that pace; nothing before 20 decisions. */
  function pace() {
    const now = performance.now()
    while (paces.length && now - paces[0] > PACE_MS) paces.shift()
    if (paces.length < LEAST_DECISIONS) return ""
    const per_s = paces.length / ((now - paces[0]) / 1000)
    const left_min = (state.progress[1] - state.progress[0]) / per_s / 60
    const left = left_min < 90 ? `${Math.ceil(left_min)} min` : `${(left_min / 60).toFixed(1)} h`
    return ` · ${Math.round(per_s * 3600)} an hour, about ${left} left`
  }

  /** The rows of the panel. */
  function write_rows() {
    const card = state.card()
    for (const row of state.emg_rows) {
      const {button, sign, words} = screen.row_parts(row)
      const channel = card?.channels[row]
      set_text(sign, channel?.sign ?? "")
      set_text(words, channel?.words ?? "")
      const whole = shown([setup.channels[row].label, channel?.words].filter(Boolean).join(": "))
      if (button.title !== whole) button.title = whole
      button.setAttribute("aria-current", String(row === state.row))
      button.dataset.reviewed = String(Boolean(channel?.reviewed))
      button.dataset.asked = String(channel?.asked ?? true)
    }
  }

  /** What is known of the present channel and trial. @param {string} unplaced */
  function detail(unplaced) {
    const card = state.card()
    const here = state.here()
    const said = state.times_shown() ? "timed" : "untimed"
    const whole = screen.row_parts(state.row).cut ? `${here?.sign} ${here?.words}` : "" // where the panel has no room
    const disputes = [{what: "channel", dispute: here?.dispute}, {what: "trial", dispute: card?.dispute}]
    const disputed = disputes.map(({what, dispute}) =>
      dispute &&
      `Disputed (${what}): ${dispute.why}. ${dispute.said[said]}${dispute.settled ? ` — ${dispute.settled}` : ""}`
    )
    const notes = [...(here?.notes ?? []), ...(card?.notes ?? [])]
    const all = [whole, here?.detail[state.read_out ? said : "bare"], unplaced, ...notes, ...disputed]
    return all.map((words) => shown(words ?? "")).filter(Boolean).join("\n")
  }

  /** Every word of the trial, for a form: what the screen has to cut stands there whole. */
  function in_full() {
    const card = state.card()
    if (!card) return "This trial is not here yet."
    const said = state.times_shown() ? "timed" : "untimed"
    const channels = state.emg_rows.map((row) => {
      const {sign, words, detail, notes, aside} = card.channels[row]
      const {label, over, unit_label} = setup.channels[row]
      const name = `${label}${over ? ` (over ${over})` : ""}, ${unit_label}: ${sign} ${words}`
      return [name, detail[state.read_out ? said : "bare"], ...aside.map(([, , why]) => why), ...notes]
    })
    const beside = setup.channels.filter(({auxiliary}) => auxiliary).map(({label, unit_label}) =>
      `${label}, ${unit_label}`
    )
    const lines = card.lines.map(({words}) => words).join(" | ")
    const parts = [state.titled(card), lines && `Lines: ${lines}`, ...card.notes, ...channels.flat(), ...beside, foot()]
    return parts.filter(Boolean).map((words) => shown(words ?? "")).join("\n")
  }

  function foot() {
    const card = state.card()
    const label = state.label()
    const hum = card?.mains ? card.mains[label] : "hidden in a blind review, since it could tell recordings apart"
    const measured = card ? ` Mains measured in this recording, ${label}: ${hum}.` : ""
    return `${setup.processing} Onsets by ${setup.method}.${measured}`
  }

  function write() {
    const {progress} = state
    const trial = `${state.count()} of ${store.order.length}`
    const titled = state.titled(state.card())
    set_cut_text(screen.title, `Trial ${trial}${titled ? ` · ${titled}` : ""}`)
    screen.progress.value = progress[1] ? progress[0] / progress[1] : 0
    set_text(screen.counted, `${progress[0]} of ${progress[1]} ${setup.counted}${pace()}`)
    screen.blind.hidden = !state.blind
    screen.awaited.hidden = !state.awaited_words
    set_cut_text(screen.awaited, state.awaited_words)
    screen.stepping.hidden = !lists.words
    set_cut_text(screen.stepping, lists.words)
    show_saved(root, screen.saved, store)
    write_rows()
    const {held_s, mark} = selection
    const unplaced = selection.burst() && held_s == null ? `${mark.side} selected, not yet placed` : ""
    set_text(screen.detail, detail(unplaced), true)
    set_cut_text(screen.foot, foot())
    const placed = `, ${SIDE_WORDS[mark.side]} selected`
    const held = held_s == null
      ? unplaced && `, ${unplaced}`
      : placed + (state.times_shown() ? ` at ${ms_words(held_s)}` : "")
    set_text(screen.live, `${brief(state.here()?.words ?? "loading")}, ${brief(state.label())}, trial ${trial}${held}`)
  }

  return {
    write,
    in_full,
    /** A channel was closed just now. */
    closed: () => paces.push(performance.now()),
    propose_break() {
      const now = performance.now()
      if (!setup.break_after_min || now - reminded < setup.break_after_min * 60000) return
      reminded = now
      screen.notice.pass(
        `${Math.round((reminded - began) / 60000)} minutes at the screen: a short break keeps marks steady. ` +
          "Everything that is called saved is saved.",
      )
    },
  }
}

/** @typedef {ReturnType<typeof make_words>} Words */
