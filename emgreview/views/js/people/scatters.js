// @ts-check
// One dot a trial of somebody: rest over trials, onset against response, onset against level.

import {dot, draw_axes, extent, inside, line, nearest_of, plain, ring} from "./axes.js"
import {run_starts, trial_ticks} from "./heat.js"

/** @import {Axis, Paint, Scene} from "./types.js" */

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {{width: number, height: number}} size
 * @param {Scene} scene
 * @param {{x: Axis, y: Axis}} axes
 * @param {(i: number) => [x: number, y: number]} values  of a trial
 * @param {(place: ReturnType<typeof draw_axes>) => void} [under]  what is painted under the dots
 */
function draw_dots(ctx, size, {colours, font_px, trial, data}, axes, values, under = () => {}) {
  const place = draw_axes(ctx, size, axes, colours, font_px)
  const {box, px, py} = place
  inside(ctx, box, () => under(place))
  /** @type {[number, number, {trial: number}][]} */
  const points = []
  for (let i = 0; i < data.n; i++) {
    const [x, y] = values(i)
    if (!Number.isFinite(x) || !Number.isFinite(y)) continue
    points.push([px(x), py(y), {trial: i}])
    dot(ctx, px(x), py(y), 2.4, colours.accent)
  }
  const chosen = points.find(([, , what]) => what.trial === trial)
  if (chosen) {
    dot(ctx, chosen[0], chosen[1], 3.2, colours.onset)
    ring(ctx, chosen[0], chosen[1], colours)
  }
  if (!points.length) {
    ctx.fillStyle = colours.faint
    ctx.textAlign = "center"
    ctx.fillText("none", box.left + box.width / 2, box.top + box.height / 2)
    ctx.textAlign = "left"
  }
  return {find: nearest_of(points), n: points.length}
}

/** Values that a logarithmic axis can show.
 * @param {Iterable<number>} values @param {[number, number]} none
 * @returns {[number, number]} */
function log_extent(values, none) {
  const [low, high] = extent([...values].filter((v) => v > 0).map(Math.log10), none, 0.08)
  const [a, b] = high - low < 0.6 ? [low - (0.6 - high + low) / 2, high + (0.6 - high + low) / 2] : [low, high]
  return [10 ** a, 10 ** b]
}

/** @type {Paint} */
export function draw_rest(ctx, size, scene) {
  const {data, channel, colours, unit} = scene
  const band = channel.rest_band.map((value) => value ?? NaN)
  const fits = unit === channel.unit && Number.isFinite(band[1])
  const [low, high] = log_extent([...data.rest, ...(fits ? band : [])], [-1, 1])
  const axes = {
    x: {low: 0.5, high: data.n + 0.5, words: "trial", ticks: trial_ticks(data.n)},
    y: {low, high, log: true, words: `rest (${unit} RMS)`},
  }
  const {find, n} = draw_dots(ctx, size, scene, axes, (i) => [i + 1, data.rest[i]], ({box, px, py}) => {
    if (fits) {
      ctx.fillStyle = colours.usual
      ctx.fillRect(box.left, py(band[2]), box.width, py(band[0]) - py(band[2]))
      ctx.strokeStyle = colours.usual_line
      line(ctx, box.left, py(band[1]), box.left + box.width, py(band[1]))
    }
    ctx.strokeStyle = colours.ink
    ctx.setLineDash([5, 3])
    for (const at of run_starts(data.run)) line(ctx, px(at + 0.5), box.top, px(at + 0.5), box.top + box.height)
    ctx.setLineDash([])
  })
  const group = fits ? ` Band: middle half of the group, ${plain(band[0])} to ${plain(band[2])} ${unit}.` : ""
  return {find, words: `RMS at rest of ${n} trials in order of time, on a logarithmic axis.${group}`}
}

/** @type {Paint} */
export function draw_onset_response(ctx, size, scene) {
  const {data, colours, setup} = scene
  const ms = (/** @type {Float64Array} */ values) => Array.from(values, (s) => 1000 * s)
  const [onset, response] = [ms(data.onset), ms(data.response)]
  const [low, high] = extent([...onset, ...response, 0], [0, 1000])
  const both = {low, high}
  const axes = {
    x: {...both, words: `response (ms from ${setup.cue})`},
    y: {...both, words: "onset (ms)"},
  }
  const {find, n} = draw_dots(ctx, size, scene, axes, (i) => [response[i], onset[i]], ({px, py}) => {
    ctx.fillStyle = colours.away
    ctx.beginPath()
    for (const [x, y] of [[low, low], [low, high], [high, high]]) ctx.lineTo(px(x), py(y))
    ctx.fill()
    ctx.strokeStyle = colours.ink
    line(ctx, px(low), py(low), px(high), py(high))
  })
  const later = onset.filter((s, i) => s >= response[i]).length
  return {
    find,
    words: `Onset against response of ${n} trials. Above the diagonal the onset follows the response: ${later}.`,
  }
}

/** @type {Paint} */
export function draw_onset_level(ctx, size, scene) {
  const {data} = scene
  const onset = Array.from(data.onset, (s) => 1000 * s)
  const [low, high] = extent([...onset, 0], [0, 1000])
  const [least, most] = extent(data.level, [0, 30])
  const axes = {
    x: {low: least, high: most, words: "level of the burst over rest (dB)"},
    y: {low, high, words: "onset (ms)"},
  }
  const {find, n} = draw_dots(ctx, size, scene, axes, (i) => [data.level[i], onset[i]])
  return {find, words: `Onset against the level of the burst over rest, ${n} trials.`}
}
