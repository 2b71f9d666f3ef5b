// @ts-check
// The pointer on a long recording: drag to pan, click to set the cursor, wheel to zoom, marks by their edges, the ribbon
// to go anywhere. Turns what the hand does into calls; decides nothing.

import {place_of} from "../shared/geometry.js"

/** @import {Layer} from "../shared/layer.js" */
/** @import {Band, Span} from "../types.js" */
/** @import {Marks} from "./marks.js" */
/** @import {Screen} from "./screen.js" */
/** @import {Setup} from "./types.js" */

const STILL_PX = 3 // a pointer that moved less than this has clicked

/**
 * @param {Screen} screen
 * @param {Setup} setup
 * @param {Marks} marks
 * @param {{
 *   layer: () => Layer | null, bands: (height: number) => Band[], show: (x0: number, x1: number) => void,
 *   shift: (by_s: number) => void, zoom: (factor: number, around: number) => void, refresh: () => void,
 *   take_channel: (row: number) => void, set_cursor: (s: number) => void, hover: (s: number | null) => void,
 *   centre: (s: number) => void}} view
 */
export function listen_to_pointer(screen, setup, marks, view) {
  const {root, picture, ribbon} = screen
  /** @type {{x: number, range: Span, s_per_px: number, s: number, far: boolean} | null} */
  let dragging = null

  /** @param {MouseEvent} event */
  function place(event) {
    const layer = view.layer()
    return layer && {...place_of(event, layer, view.bands), range: layer.range()}
  }

  /** @param {PointerEvent} event */
  function on_down(event) {
    const at = place(event)
    if (!at?.inside || event.button !== 0) return
    event.stopPropagation()
    event.preventDefault()
    if (screen.asking.keeps()) return
    screen.asking.close()
    root.focus()
    picture.setPointerCapture(event.pointerId)
    if (at.band) view.take_channel(at.band.row)
    const {range, s_per_px, s} = at
    if (!marks.down(at, event)) dragging = {x: event.clientX, range, s_per_px, s, far: false}
    view.refresh()
  }

  /** @param {PointerEvent} event */
  function on_move(event) {
    const at = place(event)
    if (!at) return
    event.stopPropagation()
    if (marks.drag(at)) return view.refresh()
    if (dragging) {
      const by_px = dragging.x - event.clientX
      dragging.far ||= Math.abs(by_px) >= STILL_PX
      const by_s = by_px * dragging.s_per_px
      if (dragging.far) view.show(dragging.range[0] + by_s, dragging.range[1] + by_s)
      return
    }
    picture.style.cursor = at.inside && setup.decides && marks.edge_at(at) ? "ew-resize" : ""
    view.hover(at.inside ? at.s : null)
  }

  /** @param {PointerEvent} event */
  function on_up(event) {
    if (!dragging && !marks.up()) return
    event.stopPropagation()
    if (dragging && !dragging.far) view.set_cursor(dragging.s)
    dragging = null
    view.refresh()
  }

  /** @param {WheelEvent} event */
  function on_wheel(event) {
    if (root.dataset.keys !== "on") return // without the focus the page scrolls
    const at = place(event)
    if (!at?.inside) return
    event.preventDefault()
    event.stopPropagation()
    const steps = Math.max(-4, Math.min(4, event.deltaY / (event.deltaMode ? 3 : 100)))
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      view.shift((event.deltaX || event.deltaY) * at.s_per_px)
    } else view.zoom(2 ** (steps / 3), at.s)
  }

  picture.addEventListener("pointerdown", on_down, true)
  picture.addEventListener("pointermove", on_move, true)
  picture.addEventListener("pointerup", on_up, true)
  picture.addEventListener("pointercancel", on_up, true)
  picture.addEventListener("pointerleave", () => view.hover(null))
  picture.addEventListener("wheel", on_wheel, {capture: true, passive: false})

  let on_ribbon = false
  const follow = (/** @type {PointerEvent} */ event) =>
    view.centre((event.offsetX / ribbon.clientWidth) * setup.duration_s)
  ribbon.addEventListener("pointerdown", (event) => {
    if (!view.layer() || event.button !== 0) return
    event.preventDefault()
    root.focus()
    ribbon.setPointerCapture(event.pointerId)
    on_ribbon = true
    follow(event)
  })
  ribbon.addEventListener("pointermove", (event) => on_ribbon && follow(event))
  const let_go = () => {
    on_ribbon = false
  }
  ribbon.addEventListener("pointerup", let_go)
  ribbon.addEventListener("pointercancel", let_go)
}
