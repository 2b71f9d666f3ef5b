// @ts-check
// What is here of people: everybody's means from the start, somebody's trials and the small pictures' as they come.

import {MISSING, unpack} from "../shared/pack.js"

/** @import {Wire} from "../shared/wire.js" */
/** @import {Model} from "../types.js" */
/** @import {Pack, Samples, Setup, Trials} from "./types.js" */

const AGAIN_MS = 1500 // what was asked for and did not come is asked for again after this
const AT_ONCE = 6 // people asked for ahead in one question
const MOST_VALUES = 40e6 // so many values are kept here, two bytes each; beyond that only those near are asked for

/** A stretch of samples as values.
 * @param {Samples} trace @param {number} from @param {number} n */
export function values_of({samples, scale}, from = 0, n = samples.length) {
  const out = new Float64Array(n)
  for (let i = 0; i < n; i++) out[i] = samples[from + i] === MISSING ? NaN : samples[from + i] * scale
  return out
}

/**
 * @param {Model} model
 * @param {Setup} setup
 * @param {Wire} wire
 * @param {(people: number[], row?: number) => void} came  whose trials, or a page's on which channel
 */
export function make_store(model, setup, wire, came) {
  const {bins, labels, hz} = setup
  /** @type {Map<number, Pack>} */
  const packs = new Map()
  /** @type {Map<string, Trials | null>} */
  const trials = new Map()
  /** @type {Map<string, Samples>} */
  const singles = new Map()
  /** @type {Map<string, number>} */
  const asked = new Map()
  /** @type {(Samples & {labels: string[]})[]} */
  let means = []
  const values_each = bins * labels.length * Math.max(1, ...setup.people.map(({n}) => n))

  function take_overview() {
    if (!model.overview?.byteLength) return
    const {head, fill} = unpack(model.overview)
    means = head.people.map(fill)
    came(means.map((_, i) => i))
  }

  function take_pack() {
    if (!model.pack?.byteLength) return
    const {head, fill} = unpack(model.pack)
    for (const pack of head.people ?? []) {
      Object.values(pack.traces).forEach(fill)
      packs.set(pack.person, pack)
    }
    for (const panel of head.panels ?? []) singles.set(`${panel.person} ${head.row}`, fill(panel))
    came((head.people ?? []).map((/** @type {Pack} */ {person}) => person), head.row)
  }

  /** Ask for what is neither here nor on its way.
   * @param {string} kind @param {number[]} people @param {(i: number) => string} name @param {object} more */
  function ask(kind, people, name, more) {
    const now = performance.now()
    const lacking = people.filter((i) => now - (asked.get(name(i)) ?? -Infinity) > AGAIN_MS)
    if (!lacking.length) return
    for (const i of lacking) asked.set(name(i), now)
    wire.send(kind, {people: lacking, ...more})
  }

  for (const name of ["overview", "pack"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("overview", take_overview)
  model.on("pack", take_pack)
  take_overview()

  return {
    /** The mean envelope of somebody's channel; null where there is none.
     * @param {number} person @param {number} row */
    mean(person, row) {
      const one = means[person]
      const place = one?.labels.indexOf(labels[row]) ?? -1
      return place < 0 ? null : values_of(one, place * bins, bins)
    },
    /** Single trials behind it, as far as they are here.
     * @param {number} person @param {number} row */
    singles: (person, row) => singles.get(`${person} ${row}`),
    /** Somebody's trials on a channel: undefined while they are not here, null where the channel is none of theirs.
     * @param {number} person @param {number} row
     * @returns {Trials | null | undefined} */
    trials(person, row) {
      const key = `${person} ${row}`
      const pack = packs.get(person)
      if (!pack) return undefined
      if (!trials.has(key)) trials.set(key, trials_of(pack, labels[row], bins, hz.length))
      return trials.get(key)
    },
    /** Correlations of somebody's channels, and their labels.
     * @param {number} person */
    alike(person) {
      const pack = packs.get(person)
      return pack && {labels: pack.labels, values: values_of(pack.traces.alike)}
    },
    /** Ask for people's trials.
     * @param {number[]} people */
    want(people) {
      ask("person", people.filter((i) => !packs.has(i)), (i) => `p ${i}`, {})
    },
    /** Ask for the trials of further people, those nearest in the table first, while nothing else is on its way: so
     * that no choice waits for Python.
     * @param {number[]} order @param {number} at */
    want_ahead(order, at) {
      const now = performance.now()
      const waiting = [...asked].some(([name, when]) =>
        name.startsWith("p ") && now - when < AGAIN_MS && !packs.has(Number(name.slice(2)))
      )
      if (waiting || packs.size * values_each > MOST_VALUES) return
      const lacking = order.map((i, place) => ({i, away: Math.abs(place - at)})).filter(({i}) => !packs.has(i))
      const near = lacking.sort((a, b) => a.away - b.away).slice(0, AT_ONCE).map(({i}) => i)
      ask("person", near, (i) => `p ${i}`, {})
    },
    /** Ask for single trials of a page of people.
     * @param {number[]} people @param {number} row */
    want_singles(people, row) {
      const have = setup.people
      const lacking = people.filter((i) => have[i].cells[row] && !singles.has(`${i} ${row}`))
      ask("panels", lacking, (i) => `s ${i} ${row}`, {channel: labels[row]})
    },
    close() {
      model.off?.("overview", take_overview)
      model.off?.("pack", take_pack)
    },
  }
}

/** One channel of somebody's pack.
 * @param {Pack} pack @param {string} label @param {number} bins @param {number} n_hz
 * @returns {Trials | null} */
export function trials_of(pack, label, bins, n_hz) {
  const place = pack.labels.indexOf(label)
  if (place < 0) return null
  const {traces, ids} = pack
  const n = ids.length
  const row = (/** @type {string} */ name) => values_of(traces[name], place * n, n)
  const {samples, scale} = traces.envelope
  const spectrum = (/** @type {number} */ half) =>
    values_of(traces.spectra, (half * pack.labels.length + place) * n_hz, n_hz)
  return {
    n,
    onset: row("onset"),
    low: row("low"),
    high: row("high"),
    offset: row("offset"),
    level: row("level"),
    rest: row("rest").map((power) => 10 ** power),
    response: values_of(traces.response),
    run: pack.run,
    ids,
    signal: pack.signal[place],
    reviewed: pack.reviewed[place],
    none: pack.none[place],
    envelope: {samples: samples.subarray(place * n * bins, (place + 1) * n * bins), scale},
    heat_limit: pack.heat_limit[place],
    spectra: [spectrum(0), spectrum(1)],
  }
}

/** @typedef {ReturnType<typeof make_store>} Store */
