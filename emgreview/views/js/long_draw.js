// Painting of a stretch of a long recording: outlines in columns of pixels, markers with words, marks. Pure drawing.

const TRACE_COLOURS = {raw: "auxiliary", "band-passed": "raw", rectified: "faint", envelope: "envelope"}

/** The strip above the channels for the words of markers, in two lines where letters are large; and the least height of
 * a channel, whose label has two lines. */
const head_lines = (font_px) => (font_px > 15 ? 2 : 1)
const head_px = (font_px) => head_lines(font_px) * (Math.round(font_px) + 4) + 3
const least_row_px = (font_px) => Math.ceil(3 * font_px)

/** Vertical layout: one row a channel under the strip for words; auxiliary ones are lower. Returns [{row, top, height}]. */
function lay_rows(channels, height, font_px) {
  let top = head_px(font_px)
  const free = height - top
  const lower = channels.filter((channel) => channel.auxiliary).length
  const full = channels.length - lower
  const least = Math.min(least_row_px(font_px), free / channels.length)
  const low = full ? Math.max(least, (0.7 * free) / (full + 0.7 * lower)) : free / lower
  const high = full ? (free - lower * low) / full : 0
  return channels.map((channel, row) => {
    const band = {row, top, height: channel.auxiliary ? low : high}
    top += band.height
    return band
  })
}

/** How values become heights: y = zero + value × rise, in CSS pixels; and what one band shows, in the channel's unit. */
function heights(channel, {kind, gain}, band) {
  const middle_y = band.top + band.height / 2
  if (channel.auxiliary) {
    const [low, high] = channel.limits
    const half = ((high - low) / 2 || 0.5) / gain
    const rise = -(band.height / 2 - 4) / half
    return {zero: middle_y - ((low + high) / 2) * rise, rise, shown: 2 * half}
  }
  const full = channel.kinds[kind] / gain
  if (kind === "rectified" || kind === "envelope") {
    const rise = -(band.height - 6) / full
    return {zero: band.top + band.height - 3, rise, shown: full}
  }
  const rise = -(band.height / 2 - 2) / full
  return {zero: middle_y - (kind === "raw" ? channel.middle : 0) * rise, rise, shown: 2 * full}
}

/** A round value whose bar is at most 0.7 of a band high, and the bar's length in pixels. */
function scale_bar(to, band) {
  const value = round_bar((0.7 * (band.height - 6)) / -to.rise)
  return {value, long: value * -to.rise}
}

/** "#rrggbb" as one pixel of an ImageData seen as 32-bit words (little endian). */
function pixel_of(hex) {
  const [r, g, b] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16))
  return (0xff000000 | (b << 16) | (g << 8) | r) >>> 0
}

/** One trace by the extremes of every column of pixels, each column joined to the one before. */
function paint_columns(paper, trace, have, s0, s1, band, to, colour, thick) {
  const {words, width, ratio} = paper
  const {low, high} = trace
  const per = (s1 - s0) / width
  const first = Math.round(band.top * ratio) + 1
  const last = Math.round((band.top + band.height) * ratio) - 2
  const zero = (to.zero + trace.offset * to.rise) * ratio
  const rise = trace.scale * to.rise * ratio
  const more = (thick * ratio - 1) / 2
  let above = NaN
  let below = NaN
  for (let x = 0; x < width; x++) {
    let i = Math.floor((s0 + x * per - have.start) / have.width)
    let end = Math.ceil((s0 + (x + 1) * per - have.start) / have.width) - 1
    if (end < i) end = i
    if (i < 0) i = 0
    if (end >= low.length) end = low.length - 1
    let least = 32767
    let most = MISSING
    for (; i <= end; i++) {
      if (low[i] === MISSING) continue
      if (low[i] < least) least = low[i]
      if (high[i] > most) most = high[i]
    }
    if (most === MISSING) {
      above = below = NaN
      continue
    }
    const top = zero + rise * most
    const bottom = zero + rise * least
    let from = Math.round((top > below ? below : top) - more)
    let until = Math.round((bottom < above ? above : bottom) + more)
    above = top
    below = bottom
    if (from < first) from = first
    else if (from > last) from = last
    if (until > last) until = last
    else if (until < first) until = first
    for (let at = from * width + x; from <= until; from++, at += width) words[at] = colour
  }
}

/** One trace through its samples, where there are fewer of them than pixels. */
function stroke_samples(ctx, trace, have, s0, s1, band, to, colour, thick, width) {
  const first = Math.max(0, Math.floor(s0 - have.start) - 1)
  const last = Math.min(trace.low.length - 1, Math.ceil(s1 - have.start) + 1)
  ctx.save()
  ctx.beginPath()
  ctx.rect(0, band.top + 1, width, band.height - 2)
  ctx.clip()
  ctx.beginPath()
  let pen = false
  for (let i = first; i <= last; i++) {
    if (trace.low[i] === MISSING) { pen = false; continue }
    const x = ((have.start + i - s0) / (s1 - s0)) * width
    const y = to.zero + (trace.low[i] * trace.scale + trace.offset) * to.rise
    if (pen) ctx.lineTo(x, y)
    else ctx.moveTo(x, y)
    pen = true
  }
  ctx.strokeStyle = colour
  ctx.lineWidth = thick
  ctx.lineJoin = "round"
  ctx.stroke()
  ctx.restore()
}

/** Stretches of samples that are missing in the file, in pixels. */
function missing_stretches(trace, have, s0, s1, width) {
  if (!trace.gaps) return []
  const per = (s1 - s0) / width
  const found = []
  for (let x = 0; x < width; x++) {
    const i = Math.floor((s0 + (x + 0.5) * per - have.start) / have.width)
    if (i < 0 || i >= trace.low.length || trace.low[i] !== MISSING) continue
    if (have.unread.some(([a, b]) => have.start + i * have.width >= a && have.start + i * have.width < b)) continue
    if (found.length && found.at(-1)[1] === x) found.at(-1)[1] = x + 1
    else found.push([x, x + 1])
  }
  return found
}

/** The traces. `scene` is documented where it is made (long.js). Returns what is not there: {loading, reading}. */
function draw_outlines(ctx, paper, scene, width, height) {
  const {setup, have, range, theme, focus, font_px, rows} = scene
  const colours = PALETTES[theme]
  const [s0, s1] = range.map((s) => s * setup.rate_hz)
  const px = (sample) => ((sample - s0) / (s1 - s0)) * width
  const bands = lay_rows(setup.channels, height, font_px)
  const by_sample = have?.width === 1 && (s1 - s0) / width / paper.ratio < 1
  const shown = (row) => have?.traces.get(row)?.kind === rows[row].kind

  paper.words.fill(0)
  if (have && !by_sample) {
    for (const band of bands) {
      if (!shown(band.row)) continue
      const channel = setup.channels[band.row]
      const kind = channel.auxiliary ? "auxiliary" : TRACE_COLOURS[rows[band.row].kind]
      const thick = rows[band.row].kind === "envelope" ? 1.6 : 1
      paint_columns(paper, have.traces.get(band.row), have, s0, s1, band, heights(channel, rows[band.row], band),
        pixel_of(colours[kind]), thick)
    }
  }
  ctx.putImageData(paper.image, 0, 0)
  if (have && by_sample) {
    for (const band of bands) {
      if (!shown(band.row)) continue
      const channel = setup.channels[band.row]
      const kind = channel.auxiliary ? "auxiliary" : TRACE_COLOURS[rows[band.row].kind]
      stroke_samples(ctx, have.traces.get(band.row), have, s0, s1, band, heights(channel, rows[band.row], band),
        colours[kind], rows[band.row].kind === "envelope" ? 1.8 : 1.2, width)
    }
  }

  ctx.font = `${font_px}px system-ui, sans-serif`
  ctx.lineWidth = 1
  ctx.strokeStyle = colours.grid
  ctx.beginPath()
  for (const band of bands) {
    ctx.moveTo(0, Math.round(band.top) - 0.5)
    ctx.lineTo(width, Math.round(band.top) - 0.5)
  }
  ctx.stroke()
  const here = bands[focus]
  ctx.fillStyle = colours.here
  ctx.fillRect(0, here.top, width, here.height)

  for (const band of bands) {
    if (!have) break
    if (!shown(band.row)) {
      plate(ctx, `loading ${rows[band.row].kind} …`, width / 2, band.top + band.height / 2 + 4, colours, "center", colours.faint)
      continue
    }
    for (const [a, b] of missing_stretches(have.traces.get(band.row), have, s0, s1, width)) {
      ctx.fillStyle = colours.away
      ctx.fillRect(a, band.top + 1, b - a, band.height - 2)
      if (b - a > 6 * font_px) plate(ctx, "missing", (a + b) / 2, band.top + band.height / 2 + 4, colours, "center", colours.faint)
    }
  }

  const edge = [Math.max(0, px(0)), Math.min(width, px(setup.n_samples))]
  const known = have ? [px(have.start), px(have.stop)] : [edge[1], edge[1]]
  const absent = [[edge[0], Math.min(known[0], edge[1])], [Math.max(known[1], edge[0]), edge[1]]]
  if (!have) absent.pop()
  const loading = blank(ctx, absent, "loading …", scene, width, height)
  const reading = blank(ctx, (have?.unread ?? []).map((gap) => gap.map(px)), `reading the file, ${scene.share} % …`,
    scene, width, height)
  return {loading: loading || !bands.every((band) => shown(band.row)), reading}
}

/** Say what is not there yet; true if anything of it is in view. */
function blank(ctx, stretches, words, {theme, font_px}, width, height) {
  const colours = PALETTES[theme]
  const head = head_px(font_px)
  let any = false
  for (const [a, b] of stretches.map(([from, to]) => [Math.max(0, from), Math.min(width, to)])) {
    if (b - a < 0.5) continue
    any = true
    ctx.fillStyle = colours.away
    ctx.fillRect(a, head, b - a, height - head)
    if (b - a > ctx.measureText(words).width + 8) plate(ctx, words, (a + b) / 2, height / 2, colours, "center")
  }
  return any
}

/** Bars of scale, markers, the cursor, and where the pointer is: over the traces. `feet` are words for the foot of the
 * picture, beside their lines: {x, words, ink}; they make way for each other. */
function draw_over(ctx, scene, feet, width, height) {
  const {setup, rows, range, theme, cursor_s, hover_s, font_px} = scene
  const colours = PALETTES[theme]
  const [x0, x1] = range
  const px = (s) => ((s - x0) / (x1 - x0)) * width
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 2
  ctx.beginPath()
  for (const band of lay_rows(setup.channels, height, font_px)) {
    const {long} = scale_bar(heights(setup.channels[band.row], rows[band.row], band), band)
    const bottom = band.top + band.height / 2 + long / 2
    ctx.moveTo(4, bottom)
    ctx.lineTo(4, bottom - long)
  }
  ctx.stroke()
  draw_markers(ctx, scene, px, width, height, colours)
  const upright = (s, words, dash) => {
    if (s == null || s < x0 || s > x1) return
    const x = Math.round(px(s)) + 0.5
    ctx.strokeStyle = colours.faint
    ctx.lineWidth = 1
    ctx.setLineDash(dash)
    ctx.beginPath()
    ctx.moveTo(x, head_px(font_px))
    ctx.lineTo(x, height)
    ctx.stroke()
    ctx.setLineDash([])
    feet.push({x, words, ink: colours.ink})
  }
  upright(cursor_s, `cursor ${cursor_s.toFixed(3)} s`, [])
  upright(hover_s, `${hover_s?.toFixed(3)} s`, [1, 2])
  const lines = [] // right ends of the words so far, by lines from the foot
  for (const {x, words, ink} of feet.sort((a, b) => a.x - b.x)) {
    const wide = ctx.measureText(words).width
    const left = Math.min(x + 4, width - wide - 3)
    let line = lines.findIndex((end) => end < left - 4)
    if (line < 0) line = lines.length
    lines[line] = left + wide
    plate(ctx, words, left, height - 5 - line * (font_px + 5), colours, "left", ink)
  }
}

/** As much of a word as fits, with a sign where it was cut; "" where that is hardly any. */
function cut_to(ctx, words, room) {
  if (ctx.measureText(words).width <= room) return words
  for (let n = words.length - 1; n >= 2; n--) {
    const cut = `${words.slice(0, n)}…`
    if (ctx.measureText(cut).width <= room) return cut
  }
  return ""
}

/** Lines at all markers, with words where there is room; ticks and their number where lines would hide the traces. */
function draw_markers(ctx, scene, px, width, height, colours) {
  const {setup: {markers}, range: [x0, x1], font_px} = scene
  const head = head_px(font_px)
  const first = lower_bound(markers, x0)
  const last = lower_bound(markers, x1)
  const dense = last - first > width / 12
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 1
  ctx.beginPath()
  for (let i = first; i < last; i++) {
    const x = Math.round(px(markers[i][0])) + 0.5
    ctx.moveTo(x, dense ? head - 5 : 0)
    ctx.lineTo(x, dense ? head - 1 : height)
  }
  if (!dense) ctx.setLineDash([6, 3])
  ctx.stroke()
  ctx.setLineDash([])
  if (dense) return plate(ctx, `${last - first} markers in view`, width - 4, font_px, colours, "right", colours.faint)
  const ends = Array(head_lines(font_px)).fill(-Infinity)
  for (let i = first; i < last; i++) {
    const x = px(markers[i][0])
    const line = ends.findIndex((end) => end < x)
    const words = line < 0 ? "" : cut_to(ctx, markers[i][1], width - x - 6)
    if (!words) continue
    plate(ctx, words, x + 3, line * (font_px + 4) + font_px + 2, colours)
    ends[line] = x + ctx.measureText(words).width + 10
  }
}

/** Index of the first marker at or after a time. */
function lower_bound(markers, s) {
  let [a, b] = [0, markers.length]
  while (a < b) {
    const middle = (a + b) >> 1
    if (markers[middle][0] < s) a = middle + 1
    else b = middle
  }
  return a
}

/** The whole recording in one strip: the channel in hand, markers, where one is. */
function draw_ribbon(ctx, scene, ribbon, width, height) {
  const {setup, focus, range, theme, font_px} = scene
  const colours = PALETTES[theme]
  const px = (s) => (s / setup.duration_s) * width
  const tall = height - 24
  ctx.clearRect(0, 0, width, height)
  ctx.fillStyle = colours.band
  ctx.fillRect(0, 0, width, tall)
  const trace = ribbon?.traces.get(focus)
  if (trace) {
    ctx.fillStyle = colours.raw
    let [least, most] = [Infinity, -Infinity]
    for (let i = 0; i < trace.low.length; i++) {
      if (trace.low[i] === MISSING) continue
      least = Math.min(least, trace.low[i])
      most = Math.max(most, trace.high[i])
    }
    const rise = (tall - 4) / (most - least || 1)
    const step = px(ribbon.width / setup.rate_hz)
    for (let i = 0; i < trace.low.length; i++) {
      if (trace.low[i] === MISSING) continue
      const top = 2 + (most - trace.high[i]) * rise
      ctx.fillRect(i * step, top, Math.max(step, 0.6), Math.max(1, (trace.high[i] - trace.low[i]) * rise))
    }
  }
  if (scene.share < 100) plate(ctx, `reading the file, ${scene.share} %`, width - 6, font_px + 2, colours, "right", colours.faint)
  ctx.fillStyle = colours.ink
  let before = -2
  for (const [s] of setup.markers) {
    const x = px(s)
    if (x - before < 1) continue
    ctx.fillRect(x, tall + 2, 1, 7)
    before = x
  }
  const [a, b] = range.map(px)
  ctx.strokeStyle = colours.accent
  ctx.fillStyle = `${colours.accent}2a`
  ctx.lineWidth = 2
  ctx.fillRect(a, 1, Math.max(4, b - a), height - 2)
  ctx.strokeRect(a, 1, Math.max(4, b - a), height - 2)
}
