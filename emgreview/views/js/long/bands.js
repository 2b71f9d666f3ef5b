// @ts-check
// The vertical layout of a long view, and how values become heights.

import {round_below} from "../shared/geometry.js"

/** @import {Band} from "../types.js" */
/** @import {Channel, Row} from "./types.js" */

/** Lines of the strip above the channels for the words of markers: two where letters are large.
 * @param {number} font_px */
export const head_lines = (font_px) => (font_px > 15 ? 2 : 1)

/** @param {number} font_px */
export const head_px = (font_px) => head_lines(font_px) * (Math.round(font_px) + 4) + 3

/** The least height of a channel, whose label has two lines.
 * @param {number} font_px */
export const least_row_px = (font_px) => Math.ceil(3 * font_px)

/**
 * One row a channel under the strip for words; auxiliary ones are lower.
 * @param {Pick<Channel, "auxiliary">[]} channels
 * @param {number} height
 * @param {number} font_px
 * @returns {Band[]}
 */
export function lay_rows(channels, height, font_px) {
  let top = head_px(font_px)
  const free = height - top
  const lower = channels.filter((channel) => channel.auxiliary).length
  const full = channels.length - lower
  const least = Math.min(least_row_px(font_px), free / channels.length)
  const low = full ? Math.max(least, (0.7 * free) / (full + 0.7 * lower)) : free / lower
  const high = full ? (free - lower * low) / full : 0
  return channels.map((channel, row) => {
    const band = {row, top, height: channel.auxiliary ? low : high}
    top += band.height
    return band
  })
}

/**
 * How values become heights: y = zero + value × rise, in CSS pixels; and what one band shows, in the channel's unit.
 * @param {Channel} channel
 * @param {Row} shown
 * @param {Band} band
 */
export function heights(channel, {kind, gain}, band) {
  const middle_y = band.top + band.height / 2
  if (channel.auxiliary) {
    const [low, high] = channel.limits
    const half = ((high - low) / 2 || 0.5) / gain
    const rise = -(band.height / 2 - 4) / half
    return {zero: middle_y - ((low + high) / 2) * rise, rise, shown: 2 * half}
  }
  const full = channel.kinds[kind] / gain
  if (kind === "rectified" || kind === "envelope") {
    const rise = -(band.height - 6) / full
    return {zero: band.top + band.height - 3, rise, shown: full}
  }
  const rise = -(band.height / 2 - 2) / full
  return {zero: middle_y - (kind === "raw" ? channel.middle : 0) * rise, rise, shown: 2 * full}
}

/**
 * A round value whose bar is at most 0.7 of a band high, and the bar's length in pixels.
 * @param {{rise: number}} to
 * @param {Band} band
 */
export function scale_bar(to, band) {
  const value = round_below((0.7 * (band.height - 6)) / -to.rise)
  return {value, long: value * -to.rise}
}
