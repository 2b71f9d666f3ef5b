// What the browser knows: trials already here, their decisions as Python confirmed them, and what is not yet saved.
// One message at a time goes up (send_msg); everything comes down by two synced properties, `pack` and `news`.

const AHEAD = 60 // trials kept ahead of the one on screen
const BEHIND = 12
const CHUNK = 10 // trials asked for at once
const PATIENCE_MS = 1500 // an answer later than this stops decisions

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
  let sent = 0
  let serial = setup.serial
  let asked = 0 // time of the request for trials under way, 0 = none
  let beat_sent = 0
  let beat_heard = performance.now()
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
    if (update.beat?.client === client) beat_heard = performance.now()
    if (update.settled?.client === client) {
      beat_heard = performance.now()
      while (pending.length && pending[0].n <= update.settled.n) pending.shift()
    }
    for (const card of update.cards ?? []) keep(card)
    for (const [i, summary] of Object.entries(update.summaries ?? {})) summaries[i] = summary
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

  function watch(attentive) {
    const now = performance.now()
    if (pending.some(late)) {
      stop(`Python has not confirmed ${pending.length} decision(s) for ${Math.round((now - pending[0].at) / 1000)} s: ` +
        "no further decisions are taken. If the kernel was restarted, run the cell again: review goes on where the file ends.")
    } else if (attentive && beat_sent > beat_heard && now - beat_sent > PATIENCE_MS) {
      stop("Python does not answer: no decisions are taken. It may be busy with another cell; if the kernel was " +
        "restarted, run the cell again: review goes on where the file ends.")
    }
    if (attentive && (beat_sent <= beat_heard || now - beat_sent > PATIENCE_MS)) {
      if (beat_sent <= beat_heard) beat_sent = now
      model.send_msg({kind: "beat", client})
    }
    if (asked && now - asked > PATIENCE_MS) asked = 0
  }

  for (const name of ["pack", "news", "sound"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("pack", on_pack)
  model.on("news", on_news)
  model.on("sound", on_sound)

  return {
    client, trials, cards, typical, summaries, pending,
    get stopped() { return stopped },
    listen: (listener) => listeners.push(listener),
    watch,
    ask: (kind, what) => model.send_msg({kind, client, ...what}),
    say_hello() {
      model.send_msg({kind: "hello", client, held: [...cards.keys()]})
      on_news()
      on_pack()
    },
    /** Send one decision; false where none may be taken. */
    decide(command, index, channel, args, visible) {
      if (stopped) return false
      sent += 1
      pending.push({n: sent, index, channel, command, at: performance.now()})
      model.send_msg({kind: "decide", client, n: sent, command, index, channel, args, visible})
      tell({pending: pending.length})
      return true
    },
    /** Ask for trials around one, nearest first. */
    want(index) {
      if (asked) return
      const missing = []
      for (let ahead = 0; ahead <= AHEAD && missing.length < CHUNK; ahead++) {
        const steps = ahead && ahead <= BEHIND ? [index + ahead, index - ahead] : [index + ahead]
        for (const i of steps) if (i >= 0 && i < setup.n_trials && !trials.has(i)) missing.push(i)
      }
      const far = missing.length && Math.abs(missing[0] - index) > AHEAD / 2
      if (!missing.length || (missing.length < CHUNK / 2 && far)) return
      asked = performance.now()
      model.send_msg({kind: "want", client, trials: missing.slice(0, CHUNK)})
      for (const known of trials.keys()) if (Math.abs(known - index) > 3 * AHEAD) trials.delete(known)
    },
    close() {
      model.off?.("pack", on_pack)
      model.off?.("news", on_news)
      model.off?.("sound", on_sound)
    },
  }
}
