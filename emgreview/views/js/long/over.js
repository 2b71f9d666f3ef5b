// @ts-check
// What stands over the traces of a long recording: bars of scale, markers with words, the cursor. Pure drawing.

import {lower_bound, px_of} from "../shared/geometry.js"
import {cut_to, plate, upright, width_of} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"
import {head_lines, head_px, heights, lay_rows, scale_bar} from "./bands.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Foot, Scene} from "./types.js" */

const FOOT_SHARE = 0.35 // of the width, at most, for the words of one line or marker

/**
 * Bars of scale, markers, the cursor, and where the pointer is. Words at the foot make way for each other.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Foot[]} feet
 * @param {number} width
 * @param {number} height
 */
export function draw_over(ctx, scene, feet, width, height) {
  const {setup, rows, range, theme, cursor_s, hover_s, font_px} = scene
  const colours = PALETTES[theme]
  const [x0, x1] = range
  const px = (/** @type {number} */ s) => px_of(s, range, width)
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
  /** @param {number} s @param {string} words @param {number[]} dash */
  const line = (s, words, dash) => {
    if (s < x0 || s > x1) return
    upright(ctx, px(s), head_px(font_px), height, {colour: colours.faint, dash})
    feet.push({x: Math.round(px(s)) + 0.5, words, ink: colours.ink})
  }
  line(cursor_s, `cursor ${cursor_s.toFixed(3)} s`, [])
  if (hover_s != null) line(hover_s, `${hover_s.toFixed(3)} s`, [1, 2])
  write_feet(ctx, feet, width, height, font_px, colours)
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Foot[]} feet
 * @param {number} width
 * @param {number} height
 * @param {number} font_px
 * @param {Palette} colours
 */
function write_feet(ctx, feet, width, height, font_px, colours) {
  /** @type {number[]} */
  const lines = [] // right ends of the words so far, by lines from the foot
  for (const {x, words: whole, ink} of feet.sort((a, b) => a.x - b.x)) {
    const words = cut_to(ctx, whole, FOOT_SHARE * width)
    const wide = width_of(ctx, words)
    const left = Math.min(x + 4, width - wide - 3)
    let line = lines.findIndex((end) => end < left - 4)
    if (line < 0) line = lines.length
    lines[line] = left + wide
    plate(ctx, words, left, height - 5 - line * (font_px + 5), colours, "left", ink)
  }
}

/**
 * Lines at all markers, with words where there is room; ticks and their number where lines would hide the traces.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {number} height
 * @param {Palette} colours
 */
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
    const words = line < 0 ? "" : cut_to(ctx, markers[i][1], Math.min(width - x - 6, FOOT_SHARE * width))
    if (!words) continue
    plate(ctx, words, x + 3, line * (font_px + 4) + font_px + 2, colours)
    ends[line] = x + width_of(ctx, words) + 10
  }
}
