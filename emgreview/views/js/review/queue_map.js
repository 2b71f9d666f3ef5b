// @ts-check
// The map of all trials in the order of the review: one sign a trial, the one on the screen framed.

import {h} from "../shared/elements.js"
import {context_of} from "../shared/paint.js"

/** @import {Palette} from "../shared/palette.js" */

const DRAWN_PX = 11 // of a cell, before it is scaled to the letters of the page

/**
 * Which trial lies at a place of a map, if any.
 * @param {number} x
 * @param {number} y
 * @param {{per_row: number, cell: number, n: number}} map  its cells in a row, their size in px, the number of trials
 */
export function cell_at(x, y, {per_row, cell, n}) {
  const i = Math.floor(y / cell) * per_row + Math.floor(x / cell)
  return i >= 0 && i < n ? i : undefined
}

/**
 * The map in its frame; `go_to` is called where it is clicked, without a trial where none lies.
 * @param {(index: number | undefined) => void} go_to
 */
export function make_queue_map(go_to) {
  const map = h("canvas", {class: "map", tabindex: -1, role: "img"})
  const element = h("div", {class: "map-frame"}, map)
  let laid = {per_row: 1, cell: DRAWN_PX, n: 0}
  /** @type {number[]} */
  let shown = [] // the trials by place
  map.addEventListener("click", (event) => {
    const place = cell_at(event.offsetX, event.offsetY, laid)
    go_to(place === undefined ? undefined : shown[place])
  })

  /** `order`: the trials by place, `statuses` those of each, `place` that of the one on the screen.
   * @param {{order: number[], statuses: string[], place: number}} what @param {Palette} colours @param {number} cell */
  function paint({order, statuses, place}, colours, cell) {
    shown = order
    const per_row = Math.max(1, Math.floor((element.clientWidth - 4) / cell))
    laid = {per_row, cell, n: order.length}
    const [width, height] = [per_row * cell, Math.ceil(statuses.length / per_row) * cell]
    const ratio = window.devicePixelRatio || 1
    Object.assign(map, {width: width * ratio, height: height * ratio})
    Object.assign(map.style, {width: `${width}px`, height: `${height}px`})
    const ctx = context_of(map)
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    ctx.clearRect(0, 0, width, height)
    ctx.scale(cell / DRAWN_PX, cell / DRAWN_PX)
    statuses.forEach((status, i) => {
      const [x, y] = [(i % per_row) * DRAWN_PX + 1.5, Math.floor(i / per_row) * DRAWN_PX + 1.5]
      draw_sign(ctx, status, x, y, colours.ink)
      if (i !== place) return
      ctx.strokeStyle = colours.envelope
      ctx.lineWidth = 2
      ctx.strokeRect(x - 1, y - 1, 10, 10)
    })
    map.setAttribute("aria-label", `map of ${statuses.length} trials, at ${place + 1}`)
  }

  return {element, paint}
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {string} status
 * @param {number} x
 * @param {number} y
 * @param {string} ink
 */
function draw_sign(ctx, status, x, y, ink) {
  ctx.strokeStyle = ctx.fillStyle = ink
  ctx.lineWidth = 1
  if (status === "not read yet") return ctx.fillRect(x + 3.5, y + 3.5, 1.5, 1.5)
  if (status === "to discuss") {
    ctx.beginPath()
    ctx.moveTo(x + 4, y)
    ctx.lineTo(x + 8, y + 4)
    ctx.lineTo(x + 4, y + 8)
    ctx.lineTo(x, y + 4)
    ctx.closePath()
    ctx.stroke()
    return
  }
  ctx.strokeRect(x + 0.5, y + 0.5, 7, 7)
  if (status === "reviewed") ctx.fillRect(x + 2, y + 2, 4, 4)
  if (status === "begun") ctx.fillRect(x + 1, y + 1, 3, 6)
}
