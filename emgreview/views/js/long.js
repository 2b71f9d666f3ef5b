// The long view of a recording: puts layer, supply, marks, keys, hand and screen together. Loaded by Panel: `render`
// makes the element.

const SHORTEST = 16 // samples in view at least

export function render({model, view}) {
  const setup = JSON.parse(model.setup)
  const wire = make_wire(model, {still: " What is shown was read before; other stretches stay blank."})
  const screen = make_long_screen(setup, model.get_child("picture"), act)
  const {root} = screen
  const {duration_s, rate_hz} = setup
  const rows = setup.channels.map((channel) => ({kind: channel.auxiliary ? "raw" : "band-passed", gain: 1}))
  let layer = null
  let paper = null // pixels of the traces: {image, words, width, ratio}
  let focus = 0
  let cursor_s = setup.view_s[0] + (setup.view_s[1] - setup.view_s[0]) / 2
  let hover_s = null // where the pointer is
  let moved = 0 // when the view last moved
  let font_px = canvas_font_px()
  let tallest = window.innerHeight

  const marks = make_marks(setup, {
    decide, asking: screen.asking, notice: screen.notice.pass, go_to: (s, words) => go_to(s, words),
    refresh: () => refresh(), focus: () => focus, cursor: () => seen_cursor(), set_cursor: (s) => { cursor_s = s },
    range: () => layer.range(),
  })
  const supply = make_supply(model, setup, wire, {
    layer: () => layer, kinds: () => rows.map((row) => row.kind), still_ms: () => performance.now() - moved,
    changed: () => refresh(), ribbon_changed: () => paint_ribbon(), lasting,
  })

  const dark = () => document.body.dataset.jpThemeLight === "false" || Boolean(root.closest(".dark")) ||
    document.documentElement.dataset.theme === "dark"
  const theme = () => palette_name(dark())

  // --- painting ---------------------------------------------------------------------------------------------------

  const scene = () => ({setup, rows, have: supply.have, focus, share: supply.share, cursor_s, hover_s, range: layer.range(),
    theme: theme(), font_px})

  /** Called by the layer at every paint, and by us when anything shown changes. */
  function draw(made) {
    layer = made
    const began = performance.now()
    const ctx = made.canvas.getContext("2d", {willReadFrequently: true})
    const size = made.frame()
    const ratio = window.devicePixelRatio || 1
    const {width, height} = made.canvas
    if (paper?.image.width !== width || paper?.image.height !== height) {
      const image = ctx.createImageData(width, height)
      paper = {image, words: new Uint32Array(image.data.buffer), width, ratio}
    }
    paper.ratio = ratio
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    const now = scene()
    const absent = draw_outlines(ctx, paper, now, size.width, size.height)
    const feet = marks.draw(ctx, now, size.width, size.height)
    draw_over(ctx, now, feet, size.width, size.height)
    root.dataset.painted = absent.loading ? "loading" : absent.reading ? "reading" : "whole"
    root.dataset.view = made.range().join(" ")
    root.dataset.drawing = (performance.now() - began).toFixed(2)
    root.dataset.paints = String(Number(root.dataset.paints ?? 0) + 1)
    supply.refill()
    after_paint()
  }

  let later = 0
  /** What may lag behind the picture by a frame. */
  function after_paint() {
    if (later) return
    later = setTimeout(() => {
      later = 0
      refresh_words()
      paint_ribbon()
    }, 60)
  }

  function paint_ribbon() {
    if (!layer) return
    const canvas = screen.ribbon
    const ratio = window.devicePixelRatio || 1
    const [width, height] = [canvas.clientWidth, canvas.clientHeight]
    if (!width) return
    const [w, h_] = [Math.round(width * ratio), Math.round(height * ratio)]
    if (canvas.width !== w || canvas.height !== h_) Object.assign(canvas, {width: w, height: h_})
    const ctx = canvas.getContext("2d")
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    ctx.font = `${font_px}px system-ui, sans-serif`
    draw_ribbon(ctx, scene(), supply.ribbon, width, height)
    marks.draw_on_ribbon(ctx, scene(), width, height)
  }

  function refresh() {
    layer?.redraw()
    after_paint()
  }

  function clock(s) {
    const whole = Math.floor(s)
    const parts = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60].map((n) => String(n).padStart(2, "0"))
    return parts.join(":")
  }

  function refresh_words() {
    if (!layer) return
    const [x0, x1] = layer.range()
    const digits = x1 - x0 < 2 ? 3 : x1 - x0 < 100 ? 1 : 0
    set_text(screen.where, `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s of ${duration_s.toFixed(0)} s (${clock(x0)})`)
    const held = marks.words(focus, hover_s ?? cursor_s)
    set_text(screen.read_out, value_at_hand() + (held ? ` · ${held}` : ""))
    const frame = layer.frame()
    const bands = lay_rows(setup.channels, frame.height, font_px)
    screen.lay_gutter(bands, frame.top)
    setup.channels.forEach((channel, row) => {
      const parts = screen.rows[row]
      const bar = scale_bar(heights(channel, rows[row], bands[row]), bands[row])
      const unit = channel.unit_label === "arbitrary units" ? "(arbitrary)" : channel.unit_label
      set_text(parts.scale, `${Number(bar.value.toPrecision(3))} ${unit}`)
      if (!channel.auxiliary) set_text(parts.kind, rows[row].kind)
      set_text(parts.gain, rows[row].gain === 1 ? "" : `× ${gain_words(rows[row].gain)}`)
      parts.name.setAttribute("aria-current", String(row === focus))
      parts.element.dataset.here = String(row === focus)
    })
    const other = rows.filter((row) => row.gain !== 1).length
    screen.differs.hidden = !other
    set_text(screen.differs, `differs from the usual gain: ${other === rows.length ? "all channels" : `${other} of ${rows.length} channels`}`)
    screen.ribbon.setAttribute("aria-label", `the whole recording, ${duration_s.toFixed(0)} s; shown is ${x0.toFixed(1)} to ${x1.toFixed(1)} s`)
    set_text(screen.live, `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s, ${setup.channels[focus].label}, ` +
      `${setup.channels[focus].auxiliary ? "as recorded" : rows[focus].kind}${said ? `. ${said}` : ""}${held ? `. ${held}` : ""}`)
    const waiting = wire.pending.length
    set_text(screen.saved, wire.stopped ? `✕ decisions stopped, not saved: ${waiting}`
      : waiting ? `… not yet saved: ${waiting}` : "✓ all saved")
    screen.saved.dataset.state = wire.stopped ? "stopped" : waiting ? "waiting" : "saved"
    root.dataset.unsaved = String(waiting)
  }

  const gain_words = (gain) => (gain >= 1 ? String(gain) : `1/${Math.round(1 / gain)}`)
  let said = "" // what the last move was about, for the screen reader

  /** Time, and value of the channel in hand, where the pointer is or else at the cursor. */
  function value_at_hand() {
    const channel = setup.channels[focus]
    const s = hover_s ?? cursor_s
    const at = `${hover_s == null ? "cursor" : "pointer"} ${s.toFixed(4)} s`
    const {have} = supply
    const trace = have?.traces.get(focus)
    const i = have ? Math.floor((s * rate_hz - have.start) / have.width + (have.width === 1 ? 0.5 : 0)) : -1
    if (!trace || trace.kind !== rows[focus].kind || i < 0 || i >= trace.low.length || trace.low[i] === MISSING) return at
    const value = (v) => Number((v * trace.scale + trace.offset).toPrecision(3))
    const [low, high] = [value(trace.low[i]), value(trace.high[i])]
    const words = low === high ? `${low}` : `${low} to ${high}`
    return `${at} · ${channel.label}, ${channel.auxiliary ? "as recorded" : rows[focus].kind}: ${words} ${channel.unit_label}`
  }

  // --- moving about ----------------------------------------------------------------------------------------------

  function show(x0, x1) {
    const span = Math.min(duration_s, Math.max(SHORTEST / rate_hz, x1 - x0))
    const start = Math.max(0, Math.min(duration_s - span, x0 + (x1 - x0 - span) / 2))
    moved = performance.now()
    layer.set_range(start, start + span)
  }

  const shift = (by_s) => { const [x0, x1] = layer.range(); show(x0 + by_s, x1 + by_s) }
  const span_s = () => layer.range()[1] - layer.range()[0]

  /** Bring a moment to the middle, if it is not well in view. */
  function go_to(s, words = "") {
    const span = span_s()
    cursor_s = Math.max(0, Math.min(duration_s - 1 / rate_hz, s))
    said = words
    const [x0, x1] = layer.range()
    if (s < x0 + 0.1 * span || s > x1 - 0.1 * span) show(s - span / 2, s + span / 2)
    refresh()
  }

  function zoom(factor, around) {
    const [x0, x1] = layer.range()
    const at = around ?? (cursor_s > x0 && cursor_s < x1 ? cursor_s : (x0 + x1) / 2)
    const span = Math.min(duration_s, Math.max(SHORTEST / rate_hz, (x1 - x0) * factor))
    const start = at - ((at - x0) / (x1 - x0)) * span
    show(start, start + span)
  }

  /** The cursor, which comes to the middle of the view if it was left behind. */
  function seen_cursor() {
    const [x0, x1] = layer.range()
    if (cursor_s < x0 || cursor_s > x1) cursor_s = (x0 + x1) / 2
    return cursor_s
  }

  function step_marker(by) {
    const half = 0.5 / rate_hz
    const from = seen_cursor()
    const i = by > 0 ? lower_bound(setup.markers, from + half) : lower_bound(setup.markers, from - half) - 1
    const marker = setup.markers[i]
    if (!marker) return screen.notice.pass(by > 0 ? "There is no later marker." : "There is no earlier marker.")
    go_to(marker[0], `${marker[1]} at ${marker[0].toFixed(3)} s`)
  }

  function step_channel(by) {
    focus = Math.max(0, Math.min(rows.length - 1, focus + by))
    said = ""
    refresh()
  }

  function set_kind(row, kind) {
    if (setup.channels[row].auxiliary) return
    rows[row].kind = kind
  }

  function set_gain(which, factor) {
    for (const row of which) rows[row].gain = factor ? Math.min(256, Math.max(1 / 256, rows[row].gain * factor)) : 1
    refresh()
  }

  const all_rows = rows.map((_, row) => row)

  /** Seconds, m:ss or h:mm:ss to seconds; NaN where it is neither. */
  function seconds_of(words) {
    const parts = words.replace(",", ".").replace(/s$/, "").trim().split(":").map((part) => (part.trim() === "" ? NaN : Number(part)))
    return parts.length > 3 ? NaN : parts.reduce((sum, part) => sum * 60 + part, 0)
  }

  const commands = {
    pan: ({arguments: {widths}}) => shift(widths * span_s()),
    start: () => go_to(0, "start of the recording"),
    end: () => go_to(duration_s, "end of the recording"),
    next_marker: () => step_marker(1),
    previous_marker: () => step_marker(-1),
    marker_list: () => {
      if (!setup.markers.length) return screen.notice.pass("This recording has no markers.")
      const at = Math.min(setup.markers.length - 1, lower_bound(setup.markers, cursor_s - 0.5 / rate_hz))
      screen.asking.pick(`Go to which of ${setup.markers.length} markers?`, setup.markers.map(([s, words]) => `${s.toFixed(3)} s  ${words}`), at,
        (i) => go_to(setup.markers[i][0], setup.markers[i][1]))
    },
    go_to: () => screen.asking.ask(`Go to which time? Seconds from the start (0 to ${duration_s.toFixed(0)}), or h:mm:ss`,
      [{name: "time", words: "", value: cursor_s.toFixed(3)}], ({time}) => {
        const s = seconds_of(time)
        if (s >= 0 && s <= duration_s) return go_to(s)
        screen.asking.complain(`“${time}” is no time of this recording: give 0 to ${duration_s.toFixed(3)} s, or h:mm:ss.`)
        return false
      }),
    next_channel: () => step_channel(1),
    previous_channel: () => step_channel(-1),
    channel: ({row}) => { focus = row; said = ""; refresh() },
    zoom: ({arguments: {factor}}) => zoom(factor),
    usual_span: () => {
      const [x0, x1] = layer.range()
      const middle = cursor_s > x0 && cursor_s < x1 ? cursor_s : (x0 + x1) / 2
      const span = setup.view_s[1] - setup.view_s[0]
      show(middle - span / 2, middle + span / 2)
    },
    whole: () => show(0, duration_s),
    ...marks.commands,
    show: ({arguments: {kind}}) => { set_kind(focus, kind); refresh() },
    show_all: ({arguments: {kind}}) => { all_rows.forEach((row) => set_kind(row, kind)); refresh() },
    next_kind: ({row}) => {
      focus = row
      set_kind(row, setup.kinds[(setup.kinds.indexOf(rows[row].kind) + 1) % setup.kinds.length])
      refresh()
    },
    gain: ({arguments: {factor}}) => set_gain([focus], factor),
    gain_all: ({arguments: {factor}}) => set_gain(all_rows, factor),
    cursor: ({arguments: {by_s, widths}}) => {
      const least = 1 / rate_hz // a step is a sample at least
      const by = by_s == null ? widths * span_s() : Math.sign(by_s) * Math.max(least, Math.round(Math.abs(by_s) * rate_hz) / rate_hz)
      if (marks.nudge(by)) return refresh()
      const at = seen_cursor() + by
      go_to(by_s ? Math.round(at * rate_hz) / rate_hz : at)
    },
    key_card: () => screen.key_card.toggle(),
  }

  /** Send a decision with what was on screen; false, and said so, where none may be taken. */
  function decide(command, args) {
    const visible = {span_s: layer.range().map((s) => Number(s.toFixed(4))), gain: rows.map((row) => row.gain),
      shown: rows.map((row) => row.kind)}
    const taken = wire.decide({command, args, visible})
    if (!taken) screen.notice.pass(wire.stopped)
    return taken
  }

  function act(key, event) {
    if (screen.asking.key && event) return screen.asking.key(event)
    if (screen.key_card.open && event) return screen.key_card.key(key, event)
    screen.asking.close() // a click stands for a key, and a question is for what was in hand when it was asked
    if (layer) screen.asking.form.dataset.side = cursor_s > (layer.range()[0] + layer.range()[1]) / 2 ? "left" : "right"
    hover_s = null // keys act at the cursor
    if (layer && commands[key.command]) commands[key.command](key)
  }

  listen_to_pointer(screen, setup, marks, {
    layer: () => layer, bands: (height) => lay_rows(setup.channels, height, font_px), show, shift, zoom, refresh,
    take_channel: (row) => { focus = row; said = "" },
    set_cursor: (s) => { cursor_s = Math.round(s * rate_hz) / rate_hz },
    hover: (s) => {
      if (s === hover_s) return
      hover_s = s
      layer.redraw()
    },
    centre: (s) => {
      const span = span_s()
      cursor_s = Math.max(0, Math.min(duration_s - 1 / rate_hz, s))
      show(s - span / 2, s + span / 2)
    },
  })

  // --- news from Python -------------------------------------------------------------------------------------------

  /** What is said until it is over. */
  function lasting(words) {
    screen.notice.lasting = words
    screen.notice.show(words)
  }

  wire.listen((what) => {
    if ("stopped" in what) lasting(what.stopped)
    marks.take(what)
    if (what.trials || what.standing) refresh()
    if (what.go_to?.client === wire.client) go_to(what.go_to.s)
    if (what.said?.client === wire.client) screen.notice.pass(what.said.words)
    if (what.refusal) screen.notice.pass(`Not taken: ${what.refusal.words}`)
    after_paint()
  })

  // --- focus, theme, life -----------------------------------------------------------------------------------------

  listen_to_keys(root, setup.keys, act)
  const show_focus = (on) => {
    root.dataset.keys = on ? "on" : "off"
    set_text(screen.keys_on, on ? "keys on" : "keys off: click here")
  }
  root.addEventListener("focusin", () => show_focus(true))
  root.addEventListener("focusout", (event) => show_focus(Boolean(event.relatedTarget && root.contains(event.relatedTarget))))
  show_focus(false)

  const dress = () => {
    root.classList.toggle("dark-theme", dark())
    const colours = PALETTES[theme()]
    layer?.colours(colours.ink, colours.grid, colours.ground)
    refresh()
  }

  /** Letters as the page has them, and a figure that fits the window, if every channel's label has room in that. */
  function fit() {
    font_px = canvas_font_px()
    tallest = window.innerHeight
    if (!layer) return
    layer.letters(font_px)
    const needed = layer.around() + head_px(font_px) + rows.length * least_row_px(font_px)
    layer.make_tall(fitting_height(root, setup.height, needed))
    refresh()
  }

  const themes = new MutationObserver(dress)
  themes.observe(document.body, {attributes: true, attributeFilter: ["data-jp-theme-light"]})
  MORE_CONTRAST.addEventListener("change", dress)
  const clock_tick = setInterval(() => {
    wire.watch(root.dataset.keys === "on" || supply.waits)
    supply.tick()
    if (canvas_font_px() !== font_px || window.innerHeight !== tallest) fit()
  }, 250)

  attach_layer(view, draw).then((made) => {
    layer = made
    shield(root)
    fit()
    dress()
  })
  relabel_keys(root)
  wire.send("hello")
  supply.start()

  model.on("remove", () => {
    clearInterval(clock_tick)
    clearTimeout(later)
    marks.close()
    themes.disconnect()
    MORE_CONTRAST.removeEventListener("change", dress)
    layer?.detach()
    supply.close()
    wire.close()
  })
  return root
}
