// The review of trials: puts layer, store, keys and screen together. Loaded by Panel: `render` makes the element.

export function render({model, view}) {
  const setup = JSON.parse(model.setup)
  const store = make_store(model, setup)
  const screen = make_screen(setup, model.get_child("picture"), act)
  const {root} = screen
  const emg_rows = setup.channels.flatMap((channel, row) => (channel.auxiliary ? [] : [row]))
  const overview = setup.overview.slice()
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
    const look = {range: layer.range(), gain, theme: theme()}
    const trial = store.trials.get(index)
    const scene = {setup, trial, card: card(), look, focus_row: row, mark, cursor_s}
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

  function prepare_neighbours() {
    if (!layer) return
    const look = {range: layer.range(), gain, theme: theme()}
    for (const i of [index + 1, index - 1, index + 2]) if (store.trials.has(i)) traces_image(i, layer.frame(), look)
  }

  let idle = 0
  function refresh() {
    if (layer) layer.redraw()
    refresh_words()
    clearTimeout(idle)
    idle = setTimeout(() => {
      prepare_neighbours()
      store.want(index)
      screen.paint_map(overview, index, theme() === "dark")
    }, 30)
  }

  function refresh_words() {
    const now = card()
    screen.text(screen.title, `Trial ${index + 1} of ${setup.n_trials}` + (now?.title ? ` · ${now.title}` : ""))
    screen.progress.value = progress[1] ? progress[0] / progress[1] : 0
    screen.text(screen.counted, `${progress[0]} of ${progress[1]} channel-trials reviewed`)
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
    } else if (index + 1 < setup.n_trials) go_to(index + 1)
    else refresh()
  }

  function next_open_trial() {
    for (let k = 1; k <= setup.n_trials; k++) {
      const i = (index + k) % setup.n_trials
      if (overview[i] !== "reviewed" && !store.pending.some((d) => d.index === i)) return go_to(i)
    }
    screen.pass_notice("No trial is left unreviewed.")
  }

  // --- deciding --------------------------------------------------------------------------------------------------

  const visible = () => {
    const [x0, x1] = layer ? layer.range() : setup.spans[0]
    return {gain, span_s: [Number(x0.toFixed(4)), Number(x1.toFixed(4))], automatic: true, cursor: true}
  }

  function decide(command, args = {}) {
    if (!loaded()) return false
    if (!store.decide(command, index, setup.channels[row].label, args, visible())) {
      screen.pass_notice(store.stopped)
      return false
    }
    return true
  }

  function flush_nudge() {
    if (!nudged) return
    clearTimeout(nudged)
    nudged = 0
    if (mark.at_s != null) decide("move", {burst: mark.burst, [`${mark.side}_s`]: mark.at_s})
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
    next_trial: () => go_to(index + 1),
    previous_trial: () => go_to(index - 1),
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
      if (decide(command, {reasons: all}) && command === "unusable") go_on()
    })
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
  function mark_near({band, seconds, slack}) {
    if (!band || band.auxiliary || !loaded()) return null
    let best = null
    for (const burst of card().channels[band.row].bursts) {
      for (const side of ["onset", "offset"]) {
        const away = Math.abs((burst[`${side}_s`] ?? Infinity) - seconds)
        if (away <= slack && !(best?.away <= away)) best = {burst: burst.id, side, away, row: band.row}
      }
    }
    return best
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
    if (mark.at_s != null) decide("move", {burst: mark.burst, [`${mark.side}_s`]: mark.at_s})
    refresh()
  }
  screen.picture.addEventListener("pointerdown", on_down, true)
  screen.picture.addEventListener("pointermove", on_move, true)
  screen.picture.addEventListener("pointerup", on_up, true)

  // --- news from Python -------------------------------------------------------------------------------------------

  store.listen((what) => {
    if (what.overview) for (const [i, status] of Object.entries(what.overview)) overview[i] = status
    if (what.progress) progress = what.progress
    if (what.next_version) setup.next_version = what.next_version
    if ("stopped" in what) {
      screen.lasting = what.stopped
      screen.show_notice(what.stopped)
    }
    for (const refusal of what.refused ?? []) {
      if (refusal.client === store.client) screen.pass_notice(`Not taken: ${refusal.words}`)
    }
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
    const dark = theme() === "dark"
    root.classList.toggle("dark-theme", dark)
    const colours = PALETTES[dark ? "dark" : "light"]
    layer?.colours(colours.ink, colours.grid, colours.ground)
    refresh()
  }
  const themes = new MutationObserver(dress)
  themes.observe(document.body, {attributes: true, attributeFilter: ["data-jp-theme-light"]})
  const clock = setInterval(() => store.watch(root.dataset.keys === "on"), 500)

  attach_layer(view, draw).then((made) => {
    layer = made
    shield(root)
    dress()
  })
  store.say_hello()
  refresh_words()

  model.on("remove", () => {
    clearInterval(clock)
    clearTimeout(idle)
    themes.disconnect()
    layer?.detach()
    store.close()
  })
  return root
}
