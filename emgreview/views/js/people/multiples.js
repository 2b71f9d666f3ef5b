// @ts-check
// Everybody small: the mean envelope of a channel with thin single trials, one panel a person, on common axes.

import {MISSING} from "../shared/pack.js"
import {cut_to, width_of} from "../shared/paint.js"
import {line, plain} from "./axes.js"

/** @import {Palette} from "../shared/palette.js" */
/** @import {Store} from "./store.js" */
/** @import {Box, Channel, Painted, Samples, Setup, Trials} from "./types.js" */

const LEAST_EM = [9.5, 5.6] // of a panel: width and height in letters
const ROOMY_EM = [16, 9] // and no more than that is wanted

/**
 * How many panels a page has, and how large they are.
 * @param {{width: number, height: number}} size  of the picture
 * @param {number} n  people
 * @param {number} font_px
 */
export function lay_panels({width, height}, n, font_px) {
  const [wide, high] = [width - margin_px(font_px), height - foot_px(font_px)]
  const fit = (/** @type {number} */ room, /** @type {number} */ em) => Math.max(1, Math.floor(room / (em * font_px)))
  const [most_across, most_down] = [fit(wide, LEAST_EM[0]), fit(high, LEAST_EM[1])]
  let [across, down] = [Math.min(most_across, n), Math.min(most_down, Math.ceil(n / most_across))]
  while (across > 1 && (across - 1) * down >= n && wide / across < ROOMY_EM[0] * font_px) across -= 1
  while (down < most_down && across > 1 && Math.ceil(n / (down + 1)) < across && high / down > ROOMY_EM[1] * font_px) {
    down += 1
    across = Math.ceil(n / down)
  }
  return {across, down, per_page: across * down, wide: wide / across, high: high / down}
}

/** Room left of the panels, for the numbers of their axis. @param {number} font_px */
const margin_px = (font_px) => Math.round(4.6 * font_px)
/** Room below them. @param {number} font_px */
const foot_px = (font_px) => Math.round(2.9 * font_px)

/**
 * @typedef {{
 *   setup: Setup, colours: Palette, font_px: number, row: number, channel: Channel, people: number[],
 *   own_scale: boolean, store: Pick<Store, "mean" | "singles">, flags: string[]}} Everybody  `people`: those of the page
 */

/**
 * All panels of a page, as they are whoever is chosen.
 * @param {CanvasRenderingContext2D} ctx
 * @param {{width: number, height: number}} size
 * @param {Everybody} scene
 * @returns {Painted & {boxes: [Box, number][]}}
 */
export function draw_multiples(ctx, size, scene) {
  const {setup, colours, font_px, channel, people, own_scale} = scene
  const {across, wide, high, per_page, down} = lay_panels(size, setup.people.length, font_px)
  const [left, foot] = [margin_px(font_px), foot_px(font_px)]
  ctx.font = `${font_px}px system-ui, sans-serif`
  const head = 1.35 * font_px
  /** @type {[Box, number][]} */
  const boxes = people.slice(0, per_page).map((who, k) => {
    const [x, y] = [left + (k % across) * wide, Math.floor(k / across) * high]
    return [{left: x + 2, top: y + head, width: wide - 5, height: high - head - 3}, who]
  })
  for (const [box, who] of boxes) draw_panel(ctx, box, who, scene)
  ctx.fillStyle = colours.ink
  ctx.textBaseline = "middle"
  ctx.textAlign = "right"
  const rows = Math.ceil(boxes.length / across)
  for (let k = 0; k < rows && !own_scale; k++) {
    const {top, height} = boxes[k * across][0]
    ctx.fillText(plain(Number(channel.top.toPrecision(2))), left - 4, top + y_of(channel.top, channel.top, height) + 1)
    ctx.fillText("0", left - 4, top + height - 2)
  }
  ctx.textAlign = "center"
  ctx.textBaseline = "top"
  const [start, stop] = setup.span_s
  const ticks = [...new Set([Math.ceil(start), 0, Math.floor(stop)])].filter((s) => s >= start && s <= stop)
  for (let k = 0; k < Math.min(across, boxes.length); k++) {
    const below = boxes.filter((_, i) => i % across === k).at(-1)?.[0]
    if (!below) continue
    for (const s of ticks) {
      ctx.fillText(plain(s), below.left + x_of(s, setup.span_s, below.width), below.top + below.height + 3)
    }
  }
  const bottom = Math.min(size.height - foot, rows * high)
  ctx.fillText(`time from ${setup.cue} (s)`, left + (size.width - left) / 2, bottom + 1.6 * font_px)
  ctx.save()
  ctx.translate(2, bottom / 2)
  ctx.rotate(-Math.PI / 2)
  ctx.fillText(own_scale ? "envelope, each on its own scale" : cut_to(ctx, `envelope (${channel.unit})`, bottom), 0, 0)
  ctx.restore()
  ctx.textAlign = "left"
  ctx.textBaseline = "alphabetic"
  return {
    boxes,
    find(x, y) {
      const found = boxes.find(([box]) =>
        x >= box.left && x <= box.left + box.width && y >= box.top - head && y <= box.top + box.height
      )
      return found ? {person: found[1]} : null
    },
    words:
      `Mean envelope of ${channel.label} of ${boxes.length} people with thin single trials, ${down} by ${across} panels` +
      (own_scale
        ? ", each on its own scale."
        : `, all from 0 to ${plain(channel.top)} ${channel.unit}; what goes beyond has a ▲.`),
  }
}

/**
 * Over the panels: a frame around the chosen person, and the chosen trial in it.
 * @param {CanvasRenderingContext2D} ctx
 * @param {[Box, number][]} boxes
 * @param {Everybody & {person: number, trial: number | null, data: Trials | null | undefined}} scene
 */
export function draw_chosen(ctx, boxes, scene) {
  const {setup, colours, font_px, row, store, person, trial, data} = scene
  const [box] = boxes.find(([, who]) => who === person) ?? []
  if (!box) return
  const head = 1.35 * font_px
  ctx.strokeStyle = colours.onset
  ctx.lineWidth = 2
  ctx.strokeRect(box.left - 1, box.top - head + 1, box.width + 2, box.height + head)
  const mean = store.mean(person, row)
  if (trial !== null && data && mean) {
    ctx.save()
    ctx.beginPath()
    ctx.rect(box.left, box.top, box.width, box.height)
    ctx.clip()
    draw_curve(
      ctx,
      data.envelope,
      trial * setup.bins,
      setup.bins,
      box,
      box.width / setup.bins,
      top_of(mean, person, scene),
    )
    ctx.restore()
  }
  ctx.lineWidth = 1
}

/** The top of somebody's panel.
 * @param {Float64Array} mean @param {number} who @param {Everybody} scene */
function top_of(mean, who, {setup, channel, own_scale}) {
  const peak = mean.reduce((most, v) => (v > most ? v : most), 0)
  return own_scale || setup.people[who].unit !== channel.unit ? 1.5 * peak || 1 : channel.top
}

/** @param {number} s @param {[number, number]} span @param {number} width */
const x_of = (s, [start, stop], width) => ((s - start) / (stop - start)) * width
/** From the top of a panel: its top value a little below. @param {number} value @param {number} top @param {number} height */
const y_of = (value, top, height) => height * (1 - value / (1.06 * top))

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} box
 * @param {number} who
 * @param {Everybody} scene
 */
function draw_panel(ctx, box, who, scene) {
  const {setup, colours, font_px, row, channel, store, flags} = scene
  const {left, top: above, width, height} = box
  const somebody = setup.people[who]
  const mean = store.mean(who, row)
  const foreign = somebody.unit !== channel.unit
  const {bins} = setup
  ctx.fillStyle = colours.band
  ctx.fillRect(left, above, width, height)
  ctx.textBaseline = "alphabetic"
  ctx.fillStyle = colours.ink
  const name = cut_to(ctx, somebody.name, width)
  ctx.fillText(name, left, above - 0.35 * font_px)
  const beside = left + width_of(ctx, `${name} `)
  const said = [flags[who] && `⚑ ${flags[who]}`, foreign && somebody.unit].filter(Boolean).join(", ")
  ctx.fillText(cut_to(ctx, said, left + width - beside, 3), beside, above - 0.35 * font_px)
  if (!mean) {
    ctx.fillStyle = colours.faint
    ctx.fillText(cut_to(ctx, "no such channel", width), left + 3, above + height / 2)
    return
  }
  const peak = mean.reduce((most, v) => (v > most ? v : most), 0)
  const top = top_of(mean, who, scene)
  const step = width / bins
  ctx.save()
  ctx.beginPath()
  ctx.rect(left, above, width, height)
  ctx.clip()
  ctx.strokeStyle = colours.grid
  const zero = Math.round(left + x_of(0, setup.span_s, width)) + 0.5
  line(ctx, zero, above, zero, above + height)
  const singles = store.singles(who, row)
  if (singles) {
    ctx.strokeStyle = colours.usual_line
    ctx.lineWidth = 0.5
    for (let from = 0; from < singles.samples.length; from += bins) draw_curve(ctx, singles, from, bins, box, step, top)
  }
  ctx.strokeStyle = colours.accent
  ctx.lineWidth = 1.8
  ctx.beginPath()
  mean.forEach((v, k) => {
    if (Number.isFinite(v)) ctx.lineTo(left + (k + 0.5) * step, above + y_of(v, top, height))
  })
  ctx.stroke()
  ctx.lineWidth = 1
  ctx.restore()
  if (peak > 1.06 * top) {
    ctx.fillStyle = colours.ink
    ctx.fillText("▲", left + width - font_px, above + font_px)
  }
}

/** One trial of a pack.
 * @param {CanvasRenderingContext2D} ctx @param {Samples} samples @param {number} from @param {number} bins @param {Box} box
 * @param {number} step @param {number} top */
function draw_curve(ctx, {samples, scale}, from, bins, box, step, top) {
  ctx.beginPath()
  for (let k = 0; k < bins; k++) {
    const sample = samples[from + k]
    if (sample !== MISSING) ctx.lineTo(box.left + (k + 0.5) * step, box.top + y_of(sample * scale, top, box.height))
  }
  ctx.stroke()
}
