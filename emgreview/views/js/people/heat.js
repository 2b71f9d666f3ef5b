// @ts-check
// All trials of somebody in time, one row a trial, the envelope as colour. Rows are never blended.

import {MISSING} from "../shared/pack.js"
import {hatch, width_of} from "../shared/paint.js"
import {dot, draw_axes, inside, line, plain} from "./axes.js"

/** @import {Box, Paint} from "./types.js" */

const STEPS = 256

/** From nothing to most, lighter or darker in even steps, so that no hue is needed to read them: by theme. Those of all
 * else are in palette.js.
 * @type {Record<string, string[]>} */
export const HEATS = {
  light: ["#ffffff", "#9cc7e6", "#2f7fc1", "#0a3f75", "#02142b"],
  dark: ["#16181c", "#173a5c", "#2f6ea6", "#7db8f0", "#f2f9ff"],
}

/** Colours from nothing to most, as 0xAABBGGRR.
 * @param {string[]} stops  #rrggbb, evenly spaced */
export function ramp(stops) {
  const parts = stops.map((stop) => [1, 3, 5].map((at) => parseInt(stop.slice(at, at + 2), 16)))
  return Uint32Array.from({length: STEPS}, (_, i) => {
    const at = (i / (STEPS - 1)) * (parts.length - 1)
    const k = Math.min(parts.length - 2, Math.floor(at))
    const [r, g, b] = parts[k].map((from, c) => Math.round(from + (at - k) * (parts[k + 1][c] - from)))
    return (255 << 24) | (b << 16) | (g << 8) | r
  })
}

/** The place in a ramp of a value; its last from the limit on.
 * @param {number} value @param {number} limit */
export const step_of = (value, limit) => Math.max(0, Math.min(STEPS - 1, Math.round((value / limit) * (STEPS - 1))))

/** Places of the first trial of each run but the first.
 * @param {number[]} run */
export const run_starts = (run) => run.flatMap((one, i) => (i && one !== run[i - 1] ? [i] : []))

/** @type {Paint} */
export function draw_heat(ctx, size, {setup, colours, heat, font_px, trial, named, data, unit}) {
  const {n, envelope, response, run} = data
  const [start, stop] = setup.span_s
  const limit = data.heat_limit ?? 1
  const key_px = 1.7 * font_px
  const {box, px} = draw_axes(
    ctx,
    size,
    {
      x: {low: start, high: stop, words: `time from ${setup.cue} (s)`},
      y: {low: n + 0.5, high: 0.5, words: "trial", ticks: trial_ticks(n), said: (v) => String(v)},
    },
    colours,
    font_px,
    {top: key_px},
  )
  const high = box.height / n
  const wide = setup.bins
  const image = new ImageData(wide, n)
  const pixels = new Uint32Array(image.data.buffer)
  const shades = ramp(heat)
  let missing = 0
  for (let i = 0; i < pixels.length; i++) {
    const sample = envelope.samples[i]
    if (sample === MISSING) missing += 1
    else pixels[i] = shades[step_of(sample * envelope.scale, limit)]
  }
  if (missing) {
    hatch(ctx, {left: box.left, right: box.left + box.width, top: box.top, height: box.height}, colours.faint)
  }
  const paper = new OffscreenCanvas(wide, n)
  paper.getContext("2d")?.putImageData(image, 0, 0)
  ctx.imageSmoothingEnabled = false
  ctx.drawImage(paper, box.left, box.top, box.width, box.height)
  const y = (/** @type {number} */ i) => box.top + (i + 0.5) * high
  inside(ctx, box, () => {
    ctx.strokeStyle = colours.onset
    ctx.lineWidth = 1.5
    line(ctx, px(0), box.top, px(0), box.top + box.height)
    ctx.strokeStyle = colours.ink
    ctx.setLineDash([5, 3])
    for (const at of run_starts(run)) {
      line(ctx, box.left, box.top + at * high, box.left + box.width, box.top + at * high)
    }
    ctx.setLineDash([])
    const radius = Math.max(1.4, Math.min(3, high / 2))
    for (let i = 0; i < n; i++) {
      if (!Number.isFinite(response[i])) continue
      dot(ctx, px(response[i]), y(i), radius + 1, colours.ground)
      dot(ctx, px(response[i]), y(i), radius, colours.onset)
    }
  })
  ctx.strokeStyle = colours.faint
  ctx.lineWidth = 1
  ctx.strokeRect(box.left + 0.5, box.top + 0.5, box.width, box.height)
  ctx.fillStyle = colours.ink
  for (const i of named) {
    ctx.beginPath()
    for (const [dx, dy] of [[1, 0], [6, -3.5], [6, 3.5]]) ctx.lineTo(box.left + box.width + dx, y(i) + dy)
    ctx.fill()
  }
  if (trial !== null) frame_row(ctx, box, y(trial), Math.max(4, high), colours.onset)
  const most = `${plain(Number(limit.toPrecision(2)))} ${unit} and more`
  draw_key(ctx, box, `0`, most, shades, font_px, colours.ink)
  return {
    find: (x, at) => row_at(x, at, box, high, n),
    words:
      `Envelope of all ${n} trials in order of time, one row each, without smoothing across trials; the last colour ` +
      `stands for ${most} (${setup.bright} % of values lie below); the line is the cue, dots are responses` +
      (run_starts(run).length ? ", broken lines part runs" : "") +
      (named.length ? `; ${named.length} trials that a flag names have a ◂ at their end.` : "."),
  }
}

/** @param {number} n */
export function trial_ticks(n) {
  const step = [1, 2, 5, 10, 20, 50, 100, 200].find((one) => n / one <= 6) ?? 500
  return [1, ...Array.from({length: Math.floor(n / step)}, (_, k) => (k + 1) * step).filter((v) => v > 1)]
}

/** The row of a box that lies at a place.
 * @param {number} x @param {number} y @param {Box} box @param {number} high @param {number} n
 * @param {(row: number) => number} trial  in that row */
export function row_at(x, y, box, high, n, trial = (row) => row) {
  const row = Math.floor((y - box.top) / high)
  return x >= box.left && x <= box.left + box.width && row >= 0 && row < n ? {trial: trial(row)} : null
}

/** @param {CanvasRenderingContext2D} ctx @param {Box} box @param {number} y @param {number} high @param {string} colour */
export function frame_row(ctx, box, y, high, colour) {
  ctx.strokeStyle = colour
  ctx.lineWidth = 2
  ctx.strokeRect(box.left - 1, y - high / 2 - 1, box.width + 2, high + 2)
  ctx.lineWidth = 1
}

/** What the colours mean, above the box.
 * @param {CanvasRenderingContext2D} ctx @param {Box} box @param {string} none @param {string} most
 * @param {Uint32Array} shades @param {number} font_px @param {string} ink */
function draw_key(ctx, box, none, most, shades, font_px, ink) {
  const wide = Math.min(80, box.width / 3)
  const words = width_of(ctx, most)
  const right = box.left + box.width - words - 4
  const y = box.top - 1.2 * font_px
  for (let i = 0; i < wide; i++) {
    const shade = shades[Math.round((i / (wide - 1)) * (STEPS - 1))]
    ctx.fillStyle = `rgb(${shade & 255},${(shade >> 8) & 255},${(shade >> 16) & 255})`
    ctx.fillRect(right - wide + i, y - 0.35 * font_px, 1.5, 0.7 * font_px)
  }
  ctx.strokeStyle = ctx.fillStyle = ink
  ctx.strokeRect(right - wide - 0.5, y - 0.35 * font_px - 0.5, wide + 1, 0.7 * font_px + 1)
  ctx.textBaseline = "middle"
  ctx.fillText(most, right + 4, y)
  ctx.fillText(none, right - wide - 4 - width_of(ctx, none), y)
  ctx.textBaseline = "alphabetic"
}
