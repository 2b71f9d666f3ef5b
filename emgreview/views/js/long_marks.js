// Marks on a recording: trials, bursts, stretches and cues as Python confirmed them, what is in hand, and the decisions
// that come of it. `host` is documented where it is made (long.js). Times in seconds from the start of the recording.

const NEAR_PX = 6
const NUDGE_MS = 300 // a nudge is sent this long after the last one

function make_marks(setup, host) {
  const cards = new Map()
  let standing = {aside: [], marked: [], added: []}
  let hand = null // {burst: null | {trial, id}, row, ends: [start_s, stop_s or null], side: 0 | 1 | null, moved}
  let dragging = false
  let nudged = 0

  const snap = (s) => Math.max(0, Math.min(setup.n_samples - 1, Math.round(s * setup.rate_hz))) / setup.rate_hz
  const in_view = (a, b = a) => b >= host.range()[0] && a <= host.range()[1]
  const burst_of = ({trial, id}, row) => cards.get(trial)?.bursts.find((b) => b.id === id && b.row === row)

  function take(update) {
    for (const card of update.trials ?? []) cards.set(card.trial, card)
    if (update.standing) standing = update.standing
    if (!hand?.burst || hand.moved || dragging) return
    const burst = burst_of(hand.burst, hand.row)
    if (burst) hand.ends = [burst.onset_s, burst.offset_s]
    else hand = null
  }

  function take_burst(card, burst, side) {
    flush()
    hand = {burst: {trial: card.trial, id: burst.id}, row: burst.row, ends: [burst.onset_s, burst.offset_s], side, moved: false}
  }

  /** Send a burst that was moved. */
  function flush() {
    clearTimeout(nudged)
    if (!hand?.moved || !hand.burst) return
    hand.moved = false
    const [onset_s, offset_s] = hand.ends
    host.decide("move", {trial: hand.burst.trial, burst: hand.burst.id, row: hand.row, onset_s, offset_s})
  }

  function move_edge(side, s) {
    hand.ends[side] = snap(s)
    hand.side = side
    hand.moved = true
    const [a, b] = hand.ends
    if (b != null && b < a) {
      hand.ends = [b, a]
      hand.side = 1 - side
    }
    host.set_cursor(hand.ends[hand.side])
    if (!hand.burst || dragging) return
    clearTimeout(nudged)
    nudged = setTimeout(flush, NUDGE_MS)
  }

  /** The cursor's keys move the edge in hand: true if there is one. */
  function nudge(by_s) {
    if (hand?.side == null || hand.ends[hand.side] == null) return false
    move_edge(hand.side, hand.ends[hand.side] + by_s)
    return true
  }

  const whole_stretch = () => hand && !hand.burst && hand.ends[1] > hand.ends[0]
  const need_stretch = () => host.notice(hand && !hand.burst ? "The stretch in hand has no length: move its end first."
    : "Take a stretch in hand first: [ and ] at the cursor, or drag with Shift.")

  function nearest_card() {
    const s = host.cursor()
    let best = null
    for (const card of cards.values()) {
      const away = Math.abs((card.corrected_s ?? card.cue_s) - s)
      if (!(best?.away <= away)) best = {card, away}
    }
    return best?.card
  }

  function nearest_cue() {
    const card = nearest_card()
    if (card && in_view(card.cue_s)) return card
    host.notice("No cue of a trial is in view.")
    return null
  }

  function stretch_decision(command, more) {
    if (!whole_stretch()) return need_stretch()
    const {row, ends: [start_s, stop_s]} = hand
    if (host.decide(command, {row, start_s, stop_s, ...more})) hand = null
    host.refresh()
  }

  const why = (question, value, done) => host.asking.ask(question, [{name: "said", words: "", value}], ({said}) => done(said))

  const commands = {
    edge: ({arguments: {side}}) => {
      const s = snap(host.cursor())
      const held = hand?.row === host.focus() ? hand : null
      const across = held && (side === 0 ? held.ends[1] != null && s >= held.ends[1] : s < held.ends[0])
      if (across && held.burst) return host.notice("That would put the end of the burst before its start. Esc lets go of it.")
      if (!held || across) {
        flush()
        hand = {burst: null, row: host.focus(), ends: [s, s], side: 1 - side, moved: false} // the other end goes with the cursor
      } else move_edge(side, s)
      host.refresh()
    },
    switch_side: () => {
      if (!hand) return host.notice("Nothing is in hand: [ and ] take a stretch, I takes the next burst.")
      flush()
      hand.side = hand.side === 0 ? 1 : hand.side === 1 ? null : 0
      if (hand.side != null && hand.ends[hand.side] != null) host.set_cursor(hand.ends[hand.side])
      host.refresh()
    },
    let_go: () => { flush(); hand = null; host.refresh() },
    next_mark: () => {
      flush()
      const s = host.cursor() + 0.5 / setup.rate_hz
      const later = [...cards.values()].flatMap((card) => card.bursts.filter((b) => b.row === host.focus() && b.onset_s > s)
        .map((burst) => ({card, burst}))).sort((a, b) => a.burst.onset_s - b.burst.onset_s)[0]
      if (!later) return host.notice("There is no later burst on this channel.")
      take_burst(later.card, later.burst, 0)
      host.go_to(later.burst.onset_s, `burst, onset ${later.burst.onset_s.toFixed(3)} s`)
    },
    mark_burst: () => (whole_stretch() ? stretch_decision("mark_burst", {kind: "response"}) : need_stretch()),
    set_aside: () => {
      if (!whole_stretch()) return need_stretch()
      host.asking.choose("Why is this stretch set aside?", setup.choices.reasons, true, (reasons) => stretch_decision("set_aside", {reasons}))
    },
    burst_kind: () => {
      if (!hand?.burst) return host.notice("Take a burst in hand first: click its edge, or I for the next one.")
      flush()
      const {burst: {trial, id}, row} = hand
      host.asking.choose("What kind of burst is this?", setup.choices.kind, false, ([kind]) => host.decide("kind", {trial, burst: id, row, kind}))
    },
    remove: () => {
      if (!hand?.burst) return host.notice("Take a burst in hand first; stretches set aside are taken back by undo.")
      hand.moved = false
      if (host.decide("remove", {trial: hand.burst.trial, burst: hand.burst.id, row: hand.row})) hand = null
      host.refresh()
    },
    correct_cue: () => {
      const card = nearest_cue()
      const at_s = snap(host.cursor())
      if (!card) return
      const by_ms = (at_s - card.cue_s) * 1000
      const by = `${Math.abs(by_ms).toFixed(1)} ms ${by_ms < 0 ? "earlier" : "later"}`
      why(`The cue ${card.cue} at ${card.cue_s.toFixed(3)} s belongs at ${at_s.toFixed(3)} s (${by}). Why?`, by_ms < 0 ? "late" : "early",
        (reason) => host.decide("correct_cue", {trial: card.trial, at_s, reason}))
    },
    no_cue: () => {
      const card = nearest_cue()
      if (!card) return
      if (card.none) return host.decide("no_cue", {trial: card.trial, reason: null})
      why(`The cue ${card.cue} at ${card.cue_s.toFixed(3)} s is none. Why?`, "double",
        (reason) => host.decide("no_cue", {trial: card.trial, reason}))
    },
    add_cue: () => {
      const at_s = snap(host.cursor())
      const which = setup.cues.length > 1 ? `Which (${setup.cues.join(" or ")})?` : "Which?"
      why(`A cue is missing at ${at_s.toFixed(4)} s. ${which}`, nearest_card()?.cue ?? setup.cues[0], (label) => host.decide("add_cue", {at_s, label}))
    },
    undo: () => { flush(); host.decide("undo", {}) },
    redo: () => { flush(); host.decide("redo", {}) },
  }

  // --- the pointer ------------------------------------------------------------------------------------------------

  /** The edge under the pointer: of what is in hand, or of a burst. */
  function edge_at({s, band, per_px}) {
    if (!band) return null
    const slack = NEAR_PX * per_px
    const close = (t) => t != null && Math.abs(t - s) <= slack
    if (hand?.row === band.row) for (const side of [0, 1]) if (close(hand.ends[side])) return {side}
    for (const card of cards.values()) {
      if (card.stop_s < s - slack || card.start_s > s + slack) continue
      for (const burst of card.bursts) {
        if (burst.row !== band.row) continue
        if (close(burst.onset_s)) return {card, burst, side: 0}
        if (close(burst.offset_s)) return {card, burst, side: 1}
      }
    }
    return null
  }

  /** True if the pointer takes a mark, so that the picture does not pan. */
  function down(at, event) {
    if (!setup.decides || !at.band) return false
    if (event.shiftKey) {
      flush()
      hand = {burst: null, row: at.band.row, ends: [snap(at.s), snap(at.s)], side: 1, moved: false}
    } else {
      const edge = edge_at(at)
      if (!edge) return false
      if (edge.burst) take_burst(edge.card, edge.burst, edge.side)
      else hand.side = edge.side
    }
    return (dragging = true)
  }

  function drag(at) {
    if (dragging && hand) move_edge(hand.side, at.s)
    return dragging
  }

  function up() {
    if (!dragging) return false
    dragging = false
    if (hand && !hand.burst && hand.ends[1] - hand.ends[0] < 1.5 / setup.rate_hz) hand = null
    flush()
    return true
  }

  // --- painting ---------------------------------------------------------------------------------------------------

  /** Paints them; returns the words that belong at the foot of the picture, for draw_over. */
  function draw(ctx, scene, width, height) {
    const [x0, x1] = scene.range
    const colours = PALETTES[scene.theme]
    const px = (s) => ((s - x0) / (x1 - x0)) * width
    const {font_px} = scene
    const bands = lay_rows(setup.channels, height, font_px)
    const near = x1 - x0 < 60 // marks with their edges; further out bars, and then only what the ribbon shows
    const bars = x1 - x0 < 600
    for (const stretch of standing.aside) if (in_view(stretch.start_s, stretch.stop_s)) hatch(ctx, stretch, bands, px, width, colours, font_px)
    const line = (band, s, dash, colour, thick, words, low) => {
      const x = Math.round(px(s)) + 0.5
      if (x < 0 || x > width) return
      ctx.strokeStyle = colour
      ctx.lineWidth = thick
      ctx.setLineDash(dash)
      ctx.beginPath()
      ctx.moveTo(x, band.top + 2)
      ctx.lineTo(x, band.top + band.height - 2)
      ctx.stroke()
      ctx.setLineDash([])
      if (words) plate(ctx, words, x + 4, low ? band.top + band.height - 5 : band.top + font_px + 1, colours, "left", colour)
    }
    const burst = (band, onset_s, offset_s, sure, held, words) => {
      const end = offset_s ?? onset_s
      if (!in_view(onset_s, end)) return
      ctx.strokeStyle = ctx.fillStyle = colours.onset
      ctx.lineWidth = 1
      const bar = [px(onset_s), band.top + band.height - 5, Math.max(3, px(end) - px(onset_s)), 4]
      if (sure) ctx.fillRect(...bar)
      else ctx.strokeRect(bar[0] + 0.5, Math.round(bar[1]) + 0.5, bar[2] - 1, 3)
      if (!near) return
      const wide = (side) => (held?.side === side ? 3 : 1.6)
      line(band, onset_s, [], colours.onset, wide(0), held ? words : "")
      if (offset_s != null) line(band, offset_s, [6, 3], colours.offset, wide(1), held ? "offset" : "", true)
    }
    for (const card of cards.values()) {
      if (!bars || !in_view(card.start_s, card.stop_s)) continue
      for (const b of card.bursts) {
        const held = hand?.burst?.trial === card.trial && hand.burst.id === b.id && hand.row === b.row ? hand : null
        burst(bands[b.row], ...(held?.ends ?? [b.onset_s, b.offset_s]), b.sure, held, "onset")
      }
    }
    for (const b of standing.marked) burst(bands[b.row], b.start_s, b.stop_s, true, {}, `${b.words}, in no trial`)
    if (hand && !hand.burst) {
      const band = bands[hand.row]
      const [a, b] = hand.ends.map(px)
      ctx.fillStyle = colours.interval
      ctx.fillRect(a, band.top + 1, Math.max(1, b - a), band.height - 2)
      line(band, hand.ends[0], [], colours.ink, hand.side === 0 ? 3 : 1.5, "start")
      line(band, hand.ends[1], [6, 3], colours.ink, hand.side === 1 ? 3 : 1.5, "end", true)
    }
    const whole = {top: head_px(font_px), height: height - head_px(font_px)}
    const feet = []
    const cue = (s, dash, thick, words) => {
      if (!in_view(s)) return
      line(whole, s, dash, colours.offset, thick, "")
      feet.push({x: px(s), words, ink: colours.offset})
    }
    for (const card of near ? cards.values() : []) {
      if (card.corrected_s != null) cue(card.corrected_s, [], 2, `${card.cue}, corrected`)
      if (card.none) cue(card.cue_s, [1, 3], 3, `no ${card.cue}: ${card.none}`)
    }
    for (const [s, label] of standing.added) cue(s, [], 2, `${label}, added`)
    return feet
  }

  function hatch(ctx, {row, start_s, stop_s, words}, bands, px, width, colours, font_px) {
    const band = bands[row]
    const [a, b] = [Math.max(0, px(start_s)), Math.min(width, px(stop_s))]
    ctx.save()
    ctx.beginPath()
    ctx.rect(a, band.top + 1, Math.max(1, b - a), band.height - 2)
    ctx.clip()
    ctx.strokeStyle = colours.faint
    ctx.lineWidth = 1
    ctx.beginPath()
    for (let x = a - band.height; x < b; x += 8) {
      ctx.moveTo(x, band.top + band.height)
      ctx.lineTo(x + band.height, band.top)
    }
    ctx.stroke()
    ctx.restore()
    const shown = cut_to(ctx, `set aside: ${words}`, b - a - 6)
    if (shown) plate(ctx, shown, a + 3, band.top + font_px + 1, colours)
  }

  /** Trials and stretches in the ribbon, under its ticks. */
  function draw_on_ribbon(ctx, scene, width, height) {
    if (!setup.decides) return
    const colours = PALETTES[scene.theme]
    const px = (s) => (s / setup.duration_s) * width
    const foot = height - 3
    ctx.fillStyle = colours.ink
    for (const {start_s, stop_s, status, none} of cards.values()) {
      const tall = none ? 0 : {reviewed: 10, begun: 5, open: 1}[status]
      ctx.fillRect(px(start_s), foot - tall, Math.max(1, px(stop_s) - px(start_s) - 1), tall)
    }
    const tall = height - 24
    ctx.strokeStyle = colours.onset
    ctx.lineWidth = 1
    for (const {start_s, stop_s} of standing.aside) {
      const [a, b] = [px(start_s), Math.max(px(start_s) + 3, px(stop_s))]
      ctx.strokeRect(a + 0.5, tall - 8.5, b - a, 8)
      ctx.beginPath()
      for (let x = a; x < b; x += 4) {
        ctx.moveTo(x, tall)
        ctx.lineTo(Math.min(b, x + 4), tall - 8)
      }
      ctx.stroke()
    }
  }

  /** What is set aside at a moment on a channel, and what is in hand, in words. */
  function words(row, s) {
    const aside = standing.aside.filter((a) => a.row === row && a.start_s <= s && s < a.stop_s)
    return [...aside.map((a) => `set aside: ${a.words}`), in_hand()].filter(Boolean).join(" · ")
  }

  function in_hand() {
    if (!hand) return ""
    const [a, b] = hand.ends
    const what = hand.burst ? "burst" : "stretch"
    const long = b == null ? "" : ` to ${b.toFixed(4)} s (${((b - a) * 1000).toFixed(0)} ms)`
    return `${what} in hand: ${a.toFixed(4)}${long}${hand.side == null ? "" : `, ${["start", "end"][hand.side]} moves`}`
  }

  return {take, commands, nudge, flush, down, drag, up, edge_at, draw, draw_on_ribbon, words, close: () => clearTimeout(nudged)}
}
