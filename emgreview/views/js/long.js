// The long view of a recording: puts layer, link, keys and screen together. Loaded by Panel: `render` makes the element.

const WIDTHS_AROUND = 1.5 // how much is asked for on either side of the view, in widths of it
const REFILL = 0.4 // ask again when less than this is left on one side
const SHORTEST = 16 // samples in view at least

export function render({model, view}) {
  const setup = JSON.parse(model.setup)
  const link = make_wire(model, {still: " What is shown was read before; other stretches stay blank."})
  const screen = make_long_screen(setup, model.get_child("picture"), act)
  const {root} = screen
  const {duration_s, rate_hz, n_samples} = setup
  const rows = setup.channels.map((channel) => ({kind: channel.auxiliary ? "raw" : "band-passed", gain: 1}))
  let layer = null
  let paper = null // pixels of the traces: {image, words, width, ratio}
  let have = null // the stretch that is here: {start, stop, width, unread, traces: Map of row}
  let ribbon = null
  let share = Math.floor(setup.share * 100)
  let asks = 0
  let asked = null // what is under way: {n, key}
  let answered = "" // the question whose answer is here, so that it is not asked again
  let failing = 0 // when the file could last not be read, 0 = all well
  let reading = false
  let focus = 0
  let cursor_s = setup.view_s[0] + (setup.view_s[1] - setup.view_s[0]) / 2
  let moved = 0 // when the view last moved

  const marks = make_marks(setup, {
    decide, ask: screen.ask, choose: screen.choose, notice: screen.pass_notice, go_to: (s, words) => go_to(s, words),
    refresh: () => refresh(), focus: () => focus, cursor: () => seen_cursor(), set_cursor: (s) => { cursor_s = s },
    range: () => layer.range(),
  })

  const theme = () => (document.body.dataset.jpThemeLight === "false" || root.closest(".dark") ||
    document.documentElement.dataset.theme === "dark" ? "dark" : "light")

  // --- samples ----------------------------------------------------------------------------------------------------

  function view_samples() {
    const [x0, x1] = layer.range()
    return [Math.max(0, Math.floor(x0 * rate_hz)), Math.min(n_samples, Math.ceil(x1 * rate_hz))]
  }

  /** Ask Python for what the view lacks or is about to lack; one question at a time, always about the latest view. */
  function refill() {
    if (!layer || asked) return
    const [start, stop] = view_samples()
    const span = stop - start
    const width = Math.max(1, Math.floor(span / (layer.frame().width * (window.devicePixelRatio || 1))))
    const kinds = rows.map((row) => row.kind)
    const same_kinds = have && kinds.every((kind, row) => have.traces.get(row)?.kind === kind)
    const reach = REFILL * span
    const covered = have && have.start <= Math.max(0, start - reach) && have.stop >= Math.min(n_samples, stop + reach)
    const unread = have?.unread.some(([a, b]) => a < stop && b > start)
    const fine = have && have.width <= Math.max(width, 1)
    if (same_kinds && covered && fine && !unread) return
    const key = JSON.stringify([start, stop, width, kinds, have?.start, have?.stop, unread ? share : 0])
    if (key === answered) return
    asks += 1
    asked = {n: asks, key}
    const around = Math.round(WIDTHS_AROUND * span)
    link.send("look", {n: asks, view: [start, stop], want: [start - around, stop + around], width, kinds})
  }

  function take_pack(name) {
    if (!model[name]?.byteLength) return null
    const {head, fill} = unpack(model[name])
    const traces = new Map()
    for (const trace of head.traces) {
      const {samples} = fill(trace)
      const half = head.width === 1 ? samples.length : samples.length / 2
      trace.low = samples.subarray(0, half)
      trace.high = head.width === 1 ? trace.low : samples.subarray(half)
      trace.gaps = trace.low.includes(MISSING)
      traces.set(trace.row, trace)
    }
    return {head, traces}
  }

  function on_stretch() {
    const pack = take_pack("stretch")
    if (!pack) return
    const {head, traces} = pack
    if (head.client !== link.client) return
    have = {start: head.start, stop: head.stop, width: head.width, unread: head.unread, traces}
    for (const [row, limits] of Object.entries(head.limits)) setup.channels[row].limits = limits
    if (failing) {
      failing = 0
      screen.lasting = ""
      screen.show_notice("")
    }
    if (asked?.n === head.n) {
      answered = asked.key
      asked = null
    }
    refresh()
  }

  function on_ribbon() {
    const pack = take_pack("ribbon")
    if (!pack) return
    ribbon = {width: pack.head.width, traces: pack.traces}
    paint_ribbon()
  }

  /** Let Python read on while nobody waits for anything else. */
  function read_on() {
    if (reading || asked || failing || share >= 100 || document.hidden || link.stopped) return
    if (performance.now() - moved < 250) return
    reading = true
    const [start, stop] = layer ? view_samples() : [0, 0]
    link.send("read", {near: Math.round((start + stop) / 2)})
  }

  // --- painting ---------------------------------------------------------------------------------------------------

  const scene = () => ({setup, rows, have, focus, share, cursor_s, range: layer.range(), theme: theme()})

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
    marks.draw(ctx, now, size.width, size.height)
    draw_over(ctx, now, size.width, size.height)
    root.dataset.painted = absent.loading ? "loading" : absent.reading ? "reading" : "whole"
    root.dataset.view = made.range().join(" ")
    root.dataset.drawing = (performance.now() - began).toFixed(2)
    root.dataset.paints = String(Number(root.dataset.paints ?? 0) + 1)
    refill()
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
    ctx.font = "11px system-ui, sans-serif"
    draw_ribbon(ctx, scene(), ribbon, width, height)
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
    screen.text(screen.where, `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s of ${duration_s.toFixed(0)} s (${clock(x0)})`)
    const held = marks.words()
    screen.text(screen.read_out, value_at_cursor() + (held ? ` · ${held}` : ""))
    const frame = layer.frame()
    const bands = lay_rows(setup.channels, frame.height)
    screen.lay_gutter(bands, frame.top)
    setup.channels.forEach((channel, row) => {
      const parts = screen.rows[row]
      const bar = scale_bar(heights(channel, rows[row], bands[row]), bands[row])
      const unit = channel.unit_label === "arbitrary units" ? "(arbitrary)" : channel.unit_label
      screen.text(parts.scale, `${Number(bar.value.toPrecision(3))} ${unit}`)
      if (!channel.auxiliary) screen.text(parts.kind, rows[row].kind)
      screen.text(parts.gain, rows[row].gain === 1 ? "" : `× ${gain_words(rows[row].gain)}`)
      parts.name.setAttribute("aria-current", String(row === focus))
      parts.element.dataset.here = String(row === focus)
    })
    const other = rows.filter((row) => row.gain !== 1).length
    screen.differs.hidden = !other
    screen.text(screen.differs, `differs from the usual gain: ${other === rows.length ? "all channels" : `${other} of ${rows.length} channels`}`)
    screen.ribbon.setAttribute("aria-label", `the whole recording, ${duration_s.toFixed(0)} s; shown is ${x0.toFixed(1)} to ${x1.toFixed(1)} s`)
    screen.text(screen.live, `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s, ${setup.channels[focus].label}, ` +
      `${setup.channels[focus].auxiliary ? "as recorded" : rows[focus].kind}${said ? `. ${said}` : ""}${held ? `. ${held}` : ""}`)
    const waiting = link.pending.length
    screen.text(screen.saved, link.stopped ? `✕ decisions stopped, not saved: ${waiting}`
      : waiting ? `… not yet saved: ${waiting}` : "✓ all saved")
    screen.saved.dataset.state = link.stopped ? "stopped" : waiting ? "waiting" : "saved"
    root.dataset.unsaved = String(waiting)
  }

  const gain_words = (gain) => (gain >= 1 ? String(gain) : `1/${Math.round(1 / gain)}`)
  let said = "" // what the last move was about, for the screen reader

  function value_at_cursor() {
    const channel = setup.channels[focus]
    const at = `cursor ${cursor_s.toFixed(4)} s`
    const trace = have?.traces.get(focus)
    const i = have ? Math.floor((cursor_s * rate_hz - have.start) / have.width + (have.width === 1 ? 0.5 : 0)) : -1
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
    if (!marker) return screen.pass_notice(by > 0 ? "There is no later marker." : "There is no earlier marker.")
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
      if (!setup.markers.length) return screen.pass_notice("This recording has no markers.")
      const at = Math.min(setup.markers.length - 1, lower_bound(setup.markers, cursor_s - 0.5 / rate_hz))
      screen.pick(`Go to which of ${setup.markers.length} markers?`, setup.markers.map(([s, words]) => `${s.toFixed(3)} s  ${words}`), at,
        (i) => go_to(setup.markers[i][0], setup.markers[i][1]))
    },
    go_to: () => screen.ask(`Go to which time? Seconds from the start (0 to ${duration_s.toFixed(0)}), or h:mm:ss`, cursor_s.toFixed(3),
      (words) => {
        const s = seconds_of(words)
        if (!(s >= 0 && s <= duration_s)) {
          return screen.pass_notice(`“${words}” is no time of this recording: give 0 to ${duration_s.toFixed(3)} s, or h:mm:ss.`)
        }
        go_to(s)
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
      if (marks.nudge(by_s ?? widths * span_s())) return refresh()
      const at = seen_cursor() + (by_s ?? widths * span_s())
      go_to(by_s ? Math.round(at * rate_hz) / rate_hz : at)
    },
    key_card: () => screen.toggle_card(),
  }

  /** Send a decision with what was on screen; false, and said so, where none may be taken. */
  function decide(command, args) {
    const visible = {span_s: layer.range().map((s) => Number(s.toFixed(4))), gain: rows.map((row) => row.gain),
      shown: rows.map((row) => row.kind)}
    const taken = link.decide({command, args, visible})
    if (!taken) screen.pass_notice(link.stopped)
    return taken
  }

  function act(key, event) {
    if (screen.form_key && event) return screen.form_key(event)
    if (screen.card_open && event) return screen.toggle_card()
    if (layer && commands[key.command]) commands[key.command](key)
  }

  // --- the pointer ------------------------------------------------------------------------------------------------

  let dragging = null // {x, range}
  function place(event) {
    const box = layer.canvas.getBoundingClientRect()
    const [x, y] = [event.clientX - box.left, event.clientY - box.top]
    const [x0, x1] = layer.range()
    const band = lay_rows(setup.channels, box.height).find((b) => y >= b.top && y < b.top + b.height)
    return {inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height, s: x0 + (x / box.width) * (x1 - x0), band,
      per_px: (x1 - x0) / box.width}
  }
  function on_down(event) {
    if (!layer || event.button !== 0) return
    const at = place(event)
    if (!at.inside) return
    event.stopPropagation()
    event.preventDefault()
    root.focus()
    screen.picture.setPointerCapture(event.pointerId)
    if (at.band) focus = at.band.row
    if (marks.down(at, event)) return refresh()
    dragging = {x: event.clientX, range: layer.range(), per_px: at.per_px, far: false}
    cursor_s = at.s
    said = ""
    refresh()
  }
  function on_move(event) {
    if (!layer) return
    event.stopPropagation()
    if (marks.drag(place(event))) return refresh()
    if (dragging) {
      const by = (dragging.x - event.clientX) * dragging.per_px
      if (Math.abs(dragging.x - event.clientX) > 2) dragging.far = true
      if (dragging.far) show(dragging.range[0] + by, dragging.range[1] + by)
    } else {
      const at = place(event)
      if (!at.inside) return
      cursor_s = at.s
      screen.picture.style.cursor = setup.decides && marks.edge_at(at) ? "ew-resize" : ""
      layer.redraw()
    }
  }
  function on_up(event) {
    if (marks.up()) {
      event.stopPropagation()
      return refresh()
    }
    if (!dragging) return
    event.stopPropagation()
    dragging = null
    refresh()
  }
  function on_wheel(event) {
    if (!layer || root.dataset.keys !== "on") return // without the focus the page scrolls
    const at = place(event)
    if (!at.inside) return
    event.preventDefault()
    event.stopPropagation()
    const steps = Math.max(-4, Math.min(4, event.deltaY / (event.deltaMode ? 3 : 100)))
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) shift((event.deltaX || event.deltaY) * at.per_px)
    else zoom(2 ** (steps / 3), at.s)
  }
  screen.picture.addEventListener("pointerdown", on_down, true)
  screen.picture.addEventListener("pointermove", on_move, true)
  screen.picture.addEventListener("pointerup", on_up, true)
  screen.picture.addEventListener("pointercancel", on_up, true)
  screen.picture.addEventListener("wheel", on_wheel, {capture: true, passive: false})

  let on_ribbon_now = false
  function follow_ribbon(event) {
    const s = (event.offsetX / screen.ribbon.clientWidth) * duration_s
    const span = span_s()
    cursor_s = Math.max(0, Math.min(duration_s - 1 / rate_hz, s))
    show(s - span / 2, s + span / 2)
  }
  screen.ribbon.addEventListener("pointerdown", (event) => {
    if (!layer || event.button !== 0) return
    event.preventDefault()
    root.focus()
    screen.ribbon.setPointerCapture(event.pointerId)
    on_ribbon_now = true
    follow_ribbon(event)
  })
  screen.ribbon.addEventListener("pointermove", (event) => on_ribbon_now && follow_ribbon(event))
  screen.ribbon.addEventListener("pointerup", () => { on_ribbon_now = false })
  screen.ribbon.addEventListener("pointercancel", () => { on_ribbon_now = false })

  // --- news from Python -------------------------------------------------------------------------------------------

  link.listen((what) => {
    if (what.share != null) share = Math.floor(what.share * 100)
    if (what.read?.client === link.client) {
      reading = false
      setTimeout(read_on, 0)
    }
    if ("stopped" in what) {
      screen.lasting = what.stopped
      screen.show_notice(what.stopped)
      if (!what.stopped) { // what was asked meanwhile may be lost
        asked = null
        reading = false
      }
    }
    marks.take(what)
    if (what.trials || what.standing) refresh()
    if (what.go_to?.client === link.client) go_to(what.go_to.s)
    if (what.said?.client === link.client) screen.pass_notice(what.said.words)
    if (what.refusal) screen.pass_notice(`Not taken: ${what.refusal.words}`)
    if (what.unread?.client === link.client) { // the file cannot be read just now
      failing = performance.now()
      reading = false
      if (asked) answered = asked.key
      asked = null
      screen.lasting = what.unread.words
      screen.show_notice(what.unread.words)
    }
    refill()
    after_paint()
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
  const clock_tick = setInterval(() => {
    link.watch(root.dataset.keys === "on" || asked || reading)
    if (failing && performance.now() - failing > 1500) answered = "" // look again
    refill()
    read_on()
  }, 250)

  for (const name of ["stretch", "ribbon"]) model.properties[name].internal = true // what comes down is not echoed up
  model.on("stretch", on_stretch)
  model.on("ribbon", on_ribbon)
  attach_layer(view, draw).then((made) => {
    layer = made
    shield(root)
    dress()
  })
  link.send("hello")
  on_ribbon()

  model.on("remove", () => {
    clearInterval(clock_tick)
    clearTimeout(later)
    marks.close()
    themes.disconnect()
    layer?.detach()
    model.off?.("stretch", on_stretch)
    model.off?.("ribbon", on_ribbon)
    link.close()
  })
  return root
}
