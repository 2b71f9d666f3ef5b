// @ts-check
// Pointer work on the picture: a click sets the cursor, a double click puts the mark there, a mark can be dragged.

import {nearest, place_of} from "../shared/geometry.js"
import {marks_of} from "./selection.js"

/** @import {Place} from "../shared/geometry.js" */
/** @import {Layer} from "../shared/layer.js" */
/** @import {Band} from "../types.js" */
/** @import {Selection} from "./selection.js" */
/** @import {ChannelCard} from "./types.js" */

const STILL_PX = 3 // a pointer that moves less has not moved a mark, nor the picture
const REACH_PX = 7

/**
 * @param {HTMLElement} picture
 * @param {Selection} selection
 * @param {{
 *   layer: () => Layer | null, bands: (height: number) => Band[], channel: (row: number) => ChannelCard | null | undefined,
 *   face: (row: number) => boolean}} view
 *   `face(row)`: the keys and the channel go where was pressed; false where the press counts for nothing more
 */
export function listen_to_pointer(picture, selection, view) {
  /** @type {{from_s: number, grabbed_s: number, from_x: number, moved: boolean} | null} */
  let drag = null
  /** @type {Place | null} where the pointer went down beside every mark, until it pans */
  let press = null

  /** @param {MouseEvent} event */
  function place(event) {
    const layer = view.layer()
    return layer && place_of(event, layer, view.bands)
  }

  /** The EMG channel of a place.
   * @param {Place} at */
  const row_of = ({band}) => (band && !band.auxiliary ? band.row : null)

  /** @param {Place} at */
  function near(at) {
    const row = row_of(at)
    const channel = row == null ? null : view.channel(row)
    return channel ? nearest(marks_of(channel), at.s, REACH_PX * at.s_per_px) : null
  }

  function let_go() {
    press = null
    if (!drag) return false
    drag = null
    selection.drop()
    return true
  }

  /** @param {PointerEvent} event */
  function on_down(event) {
    press = null
    const at = place(event)
    if (!at?.inside || event.button !== 0) return
    const mark = near(at)
    const row = row_of(at)
    if (row != null && !view.face(row)) return
    if (!mark) {
      press = at
      return
    }
    event.stopPropagation() // a mark is taken: the plot must not pan
    event.preventDefault()
    selection.take(mark)
    drag = {from_s: mark.s, grabbed_s: at.s, from_x: at.x, moved: false}
    picture.setPointerCapture(event.pointerId)
  }

  /** @param {PointerEvent} event */
  function on_move(event) {
    const at = place(event)
    if (!at) return
    if (drag) {
      event.stopPropagation()
      drag.moved ||= Math.abs(at.x - drag.from_x) >= STILL_PX
      if (drag.moved) selection.hold(drag.from_s + at.s - drag.grabbed_s)
      return
    }
    if (press && Math.abs(at.x - press.x) >= STILL_PX) press = null
    if (at.inside) picture.style.cursor = near(at) ? "ew-resize" : ""
    selection.hover(at.inside ? at.s : null)
  }

  /** @param {PointerEvent} event */
  function on_up(event) {
    if (press) selection.set_cursor(press.s)
    press = null
    if (!drag) return
    event.stopPropagation()
    const {moved, grabbed_s} = drag
    drag = null
    if (moved) return selection.put()
    selection.drop()
    selection.set_cursor(grabbed_s)
  }

  /** @param {MouseEvent} event */
  function on_double(event) {
    const at = place(event)
    if (!at?.inside || event.button !== 0) return
    const row = row_of(at)
    if (row == null || near(at) || !view.face(row)) return
    selection.set_cursor(at.s)
    selection.to_cursor()
  }

  picture.addEventListener("pointerdown", on_down, true)
  picture.addEventListener("pointermove", on_move, true)
  picture.addEventListener("pointerup", on_up, true)
  picture.addEventListener("dblclick", on_double, true)
  picture.addEventListener("pointerleave", () => selection.hover(null))
  picture.addEventListener("pointercancel", let_go, true)
  picture.addEventListener("lostpointercapture", let_go, true)
  return {
    let_go,
    get dragging() {
      return drag != null
    },
    /** How much is dragged that is not yet sent. */
    get held() {
      return Number(Boolean(drag?.moved))
    },
    /** The page goes: what is dragged is put where it is. */
    put() {
      if (!drag?.moved) return
      drag = null
      selection.put()
    },
  }
}

/** @typedef {ReturnType<typeof listen_to_pointer>} Pointer */
