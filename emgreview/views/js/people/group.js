// @ts-check
// Somebody among the group: spectra against its band, rates against limits by chance; and the person's channels among
// one another.

import {cut_to} from "../shared/paint.js"
import {dot, draw_axes, extent, inside, legend, line, nearest_of, plain, ring} from "./axes.js"

/** @import {Paint, Rates} from "./types.js" */

/** @type {Paint} */
export function draw_spectra(ctx, size, {setup, colours, font_px, data, channel, unit}) {
  const {hz} = setup
  const fits = unit === channel.unit
  const band = fits ? channel.spectra_band : []
  const seen = [...data.spectra.flatMap((one) => [...one]), ...band.flat(2).map((v) => v ?? NaN)]
  const [low, high] = extent(seen, [-40, 40])
  const last = Math.max(...hz.filter((_, k) => data.spectra.some((one) => Number.isFinite(one[k]))), 20)
  const {box, px, py} = draw_axes(
    ctx,
    size,
    {
      x: {
        low: hz[0],
        high: last,
        log: true,
        words: "frequency (Hz)",
        ticks: [10, 20, 50, 100, 200, 500, 1000].filter((f) => f <= last),
      },
      y: {low: Math.max(low, high - 70), high, words: `power (dB re 1 ${unit}²/Hz)`},
    },
    colours,
    font_px,
    {top: 1.2 * font_px},
  )
  const looks = [{colour: colours.faint, dash: [5, 3], words: "before the cue"}, {
    colour: colours.accent,
    dash: [],
    words: "after it",
  }]
  inside(ctx, box, () => {
    looks.forEach(({colour, dash}, half) => {
      if (band[half]) {
        ctx.fillStyle = half ? colours.usual : colours.away
        ctx.beginPath()
        for (const [quartile, way] of /** @type {[0 | 2, 1 | -1][]} */ ([[0, 1], [2, -1]])) {
          for (let j = 0; j < hz.length; j++) {
            const k = way > 0 ? j : hz.length - 1 - j
            const value = band[half][quartile][k]
            if (value !== null) ctx.lineTo(px(hz[k]), py(value))
          }
        }
        ctx.fill()
      }
      ctx.strokeStyle = colour
      ctx.lineWidth = 1.8
      ctx.setLineDash(dash)
      ctx.beginPath()
      hz.forEach((f, k) => {
        if (Number.isFinite(data.spectra[half][k])) ctx.lineTo(px(f), py(data.spectra[half][k]))
      })
      ctx.stroke()
    })
  })
  ctx.setLineDash([])
  ctx.lineWidth = 1
  legend(ctx, box.left, looks, colours.ink, font_px)
  return {
    find: null,
    words: "Spectra of the unfiltered signal before and after the cue; bands: " +
      (fits ? "middle half of the group." : "left out, the group has another unit."),
  }
}

/** Where the dots of people lie: side by side where several have the same.
 * @param {Pick<Rates, "n" | "none">} rates
 * @returns {[n: number, share: number, aside: number, person: number][]} */
export function rate_points({n, none}) {
  /** @type {Map<string, number>} */
  const here = new Map()
  return n.flatMap((of, person) => {
    if (!of) return []
    const key = `${of} ${none[person]}`
    const k = here.get(key) ?? 0
    here.set(key, k + 1)
    return [
      /** @type {[number, number, number, number]} */ ([
        of,
        none[person] / of,
        (k % 2 ? -1 : 1) * Math.ceil(k / 2),
        person,
      ]),
    ]
  })
}

/** @type {Paint} */
export function draw_rates(ctx, size, {setup, colours, font_px, person, channel}) {
  const {rates} = channel
  const points = rate_points(rates)
  const most = Math.max(0.1, ...points.map(([, share]) => share), 1.3 * (rates.rate ?? 0))
  const {places} = rates
  const {box, px, py} = draw_axes(
    ctx,
    size,
    {
      x: {low: places[0] ?? 0, high: places[places.length - 1] ?? 1, words: "usable trials"},
      y: {low: -0.03 * most, high: 1.06 * most, words: "none found (%)", said: (v) => plain(100 * v)},
    },
    colours,
    font_px,
    {top: 1.2 * font_px},
  )
  /** @type {[number, number, {person: number}][]} */
  const found = []
  inside(ctx, box, () => {
    rates.limits.forEach((limits, k) => {
      ctx.strokeStyle = colours.faint
      ctx.setLineDash(k ? [] : [5, 3])
      for (const side of limits) {
        ctx.beginPath()
        side.forEach((count, at) => ctx.lineTo(px(places[at]), py(count / places[at])))
        ctx.stroke()
      }
    })
    ctx.setLineDash([])
    if (rates.rate !== null) {
      ctx.strokeStyle = colours.accent
      line(ctx, box.left, py(rates.rate), box.left + box.width, py(rates.rate))
    }
    const room = box.width / 2
    for (const [n, share, aside, who] of points) {
      const x = px(n) + Math.max(-room, Math.min(room, 4.5 * aside))
      found.push([x, py(share), {person: who}])
      dot(ctx, x, py(share), 2.4, colours.accent)
    }
  })
  const limits = setup.chances.map((share, k) => (
    {colour: colours.faint, dash: k ? [] : [5, 3], words: `${plain(share)} %`, thick: 1}
  ))
  legend(ctx, box.left, [{colour: colours.accent, dash: [], words: "all"}, ...limits], colours.ink, font_px)
  const own = found.find(([, , what]) => what.person === person)
  if (own) {
    dot(ctx, own[0], own[1], 3.2, colours.onset)
    ring(ctx, own[0], own[1], colours)
  }
  const [n, none] = [rates.n[person], rates.none[person]]
  return {
    find: nearest_of(found),
    words:
      `Trials without a burst: ${none} of ${n} here, ${plain(100 * (rates.rate ?? NaN))} % in all. Limits by chance ` +
      `of ${
        setup.chances.map((share) => `${plain(share)} %`).join(" (broken) and ")
      } around that, by the exact binomial distribution.`,
  }
}

/** @type {Paint} */
export function draw_matrix(ctx, size, {setup, colours, font_px, row, alike}) {
  const {labels, values} = alike
  const n = labels.length
  ctx.font = `${font_px}px system-ui, sans-serif`
  const widest = Math.max(...labels.map((label) => ctx.measureText(label).width))
  const words_px = Math.min(widest, 0.24 * size.width)
  const left = words_px + 8
  const top = 1.6 * font_px
  const [wide, tall] = [(size.width - left - 6) / n, (size.height - top - 1.9 * font_px) / n]
  const own = labels.indexOf(setup.labels[row])
  ctx.textBaseline = "middle"
  labels.forEach((label, i) => {
    ctx.fillStyle = colours.ink
    ctx.textAlign = "right"
    ctx.font = `${i === own ? "bold " : ""}${font_px}px system-ui, sans-serif`
    ctx.fillText(cut_to(ctx, label, words_px), left - 4, top + (i + 0.5) * tall)
    ctx.textAlign = "center"
    ctx.fillText(cut_to(ctx, label, wide - 2, 1), left + (i + 0.5) * wide, 0.8 * font_px)
    for (let j = 0; j < n; j++) {
      const value = values[i * n + j]
      const [x, y] = [left + j * wide, top + i * tall]
      ctx.strokeStyle = colours.grid
      ctx.strokeRect(x + 0.5, y + 0.5, wide, tall)
      if (!Number.isFinite(value)) continue
      if (i === j) continue
      ctx.globalAlpha = Math.min(1, Math.abs(value)) * 0.85
      ctx.fillStyle = value < 0 ? colours.onset : colours.accent
      ctx.fillRect(x + 1, y + 1, wide - 1, tall - 1)
      ctx.globalAlpha = 1
      ctx.fillStyle = Math.abs(value) > 0.5 ? colours.ground : colours.ink
      ctx.textAlign = "center"
      ctx.font = `${font_px}px system-ui, sans-serif`
      const words = value.toFixed(2).replace(/^-(?=0\.00)/, "").replace("-", "−").replace(/0(?=\.)/, "")
      if (ctx.measureText(words).width < wide - 1) ctx.fillText(words, x + wide / 2, y + tall / 2)
    }
  })
  if (own >= 0) {
    ctx.strokeStyle = colours.onset
    ctx.lineWidth = 2
    ctx.strokeRect(left - 0.5, top + own * tall, n * wide + 1, tall + 1)
    ctx.lineWidth = 1
  }
  ctx.textAlign = "left"
  ctx.textBaseline = "alphabetic"
  ctx.font = `${font_px}px system-ui, sans-serif`
  ctx.fillStyle = colours.ink
  let best = -1
  for (let j = 0; j < n; j++) {
    if (own < 0 || j === own || !Number.isFinite(values[own * n + j])) continue
    if (best < 0 || Math.abs(values[own * n + j]) > Math.abs(values[own * n + best])) best = j
  }
  const most = best < 0 ? "" : `most alike: ${labels[best]}, ${plain(Number(values[own * n + best].toFixed(2)))}`
  ctx.fillText(cut_to(ctx, most, size.width - 8), 4, size.height - 0.4 * font_px)
  return {
    find(x, y) {
      const at = Math.floor((y - top) / tall)
      return x > 0 && at >= 0 && at < n ? {row: setup.labels.indexOf(labels[at])} : null
    },
    words: `Correlation of each two channels after the cue, at the same moment. ${most}`,
  }
}
