// @ts-check
// Signs of what was decided outside the trial: cues corrected, added or taken for none, stretches set aside.

import {cut_to, hatch, plate, width_of} from "../shared/paint.js"

/** @import {Band} from "../types.js" */
/** @import {Palette} from "../shared/palette.js" */

/** Lines over all channels, by the kind that their card names.
 * @type {Record<string, {dash: number[], thick: number}>} */
export const LINES = {
  cue: {dash: [], thick: 1.4},
  corrected: {dash: [], thick: 2.6},
  recorded: {dash: [5, 5], thick: 1},
  none: {dash: [1, 5], thick: 1.4},
  added: {dash: [12, 3, 2, 3], thick: 1.4},
  response: {dash: [8, 4], thick: 1},
  other: {dash: [2, 4], thick: 1},
}

/**
 * Hatch the stretches of a channel that are set aside, with their words.
 * @param {CanvasRenderingContext2D} ctx
 * @param {[start_s: number, stop_s: number, words: string][]} stretches
 * @param {Band} band
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {Palette} colours
 */
export function draw_aside(ctx, stretches, band, px, width, colours) {
  for (const [start_s, stop_s, words] of stretches) {
    const [x0, x1] = [Math.max(0, px(start_s)), Math.min(width, Math.max(px(stop_s), px(start_s) + 2))]
    if (x1 <= 0 || x0 >= width) continue
    hatch(ctx, {left: x0, right: x1, top: band.top, height: band.height}, colours.faint)
    ctx.strokeRect(x0, band.top + 1, x1 - x0, band.height - 2)
    const said = cut_to(ctx, words, Math.max(x1 - x0, width / 3) - 6)
    plate(
      ctx,
      said,
      Math.min(x0 + 3, width - width_of(ctx, said) - 4),
      band.top + band.height * 0.4 + 4,
      colours,
    )
  }
}
