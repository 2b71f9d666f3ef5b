// The mark in hand: which burst and side of the present channel, or which edge of its interval, and where it is being
// put; and the cursor, where marks are put: it stays where a click or a key has set it.

const NUDGE_MS = 300 // a nudge is sent this long after the last one
const SIDES = {onset: "offset", offset: "onset", earliest: "latest", latest: "earliest"}
const SIDE_WORDS = {onset: "onset", offset: "offset", earliest: "not before", latest: "not after"}

/**
 * @typedef {{burst: string | null, side: keyof typeof SIDES, at_s: number | null}} Mark
 *   at_s: where it is being put, null while it lies where the card says
 */

/** The marks of one channel's card that can be taken in hand. */
function marks_of({bursts, interval_s}) {
  const marks = bursts.flatMap((burst) => ["onset", "offset"].map((side) => ({burst: burst.id, side, s: burst[`${side}_s`]})))
  if (interval_s) {
    marks.push({burst: null, side: "earliest", s: interval_s[0]}, {burst: null, side: "latest", s: interval_s[1]})
  }
  return marks.filter((mark) => mark.s != null)
}

/** `host` is documented where it is made (review.js). */
function make_hand(setup, host) {
  const [first_s, last_s] = setup.spans[0]
  let mark = {burst: null, side: "onset", at_s: null}
  let cursor_s = setup.cursor_s
  let hover_s = null // where the pointer is
  let timer = 0 // of a nudge that is not yet sent
  let added = null // {index, row, known, side}: what to take in hand once an added burst has its id
  const kept = [] // what was pressed meanwhile, in order

  const snap = (s) => Math.round(s * setup.rate_hz) / setup.rate_hz
  const within = (s, low, high) => Math.min(high, Math.max(low, s))
  const burst = () => host.channel()?.bursts.find((known) => known.id === mark.burst)
  const where = () => marks_of(host.channel() ?? {bursts: []}).find((m) => m.burst === mark.burst && m.side === mark.side)

  /** As far as a step says, and one sample at least, whatever the rate. */
  function step(s, by_s) {
    const samples = Math.max(1, Math.round(Math.abs(by_s) * setup.rate_hz))
    return (Math.round(s * setup.rate_hz) + Math.sign(by_s) * samples) / setup.rate_hz
  }

  /** Take a mark of the present channel in hand: the one that was, else an edge of its interval, else its response. */
  function select() {
    const {bursts, interval_s} = host.channel() ?? {bursts: []}
    const {index, row} = host.place()
    if (added?.index === index && added.row === row) {
      const fresh = bursts.find((known) => !added.known.includes(known.id))
      if (fresh) {
        mark = {burst: fresh.id, side: added.side, at_s: null}
        added = null
        return
      }
    }
    if (interval_s) {
      mark = {burst: null, side: mark.side === "latest" ? "latest" : "earliest", at_s: null}
      return
    }
    const kept = bursts.find((known) => known.id === mark.burst)
    const taken = kept ?? bursts.find((known) => known.kind === "response") ?? bursts[0]
    mark = {burst: taken?.id ?? null, side: kept ? mark.side : "onset", at_s: null}
  }

  /** Whether a burst that was added here is on its way. */
  function coming() {
    const {index, row} = host.place()
    return added?.index === index && added.row === row && host.adding()
  }

  /** Do what was pressed while an added burst was on its way; what follows another burst is kept anew. */
  function run_kept() {
    if (!coming()) for (const run of kept.splice(0)) run()
  }

  /** Forget it; how much that was. */
  function drop_kept() {
    return kept.splice(0).length
  }

  /** Whether the mark in hand can be worked on: not while an added burst is on its way. */
  function ready() {
    if (!coming()) return true
    host.notice("The burst just added is not yet saved; press once more.")
    return false
  }

  /** Send the mark in hand to where it is held; the card shows it at once, until Python has confirmed or refused it. */
  function put() {
    const {side, at_s} = mark
    const channel = host.channel()
    mark.at_s = null
    if (at_s == null || !channel || host.stopped()) return host.refresh()
    if (channel.interval_s && !mark.burst) {
      const ends = side === "earliest" ? [at_s, channel.interval_s[1]] : [channel.interval_s[0], at_s]
      if (ends[0] > ends[1]) mark.side = SIDES[side]
      put_interval(ends)
    } else {
      const known = burst()
      const {onset_s, offset_s} = {...known, [`${side}_s`]: at_s}
      if (offset_s != null && offset_s <= onset_s) {
        return host.refuse("the offset would not come after its onset; put it later, or the onset earlier.")
      }
      known[`${side}_s`] = at_s
      host.decide("move", {burst: mark.burst, [`${side}_s`]: at_s})
    }
    host.refresh()
  }

  /** Say that the onset lies between two times. */
  function put_interval(ends) {
    const [earliest_s, latest_s] = ends.map(snap).sort((a, b) => a - b)
    if (!host.decide("not_locatable", {earliest_s, latest_s})) return false
    Object.assign(host.channel(), {interval_s: [earliest_s, latest_s], bursts: []})
    select()
    host.refresh()
    return true
  }

  function flush() {
    if (!timer) return
    clearTimeout(timer)
    timer = 0
    put()
  }

  function nudge(by_s) {
    if (!ready()) return
    const at_s = mark.at_s ?? where()?.s
    if (at_s == null) {
      return host.notice(burst() ? `This burst has no ${mark.side} yet: put the cursor there, then the mark to the cursor.`
        : `There is no ${SIDE_WORDS[mark.side]} to move here: put the cursor there and add one.`)
    }
    mark.at_s = step(at_s, by_s)
    clearTimeout(timer)
    timer = setTimeout(flush, NUDGE_MS)
    host.refresh()
  }

  function add(side) {
    if (!ready()) return
    const known = (host.channel()?.bursts ?? []).map(({id}) => id)
    if (host.decide("add", {onset_s: snap(cursor_s)})) added = {...host.place(), known, side}
    host.refresh()
  }

  /** The mark in hand to the cursor; an onset where there is none. */
  function to_cursor() {
    if (!ready()) return
    if (!burst() && !host.channel()?.interval_s) return add("onset")
    mark.at_s = snap(cursor_s)
    put()
  }

  return {
    get mark() { return mark },
    get cursor_s() { return cursor_s },
    get hover_s() { return mark.at_s ?? hover_s },
    get held_s() { return mark.at_s ?? where()?.s ?? null },
    get nudged() { return timer !== 0 },
    burst, select, put_interval, flush, to_cursor,
    /** The interval to begin with: the present one, else the automatic one, else a little around the cursor. */
    interval() {
      const {interval_s, automatic: {low_s, high_s}} = host.channel()
      return interval_s ?? [low_s ?? cursor_s - 0.05, high_s ?? cursor_s + 0.05]
    },
    /** Keep what is pressed for an added burst until that has its id, and all that is pressed after it; true if kept. */
    keep(of_mark, run) {
      const keeps = coming() && !host.stopped() && (of_mark || kept.length > 0)
      if (keeps) kept.push(run)
      return keeps
    },
    run_kept, drop_kept,
    forget_added() {
      added = null
      return drop_kept()
    },
    let_go() { mark = {burst: null, side: "onset", at_s: null} },
    take({burst: id, side}) {
      mark = {burst: id, side, at_s: null}
      host.refresh()
    },
    hold(at_s) {
      mark.at_s = snap(at_s)
      host.redraw()
    },
    put() {
      cursor_s = mark.at_s ?? cursor_s
      put()
    },
    drop() {
      mark.at_s = null
      host.refresh()
    },
    hover(s) {
      hover_s = s
      host.redraw()
    },
    set_cursor(s) {
      cursor_s = within(snap(s), first_s, last_s)
      host.redraw()
    },
    commands: {
      nudge: ({arguments: {by_s}}) => nudge(by_s),
      cursor: ({arguments: {by_s}}) => {
        cursor_s = within(step(within(cursor_s, ...host.range()), by_s), first_s, last_s)
        host.refresh()
      },
      to_cursor,
      add: () => add("offset"),
      switch_side: () => {
        mark = {...mark, side: SIDES[mark.side], at_s: null}
        host.refresh()
      },
      next_burst: () => {
        const ids = (host.channel()?.bursts ?? []).map(({id}) => id)
        if (ids.length) mark = {burst: ids[(ids.indexOf(mark.burst) + 1) % ids.length], side: "onset", at_s: null}
        host.refresh()
      },
      remove: () => ready() && host.decide("remove", {burst: mark.burst}),
      confidence: ({arguments: {confidence}}) => ready() && host.decide("confidence", {confidence, burst: mark.burst}),
    },
  }
}
