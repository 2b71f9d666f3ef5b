// @ts-check
// Onsets of somebody's trials, a row each, sorted by response: an onset that crosses the responses is seen at once.

import {dot, draw_axes, inside, line} from "./axes.js"
import {frame_row, row_at, trial_ticks} from "./heat.js"
import {by_response} from "./order.js"

/** @import {Paint} from "./types.js" */

const BEFORE_S = 0.3 // as much of the time before the cue is shown

/** @type {Paint} */
export function draw_raster(ctx, size, {setup, colours, font_px, trial, data}) {
  const {n, onset, low, high, offset, response} = data
  const order = by_response(response)
  const [start, stop] = [Math.max(setup.span_s[0], -BEFORE_S), setup.span_s[1]]
  const {box, px} = draw_axes(
    ctx,
    size,
    {
      x: {low: start, high: stop, words: `time from ${setup.cue} (s)`},
      y: {low: n + 0.5, high: 0.5, words: "place by response", ticks: trial_ticks(n), said: (v) => String(v)},
    },
    colours,
    font_px,
  )
  const tall = box.height / n
  const y = (/** @type {number} */ place) => box.top + (place + 0.5) * tall
  inside(ctx, box, () => {
    ctx.strokeStyle = colours.ink
    ctx.lineWidth = 1.5
    line(ctx, px(0), box.top, px(0), box.top + box.height)
    order.forEach((i, place) => {
      const at = y(place)
      if (Number.isFinite(onset[i])) {
        ctx.strokeStyle = colours.usual_line
        ctx.lineWidth = 1
        if (Number.isFinite(offset[i])) line(ctx, px(onset[i]), at, px(offset[i]), at)
        ctx.strokeStyle = colours.onset
        if (high[i] - low[i] > 0.015) line(ctx, px(low[i]), at, px(high[i]), at)
        ctx.fillStyle = colours.onset
        const half = Math.max(1.2, Math.min(4, tall / 2))
        ctx.fillRect(px(onset[i]) - 1.2, at - half, 2.4, 2 * half)
      }
      if (Number.isFinite(response[i])) {
        dot(ctx, px(response[i]), at, Math.max(1.3, Math.min(2.8, tall / 2)), colours.ink)
      }
    })
  })
  if (trial !== null) frame_row(ctx, box, y(order.indexOf(trial)), Math.max(4, tall), colours.onset)
  const found = Array.from(onset).filter(Number.isFinite).length
  const answered = Array.from(response).filter(Number.isFinite).length
  return {
    find: (x, at) => row_at(x, at, box, tall, n, (row) => order[row]),
    words: `Onsets of ${found} of ${n} trials as upright marks with a line to the offset, sorted by response; ` +
      `${answered} responses as dots; the cue is at 0.`,
  }
}
