// @ts-check
// One trial on the picture, around its traces: bands, lines with words, marks, cursor. Arrays and numbers in, pixels out.

import {px_of} from "../shared/geometry.js"
import {cut_to, ms_words, plate, upright, width_of} from "../shared/paint.js"
import {PALETTES} from "../shared/palette.js"
import {draw_scale_bar, draw_smear, draw_typical, shade_plausible} from "./backdrop.js"
import {lay_bands} from "./bands.js"
import {draw_aside, LINES} from "./lines.js"
import {draw_interval, draw_marks, fit_sign, flags} from "./marks.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Band} from "../types.js" */
/** @import {Scene} from "./types.js" */

const HEAD_SHARE = 0.3 // of the width, at most, for the words of a line over all channels
const NAME_SHARE = 0.4 // and for the name of a channel

/**
 * Everything around the traces: called at every paint, cheap.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {HTMLCanvasElement} traces  prepared by draw_traces
 * @param {number} width
 * @param {number} height
 */
export function draw_trial(ctx, scene, traces, width, height) {
  const {setup, card, look, focus_row} = scene
  const {font_px} = look
  const colours = PALETTES[look.theme]
  const px = (/** @type {number} */ s) => px_of(s, look.range, width)
  const bands = lay_bands(setup, height, font_px)
  ctx.font = `${font_px}px system-ui, sans-serif`
  draw_behind(ctx, scene, bands, px, width, height, colours)
  ctx.drawImage(traces, 0, 0, width, height)
  plate(ctx, "rest", px(setup.rest_s[0]) + 3, height - 9, colours, "left", colours.faint)
  if (setup.plausible_s) { // its word above the cursor's
    plate(ctx, "plausible", px(setup.plausible_s[1]) - 3, height - 2 * font_px - 6, colours, "right", colours.faint)
  }
  for (const band of bands) {
    if (!band.auxiliary) draw_aside(ctx, card.channels[band.row].aside, band, px, width, colours)
    ctx.strokeStyle = colours.grid
    ctx.lineWidth = 1
    ctx.beginPath()
    ctx.moveTo(0, Math.round(band.top + band.height) - 0.5)
    ctx.lineTo(width, Math.round(band.top + band.height) - 0.5)
    ctx.stroke()
  }
  const heads = draw_lines(ctx, card.lines, px, width, height, colours)
  for (const band of bands) {
    if (band.auxiliary) name_auxiliary(ctx, scene, band, width, colours)
    else draw_channel(ctx, scene, band, px, width, colours)
  }
  write_heads(ctx, heads, width, font_px, colours)
  draw_cursor(ctx, scene, bands[focus_row], px, width, height, colours)
}

/**
 * What lies behind the traces: the present channel's ground, rest, the study's window, usual envelopes, intervals.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Band[]} bands
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {number} height
 * @param {Palette} colours
 */
function draw_behind(ctx, {setup, card, look, focus_row, trial, typical}, bands, px, width, height, colours) {
  const here = bands[focus_row]
  ctx.fillStyle = colours.band
  ctx.fillRect(0, here.top, width, here.height)
  const [rest_from, rest_to] = setup.rest_s.map(px)
  ctx.fillStyle = colours.rest
  ctx.fillRect(rest_from, 0, rest_to - rest_from, height)
  if (setup.plausible_s) shade_plausible(ctx, setup.plausible_s, px, height, colours)
  for (const band of bands) {
    if (band.auxiliary) continue
    const usual = typical.get(`${trial.recording}|${band.row}`)
    if (usual) draw_typical(ctx, usual, band, trial.full_scale[band.row] / look.gain, setup.start_s, px, colours)
    const {low_s, high_s} = card.channels[band.row].automatic
    if (low_s == null || high_s == null) continue
    ctx.fillStyle = colours.interval
    ctx.fillRect(px(low_s), band.top + 1, Math.max(2, px(high_s) - px(low_s)), band.height - 2)
  }
}

/**
 * Lines over all channels; returns their words and where they stand.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene["card"]["lines"]} lines
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {number} height
 * @param {Palette} colours
 */
function draw_lines(ctx, lines, px, width, height, colours) {
  const heads = []
  for (const {kind, at_s, words} of lines) {
    const x = Math.round(px(at_s)) + 0.5
    if (x < 0 || x > width) continue
    upright(ctx, px(at_s), 0, height, {colour: colours.ink, ...LINES[kind]})
    heads.push({words, x})
  }
  return heads
}

/**
 * Words of lines beside each other, none over another.
 * @param {CanvasRenderingContext2D} ctx
 * @param {{words: string, x: number}[]} heads
 * @param {number} width
 * @param {number} font_px
 * @param {Palette} colours
 */
function write_heads(ctx, heads, width, font_px, colours) {
  let edge = -Infinity
  for (const {words, x} of heads.sort((a, b) => a.x - b.x)) {
    const said = cut_to(ctx, words, HEAD_SHARE * width)
    const wide = width_of(ctx, said) + 8
    const left = Math.min(Math.max(x + 3, edge), width - wide)
    plate(ctx, said, left, font_px + 2, colours)
    edge = left + wide
  }
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Band} band
 * @param {number} width
 * @param {Palette} colours
 */
function name_auxiliary(ctx, {setup, trial, look}, band, width, colours) {
  const {label, unit_label} = setup.channels[band.row]
  const {limits = []} = trial.traces.find((trace) => trace.row === band.row) ?? {}
  const [low, high] = limits.map((value) => Number(value.toPrecision(3)))
  const words = look.blind ? `${label}: hidden in a blind review` : `${label} (${unit_label}), ${low} to ${high}`
  plate(ctx, cut_to(ctx, words, width - 12), 6, band.top + look.font_px + 1, colours)
}

/**
 * A channel's name, state, scale and marks.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Band} band
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {Palette} colours
 */
function draw_channel(ctx, {setup, card, trial, look, mark, focus_row}, band, px, width, colours) {
  const {row} = band
  const {font_px, gain} = look
  const channel = setup.channels[row]
  const state = card.channels[row]
  const y = band.top + font_px + 1
  ctx.font = `${row === focus_row ? "bold " : ""}${font_px}px system-ui, sans-serif`
  const taken = flags(state, ctx, px)
  const long_name = channel.label + (channel.over ? ` · over ${channel.over}` : "")
  const first_px = Math.min(...taken.map(([left]) => left).filter((left) => left > 0), width)
  const whole = long_name.length < 100 && width_of(ctx, long_name) + 8 < first_px
  const name = whole ? long_name : cut_to(ctx, channel.label, NAME_SHARE * width, 1)
  plate(ctx, name, 6, y, colours)
  /** @type {[number, number]} */
  const named = [0, width_of(ctx, name) + 8]
  const [words, right] = fit_sign(ctx, `${state.sign} ${state.words}`, [named, ...taken], width)
  plate(ctx, words, right, y, colours, "right", state.reviewed ? colours.ink : colours.faint)
  ctx.font = `${font_px}px system-ui, sans-serif`
  draw_scale_bar(ctx, band, channel, trial.full_scale[row] / gain, trial.level_words[row], colours)
  if (state.interval_s) draw_interval(ctx, band, state.interval_s, row === focus_row ? mark : {}, px, colours)
  draw_marks(ctx, band, state, row === focus_row, mark, px, width, colours, look)
}

/**
 * The cursor, what the filter makes of a step there, and where the pointer is.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Scene} scene
 * @param {Band} here
 * @param {(s: number) => number} px
 * @param {number} width
 * @param {number} height
 * @param {Palette} colours
 */
function draw_cursor(ctx, {setup, look, cursor_s, hover_s}, here, px, width, height, colours) {
  const time = (/** @type {number} */ s) => (look.read_out ? ms_words(s) : "")
  const line = (
    /** @type {number} */ s,
    /** @type {string} */ words,
    /** @type {number} */ low,
    /** @type {number[]} */ dash = [],
  ) => {
    if (s < look.range[0] || s > look.range[1]) return
    upright(ctx, px(s), 0, height, {colour: colours.faint, dash})
    const x = Math.round(px(s)) + 6.5
    if (words) plate(ctx, words, Math.min(x, width - ctx.measureText(words).width - 3), height - low, colours)
  }
  line(cursor_s, `cursor ${time(cursor_s)}`.trim(), 6)
  if (look.smear) draw_smear(ctx, setup.smear, cursor_s, here, px, colours, look.widths)
  if (hover_s != null) line(hover_s, time(hover_s), look.font_px + 12, [1, 2])
}
