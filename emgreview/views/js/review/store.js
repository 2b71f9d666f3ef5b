// @ts-check
// What the browser knows: trials already here and their decisions as Python confirmed them. Trials come by the synced
// bytes `pack`, a stretch to hear by `sound`; decisions and all else go by the wire (wire.js), which stands behind it.

import {unpack} from "../shared/pack.js"
import {make_wire, PATIENCE_MS} from "../shared/wire.js"

/** @import {Model} from "../types.js" */
/** @import {Card, Setup, Summary, Trial, Typical} from "./types.js" */

export const AHEAD = 60 // trials kept ahead of the one on screen
export const BEHIND = 12
const CHUNK = 10 // trials asked for at once
const PAGE = 100 // trials whose summaries are asked for at once

/** @param {Model} model @param {Pick<Setup, "summaries" | "n_trials" | "order">} setup */
export function make_store(model, setup) {
  /** @type {Map<number, Trial>} */
  const trials = new Map()
  /** @type {Map<number, Card>} */
  const cards = new Map()
  /** @type {Map<string, Typical>} by recording and row */
  const typical = new Map()
  /** @type {Summary[]} */
  const summaries = [] // by trial; those that have not been told yet are missing
  /** @type {Set<number>} */
  const untold = new Set() // trials whose summaries are asked for, a page at a time
  /** @type {number[]} */
  let order = [] // trials in the order of the review
  /** @type {number[]} */
  let places = [] // where each is in it
  for (const [i, summary] of Object.entries(setup.summaries)) summaries[Number(i)] = summary
  const wire = make_wire(model, {shown: () => [...cards.keys()]})
  const {client} = wire
  let asked = 0 // time of the request for trials under way, 0 = none
  let page_asked = 0 // of that for summaries

  /** How many trials there are by now, and their order, null where that is 0, 1, 2 …
   * @param {{n_trials: number, order: number[] | null}} what */
  function line_up({n_trials, order: told}) {
    for (let i = places.length; i < n_trials; i++) if (!summaries[i]) untold.add(i)
    order = told ?? [...Array(n_trials).keys()]
    places = Array(n_trials)
    order.forEach((i, place) => {
      places[i] = place
    })
  }
  line_up(setup)

  /** @param {Card} card */
  function keep(card) {
    if (!((cards.get(card.index)?.serial ?? -1) > card.serial)) cards.set(card.index, card)
  }

  wire.listen((update) => {
    for (const card of update.cards ?? []) keep(card)
    if (update.page_anew) { for (const i of order) untold.add(i) }
    for (const [i, summary] of Object.entries(update.summaries ?? {})) {
      summaries[Number(i)] = summary
      untold.delete(Number(i))
      page_asked = 0
    }
    if (update.joined) line_up(update.joined)
    for (const i of update.forget ?? []) trials.delete(i)
    if (update.renew) wire.insist("everything", [...cards.keys()])
  })

  function on_pack() {
    if (!model.pack?.byteLength) return
    asked = 0
    const {head, fill} = unpack(model.pack)
    for (const trial of head.trials) {
      trial.traces.forEach(fill)
      trials.set(trial.index, trial)
      keep(trial.card)
    }
    for (const usual of head.typical) {
      for (const part of ["lower", "median", "upper"]) fill(usual[part])
      typical.set(`${usual.recording}|${usual.row}`, usual)
    }
    wire.tell({trials: head.trials.map((/** @type {Trial} */ trial) => trial.index)})
  }

  function on_sound() {
    if (!model.sound?.byteLength) return
    const {head, fill} = unpack(model.sound)
    if (head.client.startsWith(`${client} `)) wire.tell({sound: {...fill(head.trace), rate_hz: head.rate_hz}})
  }

  for (const name of ["pack", "sound"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("pack", on_pack)
  model.on("sound", on_sound)

  return {
    client,
    trials,
    cards,
    typical,
    summaries,
    get order() {
      return order
    },
    /** Trials whose summaries are not known, or not as they are by now. */
    get untold() {
      return untold.size
    },
    /** Where a trial is in the order of the review, from 0.
     * @param {number} i */
    place: (i) => places[i] ?? 0,
    pending: wire.pending,
    get stopped() {
      return wire.stopped
    },
    get held() {
      return wire.held
    },
    get doubtful() {
      return wire.doubtful
    },
    hold: wire.hold,
    listen: wire.listen,
    ask: wire.send,
    /** Called a few times a second.
     * @param {boolean} attentive */
    watch(attentive) {
      wire.watch(attentive)
      if (asked && performance.now() - asked > PATIENCE_MS) asked = 0
    },
    /** Ask for summaries that are not known, those after a trial first; nothing while some are on their way.
     * @param {number} near */
    want_page(near) {
      const now = performance.now()
      if (!untold.size || (page_asked && now - page_asked < PATIENCE_MS)) return
      page_asked = now
      const at = places[near] ?? 0
      const wanted = []
      for (let step = 0; step < order.length && wanted.length < PAGE; step++) {
        const i = order[(at + step) % order.length]
        if (untold.has(i)) wanted.push(i)
      }
      wire.send("page", {trials: wanted})
    },
    /** Ask for the trials around where the review stands; what a former screen was told is not read. */
    say_hello: () => wire.insist("hello"),
    /** @param {number[]} indices */
    renew: (indices) => wire.insist("everything", indices),
    decide: wire.decide,
    /** Ask for trials that are not here, in the order in which they will be needed.
     * @param {number[]} wanted */
    want(wanted) {
      if (asked) return
      const needed = wanted.slice(0, AHEAD + BEHIND)
      const missing = needed.filter((i) => !trials.has(i))
      const soon = missing.length && needed.indexOf(missing[0]) < AHEAD / 2
      if (!missing.length || (missing.length < CHUNK / 2 && !soon)) return
      asked = performance.now()
      wire.send("want", {trials: missing.slice(0, CHUNK)})
      if (trials.size < 4 * AHEAD) return
      const near = new Set(needed)
      for (const known of [...trials.keys()].slice(0, AHEAD)) if (!near.has(known)) trials.delete(known)
    },
    close() {
      model.off?.("pack", on_pack)
      model.off?.("sound", on_sound)
      wire.close()
    },
  }
}

/** @typedef {ReturnType<typeof make_store>} Store */
