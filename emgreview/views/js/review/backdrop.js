// @ts-check
// What stands behind and beside the traces of a trial: the study's window, the person's usual envelope, scales, and what
// the filter makes of a step.

import {round_below} from "../shared/geometry.js"
import {plate} from "../shared/paint.js"
import {brief} from "../shared/texts.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Band, Span, Trace} from "../types.js" */
/** @import {Channel, Setup, Typical} from "./types.js" */

/**
 * The window in which the study expects responses: a bar at the foot between two dotted lines.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Span} window
 * @param {(s: number) => number} px
 * @param {number} height
 * @param {Palette} colours
 */
export function shade_plausible(ctx, [from, to], px, height, colours) {
  ctx.fillStyle = colours.usual_line
  ctx.fillRect(px(from), height - 5, px(to) - px(from), 5)
  ctx.strokeStyle = colours.faint
  ctx.setLineDash([1, 4])
  for (const s of [from, to]) {
    ctx.beginPath()
    ctx.moveTo(px(s), 0)
    ctx.lineTo(px(s), height)
    ctx.stroke()
  }
  ctx.setLineDash([])
}

/**
 * The person's typical envelope, faintly behind the upper part of a band: median as a line, quartiles as an area.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Typical} usual
 * @param {Band} band
 * @param {number} full
 * @param {number} t0
 * @param {(s: number) => number} px
 * @param {Palette} colours
 */
export function draw_typical(ctx, usual, band, full, t0, px, colours) {
  const split = band.top + band.height * 0.4
  const rise = (split - band.top - 6) / full
  const {lower, median, upper} = usual
  const x = (/** @type {number} */ i) => px(t0 + i * median.step_s)
  const y = (/** @type {Trace} */ trace, /** @type {number} */ i) =>
    Math.max(band.top + 1, split - trace.samples[i] * trace.scale * rise)
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

/**
 * The scale of a channel; `words` stand beside it where its level is impossible, which a fixed gain would hide.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Band} band
 * @param {Channel} channel
 * @param {number} full
 * @param {string} words
 * @param {Palette} colours
 */
export function draw_scale_bar(ctx, band, channel, full, words, colours) {
  const per_uv = (band.height * 0.6 - 4) / 2 / full
  const value = round_below(full * 1.4)
  const long = value * per_uv
  const bottom = band.top + band.height * 0.7 + long / 2 // around the middle of the lower part
  ctx.strokeStyle = colours.ink
  ctx.lineWidth = 2
  ctx.beginPath()
  ctx.moveTo(9, bottom)
  ctx.lineTo(9, bottom - long)
  ctx.stroke()
  const text = channel.unit_label === "arbitrary units" ? `${value} (arbitrary)` : `${value} ${channel.unit_label}`
  plate(ctx, brief(text, 24), 14, bottom - long / 2 + 4, colours, "left", words ? colours.onset : colours.ink)
  if (words) plate(ctx, brief(words, 80), 14, band.top + band.height - 6, colours, "left", colours.onset) // below the trace: legible at rest
}

/** @param {CanvasRenderingContext2D} ctx */
const look_font = (ctx) => parseFloat(ctx.font.replace("bold ", ""))

/**
 * The envelope of a step that happens at the cursor, drawn in one band: what the filter smears, in ms.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Setup["smear"]} smear
 * @param {number} cursor_s
 * @param {Band} band
 * @param {(s: number) => number} px
 * @param {Palette} colours
 * @param {boolean} timed
 */
export function draw_smear(ctx, smear, cursor_s, band, px, colours, timed) {
  const bottom = band.top + band.height - 4
  const y = (/** @type {number} */ value) => bottom - value * band.height * 0.5
  ctx.strokeStyle = colours.envelope
  ctx.lineWidth = 1.6
  ctx.setLineDash([3, 2])
  ctx.beginPath()
  smear.time_s.forEach((s, i) => ctx.lineTo(px(cursor_s + s), y(smear.value[i])))
  ctx.stroke()
  ctx.setLineDash([])
  const begins_ms = Math.round(smear.time_s[smear.value.findIndex((value) => value > 0.05)] * 1000)
  const words = "envelope of a step here: begins " + (timed ? `${Math.abs(begins_ms)} ms ` : "") +
    (begins_ms < 0 ? "early" : "late")
  plate(
    ctx,
    words,
    Math.max(px(cursor_s) - 6, ctx.measureText(words).width + 6),
    band.top + 2 * look_font(ctx) + 5,
    colours,
    "right",
    colours.envelope,
  )
}
