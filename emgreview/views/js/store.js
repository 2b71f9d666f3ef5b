// What the browser knows: trials already here, their decisions as Python confirmed them, and what is not yet saved.
// One message at a time goes up (send_msg); everything comes down by two synced properties, `pack` and `news`.

const AHEAD = 60 // trials kept ahead of the one on screen
const BEHIND = 12
const CHUNK = 10 // trials asked for at once
const PATIENCE_MS = 1500 // an answer later than this stops decisions
const BEAT_MS = 250 // a beat is asked for this long after the last answer

/** A pack: int32 length of the JSON head, head, then int16 samples (-32768 = missing). Returns the head and a function
 * that gives a trace its samples. */
function unpack(buffer) {
  const length = new DataView(buffer).getInt32(0, true)
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)))
  const fill = (trace) => {
    trace.samples = new Int16Array(buffer, 4 + length + trace.at, trace.n)
    return trace
  }
  return {head, fill}
}

function make_store(model, setup) {
  const client = `screen-${Math.random().toString(36).slice(2, 10)}`
  const trials = new Map()
  const cards = new Map()
  const typical = new Map() // by recording and row
  const summaries = Object.entries(setup.summaries).sort((a, b) => a[0] - b[0]).map((entry) => entry[1])
  const listeners = []
  const pending = [] // decisions on their way: {n, index, channel, command, at}
  const done = [] // the last ones that are settled
  const refused = new Set() // numbers of decisions whose refusal was told
  let sent = 0
  let serial = model.news ? JSON.parse(model.news).serial : 0 // what was said before this screen opened is not for it
  let asked = 0 // time of the request for trials under way, 0 = none
  let beat_asked = 0 // when the beat that is not yet answered was asked for, 0 = none
  let beat_tried = 0
  let beats = 0
  let stopped = "" // why no decision is taken, "" = all well
  let fatal = false

  const tell = (what) => listeners.forEach((listener) => listener(what))

  function stop(words, for_good = false) {
    fatal ||= for_good
    if (stopped === words) return
    stopped = words
    tell({stopped})
  }

  function keep(card) {
    if (!(cards.get(card.index)?.serial > card.serial)) cards.set(card.index, card)
  }

  function take(update) {
    if (update.settled?.client === client) { // Python takes decisions without a gap: all up to n are settled
      beat_asked = 0
      while (pending.length && pending[0].n <= update.settled.n) done.push(pending.shift())
      done.splice(0, done.length - 50)
    }
    for (const refusal of update.refused ?? []) {
      if (refusal.client !== client || refused.has(refusal.n)) continue
      refused.add(refusal.n)
      tell({refusal: {...refusal, decision: done.find((d) => d.n === refusal.n)}})
    }
    if (update.gap?.client === client) stop(`${update.gap.missing} decision(s) did not reach Python: reload the page.`, true)
    for (const card of update.cards ?? []) keep(card)
    for (const [i, summary] of Object.entries(update.summaries ?? {})) summaries[i] = summary
    if (update.renew) model.send_msg({kind: "everything", client, held: [...cards.keys()]})
    if (update.problem) stop(update.problem, true)
    else if (stopped && !fatal && !pending.some(late)) stop("")
    tell(update)
  }

  function on_news() {
    if (!model.news) return
    const news = JSON.parse(model.news)
    const fresh = news.updates.filter((update) => update.serial > serial)
    if (fresh.length && fresh[0].serial > serial + 1) {
      serial = news.serial // some were missed: ask for everything
      model.send_msg({kind: "everything", client, held: [...cards.keys()]})
      return
    }
    for (const update of fresh) {
      serial = update.serial
      take(update)
    }
  }

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
    tell({trials: head.trials.map((trial) => trial.index)})
  }

  function on_sound() {
    if (!model.sound?.byteLength) return
    const {head, fill} = unpack(model.sound)
    if (head.client.startsWith(`${client} `)) tell({sound: {...fill(head.trace), rate_hz: head.rate_hz}})
  }

  const late = (decision) => performance.now() - decision.at > PATIENCE_MS

  function on_pulse() {
    if (!model.pulse.startsWith(`${client} `)) return
    beat_asked = 0
    if (stopped && !fatal && !pending.some(late)) stop("")
  }

  function watch(attentive) {
    const now = performance.now()
    if (pending.some(late)) {
      stop(`Python has not confirmed ${pending.length} decision(s) for ${Math.round((now - pending[0].at) / 1000)} s: ` +
        "no further decisions are taken. If the kernel was restarted, run the cell again: review goes on where the file ends.")
    } else if (attentive && beat_asked && now - beat_asked > PATIENCE_MS) {
      stop("Python does not answer: no decisions are taken. It may be busy with another cell; if the kernel was " +
        "restarted, run the cell again: review goes on where the file ends.")
    }
    if (attentive && now - beat_tried > (beat_asked ? 10 * PATIENCE_MS : BEAT_MS)) {
      beat_asked ||= now
      beat_tried = now
      beats += 1
      model.send_msg({kind: "beat", client, n: beats})
    }
    if (asked && now - asked > PATIENCE_MS) asked = 0
  }

  for (const name of ["pack", "news", "sound", "pulse"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("pack", on_pack)
  model.on("news", on_news)
  model.on("sound", on_sound)
  model.on("pulse", on_pulse)

  return {
    client, trials, cards, typical, summaries, pending,
    get stopped() { return stopped },
    listen: (listener) => listeners.push(listener),
    watch,
    ask: (kind, what) => model.send_msg({kind, client, ...what}),
    /** Ask for the trials around where the review stands; what a former screen was told is not read. */
    say_hello: () => model.send_msg({kind: "hello", client, held: []}),
    renew: (indices) => model.send_msg({kind: "everything", client, held: indices}),
    /** Send one decision, with what was seen of the marks it accepts; false where none may be taken. */
    decide(command, index, channel, args, visible, seen) {
      if (stopped) return false
      sent += 1
      pending.push({n: sent, index, channel, command, at: performance.now()})
      model.send_msg({kind: "decide", client, n: sent, command, index, channel, args, visible, seen})
      tell({pending: pending.length})
      return true
    },
    /** Ask for trials that are not here, in the order in which they will be needed. */
    want(wanted) {
      if (asked) return
      const needed = wanted.slice(0, AHEAD + BEHIND)
      const missing = needed.filter((i) => !trials.has(i))
      const soon = missing.length && needed.indexOf(missing[0]) < AHEAD / 2
      if (!missing.length || (missing.length < CHUNK / 2 && !soon)) return
      asked = performance.now()
      model.send_msg({kind: "want", client, trials: missing.slice(0, CHUNK)})
      if (trials.size < 4 * AHEAD) return
      const near = new Set(needed)
      for (const known of [...trials.keys()].slice(0, AHEAD)) if (!near.has(known)) trials.delete(known)
    },
    close() {
      model.off?.("pack", on_pack)
      model.off?.("news", on_news)
      model.off?.("sound", on_sound)
      model.off?.("pulse", on_pulse)
    },
  }
}
