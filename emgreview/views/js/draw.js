// Painting of one trial: bands, traces, lines with words, marks. Pure drawing: arrays and numbers in, pixels out.
// Over 400 lines: whatever is painted on one canvas shares its bands, its colours and its letters.

const PALETTES = {
  light: {ground: "#ffffff", ink: "#1d1d1f", faint: "#6b6b70", grid: "#dcdce0", band: "#f4f6fa", raw: "#2b2b30",
    rectified: "#b4b4bb", envelope: "#0b5394", auxiliary: "#5a5a60", rest: "#00000010", interval: "#c8500033",
    onset: "#b34700", offset: "#5b3a8e", automatic: "#7a7a80", plate: "#ffffffd8", usual: "#0b539422", usual_line: "#0b539466",
    accent: "#0b5394", away: "#00000012", here: "#0b539414"},
  dark: {ground: "#16181c", ink: "#f0f0f2", faint: "#a3a7ae", grid: "#3a3d44", band: "#1e222a", raw: "#e4e4e8",
    rectified: "#6d7077", envelope: "#7db8f0", auxiliary: "#b4b7bd", rest: "#ffffff14", interval: "#ff9a4a40",
    onset: "#ffa25e", offset: "#c9a6ff", automatic: "#9da1a8", plate: "#16181ce0", usual: "#7db8f02a", usual_line: "#7db8f077",
    accent: "#7db8f0", away: "#ffffff1c", here: "#7db8f01c"},
}

PALETTES.light_contrast = {...PALETTES.light, ink: "#000000", faint: "#000000", grid: "#767676", raw: "#000000",
  rectified: "#767676", envelope: "#003a70", auxiliary: "#000000", rest: "#00000030", interval: "#c8500066",
  onset: "#7a2400", offset: "#3a1a70", automatic: "#303030", plate: "#ffffff", usual: "#0b539444", usual_line: "#003a70",
  accent: "#003a70", away: "#00000024", here: "#003a701c"}
PALETTES.dark_contrast = {...PALETTES.dark, ground: "#000000", ink: "#ffffff", faint: "#ffffff", grid: "#9a9a9a", raw: "#ffffff",
  rectified: "#9a9a9a", envelope: "#a8d4ff", auxiliary: "#ffffff", rest: "#ffffff38", interval: "#ff9a4a70",
  onset: "#ffc08f", offset: "#dcc8ff", automatic: "#d0d0d0", plate: "#000000", usual: "#7db8f055", usual_line: "#a8d4ff",
  accent: "#a8d4ff", away: "#ffffff30", here: "#a8d4ff26"}

const MORE_CONTRAST = matchMedia("(prefers-contrast: more)")

/** The palette of a theme, with more contrast for those who ask their system for it. */
const palette_name = (dark) => (dark ? "dark" : "light") + (MORE_CONTRAST.matches ? "_contrast" : "")

/** Letters on a canvas follow the text size of the page: 11 px at the usual 16 px. */
const canvas_font_px = () => 0.6875 * parseFloat(getComputedStyle(document.documentElement).fontSize)

const MISSING = -32768

const band_weights = (setup) => setup.channels.map((channel) => (channel.auxiliary ? 0.55 : 1))

/** The least height of all bands, in which words and traces still find room. */
const least_bands_px = (setup, font_px) => font_px + 7 + 3.6 * font_px * band_weights(setup).reduce((a, b) => a + b, 0)

/** Vertical layout: a strip for the words of lines, then one band a channel, auxiliary bands half as high. */
function lay_bands(setup, height, font_px) {
  const weights = band_weights(setup)
  let top = font_px + 7
  const unit = (height - top) / weights.reduce((a, b) => a + b, 0)
  return weights.map((weight, row) => {
    const band = {row, top, height: weight * unit, auxiliary: setup.channels[row].auxiliary}
    top += weight * unit
    return band
  })
}

/** One path through the extremes of every pixel column, or through every sample where there are few. */
function trace_path(ctx, samples, step_s, t0, x0, x1, width, to_y) {
  const per_px = (x1 - x0) / width / step_s
  const first = Math.max(0, Math.floor((x0 - t0) / step_s) - 1)
  const last = Math.min(samples.length - 1, Math.ceil((x1 - t0) / step_s) + 1)
  const px = (i) => ((t0 + i * step_s - x0) / (x1 - x0)) * width
  ctx.beginPath()
  let pen = false
  if (per_px <= 2) {
    for (let i = first; i <= last; i++) {
      const v = samples[i]
      if (v === MISSING) { pen = false; continue }
      if (pen) ctx.lineTo(px(i), to_y(v))
      else ctx.moveTo(px(i), to_y(v))
      pen = true
    }
  } else {
    let i = first
    while (i <= last) {
      const column = Math.floor(px(i))
      let low = Infinity
      let high = -Infinity
      const entry = samples[i]
      while (i <= last && Math.floor(px(i)) === column) {
        const v = samples[i++]
        if (v === MISSING) continue
        if (v < low) low = v
        if (v > high) high = v
      }
      if (low > high) { pen = false; continue }
      const x = column + 0.5
      if (pen && entry !== MISSING) ctx.lineTo(x, to_y(entry))
      else ctx.moveTo(x, to_y(low))
      ctx.lineTo(x, to_y(low))
      ctx.lineTo(x, to_y(high))
      pen = true
    }
  }
  ctx.stroke()
}

/** The traces of a trial alone: the part that is prepared ahead. */
function draw_traces(ctx, trial, setup, look, width, height) {
  const colours = PALETTES[look.theme]
  const [x0, x1] = look.range
  const t0 = setup.start_s
  const bands = lay_bands(setup, height, look.font_px)
  const pick = (row, kind) => trial.traces.find((trace) => trace.row === row && trace.kind === kind)
  ctx.lineJoin = "round"
  for (const band of bands) {
    ctx.save()
    ctx.beginPath()
    ctx.rect(0, band.top, width, band.height)
    ctx.clip()
    if (band.auxiliary) {
      if (look.blind) { // it would show the response
        ctx.restore()
        continue
      }
      const trace = pick(band.row, "auxiliary")
      const [low, high] = trace.limits
      const scale = (band.height - 18) / (high - low || 1)
      const to_y = (v) => band.top + band.height - 5 - (v * trace.scale - low) * scale
      ctx.strokeStyle = colours.auxiliary
      ctx.lineWidth = 1.2
      trace_path(ctx, trace.samples, trace.step_s, t0, x0, x1, width, to_y)
    } else {
      const raw = pick(band.row, "raw")
      const envelope = pick(band.row, "envelope")
      const full = trial.full_scale[band.row] / look.gain
      const split = band.top + band.height * 0.4
      const rise = (split - band.top - 6) / full // upper part: rectified and envelope, from 0
      const up = (v, scale) => split - v * scale * rise
      ctx.lineWidth = 1
      ctx.strokeStyle = colours.rectified
      trace_path(ctx, rectify(raw), raw.step_s, t0, x0, x1, width, (v) => up(v, raw.scale))
      ctx.strokeStyle = colours.envelope
      ctx.lineWidth = 1.4
      trace_path(ctx, envelope.samples, envelope.step_s, t0, x0, x1, width, (v) => up(v, envelope.scale))
      const middle = (split + band.top + band.height) / 2
      const swing = (band.height * 0.6 - 4) / 2 / full // lower part: the band-passed trace itself
      ctx.lineWidth = 1
      ctx.strokeStyle = colours.raw
      trace_path(ctx, raw.samples, raw.step_s, t0, x0, x1, width, (v) => middle - v * raw.scale * swing)
    }
    ctx.restore()
  }
}

function rectify(trace) {
  if (!trace.rectified) {
    trace.rectified = trace.samples.map((v) => (v === MISSING ? v : Math.abs(v)))
  }
  return trace.rectified
}

/** Seconds in ms, to a tenth: the samples of most recordings lie that far apart or further. */
const ms_words = (s) => `${Number((s * 1000).toFixed(1))} ms`

/** A round number near a quarter of a value: 1, 2 or 5 times a power of ten. */
function round_bar(value) {
  const power = 10 ** Math.floor(Math.log10(value))
  return [5, 2, 1].find((m) => m * power <= value) * power
}

function plate(ctx, text, x, y, colours, align = "left", ink = colours.ink) {
  const wide = ctx.measureText(text).width
  const high = parseFloat(ctx.font.replace("bold ", "")) + 2
  const left = align === "left" ? x : align === "right" ? x - wide : x - wide / 2
  ctx.fillStyle = colours.plate
  ctx.fillRect(left - 2, y - high + 3, wide + 4, high)
  ctx.fillStyle = ink
  ctx.fillText(text, left, y)
}

/** Everything around the traces: called at every paint, cheap. `scene` is documented where it is made (review.js). */
function draw_trial(ctx, scene, traces_image, width, height) {
  const {setup, card, look, focus_row, mark, cursor_s, hover_s, trial, typical} = scene
  const colours = PALETTES[look.theme]
  const [x0, x1] = look.range
  const px = (s) => ((s - x0) / (x1 - x0)) * width
  const bands = lay_bands(setup, height, look.font_px)
  const px_font = look.font_px
  ctx.font = `${px_font}px system-ui, sans-serif`

  const here = bands[focus_row]
  ctx.fillStyle = colours.band
  ctx.fillRect(0, here.top, width, here.height)
  ctx.fillStyle = colours.rest
  ctx.fillRect(px(setup.rest_s[0]), 0, px(setup.rest_s[1]) - px(setup.rest_s[0]), height)
  if (setup.plausible_s) shade_plausible(ctx, setup.plausible_s, px, width, height, colours)

  for (const band of bands) {
    if (band.auxiliary) continue
    const usual = typical.get(`${trial.recording}|${band.row}`)
    if (usual) draw_typical(ctx, usual, band, trial.full_scale[band.row] / look.gain, setup.start_s, px, colours)
    const channel = card.channels[band.row]
    const auto = channel.automatic
    if (auto.low_s != null) {
      ctx.fillStyle = colours.interval
      ctx.fillRect(px(auto.low_s), band.top + 1, Math.max(2, px(auto.high_s) - px(auto.low_s)), band.height - 2)
    }
  }
  ctx.drawImage(traces_image, 0, 0, width, height)
  plate(ctx, "rest", px(setup.rest_s[0]) + 3, height - 9, colours, "left", colours.faint)
  if (setup.plausible_s) { // its word above the cursor's
    plate(ctx, "plausible", px(setup.plausible_s[1]) - 3, height - 2 * px_font - 6, colours, "right", colours.faint)
  }

  for (const band of bands) {
    if (!band.auxiliary) draw_aside(ctx, card.channels[band.row].aside, band, px, width, colours)
    ctx.strokeStyle = colours.grid
    ctx.lineWidth = 1
    ctx.beginPath()
    ctx.moveTo(0, Math.round(band.top + band.height) - 0.5)
    ctx.lineTo(width, Math.round(band.top + band.height) - 0.5)
    ctx.stroke()
  }

  const heads = []
  for (const line of card.lines) {
    const x = Math.round(px(line.at_s)) + 0.5
    if (x < 0 || x > width) continue
    ctx.strokeStyle = colours.ink
    ctx.lineWidth = LINES[line.kind].thick
    ctx.setLineDash(LINES[line.kind].dash)
    ctx.beginPath()
    ctx.moveTo(x, 0)
    ctx.lineTo(x, height)
    ctx.stroke()
    ctx.setLineDash([])
    heads.push([line.words, x])
  }

  for (const band of bands) {
    const channel = setup.channels[band.row]
    if (band.auxiliary) {
      const limits = trial.traces.find((trace) => trace.row === band.row).limits.map((value) => Number(value.toPrecision(3)))
      plate(ctx, look.blind ? `${channel.label}: hidden in a blind review`
        : `${channel.label} (${channel.unit_label}), ${limits[0]} to ${limits[1]}`, 6, band.top + px_font + 1, colours)
      continue
    }
    const state = card.channels[band.row]
    ctx.font = `${band.row === focus_row ? "bold " : ""}${px_font}px system-ui, sans-serif`
    const taken = flags(state, ctx, px)
    const long_name = channel.label + (channel.over ? ` · over ${channel.over}` : "")
    const first_px = Math.min(...taken.map(([left]) => left).filter((left) => left > 0), width)
    const name = ctx.measureText(long_name).width + 8 < first_px ? long_name : channel.label
    plate(ctx, name, 6, band.top + px_font + 1, colours)
    const [words, right] = fit_sign(ctx, `${state.sign} ${state.words}`, [[0, ctx.measureText(name).width + 8], ...taken], width)
    plate(ctx, words, right, band.top + px_font + 1, colours, "right", state.reviewed ? colours.ink : colours.faint)
    ctx.font = `${px_font}px system-ui, sans-serif`
    draw_scale_bar(ctx, band, channel, trial.full_scale[band.row] / look.gain, trial.level_words[band.row], colours)
    if (state.interval_s) draw_interval(ctx, band, state.interval_s, band.row === focus_row ? mark : {}, px, colours)
    draw_marks(ctx, band, state, band.row === focus_row, mark, px, width, colours, look)
  }

  heads.sort((a, b) => a[1] - b[1])
  let edge = -Infinity
  for (const [words, x] of heads) {
    const wide = ctx.measureText(words).width + 8
    const left = Math.min(Math.max(x + 3, edge), width - wide)
    plate(ctx, words, left, px_font + 2, colours)
    edge = left + wide
  }

  const upright = (s, words, low) => {
    if (s < x0 || s > x1) return
    const x = Math.round(px(s)) + 0.5
    ctx.beginPath()
    ctx.moveTo(x, 0)
    ctx.lineTo(x, height)
    ctx.stroke()
    if (words) plate(ctx, words, Math.min(x + 6, width - ctx.measureText(words).width - 3), height - low, colours)
  }
  const time = (s) => (look.read_out ? ms_words(s) : "")
  ctx.strokeStyle = ctx.fillStyle = colours.faint
  ctx.lineWidth = 1
  upright(cursor_s, `cursor ${time(cursor_s)}`.trim(), 6)
  if (look.smear) draw_smear(ctx, setup.smear, cursor_s, here, px, colours, look.widths)
  if (hover_s == null) return
  ctx.strokeStyle = colours.faint
  ctx.setLineDash([1, 2])
  upright(hover_s, time(hover_s), px_font + 12)
  ctx.setLineDash([])
}

/** The window in which the study expects responses: a bar at the foot between two dotted lines. */
function shade_plausible(ctx, [from, to], px, width, height, colours) {
  ctx.fillStyle = colours.usual_line
  ctx.fillRect(px(from), height - 5, px(to) - px(from), 5)
  for (const s of [from, to]) {
    ctx.strokeStyle = colours.faint
    ctx.setLineDash([1, 4])
    ctx.beginPath()
    ctx.moveTo(px(s), 0)
    ctx.lineTo(px(s), height)
    ctx.stroke()
    ctx.setLineDash([])
  }
}

/** The person's typical envelope, faintly behind the upper part of a band: median as a line, quartiles as an area. */
function draw_typical(ctx, usual, band, full, t0, px, colours) {
  const split = band.top + band.height * 0.4
  const rise = (split - band.top - 6) / full
  const {lower, median, upper} = usual
  const x = (i) => px(t0 + i * median.step_s)
  const y = (trace, i) => Math.max(band.top + 1, split - trace.samples[i] * trace.scale * rise)
  ctx.fillStyle = colours.usual
  ctx.beginPath()
  for (let i = 0; i < upper.n; i++) ctx.lineTo(x(i), y(upper, i))
  for (let i = lower.n - 1; i >= 0; i--) ctx.lineTo(x(i), y(lower, i))
  ctx.fill()
  ctx.strokeStyle = colours.usual_line
  ctx.lineWidth = 1
  ctx.beginPath()
  for (let i = 0; i < median.n; i++) ctx.lineTo(x(i), y(median, i))
  ctx.stroke()
}

/** `words` stand beside the scale where the channel's level is impossible, which a fixed gain would hide. */
function draw_scale_bar(ctx, band, channel, full, words, colours) {
  const per_uv = (band.height * 0.6 - 4) / 2 / full
  const value = round_bar(full * 1.4)
  const long = value * per_uv
  const bottom = band.top + band.height * 0.7 + long / 2 // around the middle of the lower part
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 2
  ctx.beginPath()
  ctx.moveTo(9, bottom)
  ctx.lineTo(9, bottom - long)
  ctx.stroke()
  const text = channel.unit_label === "arbitrary units" ? `${value} (arbitrary)` : `${value} ${channel.unit_label}`
  plate(ctx, text, 14, bottom - long / 2 + 4, colours, "left", words ? colours.onset : colours.ink)
  if (words) plate(ctx, words, 14, band.top + band.height - 6, colours, "left", colours.onset) // below the trace: legible at rest
}

/** Where an onset that cannot be located lies: a box, the edge in hand thick. */
function draw_interval(ctx, band, [from, to], {side, at_s}, px, colours) {
  const edges = {earliest: side === "earliest" ? at_s ?? from : from, latest: side === "latest" ? at_s ?? to : to}
  const [a, b] = [px(edges.earliest), px(edges.latest)]
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 1
  ctx.setLineDash([2, 3])
  ctx.strokeRect(a, band.top + 3, b - a, band.height - 6)
  ctx.setLineDash([])
  if (edges[side] != null) {
    ctx.fillStyle = colours.onset
    ctx.fillRect(px(edges[side]) - 1.5, band.top + 3, 3, band.height - 6)
  }
  plate(ctx, SIDE_WORDS.earliest, a - 4, band.top + band.height - 6, colours, "right", colours.onset)
  plate(ctx, SIDE_WORDS.latest, b + 4, band.top + band.height - 6, colours, "left", colours.onset)
}

/** Where the flags at the head of a band stand: [left, right] in px. */
function flags(state, ctx, px) {
  const wide = ctx.measureText("onset 9").width + 8
  const rivals = (state.dispute?.candidates ?? []).flatMap(({bursts}) => bursts.map(({onset_s}) => [px(onset_s) - 20, px(onset_s) + 20]))
  return [...state.bursts.map(({onset_s}) => [px(onset_s) - 2, px(onset_s) + wide]), ...rivals]
}

/** A channel's sign with as many of its words as fit beside what else stands at the head of its band, and the right end of
 * the widest room there; at the right edge where all of it fits. The panel has it whole. */
function fit_sign(ctx, words, taken, width) {
  const rooms = []
  let edge = width - 2
  for (const [left, right] of taken.sort((a, b) => b[1] - a[1])) {
    if (right < edge) rooms.push([Math.max(0, right + 4), edge - 4])
    edge = Math.min(edge, left)
  }
  const long = ([left, right]) => right - left
  const fits = (text, room) => ctx.measureText(text).width <= long(room)
  const room = rooms.find((one) => fits(words, one)) ?? rooms.sort((a, b) => long(b) - long(a))[0] ?? [0, width - 6]
  if (fits(words, room)) return [words, room[1]]
  let shown = words
  while (shown.length > 1 && !fits(`${shown}…`, room)) shown = shown.slice(0, -1).trimEnd()
  return [`${shown}…`, room[1]]
}

/** Marks differ by side of their flag, line style and word, not by colour alone. A word that would hide one of a mark in
 * hand, or one before it, is left out. */
function draw_marks(ctx, band, state, focused, mark, px, width, colours, {font_px: px_font, widths}) {
  const labels = []
  const line = (s, {dash, colour, thick, words, side, low}) => {
    const x = Math.round(px(s)) + 0.5
    if (x < -1 || x > width + 1) return
    ctx.strokeStyle = colour
    ctx.lineWidth = thick
    ctx.setLineDash(dash)
    ctx.beginPath()
    ctx.moveTo(x, band.top + 2)
    ctx.lineTo(x, band.top + band.height - 2)
    ctx.stroke()
    ctx.setLineDash([])
    if (!words) return
    const wide = ctx.measureText(words).width
    labels.push({words, left: side === "right" ? x + 4 : x - 4 - wide, wide, low: Boolean(low), colour, held: thick > 2})
  }
  for (const [k, {letter, bursts}] of (state.dispute?.candidates ?? []).entries()) {
    const look = {dash: k ? [2, 3] : [7, 3], colour: colours.ink, thick: 1.6, side: k ? "right" : "left"}
    for (const burst of bursts) {
      line(burst.onset_s, {...look, words: letter})
      if (burst.offset_s != null) line(burst.offset_s, {...look, words: `${letter} off`, low: true})
    }
  }
  const auto = state.automatic
  if (auto.onset_s != null) {
    line(auto.onset_s, {dash: [1, 3], colour: colours.automatic, thick: 1.2, words: focused && !state.interval_s ? "automatic" : "", side: "left",
      low: true})
  }
  for (const burst of state.bursts) {
    const selected = focused && burst.id === mark.burst
    const at = (side, value) => (selected && mark.side === side && mark.at_s != null ? mark.at_s : value)
    const onset = at("onset", burst.onset_s)
    const offset = at("offset", burst.offset_s)
    const number = state.bursts.length > 1 ? ` ${state.bursts.indexOf(burst) + 1}` : ""
    const thick = (side) => (selected && mark.side === side ? 3 : 1.6)
    if (onset != null) {
      line(onset, {dash: [], colour: colours.onset, thick: thick("onset"), words: `${focused ? "onset" : "on"}${number}`, side: "right"})
      if (burst.half_width_s != null) draw_whisker(ctx, px(onset), px(onset + burst.half_width_s) - px(onset),
        band.top + 1.9 * px_font + 3, widths ? `± ${Number((burst.half_width_s * 1000).toPrecision(3))} ms (own)` : "± (own)", px_font, colours)
    }
    if (offset != null) {
      line(offset, {dash: [6, 3], colour: colours.offset, thick: thick("offset"), words: `${focused ? "offset" : "off"}${number}`, side: "right",
        low: true})
    }
  }
  const written = []
  for (const label of labels.sort((a, b) => b.held - a.held)) {
    if (written.some((one) => one.low === label.low && label.left < one.left + one.wide + 2 && one.left < label.left + label.wide + 2)) continue
    written.push(label)
    plate(ctx, label.words, label.left, label.low ? band.top + band.height - 6 : band.top + px_font + 1, colours, "left", label.colour)
  }
}

/** How far the onset may lie to either side, by the reviewer's own word: a thin bar with ends, and its words. */
function draw_whisker(ctx, x, half, y, words, px_font, colours) {
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 1.4
  ctx.beginPath()
  ctx.moveTo(x - half, y)
  ctx.lineTo(x + half, y)
  for (const end of [x - half, x + half]) {
    ctx.moveTo(end, y - 3)
    ctx.lineTo(end, y + 3)
  }
  ctx.stroke()
  plate(ctx, words, x + Math.max(half, 2) + 5, y + 0.4 * px_font, colours, "left", colours.onset)
}
