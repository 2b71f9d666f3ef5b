// @ts-check
// Lists of trials: which trials are stepped through, in which order, and the forms that choose them.

import {MOVES} from "../shared/asking.js"
import {AHEAD, BEHIND} from "./store.js"

/** @import {Choice, News} from "../types.js" */
/** @import {Screen} from "./screen.js" */
/** @import {Store} from "./store.js" */
/** @import {Setup} from "./types.js" */

/**
 * Without a list all trials are stepped through in the order of the review.
 * @param {Setup} setup
 * @param {Pick<Store, "ask" | "client" | "order" | "place">} store
 * @param {Pick<Screen, "asking" | "notice">} screen
 * @param {{index: () => number, show: (index: number) => void,
 *   arrive: (index: number) => void, refresh: () => void, decide: (command: string) => void}} review
 */
export function make_trial_lists(setup, store, screen, review) {
  /** @type {{words: string, indices: number[], rows?: Record<number, number[]>, at: number} | null} */
  let list = null
  /** @type {{kind: "list" | "compare", data: object, words: string} | null} what is searched for a little at a time */
  let searched = null

  /** @param {string} which @param {object} more */
  const ask = (which, more = {}) => {
    searched = {kind: "list", data: {which, ...more}, words: which}
    store.ask("list", searched.data)
  }

  /** Trials in the order in which they will be needed, the present one first. */
  function coming() {
    const index = review.index()
    if (list) {
      const at = Math.max(0, list.indices.indexOf(index))
      return [index, ...list.indices.slice(at + 1, at + AHEAD), ...list.indices.slice(Math.max(0, at - BEHIND), at)]
    }
    const {order} = store
    const at = store.place(index)
    const out = [index] // forward and back in turn
    for (let step = 1; step <= AHEAD; step++) {
      if (at + step < order.length) out.push(order[at + step])
      if (step <= BEHIND && at - step >= 0) out.push(order[at - step])
    }
    return out
  }

  /** @param {1 | -1} by */
  function step(by) {
    const index = review.index()
    if (!list) return review.show(store.order[store.place(index) + by] ?? index)
    const {indices} = list
    const next = indices[index === indices[list.at] ? list.at + by : list.at]
    if (next !== undefined) return review.show(next)
    if (by > 0 && list.words === setup.audit_list) return ask(list.words) // what is left, or how to end
    screen.notice.pass("This is the end of the trials you step through.")
  }

  /** The next trial of the list, after the present one and round, that passes a test.
   * @param {(index: number) => boolean} test */
  function next_where(test) {
    const all = list?.indices ?? store.order
    const at = all.indexOf(review.index())
    return [...all.slice(at + 1), ...all.slice(0, at + 1)].find(test)
  }

  function choose() {
    /** @type {(Choice & {ask: () => void})[]} */
    const further = [
      {code: "KeyM", words: "methods", shown: "two methods differ by more than …", ask: choose_methods},
      {code: "KeyR", words: "reviewers", shown: "another reviewer decided otherwise …", ask: choose_reviewer},
      {code: "KeyB", words: "behaviour", shown: "by what the person did …", ask: choose_behaviour},
    ]
    screen.asking.choose("Step through which trials?", [...setup.choices.list, ...further], false, ([which]) => {
      const form = further.find(({words}) => words === which)
      if (form) return form.ask()
      if (which !== setup.choices.list[0].words) return ask(which)
      list = searched = null
      review.refresh()
    })
  }

  function choose_reviewer() {
    screen.asking.ask(
      "Trials that another reviewer of this folder decided otherwise:",
      [
        {name: "reviewer", words: "code of that reviewer", value: ""},
        {name: "by", words: "or whose onset lies further away than, in ms", type: "number", value: 10},
      ],
      ({reviewer, by}) => ask(`otherwise than ${reviewer}`, {reviewer, by_s: by / 1000}),
      MOVES,
    )
  }

  function choose_behaviour() {
    screen.asking.choose(
      "Trials in which the person did what?",
      setup.choices.behaviour,
      false,
      ([behaviour]) => ask(`behaviour: ${behaviour}`, {behaviour}),
    )
  }

  function choose_methods() {
    const methods = setup.choices.method
    screen.asking.choose(
      "Compare which method …",
      methods,
      false,
      ([one]) =>
        screen.asking.choose(
          `Compare "${one}" with which?`,
          methods.filter(({words}) => words !== one),
          false,
          ([other]) =>
            screen.asking.ask(`Trials where the onsets of "${one}" and "${other}" differ:`, [{
              name: "by",
              words: "by more than, in ms",
              type: "number",
              value: 20,
            }], ({by}) => {
              const data = {methods: [one, other], by_s: by / 1000}
              searched = {kind: "compare", data: {...data, begin: false}, words: `"${one}" beside "${other}"`}
              screen.notice.pass(`${searched.words}: begun …`)
              store.ask("compare", {...data, begin: true})
            }, MOVES),
        ),
    )
  }

  /** News from Python that is about lists of trials; true if it was.
   * @param {News} what */
  function hear(what) {
    if (what.searching?.client === store.client) {
      if (!searched || searched.words !== what.searching.words) return true // another list was chosen meanwhile
      screen.notice.pass(
        `${searched.words}: ${Math.round(100 * what.searching.share)} % done. ` +
          "Go on reviewing; stepping through them begins when it is done.",
      )
      store.ask(searched.kind, searched.data)
      return true
    }
    if (what.audit?.client === store.client) {
      end_audit(what.audit)
      return false // it may stand beside what is settled
    }
    if (what.list?.client !== store.client) return false
    searched = null
    if (!what.list.indices.length) {
      screen.notice.pass(`No trial here: ${what.list.words}.`)
      return true
    }
    const {words, indices, rows} = what.list
    list = {words, indices, rows, at: Math.max(0, indices.indexOf(review.index()))}
    screen.notice.pass("")
    review.arrive(indices[list.at])
    return true
  }

  /** @param {{words: string, finished: boolean}} audit */
  function end_audit({words, finished}) {
    if (list?.words === setup.audit_list) list = null
    if (finished) return screen.asking.tell("The bulk audit", words)
    screen.asking.choose(
      words,
      [{code: "Digit1", words: "finish", shown: "compare and finish the audit"}],
      false,
      () => review.decide("finish_audit"),
    )
  }

  return {
    coming,
    step,
    next_where,
    choose,
    hear,
    get name() {
      return list?.words ?? null
    },
    get words() {
      return list ? `stepping through: ${list.words} (${list.indices.length})` : ""
    },
    /** The rows that the list is about in a trial; undefined for all.
     * @param {number} index */
    rows: (index) => list?.rows?.[index],
    /** The trial on the screen has changed.
     * @param {number} index */
    at(index) {
      if (list?.indices.includes(index)) list.at = list.indices.indexOf(index)
    },
  }
}

/** @typedef {ReturnType<typeof make_trial_lists>} TrialLists */
