// @ts-check
// Overview of one channel over all trials, a row each.

import {context_of} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"

/** @import {Span} from "../types.js" */
/** @import {Store} from "./store.js" */
/** @import {Summary} from "./types.js" */

/** @param {number} font_px */
const row_px = (font_px) => Math.round((12 / 11) * font_px)

/** @param {Span | null} interval */
const minus_width = (interval) => interval && interval[0] - interval[1]

/**
 * Orders of the overview: words, what a trial is sorted by (missing values last), whether a blind review has it.
 * @type {[words: string, key: (summary: Summary, row: number, place: number) => number | null, blind: boolean][]}
 */
export const SORTS = [
  ["order of the review", (_summary, _row, place) => place, true],
  ["time of recording", (summary) => summary[3] && summary[3][0] * 1e12 + summary[3][1], false],
  ["response", (summary) => summary[1], false],
  ["onset", (summary, row) => summary[2][row][0], true],
  ["certainty, least first", (summary, row) => minus_width(summary[2][row][2]), true],
]

/** The next order of the overview.
 * @param {number} sort @param {boolean} blind
 * @returns {number} */
export function next_sort(sort, blind) {
  const next = (sort + 1) % SORTS.length
  return blind && !SORTS[next][2] ? next_sort(next, blind) : next
}

/** Those trials in an order of which anything is known.
 * @param {Pick<Store, "summaries" | "order" | "place">} store @param {number} row @param {number} sort */
export function overview_order({summaries, order, place}, row, sort) {
  const key = SORTS[sort][1]
  const known = order.filter((i) => summaries[i])
  if (!sort) return known
  /** @type {Map<number, number>} */
  const value = new Map(known.map((i) => [i, key(summaries[i], row, place(i)) ?? Infinity]))
  const of = (/** @type {number} */ i) => value.get(i) ?? Infinity
  return known.sort((a, b) => of(a) - of(b) || place(a) - place(b))
}

/**
 * All trials of a channel, one row each: onset to offset as a bar, response as a broken tick, state as its sign. Returns
 * what tells which trial lies at a height.
 * @param {HTMLCanvasElement} canvas
 * @param {{
 *   summaries: Summary[], order: number[], row: number, index: number, range: Span, theme: string,
 *   font_px: number}} scene
 * @returns {(y: number) => number | undefined}
 */
export function draw_overview(canvas, {summaries, order, row, index, range, theme, font_px}) {
  const colours = PALETTES[theme]
  const ratio = window.devicePixelRatio || 1
  const width = canvas.clientWidth
  const height = canvas.clientHeight
  const at = order.indexOf(index)
  const high = row_px(font_px)
  const shown = Math.floor(height / high)
  const first = Math.max(0, Math.min(order.length - shown, at - Math.floor(shown / 2)))
  const hit = (/** @type {number} */ y) => order[first + Math.floor(y / high)]
  if (width < 20 || height < 20) return hit
  Object.assign(canvas, {width: width * ratio, height: height * ratio})
  const ctx = context_of(canvas)
  ctx.scale(ratio, ratio)
  ctx.fillStyle = colours.ground
  ctx.fillRect(0, 0, width, height)
  const left = 1.45 * font_px
  const x = (/** @type {number} */ s) => left + ((s - range[0]) / (range[1] - range[0])) * (width - left - 4)
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
  return hit
}
