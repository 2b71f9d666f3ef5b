// @ts-check
// The wire to Python, for every widget: one message at a time up (send_msg), numbered news down by the synced text
// `news`, answers to beats by `pulse`. A decision is kept until Python has settled it, and sent again if it was lost; what
// asks for an answer, until that has come. What is still held in the browser, a nudge or a drag, is no decision yet, but
// counts as not saved.

import {not_plain} from "./plain.js"

/** @import {Decision, Model, News, Sent} from "../types.js" */

export const PATIENCE_MS = 1500 // so long without an answer, or without one more decision settled, stops decisions

const BEAT_MS = 250 // a beat is asked for this long after the last one

const AGAIN_MS = 500 // nothing is sent again sooner than this
const OFTEN = 20 // so many times; then Python is busy, and what is sent waits for it in a row
const SELDOM_MS = 10 * PATIENCE_MS

/** Whether it is time to send once more what was sent some times, and last at some moment.
 * @param {number} times @param {number} at @param {number} now */
const due = (times, at, now) => now - at > (times < OFTEN ? AGAIN_MS : SELDOM_MS)

/**
 * @param {Model} model
 * @param {{shown?: () => number[], still?: string}} [options]  `shown()` names what a browser that missed news must be
 *   told anew; `still` is said where Python does not answer
 */
export function make_wire(model, {shown = () => [], still = ""} = {}) {
  const client = `screen-${Math.random().toString(36).slice(2, 10)}`
  /** @type {((what: News) => void)[]} */
  const listeners = []
  /** @type {Sent[]} */
  const pending = [] // decisions on their way: what was sent, with n and at
  /** @type {Sent[]} */
  const done = [] // the last ones that are settled
  /** @type {Set<number>} */
  const refused = new Set() // numbers of decisions whose refusal was told
  let doubtful = 0 // how many of them may be on disk all the same
  let sent = 0
  let serial = model.news ? JSON.parse(model.news).serial : 0 // what was said before this screen opened is not for it
  let beat_asked = 0 // when the beat that is not yet answered was asked for, 0 = none
  let beat_tried = -Infinity
  let beats = 0
  let unanswered = 0 // beats since one was answered
  let asks = 0
  /** @type {Map<string, {n: number, at: number, times: number, data: {held: number[]}}>} */
  const asked = new Map() // questions that are sent again until they are answered, by kind
  /** @type {(() => number)[]} */
  const holding = [] // what tells how much is held that is not yet sent
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

  /** Python misses decisions: number `awaited`, and with it all that are named.
   * @param {{awaited: number, missing?: number[]}} gap */
  function send_again({awaited, missing = [awaited]}) {
    if (pending.length && pending[0].n > awaited) {
      return stop("Python does not know decisions that it has confirmed: reload the page.", true)
    }
    const now = performance.now()
    for (const decision of pending) {
      if (!missing.includes(decision.n) || now - (decision.again ?? -Infinity) < AGAIN_MS) continue
      decision.again = now
      const {at: _, again: __, ...said} = decision
      send("decide", said)
    }
  }

  /** Ask, and ask again until it is answered. What is asked once more meanwhile waits for its turn.
   * @param {string} kind @param {number[]} held */
  function insist(kind, held = []) {
    const now = performance.now()
    const before = asked.get(kind)
    asks += 1
    const data = {held: [...new Set([...(before?.data.held ?? []), ...held])]}
    const question = {n: asks, at: before?.at ?? -Infinity, times: 0, data}
    asked.set(kind, question)
    if (now - question.at > AGAIN_MS) put(kind, question)
  }

  /** @param {string} kind @param {{n: number, at: number, times: number, data: object}} question */
  function put(kind, question) {
    question.at = performance.now()
    question.times += 1
    send(kind, {...question.data, asks: question.n})
  }

  /** @param {News} update */
  function take(update) {
    if (update.settled?.client === client) { // Python takes decisions without a gap: all up to n are settled
      beat_asked = unanswered = 0
      if ((pending[0]?.n ?? Infinity) <= update.settled.n) settled_at = performance.now()
      done.push(...pending.splice(0, pending.filter(({n}) => n <= update.settled.n).length))
      done.splice(0, done.length - 50)
    }
    for (const refusal of update.refused ?? []) {
      if (refusal.client !== client || refused.has(refusal.n)) continue
      refused.add(refusal.n)
      if (refusal.doubt) doubtful += 1
      tell({refusal: {...refusal, decision: done.find((d) => d.n === refusal.n)}})
    }
    if (update.gap?.client === client) send_again(update.gap)
    if (update.answered?.client === client) {
      for (const [kind, {n}] of asked) if (n === update.answered.n) asked.delete(kind)
    }
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
    if (lost) insist("everything", shown())
  }

  function on_pulse() {
    if (!model.pulse.startsWith(`${client} `)) return
    beat_asked = unanswered = 0
    go_on()
  }

  for (const name of ["news", "pulse"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("news", on_news)
  model.on("pulse", on_pulse)

  return {
    client,
    pending,
    send,
    insist,
    get stopped() {
      return stopped
    },
    /** How many decisions failed while they were written: whether they are on disk is not known. */
    get doubtful() {
      return doubtful
    },
    /** How much is held in the browser that is not yet sent. */
    get held() {
      return holding.reduce((sum, count) => sum + count(), 0)
    },
    /** Count what is held there, too.
     * @param {() => number} count */
    hold: (count) => holding.push(count),
    /** @param {(what: News) => void} listener */
    listen: (listener) => listeners.push(listener),
    tell,
    /** Send one decision; false where none may be taken.
     * @param {Decision} decision */
    decide(decision) {
      const odd = not_plain(decision)
      if (odd) {
        tell({unfit: `Not taken: ${odd} cannot be sent; finite numbers and text are allowed. Say it anew.`})
        return false
      }
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
      if (waiting && (beat_asked ? due(unanswered, beat_tried, now) : now - beat_tried > BEAT_MS)) {
        beat_asked ||= now
        beat_tried = now
        beats += 1
        unanswered += 1
        send("beat", {n: beats, sent, settled: (pending[0]?.n ?? sent + 1) - 1})
      }
      for (const [kind, question] of asked) if (due(question.times, question.at, now)) put(kind, question)
    },
    close() {
      model.off?.("news", on_news)
      model.off?.("pulse", on_pulse)
    },
  }
}

/** @typedef {ReturnType<typeof make_wire>} Wire */
