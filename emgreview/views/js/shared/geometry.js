// @ts-check
// Between seconds, samples and pixels, for every picture; and what lies under the pointer. Pure numbers.

/** @import {Band, Span} from "../types.js" */
/** @import {Layer} from "./layer.js" */

/**
 * Where a time lies across a picture, in px.
 * @param {number} s
 * @param {Span} range  the times of the picture's two edges
 * @param {number} width
 */
export const px_of = (s, [x0, x1], width) => ((s - x0) / (x1 - x0)) * width

/**
 * The time of a pixel of a picture.
 * @param {number} x
 * @param {Span} range
 * @param {number} width
 */
export const seconds_at = (x, [x0, x1], width) => x0 + (x / width) * (x1 - x0)

/** The time of the nearest sample.
 * @param {number} s @param {number} rate_hz */
export const snap = (s, rate_hz) => Math.round(s * rate_hz) / rate_hz

/** As far as a step says, in whole samples, and one sample at least, whatever the rate.
 * @param {number} by_s @param {number} rate_hz */
export const whole_step = (by_s, rate_hz) => Math.sign(by_s) * Math.max(1, Math.round(Math.abs(by_s) * rate_hz))

/** @param {number} value @param {number} low @param {number} high */
export const within = (value, low, high) => Math.min(high, Math.max(low, value))

/** The band that a height belongs to.
 * @param {Band[]} bands @param {number} y */
export const band_at = (bands, y) => bands.find((band) => y >= band.top && y < band.top + band.height)

/**
 * The mark that lies nearest to a time, if one is within reach.
 * @template {{s: number}} M
 * @param {M[]} marks
 * @param {number} s
 * @param {number} reach_s
 * @returns {M | null}
 */
export function nearest(marks, s, reach_s) {
  const away = (/** @type {M} */ mark) => Math.abs(mark.s - s)
  const [mark] = [...marks].sort((a, b) => away(a) - away(b))
  return mark && away(mark) <= reach_s ? mark : null
}

/**
 * Index of the first entry at or after a time, of a list in order of time.
 * @param {[number, ...unknown[]][]} entries
 * @param {number} s
 */
export function lower_bound(entries, s) {
  let [a, b] = [0, entries.length]
  while (a < b) {
    const middle = (a + b) >> 1
    if (entries[middle][0] < s) a = middle + 1
    else b = middle
  }
  return a
}

/** A round number at or below a value: 1, 2 or 5 times a power of ten.
 * @param {number} value */
export function round_below(value) {
  const power = 10 ** Math.floor(Math.log10(value))
  return ([5, 2, 1].find((m) => m * power <= value) ?? 1) * power
}

/**
 * Where the pointer is on a picture.
 * @param {{clientX: number, clientY: number}} event
 * @param {Layer} layer
 * @param {(height: number) => Band[]} bands
 */
export function place_of(event, layer, bands) {
  const box = layer.canvas.getBoundingClientRect()
  const [x, y] = [event.clientX - box.left, event.clientY - box.top]
  const range = layer.range()
  return {
    x,
    s: seconds_at(x, range, box.width),
    s_per_px: (range[1] - range[0]) / box.width,
    inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height,
    band: band_at(bands(box.height), y),
  }
}

/** @typedef {ReturnType<typeof place_of>} Place */
