// @ts-check
// What the tests of the browser half share: Python's side of a wire, a clock that is turned by hand, bytes of a pack.

/** @import {Model} from "../../emgreview/views/js/types.js" */

/**
 * A model whose messages are kept in `up`, and whose properties change by `change(name, value)`.
 * @param {Record<string, unknown>} values
 */
export function make_model(values = {}) {
  /** @type {Record<string, (() => void)[]>} */
  const listeners = {}
  /** @type {any[]} */
  const up = []
  const names = ["news", "pulse", ...Object.keys(values)]
  const model = /** @type {Model} */ ({
    setup: "",
    news: "",
    pulse: "",
    ...values,
    properties: Object.fromEntries(names.map((name) => [name, {}])),
    on: (name, listener) => (listeners[name] ??= []).push(listener),
    off: (name, listener) => {
      listeners[name] = listeners[name].filter((known) => known !== listener)
    },
    send_msg: (message) => up.push(message),
    get_child: () => {
      throw new Error("no test shows a picture")
    },
  })
  /** @param {string} name @param {unknown} value */
  function change(name, value) {
    model[name] = value
    for (const listener of listeners[name] ?? []) listener()
  }
  let serial = 0
  return {
    model,
    up,
    change,
    /** How many listen to a property.
     * @param {string} name */
    listening: (name) => (listeners[name] ?? []).length,
    /** One update from Python; `skip` of them were lost on the way.
     * @param {object} update @param {number} skip */
    tell(update, skip = 0) {
      serial += 1 + skip
      change("news", JSON.stringify({serial, updates: [{serial, ...update}]}))
    },
  }
}

/**
 * Run a test with a clock that only `pass(ms)` moves: `performance.now`, `setTimeout` and `clearTimeout`.
 * @param {(pass: (ms: number) => void) => void} run
 */
export function with_clock(run) {
  const known = {now: performance.now, set: globalThis.setTimeout, clear: globalThis.clearTimeout}
  let now = 1000
  let made = 0
  /** @type {Map<number, {at: number, run: () => void}>} */
  const waiting = new Map()
  performance.now = () => now
  Object.assign(globalThis, {
    setTimeout: (/** @type {() => void} */ run, ms = 0) => {
      made += 1
      waiting.set(made, {at: now + ms, run})
      return made
    },
    clearTimeout: (/** @type {number} */ id) => waiting.delete(id),
  })
  try {
    run((ms) => {
      now += ms
      for (const [id, {at, run}] of [...waiting]) {
        if (at > now) continue
        waiting.delete(id)
        run()
      }
    })
  } finally {
    performance.now = known.now
    Object.assign(globalThis, {setTimeout: known.set, clearTimeout: known.clear})
  }
}

/**
 * Bytes as packing.py lays them out.
 * @param {object} head
 * @param {number[]} samples
 */
export function pack(head, samples = []) {
  const text = new TextEncoder().encode(JSON.stringify(head))
  const length = text.length + (-text.length & 3)
  const buffer = new ArrayBuffer(4 + length + 2 * samples.length)
  new DataView(buffer).setInt32(0, length, true)
  new Uint8Array(buffer, 4).fill(32, 0, length).set(text)
  new Int16Array(buffer, 4 + length).set(samples)
  return buffer
}

/**
 * Bytes of one person's pack, as people_facts.py writes it, each trace with a scale of 1.
 * @param {object} head
 * @param {Record<string, number[]>} traces
 */
export function pack_of(head, traces) {
  let at = 0
  const described = Object.fromEntries(
    Object.entries(traces).map(([name, values]) => {
      const trace = {at, n: values.length, scale: 1}
      at += 2 * values.length
      return [name, trace]
    }),
  )
  const text = JSON.stringify({people: [{...head, traces: described}]})
  const words = new TextEncoder().encode(text + " ".repeat((4 - (text.length % 4)) % 4))
  const buffer = new ArrayBuffer(4 + words.length + at)
  new DataView(buffer).setInt32(0, words.length, true)
  new Uint8Array(buffer, 4).set(words)
  new Int16Array(buffer, 4 + words.length).set(Object.values(traces).flat())
  return buffer
}
