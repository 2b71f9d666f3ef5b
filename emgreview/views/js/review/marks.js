// @ts-check
// Marks on a channel's traces: bursts, intervals in which an onset lies, and the words at the head of a band.

import {cut_to, plate, upright, width_of} from "../shared/paint.js"
import {SIDE_WORDS} from "./selection.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Band, Span} from "../types.js" */
/** @import {ChannelCard, Look, Mark, Side} from "./types.js" */

/**
 * Where an onset that cannot be located lies: a box, the selected edge thick.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Band} band
 * @param {Span} ends
 * @param {Partial<Mark>} mark
 * @param {(s: number) => number} px
 * @param {Palette} colours
 */
export function draw_interval(ctx, band, [from, to], {side, at_s}, px, colours) {
  const earliest = (side === "earliest" ? at_s : null) ?? from
  const latest = (side === "latest" ? at_s : null) ?? to
  const [a, b] = [px(earliest), px(latest)]
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 1
  ctx.setLineDash([2, 3])
  ctx.strokeRect(a, band.top + 3, b - a, band.height - 6)
  ctx.setLineDash([])
  if (side === "earliest" || side === "latest") {
    ctx.fillStyle = colours.onset
    ctx.fillRect((side === "earliest" ? a : b) - 1.5, band.top + 3, 3, band.height - 6)
  }
  plate(ctx, SIDE_WORDS.earliest, a - 4, band.top + band.height - 6, colours, "right", colours.onset)
  plate(ctx, SIDE_WORDS.latest, b + 4, band.top + band.height - 6, colours, "left", colours.onset)
}

/**
 * Where the flags at the head of a band stand: [left, right] in px.
 * @param {ChannelCard} state
 * @param {CanvasRenderingContext2D} ctx
 * @param {(s: number) => number} px
 * @returns {Span[]}
 */
export function flags(state, ctx, px) {
  const wide = ctx.measureText("onset 9").width + 8
  const candidates = (state.dispute?.candidates ?? []).flatMap(({bursts}) => bursts)
  return [
    ...state.bursts.map(({onset_s}) => /** @type {Span} */ ([px(onset_s) - 2, px(onset_s) + wide])),
    ...candidates.map(({onset_s}) => /** @type {Span} */ ([px(onset_s) - 20, px(onset_s) + 20])),
  ]
}

/**
 * A channel's sign with as many of its words as fit beside what else stands at the head of its band, and the right end of
 * the widest room there; at the right edge where all of it fits. The panel has it whole.
 * @param {CanvasRenderingContext2D} ctx
 * @param {string} words
 * @param {Span[]} taken
 * @param {number} width
 * @returns {[words: string, right: number]}
 */
export function fit_sign(ctx, words, taken, width) {
  /** @type {Span[]} */
  const rooms = []
  let edge = width - 2
  for (const [left, right] of taken.sort((a, b) => b[1] - a[1])) {
    if (right < edge) rooms.push([Math.max(0, right + 4), edge - 4])
    edge = Math.min(edge, left)
  }
  const long = (/** @type {Span} */ [left, right]) => right - left
  const fits = (/** @type {string} */ text, /** @type {Span} */ room) => width_of(ctx, text) <= long(room)
  const room = rooms.find((one) => fits(words, one)) ?? rooms.sort((a, b) => long(b) - long(a))[0] ?? [0, width - 6]
  if (fits(words, room)) return [words, room[1]]
  return [cut_to(ctx, words, long(room), 1) || "…", room[1]]
}

/**
 * Marks differ by side of their flag, line style and word, not by colour alone. A word that would hide that of the
 * selected mark, or one before it, is left out.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Band} band
 * @param {ChannelCard} state
 * @param {boolean} focused
 * @param {Mark} mark
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {Palette} colours
 * @param {Look} look
 */
export function draw_marks(ctx, band, state, focused, mark, px, width, colours, {font_px: px_font, widths}) {
  /** @type {{words: string, left: number, wide: number, low: boolean, colour: string, held: boolean}[]} */
  const labels = []
  /**
   * @typedef {{dash: number[], colour: string, thick: number, words: string, side: "left" | "right", low?: boolean}} Style
   * @param {number} s
   * @param {Style} style
   */
  const line = (s, {dash, colour, thick, words, side, low}) => {
    const x = Math.round(px(s)) + 0.5
    if (x < -1 || x > width + 1) return
    upright(ctx, px(s), band.top + 2, band.top + band.height - 2, {dash, colour, thick})
    if (!words) return
    const wide = ctx.measureText(words).width
    labels.push({
      words,
      left: side === "right" ? x + 4 : x - 4 - wide,
      wide,
      low: Boolean(low),
      colour,
      held: thick > 2,
    })
  }
  for (const [k, {letter, bursts}] of (state.dispute?.candidates ?? []).entries()) {
    /** @type {Omit<Style, "words">} */
    const look = {dash: k ? [2, 3] : [7, 3], colour: colours.ink, thick: 1.6, side: k ? "right" : "left"}
    for (const burst of bursts) {
      line(burst.onset_s, {...look, words: letter})
      if (burst.offset_s != null) line(burst.offset_s, {...look, words: `${letter} off`, low: true})
    }
  }
  const auto = state.automatic
  if (auto.onset_s != null) {
    line(auto.onset_s, {
      dash: [1, 3],
      colour: colours.automatic,
      thick: 1.2,
      words: focused && !state.interval_s ? "automatic" : "",
      side: "left",
      low: true,
    })
  }
  for (const burst of state.bursts) {
    const selected = focused && burst.id === mark.burst
    const held = (/** @type {Side} */ side) => selected && mark.side === side
    const onset = (held("onset") ? mark.at_s : null) ?? burst.onset_s
    const offset = (held("offset") ? mark.at_s : null) ?? burst.offset_s
    const number = state.bursts.length > 1 ? ` ${state.bursts.indexOf(burst) + 1}` : ""
    const thick = (/** @type {Side} */ side) => (held(side) ? 3 : 1.6)
    const words = `${focused ? "onset" : "on"}${number}`
    line(onset, {dash: [], colour: colours.onset, thick: thick("onset"), words, side: "right"})
    if (burst.half_width_s != null) {
      const half = px(onset + burst.half_width_s) - px(onset)
      const own = widths ? `± ${Number((burst.half_width_s * 1000).toPrecision(3))} ms (own)` : "± (own)"
      draw_whisker(ctx, px(onset), half, band.top + 1.9 * px_font + 3, own, px_font, colours)
    }
    if (offset != null) {
      line(offset, {
        dash: [6, 3],
        colour: colours.offset,
        thick: thick("offset"),
        words: `${focused ? "offset" : "off"}${number}`,
        side: "right",
        low: true,
      })
    }
  }
  /** @type {typeof labels} */
  const written = []
  for (const label of labels.sort((a, b) => Number(b.held) - Number(a.held))) {
    const [left, right] = [label.left - 2, label.left + label.wide + 2]
    if (written.some((one) => one.low === label.low && left < one.left + one.wide && one.left < right)) continue
    written.push(label)
    const y = label.low ? band.top + band.height - 6 : band.top + px_font + 1
    plate(ctx, label.words, label.left, y, colours, "left", label.colour)
  }
}

/**
 * How far the onset may lie to either side, by the reviewer's own word: a thin bar with ends, and its words.
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} half
 * @param {number} y
 * @param {string} words
 * @param {number} px_font
 * @param {Palette} colours
 */
function draw_whisker(ctx, x, half, y, words, px_font, colours) {
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 1.4
  ctx.beginPath()
  ctx.moveTo(x - half, y)
  ctx.lineTo(x + half, y)
  for (const end of [x - half, x + half]) {
    ctx.moveTo(end, y - 3)
    ctx.lineTo(end, y + 3)
  }
  ctx.stroke()
  plate(ctx, words, x + Math.max(half, 2) + 5, y + 0.4 * px_font, colours, "left", colours.onset)
}
