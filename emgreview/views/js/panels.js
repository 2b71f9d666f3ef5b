// Small pictures beside the trial: overview of one channel over all trials, spectrum, smear of the envelope; and sound.

const row_px = (font_px) => Math.round((12 / 11) * font_px)

const minus_width = (interval) => interval && interval[0] - interval[1]

/** Orders of the overview: words, what a trial is sorted by (missing values last), whether a blind review has it. */
const SORTS = [
  ["order of the review", (summary, row, index) => index, true],
  ["time of recording", (summary) => summary[3] && summary[3][0] * 1e12 + summary[3][1]],
  ["response", (summary) => summary[1]],
  ["onset", (summary, row) => summary[2][row][0], true],
  ["certainty, least first", (summary, row) => minus_width(summary[2][row][2]), true],
]

/** The next order of the overview. */
function next_sort(sort, blind) {
  const next = (sort + 1) % SORTS.length
  return blind && !SORTS[next][2] ? next_sort(next, blind) : next
}

function overview_order(summaries, row, sort) {
  const key = SORTS[sort][1]
  const value = summaries.map((summary, index) => key(summary, row, index))
  return summaries.map((_, index) => index).sort((a, b) => (value[a] ?? Infinity) - (value[b] ?? Infinity) || a - b)
}

/** All trials of a channel, one row each: onset to offset as a bar, response as a broken tick, state as its sign. */
function draw_overview(canvas, {summaries, order, row, index, range, theme, font_px}) {
  const colours = PALETTES[theme]
  const ratio = window.devicePixelRatio || 1
  const width = canvas.clientWidth
  const height = canvas.clientHeight
  if (width < 20 || height < 20) return
  Object.assign(canvas, {width: width * ratio, height: height * ratio})
  const ctx = canvas.getContext("2d")
  ctx.scale(ratio, ratio)
  ctx.fillStyle = colours.ground
  ctx.fillRect(0, 0, width, height)
  const at = order.indexOf(index)
  const high = row_px(font_px)
  const shown = Math.floor(height / high)
  const first = Math.max(0, Math.min(order.length - shown, at - Math.floor(shown / 2)))
  const left = 1.45 * font_px
  const x = (s) => left + ((s - range[0]) / (range[1] - range[0])) * (width - left - 4)
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 1
  ctx.beginPath()
  ctx.moveTo(x(0), 0)
  ctx.lineTo(x(0), height)
  ctx.stroke()
  ctx.font = `${font_px}px system-ui, sans-serif`
  ctx.textBaseline = "middle"
  for (let k = 0; k < shown && first + k < order.length; k++) {
    const i = order[first + k]
    const [, response, channels] = summaries[i]
    const [onset, offset, interval, sign] = channels[row] // the automatic 90 % interval, from low to high
    const y = k * high + high / 2
    if (i === index) {
      ctx.fillStyle = colours.band
      ctx.fillRect(0, y - high / 2, width, high)
      ctx.strokeStyle = colours.envelope
      ctx.strokeRect(0.5, y - high / 2 + 0.5, width - 1, high - 1)
    }
    ctx.fillStyle = colours.ink
    ctx.fillText(sign, 3, y + 0.5)
    if (onset != null) {
      ctx.strokeStyle = colours.rectified
      ctx.lineWidth = 1
      ctx.beginPath()
      ctx.moveTo(x(onset), y)
      ctx.lineTo(x(offset ?? onset), y)
      ctx.stroke()
      ctx.fillStyle = colours.onset
      ctx.fillRect(x(onset) - 1, y - 2.5, 2, 5)
      if (interval && interval[1] - interval[0] > 0.02) {
        ctx.strokeStyle = colours.onset
        ctx.beginPath()
        ctx.moveTo(x(interval[0]), y)
        ctx.lineTo(x(interval[1]), y)
        ctx.stroke()
      }
    }
    if (response != null) {
      ctx.fillStyle = colours.ink
      ctx.fillRect(x(response) - 0.5, y - 3, 1, 2)
      ctx.fillRect(x(response) - 0.5, y + 1, 1, 2)
    }
  }
  Object.assign(canvas, {first_row: first, row_px: high})
}

/** Which trial an overview's pixel belongs to. */
function overview_hit(canvas, order, y) {
  return order[(canvas.first_row ?? 0) + Math.floor(y / canvas.row_px)]
}

/** Power density of burst and rest in dB, on one frequency axis in Hz. */
function draw_spectrum(canvas, {frequency_hz, burst, rest, unit}, theme, font_px) {
  const colours = PALETTES[theme]
  const ratio = window.devicePixelRatio || 1
  const [width, height] = [canvas.clientWidth, canvas.clientHeight]
  Object.assign(canvas, {width: width * ratio, height: height * ratio})
  const ctx = canvas.getContext("2d")
  ctx.scale(ratio, ratio)
  ctx.fillStyle = colours.ground
  ctx.fillRect(0, 0, width, height)
  const top_hz = Math.min(500, frequency_hz.at(-1))
  const db = (values) => values.map((value) => 10 * Math.log10(Math.max(value, 1e-12)))
  const [b, r] = [db(burst), db(rest)]
  const seen = [...b, ...r].filter((_, i) => frequency_hz[i % frequency_hz.length] <= top_hz)
  const high = Math.max(...seen) + 3
  const low = Math.max(Math.min(...seen), high - 60)
  const [left, top, bottom] = [3.1 * font_px, 1.3 * font_px, height - 2.4 * font_px]
  const x = (hz) => left + (hz / top_hz) * (width - left - 1.2 * font_px)
  const y = (value) => top + ((high - value) / (high - low)) * (bottom - top)
  ctx.font = `${(10 / 11) * font_px}px system-ui, sans-serif`
  ctx.fillStyle = colours.ink
  ctx.strokeStyle = colours.grid
  ctx.textAlign = "center"
  let written = -Infinity
  for (const hz of [50, 100, 200, 300, 400, 500].filter((f) => f <= top_hz)) {
    ctx.beginPath()
    ctx.moveTo(x(hz), top)
    ctx.lineTo(x(hz), bottom)
    ctx.stroke()
    if (x(hz) - written < 2 * font_px) continue
    ctx.fillText(String(hz), x(hz), height - 1.3 * font_px)
    written = x(hz)
  }
  ctx.textAlign = "right"
  ctx.fillText("frequency (Hz)", width - 4, height - 3)
  ctx.textAlign = "left"
  ctx.fillText(`dB re 1 ${unit}`, 2, 0.9 * font_px)
  const step = high - low > 45 ? 20 : 10
  for (let value = step * Math.ceil(low / step); value < high; value += step) {
    ctx.beginPath()
    ctx.moveTo(left, y(value))
    ctx.lineTo(width - 1.2 * font_px, y(value))
    ctx.stroke()
    if (y(value) > top + 0.4 * font_px) ctx.fillText(String(value).replace("-", "−"), 6, y(value) + 3) // clear of the unit
  }
  const line = (values, colour, dash, words, at) => {
    ctx.strokeStyle = ctx.fillStyle = colour
    ctx.lineWidth = 1.6
    ctx.setLineDash(dash)
    ctx.beginPath()
    frequency_hz.forEach((hz, i) => {
      if (hz <= top_hz) ctx.lineTo(x(hz), Math.min(y(values[i]), bottom))
    })
    ctx.stroke()
    ctx.setLineDash([])
    ctx.fillText(words, at, top + 0.9 * font_px)
  }
  const [one, two] = ["— burst", "- - rest"]
  const right = width - ctx.measureText(two).width - 6
  line(b, colours.envelope, [], one, right - ctx.measureText(`${one}  `).width)
  line(r, colours.faint, [4, 3], two, right)
}

const look_font = (ctx) => parseFloat(ctx.font.replace("bold ", ""))

/** The envelope of a step that happens at the cursor, drawn in one band: what the filter smears, in ms. */
function draw_smear(ctx, smear, cursor_s, band, px, colours, timed) {
  const bottom = band.top + band.height - 4
  const y = (value) => bottom - value * band.height * 0.5
  ctx.strokeStyle = colours.envelope
  ctx.lineWidth = 1.6
  ctx.setLineDash([3, 2])
  ctx.beginPath()
  smear.time_s.forEach((s, i) => ctx.lineTo(px(cursor_s + s), y(smear.value[i])))
  ctx.stroke()
  ctx.setLineDash([])
  const begins_ms = Math.round(smear.time_s[smear.value.findIndex((value) => value > 0.05)] * 1000)
  const words = "envelope of a step here: begins " + (timed ? `${Math.abs(begins_ms)} ms ` : "") + (begins_ms < 0 ? "early" : "late")
  plate(ctx, words, Math.max(px(cursor_s) - 6, ctx.measureText(words).width + 6), band.top + 2 * look_font(ctx) + 5, colours, "right", colours.envelope)
}

/** Plays one stretch, once, at the level Python has limited it to; nothing ever plays by itself. */
function make_player() {
  let context = null
  return {
    play({samples, scale, rate_hz}) {
      if (!samples.length) return {seconds: 0, state: "nothing"}
      context ??= new AudioContext()
      context.resume()
      const buffer = context.createBuffer(1, samples.length, rate_hz)
      buffer.getChannelData(0).set(Float32Array.from(samples, (v) => v * scale))
      const source = context.createBufferSource()
      source.buffer = buffer
      source.connect(context.destination)
      source.start()
      return {seconds: samples.length / rate_hz, state: context.state}
    },
    close: () => context?.close(),
  }
}
