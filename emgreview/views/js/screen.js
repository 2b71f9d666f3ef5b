// The words around the picture of a trial: head line, decision panel, map of the queue. Builds elements and offers
// functions that refresh them; decides nothing.

function make_screen(setup, figure, act) {
  const title = h("span", {class: "title"})
  const progress = h("progress", {max: 1, value: 0, "aria-label": `share of ${setup.counted}`})
  const counted = h("span", {class: "counted"})
  const walking = h("span", {class: "chip walking", hidden: true})
  const blind = h("span", {class: "chip", hidden: true}, "blind")
  const saved = h("span", {class: "chip"})
  const keys_on = h("button", {class: "chip keys"})
  const card_button = h("button", {class: "plain", onclick: () => act({command: "key_card"})}, `key card (${card_key(setup.keys)})`)
  const head = h("div", {class: "head"}, title, h("span", {class: "count"}, progress, counted), blind, walking, saved, keys_on, card_button)

  const notice = make_notice()
  const notes = make_notes()
  notes.fill(setup.notes)
  const asking = make_asking(() => root, notice, () => key_card.hide())
  const key_card = make_card(() => root, setup.keys, "review",
    "a click sets the cursor, a double click puts the mark in hand there, a mark can be dragged.", () => asking.close())
  const differs = h("div", {class: "differs", hidden: true})
  const waiting = h("div", {class: "waiting", hidden: true})
  const picture = h("div", {class: "picture"}, figure, waiting, differs)
  const over_title = h("div", {class: "over-title"})
  const over_map = h("canvas", {class: "over-map", role: "img"})
  const legend = h("div", {class: "legend"}, ...setup.signs.map(([sign, words]) => h("span", {}, `${sign} ${words}`)))
  const overview = h("div", {class: "overview"}, over_title, over_map, legend)
  const spectrum_map = h("canvas", {class: "spectrum-map", role: "img", "aria-label": "spectrum of burst and rest"})
  const spectrum = h("div", {class: "spectrum", hidden: true}, h("h4", {}, "Spectrum"), spectrum_map)

  const rows = setup.channels.flatMap((channel, row) => (channel.auxiliary ? [] : [
    h("button", {class: "row", onclick: () => act({command: "channel", row})},
      h("span", {class: "sign"}), h("span", {class: "name"}, channel.label), h("span", {class: "state"}))]))
  const detail = h("p", {class: "detail"})
  const groups = new Map()
  for (const key of setup.keys) {
    if (!key.button) continue
    if (!groups.has(key.group)) groups.set(key.group, h("div", {class: "buttons"}))
    groups.get(key.group).append(
      h("button", {class: "do", "data-command": key.command, title: key.words, onclick: () => act(key)},
        kbd(key), ` ${key.button}`))
  }
  const map = h("canvas", {class: "map", tabindex: -1, role: "img"})
  const queue = h("div", {class: "queue"}, h("h4", {}, "All trials in order: □ open, ◧ begun, ▣ reviewed, ◇ to discuss. ",
    "Click one to go there."), h("div", {class: "map-frame"}, map))
  const side = h("div", {class: "side"},
    h("h4", {}, "Channels of this trial"), ...rows, detail, spectrum,
    ...[...groups].flatMap(([group, buttons]) => [h("h4", {}, group), buttons]))

  const live = h("div", {class: "live", role: "status", "aria-live": "polite"})
  const foot = h("div", {class: "foot"}, setup.processing)
  const root = h("div", {class: "emgreview", tabindex: 0, role: "application",
    "aria-label": `review of EMG trials; the key ${card_key(setup.keys)} shows the keys`},
    head, notes.element, notice.element,
    h("div", {class: "body"}, asking.form, overview, h("div", {class: "main"}, picture, queue), side), foot, live,
    key_card.element)
  keep_keys(root, asking.form, key_card.element)

  /** Whether the words of a channel's row are cut for want of room. */
  const is_cut = (button) => button?.lastChild.scrollWidth > button?.lastChild.clientWidth

  over_map.addEventListener("click", (event) => {
    act({command: "trial", index: screen.overview_hit(event.offsetY)})
    root.focus()
  })

  function paint_map(statuses, index, colours, cell) {
    const per_row = Math.max(1, Math.floor((map.parentElement.clientWidth - 4) / cell))
    const lines = Math.ceil(statuses.length / per_row)
    const size = cell / 11 // of the signs
    const ratio = window.devicePixelRatio || 1
    Object.assign(map, {width: per_row * cell * ratio, height: lines * cell * ratio, per_row, cell})
    map.style.width = `${per_row * cell}px`
    map.style.height = `${lines * cell}px`
    const ctx = map.getContext("2d")
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    ctx.clearRect(0, 0, per_row * cell, lines * cell)
    ctx.scale(size, size)
    statuses.forEach((status, i) => {
      const [x, y] = [(i % per_row) * 11 + 1.5, Math.floor(i / per_row) * 11 + 1.5]
      ctx.strokeStyle = ctx.fillStyle = colours.ink
      ctx.lineWidth = 1
      if (status === "to discuss") {
        ctx.beginPath()
        ctx.moveTo(x + 4, y)
        ctx.lineTo(x + 8, y + 4)
        ctx.lineTo(x + 4, y + 8)
        ctx.lineTo(x, y + 4)
        ctx.closePath()
        ctx.stroke()
      } else {
        ctx.strokeRect(x + 0.5, y + 0.5, 7, 7)
        if (status === "reviewed") ctx.fillRect(x + 2, y + 2, 4, 4)
        if (status === "begun") ctx.fillRect(x + 1, y + 1, 3, 6)
      }
      if (i === index) {
        ctx.strokeStyle = colours.envelope
        ctx.lineWidth = 2
        ctx.strokeRect(x - 1, y - 1, 10, 10)
      }
    })
    map.setAttribute("aria-label", `map of ${statuses.length} trials, at ${index + 1}`)
  }
  map.addEventListener("click", (event) => {
    const i = Math.floor(event.offsetY / map.cell) * map.per_row + Math.floor(event.offsetX / map.cell)
    if (i >= 0 && i < setup.n_trials) act({command: "trial", index: i})
    root.focus()
  })

  let scroller = null
  /** Scroll the page so that a band of the picture is in view, with the head line where both fit. Heights in px. */
  function reveal(top, high) {
    if (!scroller?.isConnected) scroller = scrolled_by(root)
    const [from, to] = shown_by(scroller)
    const at = picture.getBoundingClientRect().top + top
    high = Math.min(high, to - from) // of a band that is higher than the window, its top
    if (at >= from && at + high <= to) return
    const head_at = root.getBoundingClientRect().top
    if (at + high > to) scroller.scrollTop += at + high - to
    else scroller.scrollTop += (at + high - head_at <= to - from ? head_at : at) - from
  }
  const screen = {
    root, picture, notice, notes, asking, key_card, is_cut, paint_map, reveal,
    title, progress, counted, blind, walking, saved, keys_on, rows, detail, foot, differs, waiting, live,
    overview, over_title, over_map, spectrum, spectrum_map, overview_hit: () => undefined,
  }
  return screen
}
