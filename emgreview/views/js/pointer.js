// Pointer work on the picture: a click sets the cursor, a double click puts the mark there, a mark can be dragged.

const STILL_PX = 3 // a pointer that moves less has not moved a mark, nor the picture
const REACH_PX = 7

/**
 * `hand` is that of hand.js; `view` offers layer(), bands(height), channel(row), face(row): the keys and the channel go
 * where was pressed, false where the press counts for nothing more.
 */
function listen_to_pointer(picture, hand, view) {
  let drag = null // {from_s, grabbed_s, from_x, moved}
  let press = null // where the pointer went down beside every mark, until it pans

  function place(event) {
    const box = view.layer().canvas.getBoundingClientRect()
    const [x, y] = [event.clientX - box.left, event.clientY - box.top]
    const [x0, x1] = view.layer().range()
    return {
      x, seconds: x0 + (x / box.width) * (x1 - x0), reach_s: (REACH_PX / box.width) * (x1 - x0),
      inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height,
      row: view.bands(box.height).find((b) => !b.auxiliary && y >= b.top && y < b.top + b.height)?.row,
    }
  }

  function near({row, seconds, reach_s}) {
    const channel = row == null ? null : view.channel(row)
    if (!channel) return null
    const [mark] = marks_of(channel).sort((a, b) => Math.abs(a.s - seconds) - Math.abs(b.s - seconds))
    return mark && Math.abs(mark.s - seconds) <= reach_s ? mark : null
  }

  function let_go() {
    press = null
    if (!drag) return false
    drag = null
    hand.drop()
    return true
  }

  function on_down(event) {
    press = null
    if (!view.layer() || event.button !== 0) return
    const at = place(event)
    if (!at.inside) return
    const mark = near(at)
    if (at.row != null && !view.face(at.row)) return
    if (!mark) {
      press = at
      return
    }
    event.stopPropagation() // a mark is taken: the plot must not pan
    event.preventDefault()
    hand.take(mark)
    drag = {from_s: mark.s, grabbed_s: at.seconds, from_x: at.x, moved: false}
    picture.setPointerCapture(event.pointerId)
  }

  function on_move(event) {
    if (!view.layer()) return
    const at = place(event)
    if (drag) {
      event.stopPropagation()
      drag.moved ||= Math.abs(at.x - drag.from_x) >= STILL_PX
      if (drag.moved) hand.hold(drag.from_s + at.seconds - drag.grabbed_s)
      return
    }
    if (press && Math.abs(at.x - press.x) >= STILL_PX) press = null
    if (at.inside) picture.style.cursor = near(at) ? "ew-resize" : ""
    hand.hover(at.inside ? at.seconds : null)
  }

  function on_up(event) {
    if (press) hand.set_cursor(press.seconds)
    press = null
    if (!drag) return
    event.stopPropagation()
    const {moved, grabbed_s} = drag
    drag = null
    if (moved) return hand.put()
    hand.drop()
    hand.set_cursor(grabbed_s)
  }

  function on_double(event) {
    if (!view.layer() || event.button !== 0) return
    const at = place(event)
    if (!at.inside || at.row == null || near(at) || !view.face(at.row)) return
    hand.set_cursor(at.seconds)
    hand.to_cursor()
  }

  picture.addEventListener("pointerdown", on_down, true)
  picture.addEventListener("pointermove", on_move, true)
  picture.addEventListener("pointerup", on_up, true)
  picture.addEventListener("dblclick", on_double, true)
  picture.addEventListener("pointerleave", () => hand.hover(null))
  picture.addEventListener("pointercancel", let_go, true)
  picture.addEventListener("lostpointercapture", let_go, true)
  return {let_go, get dragging() { return drag != null }}
}
