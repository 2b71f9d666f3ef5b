// The words around the long view: head line, buttons, one label a channel, ribbon, forms, key card. Builds elements and
// offers functions that refresh them; decides nothing.

function make_long_screen(setup, figure, act) {
  const title = h("span", {class: "title"}, setup.title)
  const where = h("span", {class: "where"})
  const read_out = h("span", {class: "read-out"})
  const saved = h("span", {class: "chip", role: "status", hidden: !setup.decides})
  const keys_on = h("button", {class: "chip keys"})
  const card_button = h("button", {class: "plain", onclick: () => act({command: "key_card"})}, "key card (?)")
  const head = h("div", {class: "head"}, title, where, saved, keys_on, card_button)
  const notice = h("div", {class: "notice", role: "alert"})
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
    const element = h("div", {class: "channel"}, h("div", {class: "line"}, name, gain), h("div", {class: "line"}, kind, scale))
    return {element, name, kind, gain, scale}
  })
  const gutter = h("div", {class: "gutter"}, ...rows.map((row) => row.element))
  const picture = h("div", {class: "picture"}, figure)
  const ribbon = h("canvas", {class: "ribbon", role: "img"})
  const ribbon_words = h("div", {class: "foot"}, setup.ribbon_words)
  const form = h("div", {class: "form", hidden: true, role: "dialog", "aria-modal": "true"})
  const key_card = h("div", {class: "card", hidden: true, role: "dialog", "aria-label": "key card"})
  const live = h("div", {class: "live", role: "status", "aria-live": "polite"})
  const foot = h("div", {class: "foot"}, setup.processing)
  const root = h("div", {class: "emgreview long", tabindex: 0, role: "application",
    "aria-label": "long view of a recording; press question mark for the keys"},
    head, bar, h("div", {class: "below-bar"}, read_out, differs), notice, form, key_card,
    h("div", {class: "body"}, gutter, picture), ribbon, ribbon_words, foot, live)

  root.addEventListener("mousedown", (event) => { // buttons act without taking the keys away
    const path = event.composedPath()
    if (path.some((element) => element.tagName === "BUTTON")) {
      event.preventDefault()
      if (!path.includes(form)) root.focus()
    }
  })

  function text(element, words) {
    if (element.textContent !== words) element.textContent = words
  }

  function show_notice(words) {
    notice.dataset.words = words ? "yes" : ""
    text(notice, words)
  }

  let notice_timer = 0
  function pass_notice(words) {
    show_notice(words)
    clearTimeout(notice_timer)
    notice_timer = setTimeout(() => show_notice(screen.lasting), 6000)
  }

  /** The labels beside their bands. */
  function lay_gutter(bands, top) {
    for (const band of bands) {
      Object.assign(rows[band.row].element.style, {top: `${top + band.top}px`, height: `${band.height}px`})
    }
  }

  function open(question, parts) {
    form.replaceChildren(h("h4", {}, question), ...parts)
    form.hidden = false
    form.setAttribute("aria-label", question)
  }

  function close() {
    form.hidden = true
    screen.form_key = null
    root.focus()
  }

  const leave = () => h("button", {class: "do", onclick: () => close()}, h("kbd", {}, "Esc"), " leave as it was")

  /** Ask for one line of text: `done(text)`. */
  function ask(question, value, done) {
    const input = h("input", {type: "text", value, "aria-label": question})
    const finish = () => {
      const said = input.value.trim()
      close()
      done(said)
    }
    open(question, [input, h("div", {class: "buttons"},
      h("button", {class: "do", onclick: finish}, h("kbd", {}, "Enter"), " confirm"), leave())])
    input.addEventListener("keydown", (event) => {
      if (event.code === "Enter") { event.preventDefault(); finish() }
      if (event.code === "Escape") close()
    })
    screen.form_key = (event) => { if (event.code === "Escape") close() }
    input.focus()
    input.select()
  }

  /** Pick one of many by typing part of its words, arrows and Enter, or a click: `done(index)`. */
  function pick(question, items, at, done) {
    const most = 200
    const filter = h("input", {type: "text", placeholder: "type to narrow", "aria-label": "narrow the list"})
    const list = h("div", {class: "list", role: "listbox", "aria-label": question})
    let shown = []
    let chosen = at
    const finish = (index) => { close(); done(index) }
    function fill() {
      const wanted = filter.value.trim().toLowerCase()
      const matching = items.map((words, index) => ({words, index})).filter(({words}) => words.toLowerCase().includes(wanted))
      if (!matching.some(({index}) => index === chosen)) chosen = matching[0]?.index
      const place = matching.findIndex(({index}) => index === chosen)
      const from = Math.max(0, Math.min(place - most / 2, matching.length - most))
      shown = matching.slice(from, from + most)
      list.replaceChildren(...shown.map(({words, index}) => h("button", {class: "choice", role: "option",
        "aria-selected": String(index === chosen), onclick: () => finish(index)}, words)),
        matching.length > most ? h("p", {}, `${shown.length} of ${matching.length} shown: type to narrow.`) : null)
      list.querySelector("[aria-selected=true]")?.scrollIntoView({block: "nearest"})
    }
    function move(by) {
      const place = shown.findIndex(({index}) => index === chosen)
      const next = shown[Math.max(0, Math.min(shown.length - 1, place + by))]
      if (!next) return
      chosen = next.index
      for (const [i, item] of [...list.querySelectorAll(".choice")].entries()) {
        item.setAttribute("aria-selected", String(shown[i].index === chosen))
      }
      list.querySelector("[aria-selected=true]").scrollIntoView({block: "nearest"})
    }
    filter.addEventListener("input", fill)
    filter.addEventListener("keydown", (event) => {
      const steps = {ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8}
      if (steps[event.code]) { event.preventDefault(); move(steps[event.code]) }
      if (event.code === "Enter" && chosen != null && shown.length) { event.preventDefault(); finish(chosen) }
      if (event.code === "Escape") close()
    })
    open(question, [filter, list, h("div", {class: "buttons"}, leave())])
    screen.form_key = (event) => { if (event.code === "Escape") close() }
    fill()
    filter.focus()
  }

  /** Ask by digits: returns by `done(words[], text)`; several may be chosen, Enter confirms, Esc leaves. */
  function choose(question, choices, several, done) {
    const chosen = []
    const other = h("input", {type: "text", placeholder: "in words", hidden: true, "aria-label": "in words"})
    const items = choices.map((choice) => h("button", {class: "choice", onclick: () => toggle(choice)},
      kbd({code: choice.code}), ` ${choice.shown}`))
    function toggle(choice) {
      const at = chosen.indexOf(choice)
      if (at >= 0) chosen.splice(at, 1)
      else chosen.push(choice)
      items.forEach((item, i) => item.setAttribute("aria-pressed", String(chosen.includes(choices[i]))))
      if (!several) return finish()
      other.hidden = !chosen.some((c) => c.text)
      if (!other.hidden) other.focus()
    }
    function finish() {
      if (!chosen.length) return
      if (!other.hidden && !other.value.trim()) return other.focus()
      const said = other.value.trim()
      close()
      done(chosen.map((choice) => (choice.text ? `${choice.words}: ${said}` : choice.words)))
    }
    const confirm = h("button", {class: "do", onclick: finish}, h("kbd", {}, "Enter"), " confirm")
    open(question, [h("div", {class: "choices"}, ...items), other, h("div", {class: "buttons"}, several ? confirm : null, leave())])
    screen.form_key = (event) => {
      if (event.code === "Escape") close()
      else if (event.code === "Enter") finish()
      else {
        const choice = choices.find((c) => c.code === event.code)
        if (choice) toggle(choice)
      }
    }
    other.addEventListener("keydown", (event) => {
      if (event.code === "Enter") finish()
      if (event.code === "Escape") close()
    })
  }

  function toggle_card() {
    key_card.hidden = !key_card.hidden
    if (key_card.hidden) return root.focus()
    const names = [...new Set(setup.keys.map((key) => key.group))]
    key_card.replaceChildren(
      h("h4", {}, "Keys (they act while the frame around the view is drawn thick)"),
      h("div", {class: "columns"}, ...names.map((name) => h("table", {}, h("caption", {}, name),
        ...setup.keys.filter((key) => key.group === name).map((key) =>
          h("tr", {}, h("td", {}, kbd(key)), h("td", {}, key.words)))))),
      h("p", {}, "Mouse: drag to pan; wheel to zoom while the keys are on; click the ribbon to go there."
        + (setup.decides ? " Drag with Shift to take a stretch in hand." : "")),
      h("button", {class: "do", onclick: toggle_card}, h("kbd", {}, "?"), " close"))
    relabel_keys(key_card)
  }

  const screen = {
    root, picture, rows, ribbon, lasting: "", form_key: null, ask, pick, choose, toggle_card, show_notice, pass_notice,
    lay_gutter, text, where, read_out, saved, keys_on, differs, live,
    get card_open() { return !key_card.hidden },
  }
  return screen
}
