// @ts-check
// Painting that every picture shares: words on a plate, words cut to their room, round numbers.

import {brief} from "./texts.js"

/** @import {Palette} from "./palette.js" */

/** Seconds in ms, to a tenth: the samples of most recordings lie that far apart or further.
 * @param {number} s */
export const ms_words = (s) => `${Number((s * 1000).toFixed(1))} ms`

/**
 * Words on a plate, legible over any trace; `x` is their left end, their right one, or their middle.
 * @param {CanvasRenderingContext2D} ctx
 * @param {string} text
 * @param {number} x
 * @param {number} y  of the line on which they stand
 * @param {Palette} colours
 * @param {"left" | "right" | "center"} align
 * @param {string} ink
 */
export function plate(ctx, text, x, y, colours, align = "left", ink = colours.ink) {
  const words = brief(text)
  const wide = ctx.measureText(words).width
  const high = parseFloat(ctx.font.replace("bold ", "")) + 2
  const left = align === "left" ? x : align === "right" ? x - wide : x - wide / 2
  ctx.fillStyle = colours.plate
  ctx.fillRect(left - 2, y - high + 3, wide + 4, high)
  ctx.fillStyle = ink
  ctx.fillText(words, left, y)
}

/** How wide words are when they are painted.
 * @param {CanvasRenderingContext2D} ctx @param {string} words */
export const width_of = (ctx, words) => ctx.measureText(brief(words)).width

/** As much of words as fits, with a sign where they were cut; "" where that is hardly any.
 * @param {CanvasRenderingContext2D} ctx @param {string} words @param {number} room @param {number} least  letters */
export function cut_to(ctx, words, room, least = 2) {
  const text = brief(words)
  if (ctx.measureText(text).width <= room) return text
  const letters = [...text]
  const cut = (/** @type {number} */ n) => brief(`${letters.slice(0, n).join("").trimEnd()}…`)
  let [fits, over] = [0, letters.length]
  while (over - fits > 1) {
    const n = (fits + over) >> 1
    if (ctx.measureText(cut(n)).width <= room) fits = n
    else over = n
  }
  return fits < least ? "" : cut(fits)
}

const HATCH_PX = 9

/**
 * Slanted lines over a box: one pattern, however the view lies.
 * @param {CanvasRenderingContext2D} ctx
 * @param {{left: number, right: number, top: number, height: number}} box
 * @param {string} ink
 */
export function hatch(ctx, {left, right, top, height}, ink) {
  ctx.save()
  ctx.beginPath()
  ctx.rect(left, top, right - left, height)
  ctx.clip()
  ctx.strokeStyle = ink
  ctx.lineWidth = 1
  ctx.beginPath()
  for (let x = left - height - (left % HATCH_PX); x < right; x += HATCH_PX) {
    ctx.moveTo(x, top + height)
    ctx.lineTo(x + height, top)
  }
  ctx.stroke()
  ctx.restore()
}

/**
 * An upright line on a whole pixel.
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} top
 * @param {number} bottom
 * @param {{colour: string, thick?: number, dash?: number[]}} look
 */
export function upright(ctx, x, top, bottom, {colour, thick = 1, dash = []}) {
  const at = Math.round(x) + 0.5
  ctx.strokeStyle = colour
  ctx.lineWidth = thick
  ctx.setLineDash(dash)
  ctx.beginPath()
  ctx.moveTo(at, top)
  ctx.lineTo(at, bottom)
  ctx.stroke()
  ctx.setLineDash([])
}

/**
 * A canvas's paper in CSS pixels, as large as the page shows it and cleared.
 * @param {HTMLCanvasElement} canvas
 * @param {{width: number, height: number}} size
 */
export function paper_of(canvas, {width, height}) {
  const ratio = window.devicePixelRatio || 1
  const [wide, high] = [Math.round(width * ratio), Math.round(height * ratio)]
  if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, {width: wide, height: high})
  const ctx = context_of(canvas)
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
  ctx.clearRect(0, 0, width, height)
  return ctx
}

/**
 * What paints on a canvas.
 * @param {HTMLCanvasElement} canvas
 * @param {CanvasRenderingContext2DSettings} [settings]
 */
export function context_of(canvas, settings) {
  return /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", settings))
}
