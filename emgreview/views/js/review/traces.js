// @ts-check
// The traces of a trial: the part of its picture that is prepared ahead.

import {MISSING} from "../shared/pack.js"
import {PALETTES} from "../shared/palette.js"
import {lay_bands} from "./bands.js"

/** @import {Band} from "../types.js" */
/** @import {Look, Samples, Setup, Trial} from "./types.js" */

/**
 * One path through the extremes of every pixel column, or through every sample where there are few.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Int16Array} samples
 * @param {number} step_s
 * @param {number} t0  time of the first sample
 * @param {number} x0
 * @param {number} x1
 * @param {number} width
 * @param {(value: number) => number} to_y
 */
function trace_path(ctx, samples, step_s, t0, x0, x1, width, to_y) {
  const per_px = (x1 - x0) / width / step_s
  const first = Math.max(0, Math.floor((x0 - t0) / step_s) - 1)
  const last = Math.min(samples.length - 1, Math.ceil((x1 - t0) / step_s) + 1)
  const px = (/** @type {number} */ i) => ((t0 + i * step_s - x0) / (x1 - x0)) * width
  ctx.beginPath()
  let pen = false
  if (per_px <= 2) {
    for (let i = first; i <= last; i++) {
      const v = samples[i]
      if (v === MISSING) {
        pen = false
        continue
      }
      if (pen) ctx.lineTo(px(i), to_y(v))
      else ctx.moveTo(px(i), to_y(v))
      pen = true
    }
  } else {
    let i = first
    while (i <= last) {
      const column = Math.floor(px(i))
      let low = Infinity
      let high = -Infinity
      const entry = samples[i]
      while (i <= last && Math.floor(px(i)) === column) {
        const v = samples[i++]
        if (v === MISSING) continue
        if (v < low) low = v
        if (v > high) high = v
      }
      if (low > high) {
        pen = false
        continue
      }
      const x = column + 0.5
      if (pen && entry !== MISSING) ctx.lineTo(x, to_y(entry))
      else ctx.moveTo(x, to_y(low))
      ctx.lineTo(x, to_y(low))
      ctx.lineTo(x, to_y(high))
      pen = true
    }
  }
  ctx.stroke()
}

/**
 * The traces of a trial alone.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Trial} trial
 * @param {Setup} setup
 * @param {Look} look
 * @param {number} width
 * @param {number} height
 */
export function draw_traces(ctx, trial, setup, look, width, height) {
  const colours = PALETTES[look.theme]
  const [x0, x1] = look.range
  const t0 = setup.start_s
  const bands = lay_bands(setup, height, look.font_px)
  const pick = (
    /** @type {Band} */ {row},
    /** @type {string} */ kind,
  ) => /** @type {Samples} */ (trial.traces.find((trace) => trace.row === row && trace.kind === kind))
  ctx.lineJoin = "round"
  for (const band of bands) {
    ctx.save()
    ctx.beginPath()
    ctx.rect(0, band.top, width, band.height)
    ctx.clip()
    if (band.auxiliary) {
      if (look.blind) { // it would show the response
        ctx.restore()
        continue
      }
      const trace = pick(band, "auxiliary")
      const [low, high] = trace.limits
      const scale = (band.height - 18) / (high - low || 1)
      const to_y = (/** @type {number} */ v) => band.top + band.height - 5 - (v * trace.scale - low) * scale
      ctx.strokeStyle = colours.auxiliary
      ctx.lineWidth = 1.2
      trace_path(ctx, trace.samples, trace.step_s, t0, x0, x1, width, to_y)
    } else {
      const raw = pick(band, "raw")
      const envelope = pick(band, "envelope")
      const full = trial.full_scale[band.row] / look.gain
      const split = band.top + band.height * 0.4
      const rise = (split - band.top - 6) / full // upper part: rectified and envelope, from 0
      const up = (/** @type {number} */ v, /** @type {number} */ scale) => split - v * scale * rise
      ctx.lineWidth = 1
      ctx.strokeStyle = colours.rectified
      trace_path(ctx, rectify(raw), raw.step_s, t0, x0, x1, width, (v) => up(v, raw.scale))
      ctx.strokeStyle = colours.envelope
      ctx.lineWidth = 1.4
      trace_path(ctx, envelope.samples, envelope.step_s, t0, x0, x1, width, (v) => up(v, envelope.scale))
      const middle = (split + band.top + band.height) / 2
      const swing = (band.height * 0.6 - 4) / 2 / full // lower part: the band-passed trace itself
      ctx.lineWidth = 1
      ctx.strokeStyle = colours.raw
      trace_path(ctx, raw.samples, raw.step_s, t0, x0, x1, width, (v) => middle - v * raw.scale * swing)
    }
    ctx.restore()
  }
}

/** @param {Samples} trace */
function rectify(trace) {
  if (!trace.rectified) {
    trace.rectified = trace.samples.map((v) => (v === MISSING ? v : Math.abs(v)))
  }
  return trace.rectified
}
