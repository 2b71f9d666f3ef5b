// The review of trials: puts layer, store, keys, hand and screen together. Loaded by Panel: `render` makes the element.
// One file, over 400 lines: its commands share what is on the screen, and are read together with the key table.

const HEARD_AROUND_S = 0.1 // what is heard before and after the burst in hand
const OF_MARK = new Set(["The mark", "Decide"]) // groups whose keys wait for a burst that was just added
const DOUBLE_CLICK_MS = 600
const HEARD_S = 0.5 // of a burst without an offset

export function render({model, view}) {
  const setup = JSON.parse(model.setup)
  const store = make_store(model, setup)
  const screen = make_screen(setup, model.get_child("picture"), (key) => act(key, null))
  const {root} = screen
  const emg_rows = setup.channels.flatMap((channel, row) => (channel.auxiliary ? [] : [row]))
  const closing = new Set(setup.keys.filter((key) => key.goes_on).map((key) => key.command))
  const prepared = new Map() // traces already drawn, by what they show
  const player = make_player()
  const began = performance.now()
  const paces = [] // times at which a channel was closed
  let layer = null
  let tallest = window.innerHeight
  let index = setup.where // the trial on the screen, and its channel
  let row = 0
  let awaited = true // the trial on the screen has not arrived since it was gone to
  let gain = 1
  let span = 0
  let sort = 0
  let read_out = true
  let smear = false
  let spectrum_for = ""
  let listened = 0
  let progress = setup.progress
  let blind = setup.blind
  let reminded = began
  let shown = {index: -1, since: 0} // the trial that was painted last, and since when

  const card = () => store.cards.get(index)
  const here = () => card()?.channels[row]
  const loaded = () => store.trials.has(index) && store.cards.has(index)
  const label = (r) => setup.channels[r].label
  const dark = () => document.body.dataset.jpThemeLight === "false" ||
    document.documentElement.matches("[data-theme=dark], .dark")
  const theme = () => palette_name(dark())
  const times_shown = () => read_out && !blind
  const titled = (now) => (read_out ? now?.title : now?.bare_title)

  const walks = make_walks(setup, store, screen,
    {index: () => index, show, refresh: () => refresh(), decide: (command) => decide(command)})

  // --- painting ---------------------------------------------------------------------------------------------------

  const look_now = () => ({range: layer.range(), gain, theme: theme(), read_out: times_shown(), widths: read_out, smear, blind,
    font_px: canvas_font_px()})

  function traces_image(i, size, look) {
    const key = [i, size.width, size.height, ...look.range, look.gain, look.theme, look.font_px, look.blind].join("|")
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
      set_text(screen.waiting, `loading trial ${index + 1} …`)
      return
    }
    const look = look_now()
    const scene = {setup, trial: store.trials.get(index), card: card(), look, focus_row: row,
      mark: hand.mark, cursor_s: hand.cursor_s, hover_s: hand.hover_s, typical: blind ? new Map() : store.typical}
    draw_trial(ctx, scene, traces_image(index, size, look), size.width, size.height)
    const differs = []
    if (gain !== 1) differs.push(`gain × ${gain}`)
    const [x0, x1] = layer.range()
    const wanted = setup.spans[span]
    if (Math.abs(x0 - wanted[0]) > 1e-6 || Math.abs(x1 - wanted[1]) > 1e-6) differs.push("time span moved")
    else if (span) differs.push("close-up time span")
    screen.differs.hidden = !differs.length
    set_text(screen.differs, `differs from the usual view: ${differs.join(", ")}`)
    root.dataset.painted = String(index)
    root.dataset.cursor = String(hand.cursor_s)
    if (shown.index !== index) shown = {index, since: performance.now()}
  }

  function paint_overview() {
    if (screen.overview.hidden || !layer) return
    const order = overview_order(store.summaries, row, sort)
    screen.overview_hit = (y) => overview_hit(screen.over_map, order, y)
    set_text(screen.over_title, `All trials of ${label(row)}, by ${SORTS[sort][0]}: ` +
      `onset to offset${blind ? "" : ", ¦ response"}`)
    draw_overview(screen.over_map, {summaries: store.summaries, order, row, index, range: setup.spans[0], theme: theme(),
      font_px: canvas_font_px()})
    screen.over_map.setAttribute("aria-label", `overview of ${label(row)}: row ${order.indexOf(index) + 1} of ${order.length}`)
  }

  let idle = 0
  let lettered = 0 // text size at which the picture was dressed
  function refresh() {
    if (layer) layer.redraw()
    refresh_words()
    store.want(walks.coming())
    clearTimeout(idle)
    idle = setTimeout(() => {
      if (layer && lettered !== canvas_font_px()) return dress() // the text size of the page was changed
      if (layer) {
        for (const i of walks.coming().slice(1, 4)) if (store.trials.has(i)) traces_image(i, layer.frame(), look_now())
      }
      screen.paint_map(store.summaries.map((summary) => summary[0]), index, PALETTES[theme()], Math.round(canvas_font_px()))
      paint_overview()
      if (!screen.spectrum.hidden) ask_spectrum()
    }, 30)
  }

  function refresh_words() {
    const now = card()
    set_text(screen.title, `Trial ${index + 1} of ${setup.n_trials}` + (titled(now) ? ` · ${titled(now)}` : ""))
    screen.progress.value = progress[1] ? progress[0] / progress[1] : 0
    set_text(screen.counted, `${progress[0]} of ${progress[1]} ${setup.counted}${pace_words()}`)
    screen.blind.hidden = !blind
    screen.walking.hidden = !walks.words
    set_text(screen.walking, walks.words)
    const waiting = store.pending.length
    set_text(screen.saved, store.stopped ? `✕ decisions stopped, not saved: ${waiting}`
      : waiting ? `… not yet saved: ${waiting}` : "✓ all saved")
    screen.saved.dataset.state = store.stopped ? "stopped" : waiting ? "waiting" : "saved"
    root.dataset.unsaved = String(waiting)
    emg_rows.forEach((r) => {
      const [sign, , words] = screen.rows[r].children
      const state = now?.channels[r]
      set_text(sign, state?.sign ?? "")
      set_text(words, state?.words ?? "")
      screen.rows[r].title = state?.words ?? ""
      screen.rows[r].setAttribute("aria-current", String(r === row))
      screen.rows[r].dataset.reviewed = String(Boolean(state?.reviewed))
      screen.rows[r].dataset.asked = String(state?.asked ?? true)
    })
    const whole = screen.is_cut(screen.rows[row]) ? `${here()?.sign} ${here()?.words}` : "" // where the panel has no room
    const disputed = [["channel", here()?.dispute], ["trial", now?.dispute]].filter(([, dispute]) => dispute)
    const said = times_shown() ? "timed" : "untimed"
    const unplaced = hand.burst() && hand.held_s == null ? `${hand.mark.side} in hand, not yet placed` : ""
    set_text(screen.detail, [whole, here()?.detail[read_out ? said : "bare"], unplaced, ...(here()?.notes ?? []),
      ...(now?.notes ?? []), ...disputed.map(([what, dispute]) =>
      `Disputed (${what}): ${dispute.why}. ${dispute.said[said]}${dispute.settled ? ` — ${dispute.settled}` : ""}`)]
      .filter(Boolean).join("\n"))
    const hum = now?.mains ? now.mains[label(row)] : "hidden in a blind review, since it could tell recordings apart"
    set_text(screen.foot, `${setup.processing} Onsets by ${setup.method}.` + (now ? ` Mains measured in this recording, ${label(row)}: ${hum}.` : ""))
    const in_hand = hand.held_s == null ? unplaced && `, ${unplaced}`
      : `, ${SIDE_WORDS[hand.mark.side]} in hand${times_shown() ? ` at ${ms_words(hand.held_s)}` : ""}`
    set_text(screen.live, `${here()?.words ?? "loading"}, ${label(row)}, trial ${index + 1} of ${setup.n_trials}${in_hand}`)
  }

  /** Pace over the last ten minutes, and what is left at that pace; nothing before 20 decisions. */
  function pace_words() {
    const now = performance.now()
    while (paces.length && now - paces[0] > 600000) paces.shift()
    if (paces.length < 20) return ""
    const per_s = paces.length / ((now - paces[0]) / 1000)
    const left_min = (progress[1] - progress[0]) / per_s / 60
    return ` · ${Math.round(per_s * 3600)} an hour, about ` +
      `${left_min < 90 ? `${Math.ceil(left_min)} min` : `${(left_min / 60).toFixed(1)} h`} left`
  }

  function propose_break() {
    if (!setup.break_after_min || performance.now() - reminded < setup.break_after_min * 60000) return
    reminded = performance.now()
    screen.notice.pass(`${Math.round((reminded - began) / 60000)} minutes at the screen: a short break keeps marks steady. ` +
      "Everything that is called saved is saved.")
  }

  // --- moving about ----------------------------------------------------------------------------------------------

  /** Leave what is in hand: a nudge is sent, a form closed, a drag dropped. */
  function leave() {
    hand.flush()
    pointer.let_go()
    screen.asking.close()
    const lost = hand.drop_kept()
    if (lost) screen.notice.pass(`Pressed for a burst that was not yet saved, and not taken: ${lost}.`)
  }

  function show(i, r = null) {
    leave()
    index = Math.max(0, Math.min(setup.n_trials - 1, i))
    awaited = !loaded()
    row = r ?? first_open(index) ?? rows_of(index)[0]
    hand.let_go()
    hand.select()
    walks.at(index)
    refresh()
  }

  /** Scroll to the channel in hand, where the page shows less than the picture. */
  function reveal() {
    if (!layer || screen.asking.key || screen.key_card.open) return
    const {top, height} = layer.frame()
    const band = lay_bands(setup, height, canvas_font_px())[row]
    screen.reveal(top + band.top, band.height)
  }

  function step_row(by) {
    const order = overview_order(store.summaries, row, sort)
    const next = order[order.indexOf(index) + by]
    if (next != null) show(next, row)
  }

  function step_channel(by) {
    const at = emg_rows.indexOf(row) + by
    if (at >= 0 && at < emg_rows.length) show(index, emg_rows[at])
  }

  const decided = (i, r) => (store.cards.get(i)?.channels[r].reviewed ?? store.summaries[i][2][r][4]) ||
    store.pending.some((d) => d.index === i && closing.has(d.command) &&
      (d.command === "accept_rest" ? !store.cards.get(i)?.channels[r].unfit : d.channel === label(r)))
  const rows_of = (i) => walks.rows(i) ?? emg_rows
  const first_open = (i) => rows_of(i).find((r) => !decided(i, r))

  function go_on() {
    const later = rows_of(index).find((r) => r > row && !decided(index, r)) ?? first_open(index)
    if (later != null) show(index, later)
    else if (walks.words || index + 1 < setup.n_trials) walks.step(1)
    else refresh()
  }

  /** The next trial that is open, of those stepped through, from the present one around to it. */
  function next_open_trial() {
    const open = ([status, , channels]) => status === "open" || channels.some((channel) => !channel[4])
    const next = walks.next_where((i) => open(store.summaries[i]) && !store.pending.some((d) => d.index === i))
    if (next != null) return show(next)
    screen.notice.pass(`${setup.none_left}${walks.words ? " in those stepped through" : ""}.`)
  }

  // --- deciding --------------------------------------------------------------------------------------------------

  const visible = () => {
    const [x0, x1] = layer ? layer.range() : setup.spans[0]
    const seconds = shown.index === index ? (performance.now() - shown.since) / 1000 : 0
    return {seconds: Number(seconds.toFixed(2)), gain,
      full_scale: Number((store.trials.get(index)?.full_scale[row] / gain).toPrecision(4)),
      span_s: [Number(x0.toFixed(4)), Number(x1.toFixed(4))],
      ms_per_px: layer ? Number(((x1 - x0) * 1000 / layer.frame().width).toFixed(2)) : null,
      walk: walks.name, automatic: !here()?.hidden,
      read_out: times_shown(), overview: !screen.overview.hidden, response: !blind,
      typical: !blind && store.typical.has(`${store.trials.get(index)?.recording}|${row}`),
      spectrum: !screen.spectrum.hidden, smear}
  }

  /** The marks that an acceptance takes as they are seen, by channel: Python refuses where something else stands. */
  function seen_by(command) {
    const rows = {accept: [row], accept_rest: emg_rows.filter((r) => !decided(index, r))}[command]
    if (!rows) return null
    return Object.fromEntries(rows.map((r) => [label(r),
      card().channels[r].bursts.map(({id, onset_s, offset_s}) => [id, onset_s, offset_s])]))
  }

  function decide(command, args = {}, channel = label(row)) {
    if (!loaded()) {
      screen.notice.pass(`Trial ${index + 1} is not here yet: no decision was taken.`)
      return false
    }
    if (store.pending.some((d) => d.command === "undo" || d.command === "redo")) {
      screen.notice.pass("Taking back: no decision was taken.")
      return false
    }
    const closes = closing.has(command) && !(command === "not_locatable" && here().interval_s) // its edges may be moved
    if (!store.decide(command, index, channel, args, visible(), seen_by(command))) {
      screen.notice.pass(store.stopped)
      return false
    }
    if (closes) paces.push(performance.now())
    propose_break()
    return true
  }

  const hand = make_hand(setup, {
    channel: () => (loaded() ? here() : null),
    place: () => ({index, row}),
    range: () => layer.range(),
    adding: () => store.pending.some((d) => d.command === "add" && d.index === index && d.channel === label(row)),
    stopped: () => store.stopped,
    decide,
    notice: screen.notice.pass,
    refuse(words) {
      screen.notice.show(`Trial ${index + 1}, ${label(row)}: not taken: ${words}`)
      refresh()
    },
    refresh,
    redraw: () => layer.redraw(),
  })

  const forms = make_forms(setup, screen, {
    card, here, label: () => label(row), index: () => index, burst: () => hand.mark.burst, timed: times_shown,
    blind: () => blind, decide, go_on, show, closes: (command) => closing.has(command),
  })

  const commands = {
    ...hand.commands,
    ...forms,
    next_trial: () => walks.step(1),
    previous_trial: () => walks.step(-1),
    next_row: () => step_row(1),
    previous_row: () => step_row(-1),
    next_channel: () => step_channel(1),
    previous_channel: () => step_channel(-1),
    next_unreviewed: next_open_trial,
    trial: ({index: i}) => i != null && show(i),
    channel: ({row: r}) => show(index, r),
    walk: walks.choose,
    overview: () => { screen.overview.hidden = !screen.overview.hidden; refresh() },
    sort: () => { sort = next_sort(sort, blind); screen.overview.hidden = false; refresh() },
    smear: () => { smear = !smear; refresh() },
    read_out: () => { read_out = !read_out; refresh() },
    spectrum: () => { screen.spectrum.hidden = !screen.spectrum.hidden; spectrum_for = ""; refresh() },
    listen: () => {
      const burst = hand.burst()
      const [start_s, stop_s] = burst ? [burst.onset_s - HEARD_AROUND_S,
        (burst.offset_s ?? burst.onset_s + HEARD_S) + HEARD_AROUND_S] : layer.range()
      listened += 1
      store.ask("listen", {n: listened, index, channel: label(row), start_s, stop_s})
    },
    gain_up: () => { gain = Math.min(64, gain * 2); refresh() },
    gain_down: () => { gain = Math.max(1 / 64, gain / 2); refresh() },
    span: () => {
      const [x0, x1] = layer.range()
      const usual = setup.spans[span]
      if (Math.abs(x0 - usual[0]) < 1e-6 && Math.abs(x1 - usual[1]) < 1e-6) span = 1 - span
      layer.set_range(...setup.spans[span])
      refresh()
    },
    key_card: () => screen.key_card.toggle(),
    not_locatable: () => {
      if (!loaded()) return screen.notice.pass(`Trial ${index + 1} is not here yet: no decision was taken.`)
      const ends = hand.interval()
      if (!times_shown()) { // no numbers: its edges are moved by key or mouse
        if (here().interval_s) screen.notice.pass("It is not locatable already: move its edges, not before and not after.")
        else hand.put_interval(ends)
        return
      }
      const [a, b] = ends.map((s) => Number((s * 1000).toFixed(1)))
      screen.asking.ask("Present, but the onset cannot be located. Times from the cue, in ms:",
        [{name: "a", words: "not before", type: "number", value: a}, {name: "b", words: "not after", type: "number", value: b}],
        (said) => hand.put_interval([said.a / 1000, said.b / 1000]) && go_on())
    },
  }

  function ask_spectrum() {
    const burst = hand.burst()
    const wanted = `${index}|${row}|${burst?.onset_s}|${burst?.offset_s}`
    if (wanted === spectrum_for) return
    spectrum_for = wanted
    screen.spectrum_map.getContext("2d").clearRect(0, 0, 9999, 9999)
    if (!burst || burst.offset_s == null) return screen.notice.pass("A spectrum needs a burst with onset and offset.")
    store.ask("spectrum",
      {index, channel: label(row), onset_s: burst.onset_s, offset_s: burst.offset_s, for: wanted})
  }

  /** One key of the table, or a click that stands for one; `pressed` is what was pressed, null for a click. */
  function act(key, pressed) {
    if (pointer.dragging && pressed) return pressed.code === "Escape" && pointer.let_go()
    if (pressed && screen.asking.key) return screen.asking.key(pressed)
    if (pressed && screen.key_card.open) return screen.key_card.key(key, pressed)
    if (hand.keep(OF_MARK.has(key.group), () => act(key, pressed))) return
    if (!key.command) return
    screen.asking.close()
    if (key.command !== "nudge") hand.flush()
    if (commands[key.command]) return commands[key.command](key)
    if (decide(key.command, key.arguments ?? {}) && closing.has(key.command)) go_on()
    else refresh()
  }

  let told = !setup.convention
  let told_at = -Infinity
  const pointer = listen_to_pointer(screen.picture, hand, {
    layer: () => layer,
    bands: (height) => lay_bands(setup, height, canvas_font_px()),
    channel: (r) => (loaded() ? card().channels[r] : null),
    face(r) {
      root.focus()
      if (performance.now() - told_at < DOUBLE_CLICK_MS) return false // this press has opened the convention
      if (r !== row || screen.asking.key) show(index, r)
      return true
    },
  })

  // --- news from Python -------------------------------------------------------------------------------------------

  store.listen((what) => {
    if (what.progress) progress = what.progress
    for (const name of ["next_version", "method", "counted"]) setup[name] = what[name] ?? setup[name]
    if ("blind" in what && what.blind !== blind) {
      blind = what.blind
      layer?.hide_times(blind)
    }
    if (what.spectrum?.client === store.client) {
      if (what.spectrum.for === spectrum_for) draw_spectrum(screen.spectrum_map, what.spectrum, theme(), canvas_font_px())
      return
    }
    if (what.sound) {
      const {seconds, state} = player.play(what.sound)
      root.dataset.heard = `${seconds.toFixed(2)} ${state}`
      if (state !== "running") screen.notice.pass(seconds ? `The browser plays no sound (it says: ${state}).` : "There is nothing to hear here.")
      return
    }
    if (walks.hear(what)) return
    if ("stopped" in what) {
      screen.notice.lasting = what.stopped
      screen.notice.show(what.stopped)
    }
    if (what.refusal) {
      const {decision, words} = what.refusal
      const place = decision ? `Trial ${decision.index + 1}, ${decision.channel ?? "whole trial"}: ` : ""
      const lost = decision?.command === "add" ? hand.forget_added() : 0
      hand.drop()
      store.renew(decision ? [decision.index] : [index])
      if (decision && decision.index !== index && !store.pending.length) show(decision.index)
      screen.notice.show(`${place}not taken: ${words}${lost ? ` Nor what was pressed after it: ${lost}.` : ""}`)
    }
    if (what.said?.client === store.client) screen.notice.pass(what.said.words)
    if (what.notes) screen.notes.fill(what.notes)
    if (what.start?.client === store.client) {
      if (what.start.where !== index) return show(what.start.where)
    }
    if (what.go_to?.client === store.client) return show(what.go_to.index, what.go_to.row)
    if (what.trials?.includes(index) && awaited) {
      awaited = false
      row = first_open(index) ?? row
    }
    if ((what.trials?.includes(index) || what.cards?.some((c) => c.index === index)) && !hand.nudged && !pointer.dragging) {
      hand.select()
    }
    hand.run_kept()
    refresh()
  })

  // --- focus, theme, life -----------------------------------------------------------------------------------------

  listen_to_keys(root, setup.keys, (key, pressed) => {
    act(key, pressed)
    reveal() // by mouse nothing scrolls: it would take the next button from under the pointer
  })
  const show_focus = (on) => {
    root.dataset.keys = on ? "on" : "off"
    set_text(screen.keys_on, on ? "keys on" : "keys off: click here")
  }
  root.addEventListener("focusin", () => {
    show_focus(true)
    if (told) return
    told = true // the convention is read before the first decision
    told_at = performance.now()
    forms.convention()
  })
  root.addEventListener("focusout", (event) => show_focus(Boolean(event.relatedTarget && root.contains(event.relatedTarget))))
  show_focus(false)

  /** A picture that fits the window, if every band has room in that. */
  function fit() {
    tallest = window.innerHeight
    layer?.make_tall(fitting_height(root, setup.height, layer.around() + least_bands_px(setup, canvas_font_px())))
  }

  const dress = () => {
    fit()
    spectrum_for = ""
    lettered = canvas_font_px()
    root.classList.toggle("dark-theme", dark())
    const colours = PALETTES[theme()]
    layer?.colours(colours.ink, colours.grid, colours.ground)
    refresh()
  }
  const themes = new MutationObserver(dress)
  themes.observe(document.body, {attributes: true, attributeFilter: ["data-jp-theme-light"]})
  MORE_CONTRAST.addEventListener("change", dress)
  const clock = setInterval(() => {
    store.watch(root.dataset.keys === "on")
    if (window.innerHeight !== tallest) fit()
  }, 100)

  attach_layer(view, draw).then((made) => {
    layer = made
    shield(root)
    layer.hide_times(blind)
    screen.overview.hidden = root.clientWidth < 1000
    dress()
  })
  relabel_keys(root)
  row = first_open(index) ?? row
  store.say_hello()
  refresh_words()
  if (setup.notices.length) screen.notice.pass(setup.notices.join(" "))

  model.on("remove", () => {
    clearInterval(clock)
    clearTimeout(idle)
    themes.disconnect()
    MORE_CONTRAST.removeEventListener("change", dress)
    layer?.detach()
    player.close()
    store.close()
  })
  return root
}
