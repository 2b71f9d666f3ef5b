// @ts-check
// What is on the screen of people: who, which channel, which trial, in which order.

import {FLAGGED, people_order} from "./order.js"

/** @import {Setup} from "./types.js" */

/** @param {Setup} setup */
export function make_state(setup) {
  const flagged = new Set(setup.flags.map(({person}) => person))
  const state = {
    row: 0, // the channel
    sort: {by: FLAGGED, down: false},
    order: /** @type {number[]} */ ([]),
    person: 0,
    trial: /** @type {number | null} */ (null),
    own_scale: false,
    opened: false, // the review stands in the place of the people
    flagged,
    /** Order the people anew. */
    arrange() {
      state.order = people_order(setup, {...state.sort, row: state.row})
    },
    /** Trials of the chosen person that flags of the chosen channel, or of the person, name. */
    named() {
      const own = setup.flags.filter(({person, channel}) =>
        person === state.person && (!channel || channel === setup.labels[state.row])
      )
      return [...new Set(own.flatMap(({trials}) => trials))].sort((a, b) => a - b)
    },
    /** Somebody, and none of their trials.
     * @param {number} person */
    choose(person) {
      if (person !== state.person) state.trial = null
      state.person = person
    },
    /** People of the page on which somebody stands, by how many there are on one.
     * @param {number} per_page */
    page(per_page) {
      const at = Math.floor(state.order.indexOf(state.person) / per_page)
      return {at, n: Math.ceil(state.order.length / per_page), people: state.people_of(at, per_page)}
    },
    /** People of a page; nobody where there is none.
     * @param {number} at @param {number} per_page */
    people_of: (at, per_page) => (at < 0 ? [] : state.order.slice(at * per_page, (at + 1) * per_page)),
  }
  state.arrange()
  state.person = state.order[0]
  const first = setup.flags.find(({person, channel}) => person === state.person && channel)
  if (first) state.row = setup.labels.indexOf(first.channel)
  return state
}

/** @typedef {ReturnType<typeof make_state>} State */
