// @ts-check
// What Python tells a review, and what comes of it.

import {canvas_font_px} from "../shared/palette.js"
import {theme_of} from "../shared/frame.js"
import {draw_spectrum} from "./spectrum.js"

/** @import {News} from "../types.js" */
/** @import {Review} from "./types.js" */

/** @param {Review} review */
export function listen_to_news({setup, store, screen, state, selection, lists, moving, painting, player, pointer}) {
  const {root} = screen

  /** What is told of the review as a whole.
   * @param {News} what */
  function take_facts(what) {
    if (what.progress) state.progress = what.progress
    for (const name of /** @type {const} */ (["next_version", "method", "counted"])) {
      setup[name] = what[name] ?? setup[name]
    }
    if (what.awaited != null) state.awaited_words = what.awaited
    if ("blind" in what && what.blind !== state.blind) {
      state.blind = what.blind
      state.layer?.hide_times(state.blind)
    }
  }

  /** @param {News} what */
  function play(what) {
    const {seconds, state: said} = player.play(what.sound)
    root.dataset.heard = `${seconds.toFixed(2)} ${said}`
    if (said === "running") return
    screen.notice.pass(seconds ? `The browser plays no sound (it says: ${said}).` : "There is nothing to hear here.")
  }

  /** A decision was not taken: its trial is shown, with what stands.
   * @param {News} refusal */
  function refuse({decision, words, doubt}) {
    const place = decision ? `Trial ${state.count(decision.index)}, ${decision.channel ?? "whole trial"}: ` : ""
    const lost = decision?.command === "add" ? selection.forget_added() : 0
    if (!selection.nudged) selection.drop()
    store.renew(decision ? [decision.index] : [state.index])
    if (decision && decision.index !== state.index && !store.pending.length) moving.arrive(decision.index)
    screen.notice.show(
      `${place}${doubt ? "perhaps saved" : "not taken"}: ${words}${
        lost ? ` Nor what was pressed after it: ${lost}.` : ""
      }`,
    )
  }

  /** The trial on the screen has come, or has changed.
   * @param {News} what */
  function take_trial(what) {
    const came = what.trials?.includes(state.index)
    if (came && state.awaited) {
      state.awaited = false
      state.row = moving.first_open(state.index) ?? state.row
    }
    const changed = what.cards?.some((/** @type {{index: number}} */ card) => card.index === state.index)
    if ((came || changed) && !selection.nudged && !pointer.dragging) selection.select()
  }

  let begun = false // once: its word may come twice

  store.listen((what) => {
    take_facts(what)
    if (what.spectrum?.client === store.client) {
      if (what.spectrum.for !== state.spectrum_for) return
      return draw_spectrum(screen.spectrum_map, what.spectrum, theme_of(root), canvas_font_px())
    }
    if (what.sound) return play(what)
    if (lists.hear(what)) return
    if ("stopped" in what) screen.notice.last(what.stopped)
    if (what.refusal) refuse(what.refusal)
    if (what.said?.client === store.client) screen.notice.pass(what.said.words)
    if (what.notes) screen.notes.fill(what.notes)
    if (what.unfit) screen.notice.pass(what.unfit)
    if (what.start?.client === store.client && !begun) {
      begun = true
      if (what.start.where !== state.index) return moving.arrive(what.start.where)
    }
    if (what.go_to?.client === store.client) return moving.arrive(what.go_to.index, what.go_to.row)
    take_trial(what)
    selection.run_kept()
    painting.refresh()
  })
}
