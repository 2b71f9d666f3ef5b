// What the browser knows: trials already here and their decisions as Python confirmed them. Trials come by the synced
// bytes `pack`, a stretch to hear by `sound`; decisions and all else go by the wire (wire.js), which stands behind it.

const AHEAD = 60 // trials kept ahead of the one on screen
const BEHIND = 12
const CHUNK = 10 // trials asked for at once

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
  const trials = new Map()
  const cards = new Map()
  const typical = new Map() // by recording and row
  const summaries = Object.entries(setup.summaries).sort((a, b) => a[0] - b[0]).map((entry) => entry[1])
  const wire = make_wire(model, {held: () => [...cards.keys()]})
  const {client} = wire
  let asked = 0 // time of the request for trials under way, 0 = none

  function keep(card) {
    if (!(cards.get(card.index)?.serial > card.serial)) cards.set(card.index, card)
  }

  wire.listen((update) => {
    for (const card of update.cards ?? []) keep(card)
    for (const [i, summary] of Object.entries(update.summaries ?? {})) summaries[i] = summary
    if (update.renew) wire.send("everything", {held: [...cards.keys()]})
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
    wire.tell({trials: head.trials.map((trial) => trial.index)})
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
    client, trials, cards, typical, summaries, pending: wire.pending,
    get stopped() { return wire.stopped },
    listen: wire.listen,
    ask: wire.send,
    watch(attentive) {
      wire.watch(attentive)
      if (asked && performance.now() - asked > PATIENCE_MS) asked = 0
    },
    /** Ask for the trials around where the review stands; what a former screen was told is not read. */
    say_hello: () => wire.send("hello", {held: []}),
    renew: (indices) => wire.send("everything", {held: indices}),
    /** Send one decision, with what was seen of the marks it accepts; false where none may be taken. */
    decide: (command, index, channel, args, visible, seen) => wire.decide({command, index, channel, args, visible, seen}),
    /** Ask for trials that are not here, in the order in which they will be needed. */
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
