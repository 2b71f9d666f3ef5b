// @ts-check
// What is selected: which burst and side of the present channel, or which edge of its interval, and where it is being
// put; and the cursor, where marks are put: it stays where a click or a key has set it.

import {snap, whole_step, within} from "../shared/geometry.js"

/** @import {Commands, Span, Timer} from "../types.js" */
/** @import {Burst, ChannelCard, Mark, Side} from "./types.js" */

export const NUDGE_MS = 300 // a nudge is sent this long after the last one
/** @type {Record<Side, Side>} */
const OTHER_SIDE = {onset: "offset", offset: "onset", earliest: "latest", latest: "earliest"}
/** @type {Record<Side, string>} */
export const SIDE_WORDS = {onset: "onset", offset: "offset", earliest: "not before", latest: "not after"}

/**
 * @typedef {{
 *   channel: () => ChannelCard | null | undefined, place: () => {index: number, row: number}, range: () => Span,
 *   adding: () => boolean, stopped: () => string,
 *   decide: (command: string, args: Record<string, unknown>) => boolean,
 *   notice: (words: string) => void, refuse: (words: string) => void, refresh: () => void, redraw: () => void}} Host
 *   the screen around it: the card of the present channel, where that is, the time shown, whether a burst added there
 *   is on its way, why no decision is taken; `redraw` paints, `refresh` also writes the words anew
 */

/** The marks of one channel's card that can be selected.
 * @param {Pick<ChannelCard, "bursts" | "interval_s">} channel
 * @returns {{burst: string | null, side: Side, s: number}[]} */
export function marks_of({bursts, interval_s}) {
  /** @type {{burst: string | null, side: Side, s: number | null}[]} */
  const marks = bursts.flatMap(({id, onset_s, offset_s}) => [
    {burst: id, side: "onset", s: onset_s},
    {burst: id, side: "offset", s: offset_s},
  ])
  if (interval_s) {
    marks.push({burst: null, side: "earliest", s: interval_s[0]}, {burst: null, side: "latest", s: interval_s[1]})
  }
  return marks.flatMap(({s, ...mark}) => (s == null || s === undefined ? [] : [{...mark, s}]))
}

/** @param {{spans: [Span, Span], rate_hz: number, cursor_s: number}} setup @param {Host} host */
export function make_selection(setup, host) {
  const {rate_hz} = setup
  const [first_s, last_s] = setup.spans[0]
  /** @type {Mark} */
  let mark = {burst: null, side: "onset", at_s: null}
  let cursor_s = setup.cursor_s
  /** @type {number | null} where the pointer is */
  let hover_s = null
  /** @type {Timer} of a nudge that is not yet sent */
  let timer
  /** @type {{index: number, row: number, known: string[], side: Side} | null} what to select once an added burst has its id */
  let added = null
  /** @type {(() => void)[]} what was pressed meanwhile, in order */
  const kept = []

  const bursts = () => host.channel()?.bursts ?? []
  const burst = () => bursts().find((known) => known.id === mark.burst)
  const where = () =>
    marks_of(host.channel() ?? {bursts: [], interval_s: null}).find((m) =>
      m.burst === mark.burst && m.side === mark.side
    )
  /** @param {number} s @param {number} by_s */
  const stepped = (s, by_s) => (Math.round(s * rate_hz) + whole_step(by_s, rate_hz)) / rate_hz

  /** Select a mark of the present channel: the one that was, else an edge of its interval, else its response. */
  function select() {
    const {index, row} = host.place()
    if (added?.index === index && added.row === row) {
      const {known, side} = added
      const fresh = bursts().find(({id}) => !known.includes(id))
      if (fresh) {
        mark = {burst: fresh.id, side, at_s: null}
        added = null
        return
      }
    }
    if (host.channel()?.interval_s) {
      mark = {burst: null, side: mark.side === "latest" ? "latest" : "earliest", at_s: null}
      return
    }
    const same = burst()
    const taken = same ?? bursts().find((known) => known.kind === "response") ?? bursts()[0]
    mark = {burst: taken?.id ?? null, side: same ? mark.side : "onset", at_s: null}
  }

  /** Whether a burst that was added here is on its way. */
  function coming() {
    const {index, row} = host.place()
    return added?.index === index && added.row === row && host.adding()
  }

  /** Do what was pressed while an added burst was on its way; what follows another burst is kept anew. */
  function run_kept() {
    if (!coming()) { for (const run of kept.splice(0)) run() }
  }

  /** Forget it; how much that was. */
  function drop_kept() {
    return kept.splice(0).length
  }

  /** Whether the selected mark can be worked on: not while an added burst is on its way. */
  function ready() {
    if (!coming()) return true
    host.notice("The burst just added is not yet saved; press once more.")
    return false
  }

  /** Send the selected mark to where it is held; the card shows it at once, until Python has confirmed or refused it. */
  function put() {
    const {side, at_s} = mark
    const channel = host.channel()
    mark.at_s = null
    if (at_s == null || !channel || host.stopped()) return host.refresh()
    if (channel.interval_s && !mark.burst) {
      /** @type {Span} */
      const ends = side === "earliest" ? [at_s, channel.interval_s[1]] : [channel.interval_s[0], at_s]
      if (ends[0] > ends[1]) mark.side = OTHER_SIDE[side]
      put_interval(ends)
    } else {
      const known = /** @type {Burst} */ (burst())
      const {onset_s, offset_s} = side === "onset" ? {...known, onset_s: at_s} : {...known, offset_s: at_s}
      if (offset_s != null && offset_s <= onset_s) {
        return host.refuse("the offset would not come after its onset; put it later, or the onset earlier.")
      }
      if (host.decide("move", {burst: mark.burst, [`${side}_s`]: at_s})) Object.assign(known, {[`${side}_s`]: at_s})
    }
    host.refresh()
  }

  /** Say that the onset lies between two times.
   * @param {Span} ends */
  function put_interval(ends) {
    const [earliest_s, latest_s] = ends.map((s) => snap(s, rate_hz)).sort((a, b) => a - b)
    if (!host.decide("not_locatable", {earliest_s, latest_s})) return false
    Object.assign(host.channel() ?? {}, {interval_s: [earliest_s, latest_s], bursts: []})
    select()
    host.refresh()
    return true
  }

  function flush() {
    if (!timer) return
    clearTimeout(timer)
    timer = undefined
    put()
  }

  /** @param {number} by_s */
  function nudge(by_s) {
    if (!ready()) return
    const at_s = mark.at_s ?? where()?.s
    if (at_s === undefined) {
      return host.notice(
        burst()
          ? `This burst has no ${mark.side} yet: put the cursor there, then the mark to the cursor.`
          : `There is no ${SIDE_WORDS[mark.side]} to move here: put the cursor there and add one.`,
      )
    }
    mark.at_s = stepped(at_s, by_s)
    clearTimeout(timer)
    timer = setTimeout(flush, NUDGE_MS)
    host.refresh()
  }

  /** Add a burst at the cursor; that side of it is selected once it is there.
   * @param {Side} side */
  function add(side) {
    if (!ready()) return
    const known = bursts().map(({id}) => id)
    if (host.decide("add", {onset_s: snap(cursor_s, rate_hz)})) added = {...host.place(), known, side}
    host.refresh()
  }

  /** The selected mark to the cursor; an onset where there is none. */
  function to_cursor() {
    if (!ready()) return
    if (!burst() && !host.channel()?.interval_s) return add("onset")
    mark.at_s = snap(cursor_s, rate_hz)
    put()
  }

  /** @type {Commands} */
  const commands = {
    nudge: ({arguments: {by_s}}) => nudge(by_s),
    cursor: ({arguments: {by_s}}) => {
      cursor_s = within(stepped(within(cursor_s, ...host.range()), by_s), first_s, last_s)
      host.refresh()
    },
    to_cursor,
    add: () => add("offset"),
    switch_side: () => {
      mark = {...mark, side: OTHER_SIDE[mark.side], at_s: null}
      host.refresh()
    },
    next_burst: () => {
      const ids = bursts().map(({id}) => id)
      const next = ids[((mark.burst == null ? -1 : ids.indexOf(mark.burst)) + 1) % ids.length]
      if (ids.length) mark = {burst: next, side: "onset", at_s: null}
      host.refresh()
    },
    remove: () => ready() && host.decide("remove", {burst: mark.burst}),
    confidence: ({arguments: {confidence}}) => ready() && host.decide("confidence", {confidence, burst: mark.burst}),
  }

  return {
    get mark() {
      return mark
    },
    get cursor_s() {
      return cursor_s
    },
    get hover_s() {
      return mark.at_s ?? hover_s
    },
    get held_s() {
      return mark.at_s ?? where()?.s ?? null
    },
    get nudged() {
      return timer !== undefined
    },
    /** How much is pressed that is not yet sent. */
    get held() {
      return Number(timer !== undefined) + kept.length
    },
    burst,
    select,
    put_interval,
    flush,
    to_cursor,
    commands,
    /** The interval to begin with: the present one, else the automatic one, else a little around the cursor.
     * @returns {Span} */
    interval() {
      const {interval_s = null, automatic} = host.channel() ?? {}
      return interval_s ?? [automatic?.low_s ?? cursor_s - 0.05, automatic?.high_s ?? cursor_s + 0.05]
    },
    /** Keep what is pressed for an added burst until that has its id, and all that is pressed after it; true if kept.
     * @param {boolean} of_mark @param {() => void} run */
    keep(of_mark, run) {
      const keeps = coming() && !host.stopped() && (of_mark || kept.length > 0)
      if (keeps) kept.push(run)
      return keeps
    },
    run_kept,
    drop_kept,
    forget_added() {
      added = null
      return drop_kept()
    },
    let_go() {
      mark = {burst: null, side: "onset", at_s: null}
    },
    /** @param {{burst: string | null, side: Side}} taken */
    take({burst: id, side}) {
      flush()
      mark = {burst: id, side, at_s: null}
      host.refresh()
    },
    /** @param {number} at_s */
    hold(at_s) {
      mark.at_s = snap(at_s, rate_hz)
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
    /** @param {number | null} s */
    hover(s) {
      hover_s = s
      host.redraw()
    },
    /** @param {number} s */
    set_cursor(s) {
      cursor_s = within(snap(s, rate_hz), first_s, last_s)
      host.redraw()
    },
  }
}

/** @typedef {ReturnType<typeof make_selection>} Selection */
