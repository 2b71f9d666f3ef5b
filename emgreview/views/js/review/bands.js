// @ts-check
// The vertical layout of a trial's picture.

/** @import {Band} from "../types.js" */

/** @typedef {{channels: {auxiliary: boolean}[]}} Rows */

/** @param {Rows} setup */
const band_weights = (setup) => setup.channels.map((channel) => (channel.auxiliary ? 0.55 : 1))

/** The strip above all channels, for the words of lines.
 * @param {number} font_px */
const strip_px = (font_px) => font_px + 7

/** The least height of all bands, in which words and traces still find room.
 * @param {Rows} setup @param {number} font_px */
export const least_bands_px = (setup, font_px) =>
  strip_px(font_px) + 3.6 * font_px * band_weights(setup).reduce((a, b) => a + b, 0)

/**
 * A strip for the words of lines, then one band a channel, auxiliary bands about half as high.
 * @param {Rows} setup
 * @param {number} height
 * @param {number} font_px
 * @returns {Band[]}
 */
export function lay_bands(setup, height, font_px) {
  const weights = band_weights(setup)
  let top = strip_px(font_px)
  const unit = (height - top) / weights.reduce((a, b) => a + b, 0)
  return weights.map((weight, row) => {
    const band = {row, top, height: weight * unit, auxiliary: setup.channels[row].auxiliary}
    top += weight * unit
    return band
  })
}
