// @ts-check
// Decisions that ask something first: reasons, comments, what is kept out, names of versions.

import {MOVES} from "../shared/asking.js"
import {within} from "../shared/geometry.js"

/** @import {Choice, Commands} from "../types.js" */
/** @import {Dispute, Review} from "./types.js" */

/**
 * Commands of the key table, by name.
 * @param {Review} review
 * @returns {Commands}
 */
export function make_forms({setup, store, screen, state, selection, deciding, moving}) {
  /** @type {Record<string, string[]>} */
  const last_reasons = {}
  const {decide} = deciding
  const selected_burst = () => state.here()?.bursts.find(({id}) => id === selection.mark.burst)

  /** @param {string} command @param {string} question */
  function reasons(command, question) {
    screen.asking.choose(question, setup.choices[command], true, (reasons) => {
      last_reasons[command] = reasons
      if (!decide(command, {reasons})) return false
      screen.asking.close()
      if (state.closes(command)) moving.go_on()
    })
  }

  /** @param {Dispute | null | undefined} dispute @param {string | null} channel */
  function settle(dispute, channel) {
    if (!dispute) return screen.notice.pass("Nothing is disputed here.")
    const words = dispute.said[state.times_shown() ? "timed" : "untimed"]
    screen.asking.choose(
      `${dispute.why}. ${words}. Which stands?`,
      setup.choices.settle,
      false,
      ([choice]) => decide("settle", {choice}, channel) && channel && moving.go_on(),
    )
  }

  /** @param {string} question @param {Choice[]} choices @param {string} command
   * @param {string} argument  what the command calls the word: "value" where it is a field's own
   * @param {object} more */
  function choose_one(question, choices, command, argument, more = {}) {
    screen.asking.choose(question, choices, false, ([word]) => decide(command, {[argument]: word, ...more}))
  }

  /** @param {string} question @param {string | undefined} value @param {[null?]} channel  null: the whole trial */
  function comment(question, value, ...channel) {
    screen.asking.ask(
      question,
      [{name: "text", words: "", value: value ?? ""}],
      ({text}) => decide("comment", {text}, ...channel),
    )
  }

  /** What the trial belongs to, kept out of every analysis or taken back in; nobody is named. */
  function exclude() {
    const card = state.card()
    if (!card) return decide("exclude") // says why nothing can be decided
    /** @type {Record<string, string | null | undefined>} */
    const status = {channel: state.here()?.excluded, ...card.excluded}
    /** @type {Record<string, string>} */
    const names = {
      channel: `channel ${state.label()} in this recording`,
      recording: "this recording, all channels",
      participant: "this participant, all recordings",
    }
    const choices = Object.keys(names).filter((what) => what in status).map((what, i) => ({
      code: `Digit${i + 1}`,
      words: what,
      shown: (status[what] ?? null) == null
        ? `exclude ${names[what]}`
        : `readmit ${names[what]} (excluded${status[what] && `: ${status[what]}`})`,
    }))
    screen.asking.choose("Keep out of every analysis? Decisions stay, and may go on.", choices, false, ([what]) => {
      const command = (status[what] ?? null) == null ? "exclude" : "readmit"
      screen.asking.ask(`${command === "exclude" ? "Exclude" : "Readmit"} ${names[what]} (no names of people):`, [{
        name: "reason",
        words: command === "exclude" ? "reason" : "reason, if there is one to give",
        value: "",
      }], ({reason}) => {
        if (command === "readmit" || reason.trim()) return decide(command, {what, reason: reason.trim()})
        screen.asking.complain("An exclusion needs its reason, in a few words.")
        return false
      })
    })
  }

  return {
    exclude,
    readmit: exclude,
    discuss_trial: () => decide("discuss", {}, null),
    go_to: () =>
      screen.asking.ask("Go to which trial?", [{
        name: "n",
        words: `1 to ${store.order.length}`,
        type: "number",
        value: state.count(),
      }], ({n}) =>
        moving.show(store.order[within(Math.round(n) - 1, 0, store.order.length - 1)]), MOVES),
    convention: () =>
      screen.asking.tell(
        "The marking convention of this study",
        setup.convention || "This study has not written one down.",
      ),
    unblind:
      () => (state.blind ?
        screen.asking.ask("Show condition, participant and response from now on? This is logged.", [{
          name: "reason",
          words: "reason",
          value: "",
        }], ({reason}) => decide("unblind", {reason}))
        : screen.notice.pass("This review is not blind.")),
    unusable: () => reasons("unusable", "Why is this signal unusable?"),
    caution: () => reasons("caution", "What calls for caution here?"),
    same_reasons: () => {
      if (!last_reasons.unusable) {
        return screen.notice.pass("No reason for an unusable signal was given yet in this session.")
      }
      if (decide("unusable", {reasons: last_reasons.unusable})) moving.go_on()
    },
    settle: () => settle(state.here()?.dispute, state.label()),
    settle_trial: () => settle(state.card()?.dispute, null),
    behaviour: () =>
      choose_one("What did the person do in this trial?", setup.choices.behaviour, "behaviour", "behaviour"),
    kind: () => {
      const {burst} = selection.mark
      const bursts = state.here()?.bursts ?? []
      const which = bursts.length > 1 ? `number ${1 + bursts.findIndex(({id}) => id === burst)}` : "this"
      choose_one(`What kind of burst is ${which}?`, setup.choices.kind, "kind", "kind", {burst})
    },
    half_width: () => {
      const now = selected_burst()
      if (!now) return screen.notice.pass("There is no mark here whose half-width could be given: add one first.")
      const value = now.half_width_s == null ? "" : Number((now.half_width_s * 1000).toPrecision(3))
      screen.asking.ask(
        "How far to either side of its mark may the onset lie? Leave the field empty to say nothing of it.",
        [{name: "by", words: "± ms", value}],
        ({by}) => {
          const half_width_ms = by.trim() ? Number(by.replace(",", ".")) : null
          if (half_width_ms == null || half_width_ms > 0) {
            return decide("half_width", {half_width_ms, burst: now.id})
          }
          screen.asking.complain(`"${by}" is no number of ms above 0; give one, or leave the field empty.`)
          return false
        },
      )
    },
    /** The method for all trials; parameters other than the usual ones are a matter for a script. */
    change_method: () =>
      screen.asking.choose(
        `Onsets are found by ${setup.method}. Find them anew by which method, with its usual ` +
          "parameters? Others are given by script: session.change_method(name, parameter=value). Reviewed marks stay as they " +
          "are. This is logged, and undo passes over it.",
        setup.choices.change_method,
        false,
        ([method]) => {
          if (
            decide("change_method", {
              method,
              slow: "Onsets are being found anew: no decision is taken until that is done. If " +
                "the kernel was restarted, run the cell again: review goes on where the file ends.",
            })
          ) {
            screen.notice.pass(`Finding the onsets anew by ${method} …`)
          }
        },
      ),
    comment: () => comment("Comment on this channel (no names of people):", state.here()?.comment),
    comment_trial: () => comment("Comment on the whole trial (no names of people):", state.card()?.comment, null),
    seal: () =>
      screen.asking.ask("Seal the decisions so far as a named version:", [{
        name: "name",
        words: "name",
        value: setup.next_version,
      }], ({name}) => decide("seal", {name})),
  }
}
