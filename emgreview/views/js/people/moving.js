// @ts-check
// The keys of the screen of people, by their commands.

import {FLAGGED, stepped, STUDY} from "./order.js"

/** @import {Wire} from "../shared/wire.js" */
/** @import {Commands} from "../types.js" */
/** @import {Screen} from "./screen.js" */
/** @import {State} from "./state.js" */
/** @import {Setup, Trials} from "./types.js" */

/**
 * @param {Setup} setup
 * @param {State} state
 * @param {Screen} screen
 * @param {Wire} wire
 * @param {{
 *   refresh: () => void, per_page: () => number, here: () => Trials | null | undefined, by_response: () => number[],
 *   in_full: () => string, show_review: (on: boolean) => void}} host
 */
export function make_moving(setup, state, screen, wire, host) {
  const {asking, notice} = screen
  const {refresh} = host

  /** @param {number | null} person */
  function choose(person) {
    if (person === null) return
    state.choose(person)
    refresh()
  }

  /** @param {number} by */
  const step_person = (by) => choose(stepped(state.order, state.person, by))

  /** The next of the table, or the one before, that has a flag. @param {1 | -1} by */
  function step_flagged(by) {
    const at = state.order.indexOf(state.person)
    const rest = by > 0 ? state.order.slice(at + 1) : state.order.slice(0, at).reverse()
    const found = rest.find((i) => state.flagged.has(i))
    if (found === undefined) {
      return notice.pass(`Nobody ${by > 0 ? "after" : "before"} this one in the table has a flag.`)
    }
    const first = setup.flags.find(({person, channel}) => person === found && channel)
    if (first) set_row(setup.labels.indexOf(first.channel))
    choose(found)
  }

  /** @param {number} row */
  function set_row(row) {
    state.row = Math.max(0, Math.min(setup.labels.length - 1, row))
    if (state.sort.by >= 0) state.arrange()
  }

  /** @param {number} row */
  function face(row) {
    if (row >= setup.labels.length) return notice.pass(`There are ${setup.labels.length} channels.`)
    set_row(row)
    refresh()
  }

  /** @param {number} by @param {boolean} down */
  function sort(by, down) {
    state.sort = {by, down}
    state.arrange()
    refresh()
  }

  /** The head of a column was clicked: the same once more turns it round. Numbers begin with the largest.
   * @param {number} by */
  function sort_by(by) {
    const same = state.sort.by === by
    sort(by, same ? !state.sort.down : by >= 0 && typeof setup.people[0].cells[state.row]?.[by] !== "string")
  }

  /** @param {number[]} list @param {1 | -1} by @param {number | null} from */
  function step_trial(list, by, from = state.trial) {
    if (!host.here()) return notice.pass("The trials of this person are not here yet.")
    state.trial = stepped(list, from, by)
    refresh()
  }

  const in_time = () => Array.from({length: host.here()?.n ?? 0}, (_, i) => i)

  /** @param {number} by */
  function step_page(by) {
    const per_page = host.per_page()
    const at = Math.floor(state.order.indexOf(state.person) / per_page) + by
    if (at < 0 || at * per_page >= state.order.length) {
      return notice.pass(`There is no page ${by > 0 ? "after" : "before"} this one.`)
    }
    choose(state.order[at * per_page])
  }

  function open() {
    const {person, row, trial} = state
    if (trial === null) {
      return notice.pass("No trial is chosen: → steps through them, a click on a dot or row takes one.")
    }
    wire.send("open", {person, trial, channel: setup.labels[row]})
  }

  /** @param {number} k */
  function go_unlike(k) {
    const one = setup.unlike[k]
    if (one.channel) set_row(setup.labels.indexOf(one.channel))
    choose(one.person)
  }

  const columns = ["study order", "flagged first", ...setup.columns.map(({head, words}) => `${head}: ${words}`)]

  /** @type {Commands} */
  const commands = {
    next_person: () => step_person(1),
    previous_person: () => step_person(-1),
    first_person: () => choose(state.order[0]),
    last_person: () => choose(state.order[state.order.length - 1]),
    next_flagged: () => step_flagged(1),
    previous_flagged: () => step_flagged(-1),
    go_to: () =>
      asking.pick(
        "Who?",
        setup.people.map(({name}, i) => [name, screen.table.flags[i]].filter(Boolean).join("  ⚑ ")),
        state.person,
        choose,
      ),
    unlike({index}) {
      if (index !== undefined) return go_unlike(index)
      if (!setup.unlike.length) return notice.pass("Nobody can be told apart by numbers: there are too few people.")
      asking.pick(
        "Most unlike the others, below every limit",
        setup.unlike.map(({person, channel, code, reason}) =>
          `${setup.people[person].name}${channel ? `, ${channel}` : ""}: ${code}. ${reason}`
        ),
        0,
        go_unlike,
      )
    },
    rules: () =>
      asking.tell("Rules behind the flags; a flag excludes nobody", setup.rules.join("\n") || "No rule was used."),
    sort: () => asking.pick("Sort by which column?", columns, state.sort.by - STUDY, (k) => sort_by(k + STUDY)),
    turn_round: () => sort(state.sort.by, !state.sort.down),
    flagged_first: () => sort(FLAGGED, false),
    next_page: () => step_page(1),
    previous_page: () => step_page(-1),
    next_channel: () => face((state.row + 1) % setup.labels.length),
    previous_channel: () => face((state.row + setup.labels.length - 1) % setup.labels.length),
    channel: ({arguments: {number}}) => face(number - 1),
    own_scale() {
      state.own_scale = !state.own_scale
      refresh()
    },
    next_trial: () => step_trial(in_time(), 1),
    previous_trial: () => step_trial(in_time(), -1),
    slower_trial: () => step_trial(host.by_response(), 1),
    faster_trial: () => step_trial(host.by_response(), -1),
    next_named() {
      const named = state.named()
      if (!named.length) return notice.pass("No flag of this person and channel names single trials.")
      step_trial([named.find((i) => i > (state.trial ?? -1)) ?? named[0]], 1, null)
    },
    open,
    back: () => host.show_review(false),
    let_go() {
      state.trial = null
      refresh()
    },
    words: () => asking.tell("Every word and number of this person", host.in_full()),
    key_card: () => screen.key_card.toggle(),
  }
  return {commands, choose, sort_by, face, open}
}
