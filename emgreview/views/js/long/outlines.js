// @ts-check
// Painting of the traces of a long recording, in columns of pixels or sample by sample. Pure drawing.

import {MISSING} from "../shared/pack.js"
import {plate} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"
import {head_px, heights, lay_rows} from "./bands.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Band, Span} from "../types.js" */
/** @import {Outline, Paper, Scene, Stretch} from "./types.js" */

/** @typedef {{zero: number, rise: number}} Heights */

/** @type {Record<string, keyof Palette>} */
const TRACE_COLOURS = {raw: "auxiliary", "band-passed": "raw", rectified: "faint", envelope: "envelope"}

/** "#rrggbb" as one pixel of an ImageData seen as 32-bit words (little endian).
 * @param {string} hex */
function pixel_of(hex) {
  const [r, g, b] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16))
  return (0xff000000 | (b << 16) | (g << 8) | r) >>> 0
}

/**
 * One trace by the extremes of every column of pixels, each column joined to the one before.
 * @param {Paper} paper
 * @param {Outline} trace
 * @param {Stretch} have
 * @param {number} s0
 * @param {number} s1
 * @param {Band} band
 * @param {Heights} to
 * @param {number} colour
 * @param {number} thick
 */
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

/**
 * One trace through its samples, where there are fewer of them than pixels.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Outline} trace
 * @param {Stretch} have
 * @param {number} s0
 * @param {number} s1
 * @param {Band} band
 * @param {Heights} to
 * @param {string} colour
 * @param {number} thick
 * @param {number} width
 */
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
    if (trace.low[i] === MISSING) {
      pen = false
      continue
    }
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

/**
 * Stretches of samples that are missing in the file, in pixels.
 * @param {Outline} trace
 * @param {Stretch} have
 * @param {number} s0
 * @param {number} s1
 * @param {number} width
 * @returns {Span[]}
 */
function missing_stretches(trace, have, s0, s1, width) {
  if (!trace.gaps) return []
  const per = (s1 - s0) / width
  /** @type {Span[]} */
  const found = []
  for (let x = 0; x < width; x++) {
    const i = Math.floor((s0 + (x + 0.5) * per - have.start) / have.width)
    if (i < 0 || i >= trace.low.length || trace.low[i] !== MISSING) continue
    if (have.unread.some(([a, b]) => have.start + i * have.width >= a && have.start + i * have.width < b)) continue
    const last = found.at(-1)
    if (last && last[1] === x) last[1] = x + 1
    else found.push([x, x + 1])
  }
  return found
}

/**
 * The traces. Returns what is not there: {loading, reading}.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Paper} paper
 * @param {Scene} scene
 * @param {number} width
 * @param {number} height
 */
export function draw_outlines(ctx, paper, scene, width, height) {
  const {setup, have, range, theme, focus, font_px, rows} = scene
  const colours = PALETTES[theme]
  const [s0, s1] = range.map((s) => s * setup.rate_hz)
  const px = (/** @type {number} */ sample) => ((sample - s0) / (s1 - s0)) * width
  const bands = lay_rows(setup.channels, height, font_px)
  const by_sample = have?.width === 1 && (s1 - s0) / width / paper.ratio < 1
  /** The trace of a band, as it is to be shown, if it is here.
   * @param {Band} band */
  const shown = ({row}) => {
    const trace = have?.traces.get(row)
    return trace?.kind === rows[row].kind ? trace : null
  }
  /** @param {Band} band */
  const colour_of = ({row}) => colours[setup.channels[row].auxiliary ? "auxiliary" : TRACE_COLOURS[rows[row].kind]]
  /** @param {Band} band */
  const heights_of = (band) => heights(setup.channels[band.row], rows[band.row], band)

  paper.words.fill(0)
  if (have && !by_sample) {
    for (const band of bands) {
      const trace = shown(band)
      const thick = rows[band.row].kind === "envelope" ? 1.6 : 1
      if (trace) paint_columns(paper, trace, have, s0, s1, band, heights_of(band), pixel_of(colour_of(band)), thick)
    }
  }
  ctx.putImageData(paper.image, 0, 0)
  if (have && by_sample) {
    for (const band of bands) {
      const trace = shown(band)
      const thick = rows[band.row].kind === "envelope" ? 1.8 : 1.2
      if (trace) stroke_samples(ctx, trace, have, s0, s1, band, heights_of(band), colour_of(band), thick, width)
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
    const trace = shown(band)
    if (!trace) {
      plate(
        ctx,
        `loading ${rows[band.row].kind} …`,
        width / 2,
        band.top + band.height / 2 + 4,
        colours,
        "center",
        colours.faint,
      )
      continue
    }
    for (const [a, b] of missing_stretches(trace, have, s0, s1, width)) {
      ctx.fillStyle = colours.away
      ctx.fillRect(a, band.top + 1, b - a, band.height - 2)
      if (b - a > 6 * font_px) {
        plate(ctx, "missing", (a + b) / 2, band.top + band.height / 2 + 4, colours, "center", colours.faint)
      }
    }
  }

  const edge = [Math.max(0, px(0)), Math.min(width, px(setup.n_samples))]
  const known = have ? [px(have.start), px(have.stop)] : [edge[1], edge[1]]
  /** @type {Span[]} */
  const absent = [[edge[0], Math.min(known[0], edge[1])], [Math.max(known[1], edge[0]), edge[1]]]
  if (!have) absent.pop()
  const loading = blank(ctx, absent, "loading …", scene, width, height)
  const reading = blank(
    ctx,
    (have?.unread ?? []).map(([a, b]) => [px(a), px(b)]),
    `reading the file, ${scene.share} % …`,
    scene,
    width,
    height,
  )
  return {loading: loading || !bands.every(shown), reading}
}

/**
 * Say what is not there yet; true if anything of it is in view.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Span[]} stretches
 * @param {string} words
 * @param {Scene} scene
 * @param {number} width
 * @param {number} height
 */
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
