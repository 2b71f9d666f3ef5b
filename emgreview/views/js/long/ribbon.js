// @ts-check
// The whole recording in one strip. Pure drawing.

import {MISSING} from "../shared/pack.js"
import {plate} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"

/** @import {Ribbon, Scene} from "./types.js" */

const TICKS_PX = 24 // under the trace, for markers and trials

/** How high the trace of a ribbon is.
 * @param {number} height */
export const trace_px = (height) => height - TICKS_PX

/**
 * The channel in focus, markers, and where the view is.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Ribbon | null} ribbon
 * @param {number} width
 * @param {number} height
 */
export function draw_ribbon(ctx, scene, ribbon, width, height) {
  const {setup, focus, range, theme, font_px} = scene
  const colours = PALETTES[theme]
  const px = (/** @type {number} */ s) => (s / setup.duration_s) * width
  const tall = trace_px(height)
  ctx.clearRect(0, 0, width, height)
  ctx.fillStyle = colours.band
  ctx.fillRect(0, 0, width, tall)
  const trace = ribbon?.traces.get(focus)
  if (ribbon && trace) {
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
  if (scene.share < 100) {
    plate(ctx, `reading the file, ${scene.share} %`, width - 6, font_px + 2, colours, "right", colours.faint)
  }
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
