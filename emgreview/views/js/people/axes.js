// @ts-check
// Axes of small pictures: round ticks, a box that leaves room for words, and what lies nearest to a point.

import {width_of} from "../shared/paint.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Axis, Box, Hit} from "./types.js" */

/** Round numbers from low to high, at most so many or twice as many, two at least: steps of 1, 2 or 5 times a power of ten.
 * @param {number} low @param {number} high @param {number} most */
export function round_ticks(low, high, most = 5) {
  if (!(high > low)) return [low]
  for (let n = Math.max(1, most); n < 20; n *= 2) {
    const rough = (high - low) / n
    const power = 10 ** Math.floor(Math.log10(rough))
    const step = ([1, 2, 5, 10].find((m) => m * power >= rough * (1 - 1e-9)) ?? 10) * power
    const ticks = []
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) {
      ticks.push(Number((k * step).toPrecision(12)))
    }
    if (ticks.length > 1) return ticks
  }
  return [low, high]
}

/** Of a logarithmic axis: powers of ten, with 2 and 5 times these where there are few.
 * @param {number} low @param {number} high */
export function log_ticks(low, high) {
  const ticks = []
  const few = Math.log10(high / low) < 2.2
  for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power++) {
    for (const m of few ? [1, 2, 5] : [1]) {
      const value = m * 10 ** power
      if (value >= low * 0.999 && value <= high * 1.001) ticks.push(Number(value.toPrecision(6)))
    }
  }
  return ticks.length > 1 ? ticks : round_ticks(low, high, 4)
}

/** A number as an axis writes it.
 * @param {number} value */
export const plain = (value) => String(Number(value.toPrecision(4))).replace("-", "−")

/** Lowest and highest of finite values, with a margin of a share of their distance; what is given where there are none.
 * @param {Iterable<number>} values @param {[number, number]} none @param {number} margin
 * @returns {[number, number]} */
export function extent(values, none, margin = 0.06) {
  let [low, high] = [Infinity, -Infinity]
  for (const value of values) {
    if (!Number.isFinite(value)) continue
    low = Math.min(low, value)
    high = Math.max(high, value)
  }
  if (low > high) return none
  const more = (high - low) * margin || Math.abs(high) * margin || 1
  return [low - more, high + more]
}

/** A value's place along an axis, from 0 to 1.
 * @param {Axis} axis @param {number} value */
export function share_along({low, high, log}, value) {
  if (log) return (Math.log(value) - Math.log(low)) / (Math.log(high) - Math.log(low))
  return (value - low) / (high - low)
}

/**
 * Axes around a box: returns it, and what turns values into pixels.
 * @param {CanvasRenderingContext2D} ctx
 * @param {{width: number, height: number}} size
 * @param {{x: Axis, y: Axis}} axes
 * @param {Palette} colours
 * @param {number} font_px
 * @param {{top?: number, right?: number}} [room]  more of it, in px
 */
export function draw_axes(ctx, size, {x, y}, colours, font_px, {top = 0, right = 0} = {}) {
  ctx.font = `${font_px}px system-ui, sans-serif`
  const said = (/** @type {Axis} */ axis) => axis.said ?? plain
  const y_ticks = y.ticks ?? (y.log ? log_ticks(y.low, y.high) : round_ticks(y.low, y.high, 4))
  const widest = Math.max(...y_ticks.map((tick) => width_of(ctx, said(y)(tick))), 0)
  const left = Math.ceil(font_px * 1.5 + widest + 8)
  /** @type {Box} */
  const box = {
    left,
    top: Math.ceil(0.6 * font_px + top),
    width: Math.max(10, size.width - left - Math.ceil(0.9 * font_px + right)),
    height: Math.max(10, size.height - Math.ceil(0.6 * font_px + top) - Math.ceil(2.9 * font_px)),
  }
  const px = (/** @type {number} */ value) => box.left + share_along(x, value) * box.width
  const py = (/** @type {number} */ value) => box.top + (1 - share_along(y, value)) * box.height
  const bottom = box.top + box.height
  ctx.strokeStyle = colours.grid
  ctx.lineWidth = 1
  ctx.fillStyle = colours.ink
  ctx.textBaseline = "middle"
  ctx.textAlign = "right"
  for (const tick of y_ticks) {
    const at = Math.round(py(tick)) + 0.5
    line(ctx, box.left, at, box.left + box.width, at)
    ctx.fillText(said(y)(tick), box.left - 4, at)
  }
  ctx.textAlign = "center"
  ctx.textBaseline = "top"
  const most = Math.max(2, Math.floor(box.width / (4.2 * font_px)))
  const x_ticks = x.ticks ?? (x.log ? log_ticks(x.low, x.high) : round_ticks(x.low, x.high, Math.min(6, most)))
  let written = -Infinity
  for (const tick of x_ticks) {
    const at = Math.round(px(tick)) + 0.5
    line(ctx, at, box.top, at, bottom)
    const words = said(x)(tick)
    const half = width_of(ctx, words) / 2
    const middle = Math.min(at, size.width - half - 1)
    if (middle - half < written + 4) continue
    ctx.fillText(words, middle, bottom + 3)
    written = middle + half
  }
  ctx.strokeStyle = colours.faint
  ctx.strokeRect(box.left + 0.5, box.top + 0.5, box.width, box.height)
  ctx.fillText(x.words, box.left + box.width / 2, bottom + 1.55 * font_px)
  ctx.save()
  ctx.translate(0.25 * font_px, box.top + box.height / 2)
  ctx.rotate(-Math.PI / 2)
  ctx.fillText(y.words, 0, 0)
  ctx.restore()
  ctx.textAlign = "left"
  ctx.textBaseline = "alphabetic"
  return {box, px, py}
}

/** Lines and what they mean, side by side at the top.
 * @param {CanvasRenderingContext2D} ctx @param {number} x  where they begin
 * @param {{colour: string, dash: number[], words: string, thick?: number}[]} looks
 * @param {string} ink @param {number} font_px */
export function legend(ctx, x, looks, ink, font_px) {
  for (const {colour, dash, words, thick = 1.8} of looks) {
    ctx.strokeStyle = colour
    ctx.setLineDash(dash)
    ctx.lineWidth = thick
    line(ctx, x, 0.9 * font_px, x + 1.8 * font_px, 0.9 * font_px)
    ctx.fillStyle = ink
    ctx.fillText(words, x + 2.1 * font_px, 1.25 * font_px)
    x += 2.9 * font_px + ctx.measureText(words).width
  }
  ctx.setLineDash([])
  ctx.lineWidth = 1
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x0 @param {number} y0 @param {number} x1 @param {number} y1 */
export function line(ctx, x0, y0, x1, y1) {
  ctx.beginPath()
  ctx.moveTo(x0, y0)
  ctx.lineTo(x1, y1)
  ctx.stroke()
}

/** Paint inside a box alone.
 * @param {CanvasRenderingContext2D} ctx @param {Box} box @param {() => void} paint */
export function inside(ctx, {left, top, width, height}, paint) {
  ctx.save()
  ctx.beginPath()
  ctx.rect(left, top, width, height)
  ctx.clip()
  paint()
  ctx.restore()
}

/** A dot, and around the chosen one a ring.
 * @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {number} radius @param {string} colour */
export function dot(ctx, x, y, radius, colour) {
  ctx.fillStyle = colour
  ctx.beginPath()
  ctx.arc(x, y, radius, 0, 2 * Math.PI)
  ctx.fill()
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {Palette} colours */
export function ring(ctx, x, y, colours, radius = 6) {
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 2
  ctx.beginPath()
  ctx.arc(x, y, radius, 0, 2 * Math.PI)
  ctx.stroke()
  ctx.lineWidth = 1
}

const REACH_PX = 14

/**
 * What finds the nearest of some points, if one is near.
 * @template {Hit} T
 * @param {[x: number, y: number, what: T][]} points
 * @returns {(x: number, y: number) => T | null}
 */
export function nearest_of(points) {
  return (x, y) => {
    let [best, least] = [/** @type {T | null} */ (null), REACH_PX ** 2]
    for (const [px, py, what] of points) {
      const away = (px - x) ** 2 + (py - y) ** 2
      if (away <= least) [best, least] = [what, away]
    }
    return best
  }
}
