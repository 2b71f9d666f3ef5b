// The words around the long view: head line, buttons, one label a channel, ribbon. Builds elements and offers functions
// that refresh them; decides nothing.

function make_long_screen(setup, figure, act) {
  const title = h("span", {class: "title"}, setup.title)
  const where = h("span", {class: "where"})
  const read_out = h("span", {class: "read-out"})
  const saved = h("span", {class: "chip", role: "status", hidden: !setup.decides})
  const keys_on = h("button", {class: "chip keys"})
  const card_button = h("button", {class: "plain", onclick: () => act({command: "key_card"})}, `key card (${card_key(setup.keys)})`)
  const head = h("div", {class: "head"}, title, where, saved, keys_on, card_button)
  const notice = make_notice()
  const notes = make_notes()
  notes.fill(setup.notes)
  const asking = make_asking(() => root, notice, () => key_card.hide())
  const key_card = make_card(() => root, setup.keys, "view",
    `drag to pan; wheel to zoom while the keys are on; click the ribbon to go there.${setup.decides ? " Drag with Shift to take a stretch in hand." : ""}`, () => asking.close())
  const differs = h("div", {class: "differs", hidden: true})

  const groups = new Map()
  for (const key of setup.keys) {
    if (!key.button) continue
    if (!groups.has(key.group)) groups.set(key.group, h("div", {class: "buttons", role: "group", "aria-label": key.group}))
    const all = setup.keys.find((other) => other.shift && !key.shift && other.code === key.code && other.group === "All channels")
    groups.get(key.group).append(
      h("button", {class: "do", "data-command": key.command, title: key.words + (all ? `; with Shift: ${all.words}` : ""),
        onclick: (event) => act(event.shiftKey && all ? all : key)},
        kbd(key), ` ${key.button}`))
  }
  const bar = h("div", {class: "bar"}, ...groups.values())

  const rows = setup.channels.map((channel, row) => {
    const name = h("button", {class: "name", title: channel.over ? `over ${channel.over}` : channel.label,
      onclick: () => act({command: "channel", row})}, channel.label)
    const kind = channel.auxiliary ? h("span", {class: "kind"}, "as recorded") : h("button", {class: "kind",
      title: "shown as; click for the next", onclick: () => act({command: "next_kind", row})})
    const gain = h("span", {class: "gain"})
    const scale = h("span", {class: "scale"})
    const level = h("div", {class: "level", title: channel.level_words ?? ""}, channel.level_words ?? "")
    const element = h("div", {class: "channel"}, h("div", {class: "line"}, name, gain), h("div", {class: "line"}, kind, scale), level)
    return {element, name, kind, gain, scale}
  })
  const gutter = h("div", {class: "gutter"}, ...rows.map((row) => row.element))
  const picture = h("div", {class: "picture"}, figure)
  const ribbon = h("canvas", {class: "ribbon", role: "img"})
  const ribbon_words = h("div", {class: "foot"}, setup.ribbon_words)
  const live = h("div", {class: "live", role: "status", "aria-live": "polite"})
  const foot = h("div", {class: "foot"}, setup.processing)
  const root = h("div", {class: "emgreview long", tabindex: 0, role: "application",
    "aria-label": `long view of a recording; the key ${card_key(setup.keys)} shows the keys`},
    head, notes.element, bar, h("div", {class: "below-bar"}, read_out, differs), notice.element,
    h("div", {class: "body"}, asking.form, gutter, picture), ribbon, ribbon_words, foot, live, key_card.element)

  keep_keys(root, asking.form, key_card.element)

  /** The labels beside their bands. */
  function lay_gutter(bands, top) {
    for (const band of bands) {
      Object.assign(rows[band.row].element.style, {top: `${top + band.top}px`, height: `${band.height}px`})
    }
  }

  return {
    root, picture, rows, ribbon, notice, asking, key_card, lay_gutter, where, read_out, saved, keys_on, differs, live,
  }
}
