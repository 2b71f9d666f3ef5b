// @ts-check
// Painting of the marks on a recording, on the picture and on the ribbon. Pure drawing.

import {px_of} from "../shared/geometry.js"
import {cut_to, hatch, plate, upright} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"
import {head_px, lay_rows} from "./bands.js"
import {trace_px} from "./ribbon.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Band, Span} from "../types.js" */
/** @import {Card, Foot, Marked, Scene, Selection, Status} from "./types.js" */

/** @typedef {{cards: Card[], status: Status, selected: Selection | null}} Shown */
/** @typedef {{dash: number[], colour: string, thick: number, words?: string, low?: boolean}} Style */

const EDGES_S = 60 // marks have edges where less than this is shown; further out bars
const BARS_S = 600 // and beyond this only what the ribbon shows

/**
 * Paints them; returns the words that belong at the foot of the picture.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Shown} shown
 * @param {Scene} scene
 * @param {number} width
 * @param {number} height
 * @returns {Foot[]}
 */
export function draw_marks(ctx, {cards, status, selected}, scene, width, height) {
  const {setup, range, font_px} = scene
  const [x0, x1] = range
  const colours = PALETTES[scene.theme]
  const px = (/** @type {number} */ s) => px_of(s, range, width)
  const in_view = (/** @type {number} */ a, b = a) => b >= x0 && a <= x1
  const bands = lay_rows(setup.channels, height, font_px)
  const near = x1 - x0 < EDGES_S
  for (const stretch of status.aside) {
    if (in_view(stretch.start_s, stretch.stop_s)) draw_aside(ctx, stretch, bands, px, width, colours, font_px)
  }

  /** @param {Pick<Band, "top" | "height">} band @param {number} s @param {Style} style */
  const line = (band, s, {colour, thick, dash, words, low}) => {
    const x = Math.round(px(s)) + 0.5
    if (x < 0 || x > width) return
    upright(ctx, px(s), band.top + 2, band.top + band.height - 2, {colour, thick, dash})
    if (words) {
      plate(ctx, words, x + 4, low ? band.top + band.height - 5 : band.top + font_px + 1, colours, "left", colour)
    }
  }

  /**
   * @param {Band} band
   * @param {readonly [onset_s: number, offset_s: number | null]} ends
   * @param {boolean} sure
   * @param {{side?: 0 | 1 | null} | null} held  if it is selected
   * @param {string} words
   */
  const burst = (band, [onset_s, offset_s], sure, held, words) => {
    const end_s = offset_s ?? onset_s
    if (!in_view(onset_s, end_s)) return
    ctx.strokeStyle = ctx.fillStyle = colours.onset
    ctx.lineWidth = 1
    const [left, top, long] = [px(onset_s), band.top + band.height - 5, Math.max(3, px(end_s) - px(onset_s))]
    if (sure) ctx.fillRect(left, top, long, 4)
    else ctx.strokeRect(left + 0.5, Math.round(top) + 0.5, long - 1, 3)
    if (!near) return
    const thick = (/** @type {0 | 1} */ side) => (held?.side === side ? 3 : 1.6)
    line(band, onset_s, {dash: [], colour: colours.onset, thick: thick(0), words: held ? words : ""})
    if (offset_s == null) return
    line(band, offset_s, {
      dash: [6, 3],
      colour: colours.offset,
      thick: thick(1),
      words: held ? "offset" : "",
      low: true,
    })
  }

  for (const card of x1 - x0 < BARS_S ? cards : []) {
    if (!in_view(card.start_s, card.stop_s)) continue
    for (const {id, row, onset_s, offset_s, sure} of card.bursts) {
      const same = selected?.burst?.trial === card.trial && selected.burst.id === id && selected.row === row
      const held = same ? selected : null
      burst(bands[row], held?.ends ?? [onset_s, offset_s], sure, held, "onset")
    }
  }
  for (const {row, start_s, stop_s, words} of status.marked) {
    burst(bands[row], [start_s, stop_s], true, {}, `${words}, in no trial`)
  }
  if (selected && !selected.burst) {
    const band = bands[selected.row]
    const [start_s, end_s] = [selected.ends[0], selected.ends[1] ?? selected.ends[0]]
    const thick = (/** @type {0 | 1} */ side) => (selected.side === side ? 3 : 1.5)
    ctx.fillStyle = colours.interval
    ctx.fillRect(px(start_s), band.top + 1, Math.max(1, px(end_s) - px(start_s)), band.height - 2)
    line(band, start_s, {dash: [], colour: colours.ink, thick: thick(0), words: "start"})
    line(band, end_s, {dash: [6, 3], colour: colours.ink, thick: thick(1), words: "end", low: true})
  }

  /** @type {Foot[]} */
  const feet = []
  const whole = {top: head_px(font_px), height: height - head_px(font_px)}
  /** @param {number} s @param {number[]} dash @param {number} thick @param {string} words */
  const cue = (s, dash, thick, words) => {
    if (!in_view(s)) return
    line(whole, s, {dash, colour: colours.offset, thick})
    feet.push({x: px(s), words, ink: colours.offset})
  }
  for (const card of near ? cards : []) {
    if (card.corrected_s != null) cue(card.corrected_s, [], 2, `${card.cue}, corrected`)
    if (card.none) cue(card.cue_s, [1, 3], 3, `no ${card.cue}: ${card.none}`)
  }
  for (const [s, label] of status.added) cue(s, [], 2, `${label}, added`)
  return feet
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Marked} stretch
 * @param {Band[]} bands
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {Palette} colours
 * @param {number} font_px
 */
function draw_aside(ctx, {row, start_s, stop_s, words}, bands, px, width, colours, font_px) {
  const {top, height} = bands[row]
  const [left, right] = [Math.max(0, px(start_s)), Math.min(width, px(stop_s))]
  hatch(ctx, {left, right: Math.max(right, left + 1), top: top + 1, height: height - 2}, colours.faint)
  const shown = cut_to(ctx, `set aside: ${words}`, right - left - 6)
  if (shown) plate(ctx, shown, left + 3, top + font_px + 1, colours)
}

/**
 * Trials and stretches in the ribbon, under its ticks.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Shown} shown
 * @param {Scene} scene
 * @param {number} width
 * @param {number} height
 */
export function draw_on_ribbon(ctx, {cards, status}, {setup, theme}, width, height) {
  const colours = PALETTES[theme]
  /** @type {Span} */
  const all = [0, setup.duration_s]
  const px = (/** @type {number} */ s) => px_of(s, all, width)
  const foot = height - 3
  ctx.fillStyle = colours.ink
  for (const {start_s, stop_s, status, none} of cards) {
    const tall = none ? 0 : {reviewed: 10, begun: 5, open: 1}[status]
    ctx.fillRect(px(start_s), foot - tall, Math.max(1, px(stop_s) - px(start_s) - 1), tall)
  }
  const tall = trace_px(height)
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 1
  for (const {start_s, stop_s} of status.aside) {
    const [a, b] = [px(start_s), Math.max(px(start_s) + 3, px(stop_s))]
    ctx.strokeRect(a + 0.5, tall - 8.5, b - a, 8)
    ctx.beginPath()
    for (let x = a; x < b; x += 4) {
      ctx.moveTo(x, tall)
      ctx.lineTo(Math.min(b, x + 4), tall - 8)
    }
    ctx.stroke()
  }
}
