// The review of trials: puts layer, store, keys and screen together. Loaded by Panel: `render` makes the element.

/** Signs of a channel that waits for a decision. */
const OPEN_SIGNS = new Set(["○", "◇"])

export function render({model, view}) {
  const setup = JSON.parse(model.setup)
  const store = make_store(model, setup)
  const screen = make_screen(setup, model.get_child("picture"), act)
  const {root} = screen
  const emg_rows = setup.channels.flatMap((channel, row) => (channel.auxiliary ? [] : [row]))
  const closing = new Set(setup.keys.filter((key) => key.goes_on).map((key) => key.command))
  const prepared = new Map() // traces already drawn, by what they show
  let layer = null
  let index = setup.where
  let row = 0
  let gain = 1
  let span = 0
  let mark = {burst: null, side: "onset", at_s: null}
  let cursor_s = setup.cursor_s
  let nudged = 0 // timer of a nudge that is not yet sent
  let progress = setup.progress
  let blind = setup.blind
  let sort = 0
  let walk = null // {words, indices}: the trials stepped through, null = all
  let read_out = true
  let smear = false
  const last_reasons = {}
  const began = performance.now()
  let reminded = began
  const paces = [] // times of the decisions that closed a channel
  const player = make_player()

  const card = () => store.cards.get(index)
  const here = () => card()?.channels[row]
  const loaded = () => store.trials.has(index) && store.cards.has(index)
  const theme = () => (document.body.dataset.jpThemeLight === "false" || root.closest(".dark") ||
    document.documentElement.dataset.theme === "dark" ? "dark" : "light")

  // --- painting ---------------------------------------------------------------------------------------------------

  function traces_image(i, size, look) {
    const key = [i, size.width, size.height, ...look.range, look.gain, look.theme].join("|")
    let canvas = prepared.get(key)
    if (!canvas) {
      canvas = document.createElement("canvas")
      const ratio = window.devicePixelRatio || 1
      canvas.width = Math.round(size.width * ratio)
      canvas.height = Math.round(size.height * ratio)
      const ctx = canvas.getContext("2d")
      ctx.scale(ratio, ratio)
      draw_traces(ctx, store.trials.get(i), setup, look, size.width, size.height)
      prepared.set(key, canvas)
      if (prepared.size > 8) prepared.delete(prepared.keys().next().value)
    }
    return canvas
  }

  /** Called by the layer at every paint, and by us when anything shown changes. */
  function draw(layer) {
    const ctx = layer.canvas.getContext("2d")
    const size = layer.frame()
    const ratio = window.devicePixelRatio || 1
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    ctx.clearRect(0, 0, size.width, size.height)
    screen.waiting.hidden = loaded()
    if (!loaded()) { // never an old picture under a new number
      screen.text(screen.waiting, `loading trial ${index + 1} …`)
      return
    }
    const look = look_now()
    const trial = store.trials.get(index)
    const scene = {setup, trial, card: card(), look, focus_row: row, mark, cursor_s,
      typical: blind ? new Map() : store.typical}
    draw_trial(ctx, scene, traces_image(index, size, look), size.width, size.height)
    const differs = []
    if (gain !== 1) differs.push(`gain × ${gain}`)
    const [x0, x1] = layer.range()
    const wanted = setup.spans[span]
    if (Math.abs(x0 - wanted[0]) > 1e-6 || Math.abs(x1 - wanted[1]) > 1e-6) differs.push("time span moved")
    else if (span) differs.push("close-up time span")
    screen.differs.hidden = !differs.length
    screen.text(screen.differs, `differs from the usual view: ${differs.join(", ")}`)
    root.dataset.painted = String(index)
  }

  const look_now = () => ({range: layer.range(), gain, theme: theme(), read_out: read_out && !blind, smear,
    font_px: Math.max(11, 0.85 * parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.82)})

  function paint_overview() {
    if (screen.overview.hidden || !layer) return
    const order = overview_order(store.summaries, row, sort)
    screen.overview_hit = (y) => overview_hit(screen.over_map, order, y)
    screen.text(screen.over_title, `All trials of ${setup.channels[row].label}, by ${SORTS[sort][0]}: ` +
      `onset to offset${blind ? "" : ", ¦ response"}`)
    draw_overview(screen.over_map, {summaries: store.summaries, order, row, index, range: setup.spans[0], theme: theme()})
    screen.over_map.setAttribute("aria-label",
      `overview of ${setup.channels[row].label}: row ${order.indexOf(index) + 1} of ${order.length}`)
  }

  function prepare_neighbours() {
    if (!layer) return
    const look = look_now()
    for (const i of [index + 1, index - 1, index + 2]) if (store.trials.has(i)) traces_image(i, layer.frame(), look)
  }

  let idle = 0
  function refresh() {
    if (layer) layer.redraw()
    refresh_words()
    store.want(index)
    clearTimeout(idle)
    idle = setTimeout(() => {
      prepare_neighbours()
      screen.paint_map(store.summaries.map((summary) => summary[0]), index, theme() === "dark")
      paint_overview()
      if (!screen.spectrum.hidden) ask_spectrum()
    }, 30)
  }

  function refresh_words() {
    const now = card()
    screen.text(screen.title, `Trial ${index + 1} of ${setup.n_trials}` + (now?.title ? ` · ${now.title}` : ""))
    screen.progress.value = progress[1] ? progress[0] / progress[1] : 0
    screen.text(screen.counted, `${progress[0]} of ${progress[1]} channel-trials reviewed${pace_words()}`)
    screen.walking.hidden = !walk
    if (walk) screen.text(screen.walking, `stepping through: ${walk.words} (${walk.indices.length})`)
    const waiting = store.pending.length
    screen.text(screen.saved, store.stopped ? `✕ decisions stopped, not saved: ${waiting}`
      : waiting ? `… not yet saved: ${waiting}` : "✓ all saved")
    screen.saved.dataset.state = store.stopped ? "stopped" : waiting ? "waiting" : "saved"
    root.dataset.unsaved = String(waiting)
    emg_rows.forEach((r) => {
      const [sign, , words] = screen.rows[r].children
      const state = now?.channels[r]
      screen.text(sign, state?.sign ?? "")
      screen.text(words, state?.words ?? "")
      screen.rows[r].setAttribute("aria-current", String(r === row))
      screen.rows[r].dataset.reviewed = String(Boolean(state?.reviewed))
    })
    screen.text(screen.detail, here()?.detail ?? "")
    screen.text(screen.live, `Trial ${index + 1} of ${setup.n_trials}, ${setup.channels[row].label}: ` +
      `${here()?.words ?? "loading"}. ${here()?.detail ?? ""}`)
  }

  /** Pace over the last ten minutes, and what is left at that pace; nothing before 20 decisions. */
  function pace_words() {
    const now = performance.now()
    while (paces.length && now - paces[0] > 600000) paces.shift()
    if (paces.length < 20) return ""
    const per_s = paces.length / ((now - paces[0]) / 1000)
    const left_min = (progress[1] - progress[0]) / per_s / 60
    return ` · ${Math.round(per_s * 3600)} an hour, about ${left_min < 90 ? `${Math.ceil(left_min)} min` : `${(left_min / 60).toFixed(1)} h`} left`
  }

  function propose_break() {
    if (!setup.break_after_min || performance.now() - reminded < setup.break_after_min * 60000) return
    reminded = performance.now()
    screen.pass_notice(`${Math.round((reminded - began) / 60000)} minutes at the screen: a short break keeps marks steady. ` +
      "Everything is saved.")
  }

  // --- moving about ----------------------------------------------------------------------------------------------

  function select_mark() {
    const bursts = here()?.bursts ?? []
    const kept = bursts.find((burst) => burst.id === mark.burst)
    const burst = kept ?? bursts.find((b) => b.kind === "response") ?? bursts[0]
    mark = {burst: burst?.id ?? null, side: kept ? mark.side : "onset", at_s: null}
  }

  function go_to(i, r = null) {
    flush_nudge()
    index = Math.max(0, Math.min(setup.n_trials - 1, i))
    row = r ?? first_open(index) ?? emg_rows[0]
    mark.burst = null
    select_mark()
    refresh()
  }

  /** The next or previous trial of the walk; of all trials without one. */
  function step_trial(by) {
    if (!walk) return go_to(index + by)
    const {indices} = walk
    const at = indices.indexOf(index)
    const next = at >= 0 ? indices[at + by] : by > 0 ? indices[0] : indices.at(-1)
    if (next == null) return screen.pass_notice("This is the end of the trials you step through.")
    go_to(next)
  }

  function step_row(by) {
    const order = overview_order(store.summaries, row, sort)
    const next = order[order.indexOf(index) + by]
    if (next != null) go_to(next, row)
  }

  function step_channel(by) {
    flush_nudge()
    const at = emg_rows.indexOf(row) + by
    if (at < 0 || at >= emg_rows.length) return
    row = emg_rows[at]
    mark.burst = null
    select_mark()
    refresh()
  }

  const decided = (i, r) => store.cards.get(i)?.channels[r].reviewed ||
    store.pending.some((d) => d.index === i && closing.has(d.command) &&
      (d.command === "accept_rest" || d.channel === setup.channels[r].label))
  const first_open = (i) => emg_rows.find((r) => !decided(i, r))

  function go_on() {
    const later = emg_rows.find((r) => r > row && !decided(index, r)) ?? first_open(index)
    if (later != null) {
      row = later
      mark.burst = null
      select_mark()
      refresh()
    } else if (walk) step_trial(1)
    else if (index + 1 < setup.n_trials) go_to(index + 1)
    else refresh()
  }

  const reviewed_at = (i) => store.summaries[i][2].every((channel) => !OPEN_SIGNS.has(channel[3]))

  function next_open_trial() {
    for (let k = 1; k <= setup.n_trials; k++) {
      const i = (index + k) % setup.n_trials
      if (!reviewed_at(i) && !store.pending.some((d) => d.index === i)) return go_to(i)
    }
    screen.pass_notice("No trial is left unreviewed.")
  }

  // --- deciding --------------------------------------------------------------------------------------------------

  const visible = () => {
    const [x0, x1] = layer ? layer.range() : setup.spans[0]
    return {gain, span_s: [Number(x0.toFixed(4)), Number(x1.toFixed(4))], automatic: true, read_out: read_out && !blind,
      overview: !screen.overview.hidden, response: !blind,
      typical: !blind && store.typical.has(`${store.trials.get(index)?.recording}|${row}`),
      spectrum: !screen.spectrum.hidden, smear}
  }

  function decide(command, args = {}, channel = setup.channels[row].label) {
    if (!loaded()) {
      screen.pass_notice(`Trial ${index + 1} is not here yet: no decision was taken.`)
      return false
    }
    if (closing.has(command)) paces.push(performance.now())
    propose_break()
    if (!store.decide(command, index, channel, args, visible())) {
      screen.pass_notice(store.stopped)
      return false
    }
    return true
  }

  function flush_nudge() {
    if (!nudged) return
    clearTimeout(nudged)
    nudged = 0
    send_mark()
  }

  const snap = (s) => Math.round(s * setup.rate_hz) / setup.rate_hz

  function mark_time() {
    if (mark.at_s != null) return mark.at_s
    return here()?.bursts.find((burst) => burst.id === mark.burst)?.[`${mark.side}_s`]
  }

  function nudge(by_s) {
    const at = mark_time()
    if (at == null) {
      screen.pass_notice(`There is no ${mark.side} to move here: point at one and press E to add it.`)
      return
    }
    mark.at_s = snap(at + by_s)
    clearTimeout(nudged)
    nudged = setTimeout(flush_nudge, 300)
    refresh()
  }

  const commands = {
    next_trial: () => step_trial(1),
    previous_trial: () => step_trial(-1),
    next_row: () => step_row(1),
    previous_row: () => step_row(-1),
    walk: choose_walk,
    overview: () => { screen.overview.hidden = !screen.overview.hidden; refresh() },
    sort: () => { sort = (sort + 1) % SORTS.length; screen.overview.hidden = false; refresh() },
    smear: () => { smear = !smear; refresh() },
    read_out: () => { read_out = !read_out; refresh() },
    spectrum: () => { screen.spectrum.hidden = !screen.spectrum.hidden; ask_spectrum() },
    listen: () => {
      const [start_s, stop_s] = layer.range()
      listened += 1
      store.ask("listen", {n: listened, index, channel: setup.channels[row].label, start_s, stop_s})
    },
    convention: () => screen.tell("The marking convention of this study",
      setup.convention || "This study has not written one down. Give open_review(…, convention=\"…\")."),
    unblind: () => (blind ? screen.ask("Show condition, participant and response from now on? This is logged. Reason:",
      [{name: "reason", words: "reason", value: ""}], ({reason}) => decide("unblind", {reason}))
      : screen.pass_notice("This review is not blind.")),
    comment_trial: () => screen.ask("Comment on the whole trial (no names of people):",
      [{name: "text", words: "", value: card()?.comment ?? ""}], ({text}) => decide("comment", {text}, null)),
    same_reasons: () => {
      if (!last_reasons.unusable) return screen.pass_notice("No reason was given yet in this session: press the key for unusable first.")
      if (decide("unusable", {reasons: last_reasons.unusable})) go_on()
    },
    next_channel: () => step_channel(1),
    previous_channel: () => step_channel(-1),
    next_unreviewed: next_open_trial,
    trial: ({index: i}) => go_to(i),
    channel: ({row: r}) => { go_to(index, r); root.focus() },
    go_to: () => screen.ask("Go to which trial?", [{name: "n", words: `1 to ${setup.n_trials}`, type: "number", value: index + 1}],
      ({n}) => Number.isInteger(Number(n)) && n >= 1 && go_to(Number(n) - 1)),
    gain_up: () => { gain = Math.min(64, gain * 2); refresh() },
    gain_down: () => { gain = Math.max(1 / 64, gain / 2); refresh() },
    span: () => {
      const [x0, x1] = layer.range()
      const usual = setup.spans[span]
      if (Math.abs(x0 - usual[0]) < 1e-6 && Math.abs(x1 - usual[1]) < 1e-6) span = 1 - span
      layer.set_range(...setup.spans[span])
      refresh()
    },
    key_card: () => screen.toggle_card(),
    switch_side: () => { flush_nudge(); mark.side = mark.side === "onset" ? "offset" : "onset"; mark.at_s = null; refresh() },
    next_burst: () => {
      flush_nudge()
      const ids = (here()?.bursts ?? []).map((burst) => burst.id)
      if (ids.length) mark = {burst: ids[(ids.indexOf(mark.burst) + 1) % ids.length], side: "onset", at_s: null}
      refresh()
    },
    nudge: ({arguments: {by_s}}) => nudge(by_s),
    to_cursor: () => {
      if (mark_time() == null && mark.side === "onset") return decide("add", {onset_s: snap(cursor_s)})
      if (!mark.burst) return screen.pass_notice("There is no burst here: point at its onset and press E to add one.")
      flush_nudge()
      mark.at_s = snap(cursor_s)
      if (decide("move", {burst: mark.burst, [`${mark.side}_s`]: mark.at_s})) refresh()
    },
    add: () => decide("add", {onset_s: snap(cursor_s)}),
    not_locatable: () => {
      const auto = here()?.automatic ?? {}
      const ms = (s) => (s * 1000).toFixed(0)
      screen.ask("Present, but the onset cannot be located. Times from the cue, in ms:",
        [{name: "a", words: "not before", type: "number", value: ms(auto.low_s ?? cursor_s - 0.05)},
          {name: "b", words: "not after", type: "number", value: ms(auto.high_s ?? cursor_s + 0.05)}],
        ({a, b}) => decide("not_locatable", {earliest_s: snap(a / 1000), latest_s: snap(b / 1000)}) && go_on())
    },
    unusable: () => reasons("unusable", "Why is this signal unusable?"),
    caution: () => reasons("caution", "What calls for caution here?"),
    behaviour: () => screen.choose("What did the person do in this trial?", setup.choices.behaviour, false,
      ([word]) => decide("behaviour", {behaviour: word})),
    kind: () => screen.choose("What kind of burst is this?", setup.choices.kind, false,
      ([word]) => decide("kind", {kind: word, burst: mark.burst})),
    comment: () => screen.ask("Comment on this channel (no names of people):",
      [{name: "text", words: "", value: here()?.comment ?? ""}],
      ({text}) => decide("comment", {text})),
    seal: () => screen.ask("Seal the decisions so far as a named version:", [{name: "name", words: "name", value: setup.next_version}],
      ({name}) => decide("seal", {name})),
    remove: () => decide("remove", {burst: mark.burst}),
    confidence: ({arguments: {confidence}}) => decide("confidence", {confidence, burst: mark.burst}),
  }

  function reasons(command, question) {
    screen.choose(question, setup.choices[command], true, (words, said) => {
      const all = words.map((word) => (said && setup.choices[command].find((c) => c.words === word).text ? `${word}: ${said}` : word))
      last_reasons[command] = all
      if (decide(command, {reasons: all}) && command === "unusable") go_on()
    })
  }

  function choose_walk() {
    const differ = {code: "KeyM", words: "two methods differ", shown: "two methods differ by more than …"}
    screen.choose("Step through which trials?", [...setup.choices.walk, differ], false, ([which]) => {
      if (which === setup.choices.walk[0].words) { walk = null; return refresh() }
      if (which !== differ.words) return store.ask("walk", {which, method: ""})
      screen.ask("Trials where another method's onset differs:", [
        {name: "method", words: `method (${setup.methods.join(", ")})`, value: "threshold"},
        {name: "ms", words: "by more than, in ms", type: "number", value: 20}],
      ({method, ms}) => store.ask("walk", {which: `${method} differs by more than ${ms} ms`, method, by_s: ms / 1000}))
    })
  }

  let listened = 0
  let spectrum_for = ""
  function ask_spectrum() {
    if (screen.spectrum.hidden) return refresh()
    const burst = here()?.bursts.find((b) => b.id === mark.burst)
    const wanted = `${index}|${row}|${burst?.onset_s}|${burst?.offset_s}`
    if (wanted === spectrum_for) return
    spectrum_for = wanted
    screen.spectrum_map.getContext("2d").clearRect(0, 0, 9999, 9999)
    if (!burst || burst.offset_s == null) return screen.pass_notice("A spectrum needs a burst with onset and offset.")
    store.ask("spectrum", {index, channel: setup.channels[row].label, onset_s: burst.onset_s, offset_s: burst.offset_s, for: wanted})
  }

  function act(key, event) {
    if (screen.form_key && event) return screen.form_key(event)
    if (screen.card_open && event) return screen.toggle_card()
    if (!key.command) return
    if (!["nudge"].includes(key.command)) flush_nudge()
    if (commands[key.command]) return commands[key.command](key)
    if (decide(key.command, key.arguments ?? {}) && closing.has(key.command)) go_on()
    else refresh()
  }

  // --- the pointer ------------------------------------------------------------------------------------------------

  let dragging = false
  function place(event) {
    const box = layer.canvas.getBoundingClientRect()
    const [x, y] = [event.clientX - box.left, event.clientY - box.top]
    const inside = x >= 0 && x <= box.width && y >= 0 && y <= box.height
    const [x0, x1] = layer.range()
    const seconds = x0 + (x / box.width) * (x1 - x0)
    const band = lay_bands(setup, box.height).find((b) => y >= b.top && y < b.top + b.height)
    return {inside, seconds, band, slack: (7 / box.width) * (x1 - x0)}
  }
  /** The onset, offset or edge of a "not before, not after" interval under the pointer. */
  function mark_near({band, seconds, slack}) {
    if (!band || band.auxiliary || !loaded()) return null
    const {bursts, interval_s} = card().channels[band.row]
    const marks = bursts.flatMap((burst) => ["onset", "offset"].map((side) => [burst.id, side, burst[`${side}_s`]]))
    if (interval_s) marks.push([null, "earliest", interval_s[0]], [null, "latest", interval_s[1]])
    const near = marks.map(([burst, side, s]) => ({burst, side, row: band.row, away: Math.abs((s ?? Infinity) - seconds)}))
      .sort((a, b) => a.away - b.away)[0]
    return near?.away <= slack ? near : null
  }

  /** Send where the mark in hand was put. */
  function send_mark() {
    if (mark.at_s == null) return
    const {burst, side, at_s} = mark
    if (side === "earliest" || side === "latest") {
      const [a, b] = here().interval_s
      const ends = side === "earliest" ? [at_s, b] : [a, at_s]
      decide("not_locatable", {earliest_s: Math.min(...ends), latest_s: Math.max(...ends)})
      mark = {burst: null, side: "onset", at_s: null}
    } else decide("move", {burst, [`${side}_s`]: at_s})
  }
  function on_down(event) {
    if (!layer || event.button !== 0) return
    const at = place(event)
    if (!at.inside) return
    root.focus()
    const near = mark_near(at)
    if (near) { // a mark is taken: Bokeh must not pan
      event.stopPropagation()
      event.preventDefault()
      flush_nudge()
      row = near.row
      mark = {burst: near.burst, side: near.side, at_s: null}
      dragging = true
      screen.picture.setPointerCapture(event.pointerId)
    } else if (at.band && !at.band.auxiliary && at.band.row !== row) {
      flush_nudge()
      row = at.band.row
      mark.burst = null
      select_mark()
    }
    cursor_s = at.seconds
    refresh()
  }
  function on_move(event) {
    if (!layer) return
    const at = place(event)
    if (dragging) {
      event.stopPropagation()
      mark.at_s = snap(at.seconds)
      cursor_s = mark.at_s
      layer.redraw()
    } else if (at.inside) {
      cursor_s = at.seconds
      screen.picture.style.cursor = mark_near(at) ? "ew-resize" : ""
      layer.redraw()
    }
  }
  function on_up(event) {
    if (!dragging) return
    event.stopPropagation()
    dragging = false
    send_mark()
    refresh()
  }
  screen.picture.addEventListener("pointerdown", on_down, true)
  screen.picture.addEventListener("pointermove", on_move, true)
  screen.picture.addEventListener("pointerup", on_up, true)

  // --- news from Python -------------------------------------------------------------------------------------------

  store.listen((what) => {
    if ("blind" in what) blind = what.blind
    if (what.spectrum?.client === store.client && what.spectrum.for === spectrum_for) {
      return draw_spectrum(screen.spectrum_map, what.spectrum, theme())
    }
    if (what.sound) {
      const {seconds, state} = player.play(what.sound)
      root.dataset.heard = `${seconds.toFixed(2)} ${state}`
      return
    }
    if (what.walk?.client === store.client) {
      if (!what.walk.indices.length) return screen.pass_notice(`No trial here: ${what.walk.words}.`)
      walk = what.walk
      return go_to(walk.indices.includes(index) ? index : walk.indices[0])
    }
    if (what.progress) progress = what.progress
    if (what.next_version) setup.next_version = what.next_version
    if ("stopped" in what) {
      screen.lasting = what.stopped
      screen.show_notice(what.stopped)
    }
    if (what.refused?.client === store.client) screen.pass_notice(`Not taken: ${what.refused.words}`)
    if (what.said?.client === store.client) screen.pass_notice(what.said.words)
    if (what.go_to?.client === store.client && what.go_to.index !== index) return go_to(what.go_to.index, what.go_to.row)
    if (what.cards?.some((c) => c.index === index) && !nudged && !dragging) select_mark()
    if (what.trials && !what.trials.includes(index)) return
    if (what.trials && mark.burst == null) {
      row = first_open(index) ?? row
      select_mark()
    }
    refresh()
  })

  // --- focus, theme, life -----------------------------------------------------------------------------------------

  listen_to_keys(root, setup.keys, act)
  const show_focus = (on) => {
    root.dataset.keys = on ? "on" : "off"
    screen.text(screen.keys_on, on ? "keys on" : "keys off: click here")
  }
  root.addEventListener("focusin", () => show_focus(true))
  root.addEventListener("focusout", (event) => show_focus(Boolean(event.relatedTarget && root.contains(event.relatedTarget))))
  show_focus(false)

  const dress = () => {
    spectrum_for = ""
    const dark = theme() === "dark"
    root.classList.toggle("dark-theme", dark)
    const colours = PALETTES[dark ? "dark" : "light"]
    layer?.colours(colours.ink, colours.grid, colours.ground)
    refresh()
  }
  const themes = new MutationObserver(dress)
  themes.observe(document.body, {attributes: true, attributeFilter: ["data-jp-theme-light"]})
  const clock = setInterval(() => store.watch(root.dataset.keys === "on"), 250)

  attach_layer(view, draw).then((made) => {
    layer = made
    shield(root)
    screen.overview.hidden = root.clientWidth < 1000
    dress()
  })
  store.say_hello()
  refresh_words()
  if (setup.notices.length) screen.pass_notice(setup.notices.join(" "))
  if (setup.convention) commands.convention()

  model.on("remove", () => {
    clearInterval(clock)
    clearTimeout(idle)
    themes.disconnect()
    layer?.detach()
    player.close()
    store.close()
  })
  return root
}
