// @ts-check
// The wire to Python, for every widget: one message at a time up (send_msg), numbered news down by the synced text
// `news`, answers to beats by `pulse`. A decision is kept until Python has settled it, and sent again if it was lost.

/** @import {Decision, Model, News, Sent} from "../types.js" */

export const PATIENCE_MS = 1500 // so long without an answer, or without one more decision settled, stops decisions

const BEAT_MS = 250 // a beat is asked for this long after the last one

const AGAIN_MS = 500 // a decision is not sent again sooner than this

/**
 * @param {Model} model
 * @param {{held?: () => number[], still?: string}} [options]  `held()` names what a browser that missed news must be
 *   told anew; `still` is said where Python does not answer
 */
export function make_wire(model, {held = () => [], still = ""} = {}) {
  const client = `screen-${Math.random().toString(36).slice(2, 10)}`
  /** @type {((what: News) => void)[]} */
  const listeners = []
  /** @type {Sent[]} */
  const pending = [] // decisions on their way: what was sent, with n and at
  /** @type {Sent[]} */
  const done = [] // the last ones that are settled
  /** @type {Set<number>} */
  const refused = new Set() // numbers of decisions whose refusal was told
  let sent = 0
  let serial = model.news ? JSON.parse(model.news).serial : 0 // what was said before this screen opened is not for it
  let beat_asked = 0 // when the beat that is not yet answered was asked for, 0 = none
  let beat_tried = -Infinity
  let beats = 0
  let sent_again = -Infinity
  let settled_at = -Infinity // when Python settled some
  let stopped = "" // why no decision is taken, "" = all well
  let fatal = false

  /** @param {News} what */
  const tell = (what) => listeners.forEach((listener) => listener(what))
  /** @param {string} kind @param {object} data */
  const send = (kind, data = {}) => model.send_msg({kind, client, ...data})
  const late = () => pending.length > 0 && performance.now() - Math.max(pending[0].at, settled_at) > PATIENCE_MS

  /** @param {string} words */
  function stop(words, for_good = false) {
    fatal ||= for_good
    if (stopped === words) return
    stopped = words
    tell({stopped})
  }

  function go_on() {
    if (stopped && !fatal && !late()) stop("")
  }

  /** Python misses decision number `awaited`, so it takes none of those after it.
   * @param {number} awaited */
  function send_again(awaited) {
    if (pending.length && pending[0].n > awaited) {
      return stop("Python does not know decisions that it has confirmed: reload the page.", true)
    }
    const now = performance.now()
    if (now - sent_again < AGAIN_MS) return
    sent_again = now
    for (const {at: _, ...decision} of pending) if (decision.n >= awaited) send("decide", decision)
  }

  /** @param {News} update */
  function take(update) {
    if (update.settled?.client === client) { // Python takes decisions without a gap: all up to n are settled
      beat_asked = 0
      if ((pending[0]?.n ?? Infinity) <= update.settled.n) settled_at = performance.now()
      done.push(...pending.splice(0, pending.filter(({n}) => n <= update.settled.n).length))
      done.splice(0, done.length - 50)
    }
    for (const refusal of update.refused ?? []) {
      if (refusal.client !== client || refused.has(refusal.n)) continue
      refused.add(refusal.n)
      tell({refusal: {...refusal, decision: done.find((d) => d.n === refusal.n)}})
    }
    if (update.gap?.client === client) send_again(update.gap.awaited)
    if (update.problem) stop(update.problem, true)
    else go_on()
    tell(update)
  }

  function on_news() {
    if (!model.news) return
    const {updates} = JSON.parse(model.news)
    const fresh = updates.filter((/** @type {News} */ update) => update.serial > serial)
    if (!fresh.length) return
    const lost = fresh[0].serial > serial + 1
    for (const update of fresh) {
      serial = update.serial
      take(update)
    }
    if (lost) send("everything", {held: held()})
  }

  function on_pulse() {
    if (!model.pulse.startsWith(`${client} `)) return
    beat_asked = 0
    go_on()
  }

  for (const name of ["news", "pulse"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("news", on_news)
  model.on("pulse", on_pulse)

  return {
    client,
    pending,
    send,
    get stopped() {
      return stopped
    },
    /** @param {(what: News) => void} listener */
    listen: (listener) => listeners.push(listener),
    tell,
    /** Send one decision; false where none may be taken.
     * @param {Decision} decision */
    decide(decision) {
      if (stopped) return false
      sent += 1
      pending.push({...decision, n: sent, at: performance.now()})
      send("decide", {...decision, n: sent})
      tell({pending: pending.length})
      return true
    },
    /** Called a few times a second: asks whether Python is there, and says so when it is not.
     * @param {boolean} attentive */
    watch(attentive) {
      const now = performance.now()
      const waiting = attentive || pending.length > 0
      const slow = pending.find((decision) => decision.args?.slow)
      if (slow) {
        if (late()) stop(slow.args.slow)
      } else if (late()) {
        stop(
          `Python has not confirmed ${pending.length} decision(s): no further decisions are taken. If the kernel was ` +
            `restarted, run the cell again: review goes on where the file ends.${still}`,
        )
      } else if (waiting && beat_asked && now - beat_asked > PATIENCE_MS) {
        stop(
          "Python does not answer: no decisions are taken. It may be busy with another cell; if the kernel was " +
            `restarted, run the cell again: review goes on where the file ends.${still}`,
        )
      }
      if (waiting && now - beat_tried > (beat_asked ? 10 * PATIENCE_MS : BEAT_MS)) {
        beat_asked ||= now
        beat_tried = now
        beats += 1
        send("beat", {n: beats, sent})
      }
    },
    close() {
      model.off?.("news", on_news)
      model.off?.("pulse", on_pulse)
    },
  }
}

/** @typedef {ReturnType<typeof make_wire>} Wire */
