// The mark in hand: which burst and side of the present channel, where it is being put, and the pointer that drags it.

const STILL_PX = 3 // a pointer that moves less has not moved a mark
const REACH_PX = 7

/**
 * @typedef {{burst: string | null, side: "onset" | "offset" | "earliest" | "latest", at_s: number | null}} Mark
 *   at_s: where it is being put, null while it lies where the card says
 */

/** The marks of one channel's card that can be taken in hand. */
function marks_of({bursts, interval_s}) {
  const marks = bursts.flatMap((burst) => ["onset", "offset"].map((side) => ({burst: burst.id, side, s: burst[`${side}_s`]})))
  if (interval_s) {
    marks.push({burst: null, side: "earliest", s: interval_s[0]}, {burst: null, side: "latest", s: interval_s[1]})
  }
  return marks.filter((mark) => mark.s != null)
}

/** The decision that puts a mark where it is held, as [command, arguments]; the card shows it at once, until Python has
 * confirmed or refused it. */
function put_mark(channel, {burst, side, at_s}) {
  if (side === "earliest" || side === "latest") {
    const ends = side === "earliest" ? [at_s, channel.interval_s[1]] : [channel.interval_s[0], at_s]
    channel.interval_s = [Math.min(...ends), Math.max(...ends)]
    return ["not_locatable", {earliest_s: channel.interval_s[0], latest_s: channel.interval_s[1]}]
  }
  channel.bursts.find((known) => known.id === burst)[`${side}_s`] = at_s
  return ["move", {burst, [`${side}_s`]: at_s}]
}

/**
 * Pointer work on the picture. `review` offers: layer(), bands(height), channel(row), take(row, mark), hold(at_s), put(),
 * drop(), point(seconds, row).
 */
function listen_to_pointer(picture, review) {
  let drag = null // {from_s, grabbed_s, from_x, moved}

  function place(event) {
    const box = review.layer().canvas.getBoundingClientRect()
    const [x, y] = [event.clientX - box.left, event.clientY - box.top]
    const [x0, x1] = review.layer().range()
    return {
      x, seconds: x0 + (x / box.width) * (x1 - x0), reach_s: (REACH_PX / box.width) * (x1 - x0),
      inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height,
      row: review.bands(box.height).find((b) => !b.auxiliary && y >= b.top && y < b.top + b.height)?.row,
    }
  }

  function near({row, seconds, reach_s}) {
    const channel = row == null ? null : review.channel(row)
    if (!channel) return null
    const [mark] = marks_of(channel).sort((a, b) => Math.abs(a.s - seconds) - Math.abs(b.s - seconds))
    return mark && Math.abs(mark.s - seconds) <= reach_s ? mark : null
  }

  function let_go() {
    if (!drag) return false
    drag = null
    review.drop()
    return true
  }

  function on_down(event) {
    if (!review.layer() || event.button !== 0) return
    const at = place(event)
    if (!at.inside) return
    const mark = near(at)
    review.point(at.seconds, at.row)
    if (!mark) return
    event.stopPropagation() // a mark is taken: the plot must not pan
    event.preventDefault()
    review.take(at.row, mark)
    drag = {from_s: mark.s, grabbed_s: at.seconds, from_x: at.x, moved: false}
    picture.setPointerCapture(event.pointerId)
  }

  function on_move(event) {
    if (!review.layer()) return
    const at = place(event)
    if (drag) {
      event.stopPropagation()
      drag.moved ||= Math.abs(at.x - drag.from_x) >= STILL_PX
      if (drag.moved) review.hold(drag.from_s + at.seconds - drag.grabbed_s)
    } else if (at.inside) {
      picture.style.cursor = near(at) ? "ew-resize" : ""
      review.point(at.seconds, null)
    }
  }

  function on_up(event) {
    if (!drag) return
    event.stopPropagation()
    const {moved} = drag
    drag = null
    if (moved) review.put()
    else review.drop()
  }

  picture.addEventListener("pointerdown", on_down, true)
  picture.addEventListener("pointermove", on_move, true)
  picture.addEventListener("pointerup", on_up, true)
  picture.addEventListener("pointercancel", let_go, true)
  picture.addEventListener("lostpointercapture", let_go, true)
  return {let_go, get dragging() { return drag != null }}
}
