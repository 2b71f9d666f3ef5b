// @ts-check
// Power density of a burst and of the rest before it.

import {context_of} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"
import {brief} from "../shared/texts.js"

/**
 * Power density of burst and rest in dB, on one frequency axis in Hz.
 * @param {HTMLCanvasElement} canvas
 * @param {{frequency_hz: number[], burst: number[], rest: number[], unit: string}} spectrum
 * @param {string} theme
 * @param {number} font_px
 */
export function draw_spectrum(canvas, {frequency_hz, burst, rest, unit}, theme, font_px) {
  const colours = PALETTES[theme]
  const ratio = window.devicePixelRatio || 1
  const [width, height] = [canvas.clientWidth, canvas.clientHeight]
  Object.assign(canvas, {width: width * ratio, height: height * ratio})
  const ctx = context_of(canvas)
  ctx.scale(ratio, ratio)
  ctx.fillStyle = colours.ground
  ctx.fillRect(0, 0, width, height)
  const top_hz = Math.min(500, ...frequency_hz.slice(-1))
  const db = (/** @type {number[]} */ values) => values.map((value) => 10 * Math.log10(Math.max(value, 1e-12)))
  const [b, r] = [db(burst), db(rest)]
  const seen = [...b, ...r].filter((_, i) => frequency_hz[i % frequency_hz.length] <= top_hz)
  const high = Math.max(...seen) + 3
  const low = Math.max(Math.min(...seen), high - 60)
  const [left, top, bottom] = [3.1 * font_px, 1.3 * font_px, height - 2.4 * font_px]
  const x = (/** @type {number} */ hz) => left + (hz / top_hz) * (width - left - 1.2 * font_px)
  const y = (/** @type {number} */ value) => top + ((high - value) / (high - low)) * (bottom - top)
  ctx.font = `${(10 / 11) * font_px}px system-ui, sans-serif`
  ctx.fillStyle = colours.ink
  ctx.strokeStyle = colours.grid
  ctx.textAlign = "center"
  let written = -Infinity
  for (const hz of [50, 100, 200, 300, 400, 500].filter((f) => f <= top_hz)) {
    ctx.beginPath()
    ctx.moveTo(x(hz), top)
    ctx.lineTo(x(hz), bottom)
    ctx.stroke()
    if (x(hz) - written < 2 * font_px) continue
    ctx.fillText(String(hz), x(hz), height - 1.3 * font_px)
    written = x(hz)
  }
  ctx.textAlign = "right"
  ctx.fillText("frequency (Hz)", width - 4, height - 3)
  ctx.textAlign = "left"
  ctx.fillText(brief(`dB re 1 ${unit}`, 24), 2, 0.9 * font_px)
  const step = high - low > 45 ? 20 : 10
  for (let value = step * Math.ceil(low / step); value < high; value += step) {
    ctx.beginPath()
    ctx.moveTo(left, y(value))
    ctx.lineTo(width - 1.2 * font_px, y(value))
    ctx.stroke()
    if (y(value) > top + 0.4 * font_px) ctx.fillText(String(value).replace("-", "−"), 6, y(value) + 3) // clear of the unit
  }
  /** @param {number[]} values @param {string} colour @param {number[]} dash @param {string} words @param {number} at */
  const line = (values, colour, dash, words, at) => {
    ctx.strokeStyle = ctx.fillStyle = colour
    ctx.lineWidth = 1.6
    ctx.setLineDash(dash)
    ctx.beginPath()
    frequency_hz.forEach((hz, i) => {
      if (hz <= top_hz) ctx.lineTo(x(hz), Math.min(y(values[i]), bottom))
    })
    ctx.stroke()
    ctx.setLineDash([])
    ctx.fillText(words, at, top + 0.9 * font_px)
  }
  const [one, two] = ["— burst", "- - rest"]
  const right = width - ctx.measureText(two).width - 6
  line(b, colours.envelope, [], one, right - ctx.measureText(`${one}  `).width)
  line(r, colours.faint, [4, 3], two, right)
}
