// The long view's wire to Python: one message at a time up, numbered news down, decisions with their own number, as in
// the trial review. `owed` is the time of the oldest message without an answer: Python answers every one.

const SILENCE_MS = 1800 // an answer later than this is said to be missing, and stops decisions

function make_link(model, setup) {
  const client = `screen-${Math.random().toString(36).slice(2, 10)}`
  const listeners = []
  const pending = [] // numbers of decisions on their way
  let serial = setup.serial
  let sent = 0
  let owed = 0
  let stopped = ""
  let fatal = false

  const tell = (what) => listeners.forEach((listener) => listener(what))

  function stop(words, for_good = false) {
    fatal ||= for_good
    if (stopped === words) return
    stopped = words
    tell({stopped})
  }

  function send(kind, data = {}) {
    owed ||= performance.now()
    model.send_msg({kind, client, ...data})
  }

  /** Python was heard. */
  function heard() {
    owed = pending.length ? performance.now() : 0
    if (stopped && !fatal) stop("")
  }

  function on_news() {
    if (!model.news) return
    const news = JSON.parse(model.news)
    const fresh = news.updates.filter((update) => update.serial > serial)
    if (!fresh.length) return
    const lost = fresh[0].serial > serial + 1
    for (const update of fresh) {
      serial = update.serial
      if (update.settled?.client === client) while (pending.length && pending[0] <= update.settled.n) pending.shift()
      if (update.problem) stop(update.problem, true)
      heard()
      tell(update)
    }
    if (lost) send("everything")
  }

  model.properties.news.internal = true // what comes down is not echoed up
  model.on("news", on_news)

  return {
    client, pending, send, heard,
    get stopped() { return stopped },
    listen: (listener) => listeners.push(listener),
    /** Send one decision; false where none may be taken. */
    decide(command, args, visible) {
      if (stopped) return false
      sent += 1
      pending.push(sent)
      send("decide", {n: sent, command, args, visible})
      tell({pending: pending.length})
      return true
    },
    /** Called a few times a second: asks whether Python is there, and says so when it is not. */
    watch(attentive) {
      const silent = owed ? performance.now() - owed : 0
      if (silent > SILENCE_MS) {
        const lost = pending.length ? ` ${pending.length} decision(s) are not saved, and none are taken now.` : ""
        stop(`Python does not answer.${lost} It may be busy with another cell; if the kernel was restarted, run the ` +
          "cell again. What is shown was read before; other stretches stay blank.")
      }
      if (attentive && (!owed || silent > SILENCE_MS)) send("beat")
    },
    close: () => model.off?.("news", on_news),
  }
}
