// The pointer on a long recording: drag to pan, click to set the cursor, wheel to zoom, marks by their edges, the ribbon
// to go anywhere. Turns what the hand does into calls; decides nothing. `view` is documented where it is made (long.js).

const STILL_PX = 3 // a pointer that moved less than this has clicked

function listen_to_pointer(screen, setup, marks, view) {
  const {root, picture, ribbon} = screen
  let dragging = null // {x, range, per_px, s, far}

  function place(event) {
    const box = view.layer().canvas.getBoundingClientRect()
    const [x, y] = [event.clientX - box.left, event.clientY - box.top]
    const [x0, x1] = view.layer().range()
    const band = view.bands(box.height).find((b) => y >= b.top && y < b.top + b.height)
    return {inside: x >= 0 && x <= box.width && y >= 0 && y <= box.height, s: x0 + (x / box.width) * (x1 - x0), band,
      per_px: (x1 - x0) / box.width}
  }

  function on_down(event) {
    if (!view.layer() || event.button !== 0) return
    const at = place(event)
    if (!at.inside) return
    event.stopPropagation()
    event.preventDefault()
    screen.asking.close()
    root.focus()
    picture.setPointerCapture(event.pointerId)
    if (at.band) view.take_channel(at.band.row)
    if (!marks.down(at, event)) dragging = {x: event.clientX, range: view.layer().range(), per_px: at.per_px, s: at.s, far: false}
    view.refresh()
  }

  function on_move(event) {
    if (!view.layer()) return
    event.stopPropagation()
    const at = place(event)
    if (marks.drag(at)) return view.refresh()
    if (dragging) {
      const by_px = dragging.x - event.clientX
      dragging.far ||= Math.abs(by_px) >= STILL_PX
      if (dragging.far) view.show(dragging.range[0] + by_px * dragging.per_px, dragging.range[1] + by_px * dragging.per_px)
      return
    }
    picture.style.cursor = at.inside && setup.decides && marks.edge_at(at) ? "ew-resize" : ""
    view.hover(at.inside ? at.s : null)
  }

  function on_up(event) {
    if (!dragging && !marks.up()) return
    event.stopPropagation()
    if (dragging && !dragging.far) view.set_cursor(dragging.s)
    dragging = null
    view.refresh()
  }

  function on_wheel(event) {
    if (!view.layer() || root.dataset.keys !== "on") return // without the focus the page scrolls
    const at = place(event)
    if (!at.inside) return
    event.preventDefault()
    event.stopPropagation()
    const steps = Math.max(-4, Math.min(4, event.deltaY / (event.deltaMode ? 3 : 100)))
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) view.shift((event.deltaX || event.deltaY) * at.per_px)
    else view.zoom(2 ** (steps / 3), at.s)
  }

  picture.addEventListener("pointerdown", on_down, true)
  picture.addEventListener("pointermove", on_move, true)
  picture.addEventListener("pointerup", on_up, true)
  picture.addEventListener("pointercancel", on_up, true)
  picture.addEventListener("pointerleave", () => view.hover(null))
  picture.addEventListener("wheel", on_wheel, {capture: true, passive: false})

  let on_ribbon = false
  const follow = (event) => view.centre((event.offsetX / ribbon.clientWidth) * setup.duration_s)
  ribbon.addEventListener("pointerdown", (event) => {
    if (!view.layer() || event.button !== 0) return
    event.preventDefault()
    root.focus()
    ribbon.setPointerCapture(event.pointerId)
    on_ribbon = true
    follow(event)
  })
  ribbon.addEventListener("pointermove", (event) => on_ribbon && follow(event))
  for (const end of ["pointerup", "pointercancel"]) ribbon.addEventListener(end, () => { on_ribbon = false })
}
