// Signs of what was decided outside the trial: cues corrected, added or taken for none, stretches set aside.

/** Lines over all channels, by the kind that their card names. */
const LINES = {
  cue: {dash: [], thick: 1.4}, corrected: {dash: [], thick: 2.6}, recorded: {dash: [5, 5], thick: 1},
  none: {dash: [1, 5], thick: 1.4}, added: {dash: [12, 3, 2, 3], thick: 1.4}, response: {dash: [8, 4], thick: 1},
  other: {dash: [2, 4], thick: 1},
}

const HATCH_PX = 9

/** Hatch the stretches of a channel that are set aside, with their words. */
function draw_aside(ctx, stretches, band, px, width, colours) {
  for (const [start_s, stop_s, words] of stretches) {
    const [x0, x1] = [Math.max(0, px(start_s)), Math.min(width, Math.max(px(stop_s), px(start_s) + 2))]
    if (x1 <= 0 || x0 >= width) continue
    ctx.save()
    ctx.beginPath()
    ctx.rect(x0, band.top, x1 - x0, band.height)
    ctx.clip()
    ctx.strokeStyle = colours.faint
    ctx.lineWidth = 1
    ctx.beginPath()
    for (let x = x0 - band.height - (x0 % HATCH_PX); x < x1; x += HATCH_PX) { // one pattern, however the view lies
      ctx.moveTo(x, band.top + band.height)
      ctx.lineTo(x + band.height, band.top)
    }
    ctx.stroke()
    ctx.strokeRect(x0, band.top + 1, x1 - x0, band.height - 2)
    ctx.restore()
    plate(ctx, words, Math.min(x0 + 3, width - ctx.measureText(words).width - 4),
      band.top + band.height * 0.4 + 4, colours)
  }
}
