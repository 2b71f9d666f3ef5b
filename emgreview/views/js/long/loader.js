// @ts-check
// What is here of a recording: the stretch around the view, asked of Python ahead of need, and the outline of the whole,
// which Python reads while nobody waits for anything else.

import {MISSING, unpack} from "../shared/pack.js"

/** @import {Layer} from "../shared/layer.js" */
/** @import {Wire} from "../shared/wire.js" */
/** @import {Model} from "../types.js" */
/** @import {Outline, Ribbon, Setup, Stretch} from "./types.js" */

const WIDTHS_AROUND = 1.5 // how much is asked for on either side of the view, in widths of it

const REFILL = 0.4 // ask again when less than this is left on one side

const STILL_MS = 250 // reading on waits until the view has not moved for this long

const RETRY_MS = 1500 // a file that could not be read is tried again after this

/**
 * @param {Model} model
 * @param {Setup} setup
 * @param {Wire} wire
 * @param {{
 *   layer: () => Layer | null, kinds: () => string[], still_ms: () => number, changed: () => void,
 *   ribbon_changed: () => void, last: (words: string) => void}} host
 *   the kinds of traces shown, how long the view has not moved; `last` says something until it is over
 */
export function make_loader(model, setup, wire, host) {
  const {rate_hz, n_samples} = setup
  /** @type {Stretch | null} */
  let have = null
  /** @type {Ribbon | null} */
  let ribbon = null
  let share = Math.floor(setup.share * 100)
  let asks = 0
  /** @type {{n: number, key: string} | null} what is under way */
  let asked = null
  let answered = "" // the question whose answer is here, so that it is not asked again
  let failing = 0 // when the file could last not be read, 0 = all well
  let reading = false

  /** @param {Layer} layer */
  function view_samples(layer) {
    const [x0, x1] = layer.range()
    return [Math.max(0, Math.floor(x0 * rate_hz)), Math.min(n_samples, Math.ceil(x1 * rate_hz))]
  }

  /** Ask Python for what the view lacks or is about to lack; one question at a time, always about the latest view. */
  function refill() {
    const layer = host.layer()
    if (!layer || asked) return
    const [start, stop] = view_samples(layer)
    const span = stop - start
    const width = Math.max(1, Math.floor(span / (layer.frame().width * (window.devicePixelRatio || 1))))
    const kinds = host.kinds()
    const same_kinds = have && kinds.every((kind, row) => have?.traces.get(row)?.kind === kind)
    const reach = REFILL * span
    const covered = have && have.start <= Math.max(0, start - reach) && have.stop >= Math.min(n_samples, stop + reach)
    const unread = have?.unread.some(([a, b]) => a < stop && b > start)
    const fine = have && have.width <= Math.max(width, 1)
    if (same_kinds && covered && fine && !unread) return
    const key = JSON.stringify([start, stop, width, kinds, have?.start, have?.stop, unread ? share : 0])
    if (key === answered) return
    asks += 1
    asked = {n: asks, key}
    const around = Math.round(WIDTHS_AROUND * span)
    wire.send("look", {n: asks, view: [start, stop], want: [start - around, stop + around], width, kinds})
  }

  /** @param {"stretch" | "ribbon"} name */
  function take_pack(name) {
    if (!model[name]?.byteLength) return null
    const {head, fill} = unpack(model[name])
    /** @type {Map<number, Outline>} */
    const traces = new Map()
    for (const trace of head.traces) {
      const {samples} = fill(trace)
      const half = head.width === 1 ? samples.length : samples.length / 2
      trace.low = samples.subarray(0, half)
      trace.high = head.width === 1 ? trace.low : samples.subarray(half)
      trace.gaps = trace.low.includes(MISSING)
      traces.set(trace.row, trace)
    }
    return {head, traces}
  }

  function on_stretch() {
    const pack = take_pack("stretch")
    if (!pack || pack.head.client !== wire.client) return
    const {head, traces} = pack
    have = {start: head.start, stop: head.stop, width: head.width, unread: head.unread, traces}
    for (const [row, limits] of Object.entries(head.limits)) setup.channels[Number(row)].limits = limits
    if (failing) {
      failing = 0
      host.last("")
    }
    if (asked && asked.n === head.n) {
      answered = asked.key
      asked = null
    }
    host.changed()
  }

  function on_ribbon() {
    const pack = take_pack("ribbon")
    if (!pack) return
    ribbon = {width: pack.head.width, traces: pack.traces}
    host.ribbon_changed()
  }

  /** Let Python read on while nobody waits for anything else. */
  function read_on() {
    if (reading || asked || failing || share >= 100 || document.hidden || wire.stopped) return
    if (host.still_ms() < STILL_MS) return
    reading = true
    const layer = host.layer()
    const [start, stop] = layer ? view_samples(layer) : [0, 0]
    wire.send("read", {near: Math.round((start + stop) / 2)})
  }

  wire.listen((what) => {
    if (what.share != null) share = Math.floor(what.share * 100)
    if (what.read?.client === wire.client) {
      reading = false
      setTimeout(read_on, 0)
    }
    if (what.stopped === "") { // what was asked meanwhile may be lost
      asked = null
      reading = false
    }
    if (what.unread?.client === wire.client) { // the file cannot be read just now
      failing = performance.now()
      reading = false
      if (asked) answered = asked.key
      asked = null
      host.last(what.unread.words)
    }
    refill()
  })

  for (const name of ["stretch", "ribbon"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("stretch", on_stretch)
  model.on("ribbon", on_ribbon)

  return {
    refill,
    start: on_ribbon,
    get have() {
      return have
    },
    get ribbon() {
      return ribbon
    },
    get share() {
      return share
    },
    get waits() {
      return Boolean(asked || reading)
    },
    /** Called a few times a second. */
    tick() {
      if (failing && performance.now() - failing > RETRY_MS) answered = "" // look again
      refill()
      read_on()
    },
    close() {
      model.off?.("stretch", on_stretch)
      model.off?.("ribbon", on_ribbon)
    },
  }
}

/** @typedef {ReturnType<typeof make_loader>} Loader */
