// The words around the picture: head line, decision panel, map of the queue, forms, key card. Builds elements and
// offers functions that refresh them; decides nothing.

/** Make an element: attributes, listeners (on…), then children. Text is always text, never markup. */
function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value)
    else if (value != null && value !== false) element.setAttribute(name, value === true ? "" : value)
  }
  element.append(...children.filter((child) => child != null))
  return element
}

/** The label of a key. */
function kbd(key) {
  return h("kbd", {"data-code": key.code, "data-shift": key.shift ? "yes" : null}, key_name(key))
}

function make_screen(setup, figure, act) {
  const title = h("span", {class: "title"})
  const progress = h("progress", {max: 1, value: 0, "aria-label": `share of ${setup.counted}`})
  const counted = h("span", {class: "counted"})
  const walking = h("span", {class: "chip walking", hidden: true})
  const blind = h("span", {class: "chip", hidden: true}, "blind")
  const saved = h("span", {class: "chip"})
  const keys_on = h("button", {class: "chip keys"})
  const card_button = h("button", {class: "plain", onclick: () => act({command: "key_card"})}, "key card (?)")
  const head = h("div", {class: "head"}, title, h("span", {class: "count"}, progress, counted), blind, walking, saved, keys_on, card_button)

  const notice = h("div", {class: "notice", role: "alert"})
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

  const form = h("div", {class: "form", hidden: true, role: "dialog", "aria-modal": "true", tabindex: -1})
  const key_card = h("div", {class: "card", hidden: true, role: "dialog", "aria-label": "key card", tabindex: -1})
  const live = h("div", {class: "live", role: "status", "aria-live": "polite"})
  const foot = h("div", {class: "foot"}, setup.processing)
  const root = h("div", {class: "emgreview", tabindex: 0, role: "application",
    "aria-label": "review of EMG trials; press question mark for the keys"},
    head, notice, form, key_card, h("div", {class: "body"}, overview, h("div", {class: "main"}, picture, queue), side),
    foot, live)

  root.addEventListener("mousedown", (event) => { // buttons act without taking the keys away
    const path = event.composedPath()
    if (path.some((element) => element.tagName === "BUTTON")) {
      event.preventDefault()
      if (!path.includes(form) && !path.includes(key_card)) root.focus()
    }
  })

  /** Whether the words of a channel's row are cut for want of room. */
  const is_cut = (button) => button?.lastChild.scrollWidth > button?.lastChild.clientWidth

  function text(element, words) {
    if (element.textContent !== words) element.textContent = words
  }

  /** A notice stays until another follows, or for some seconds. */
  let notice_timer = 0
  function show_notice(words) {
    clearTimeout(notice_timer)
    notice.dataset.words = words ? "yes" : ""
    text(notice, words)
  }

  function pass_notice(words) {
    show_notice(words)
    notice_timer = setTimeout(() => show_notice(screen.lasting), 8000)
  }

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

  /** Ask by digits: returns by `done(words[])`; several may be chosen, Enter confirms, Esc leaves. */
  function choose(question, choices, several, done) {
    const chosen = []
    const items = choices.map((choice) => h("button", {class: "choice", onclick: () => toggle(choice)},
      kbd({code: choice.code}), ` ${choice.shown}`))
    const other = h("input", {type: "text", placeholder: "in words", hidden: true, "aria-label": "reason in words"})
    const confirm = h("button", {class: "do", onclick: () => finish()}, h("kbd", {}, "Enter"), " confirm")
    const leave = h("button", {class: "do", onclick: () => close()}, h("kbd", {}, "Esc"), " leave as it was")
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
      close()
      done(chosen.map((choice) => choice.words), other.value.trim())
    }
    open(question, [h("div", {class: "choices"}, ...items), other, h("div", {class: "buttons"}, several ? confirm : null, leave)])
    screen.form_key = ({code}) => {
      if (code === "Escape") close()
      else if (code === "Enter") finish()
      else {
        const choice = choices.find((c) => c.code === code)
        if (choice) toggle(choice)
      }
    }
    on_enter(other, finish)
  }

  function on_enter(input, finish) {
    input.addEventListener("keydown", (event) => {
      if (event.isComposing) return
      if (event.key === "Enter") { event.preventDefault(); finish() }
      if (event.key === "Escape") close()
    })
  }

  /** Ask for values in fields: [{name, words, value, type}]; `done({name: text, or a number})`. What `done` does not take
   * (it returns false) stays in the form, and so does a number that is none. */
  function ask(question, fields, done) {
    const inputs = fields.map((f) => h("input", {type: f.type ?? "text", value: f.value ?? "", name: f.name, step: "any"}))
    const finish = () => {
      const bad = inputs.find((input) => input.type === "number" && !Number.isFinite(input.valueAsNumber))
      if (bad) {
        pass_notice(`"${bad.value}" is no number; give one, or leave with Esc.`)
        return bad.focus()
      }
      const values = inputs.map((input) => [input.name, input.type === "number" ? input.valueAsNumber : input.value])
      if (done(Object.fromEntries(values)) !== false) close()
    }
    open(question, [
      ...fields.map((f, i) => h("label", {}, `${f.words} `, inputs[i])),
      h("div", {class: "buttons"}, h("button", {class: "do", onclick: finish}, h("kbd", {}, "Enter"), " confirm"),
        h("button", {class: "do", onclick: () => close()}, h("kbd", {}, "Esc"), " leave as it was"))])
    for (const input of inputs) on_enter(input, finish)
    screen.form_key = ({code}) => {
      if (code === "Escape") close()
      if (code === "Enter") finish()
    }
    inputs[0].focus()
    inputs[0].select()
  }

  function open(question, parts) {
    form.replaceChildren(h("h4", {}, question), ...parts)
    form.hidden = false
    form.setAttribute("aria-label", question)
    form.focus()
    form.scrollIntoView({block: "nearest"})
  }

  function close() {
    if (form.hidden) return
    form.hidden = true
    screen.form_key = null
    root.focus()
  }

  /** Show a text to read. */
  function tell(heading, words) {
    open(heading, [h("p", {class: "told"}, words),
      h("div", {class: "buttons"}, h("button", {class: "do", onclick: () => close()}, h("kbd", {}, "Esc"), " close"))])
    screen.form_key = ({code}) => {
      if (code === "Escape" || code === "Enter") close()
      else scroll_by(form, code)
    }
  }

  function scroll_by(box, code) {
    const step = {ArrowDown: 40, ArrowUp: -40, PageDown: 300, PageUp: -300}[code]
    if (step) box.scrollBy(0, step)
  }

  /** A key while the card is open: it closes on Esc or on its own key, and can be scrolled. */
  function card_key(key, {code}) {
    if (code === "Escape" || key.command === "key_card") toggle_card()
    else scroll_by(key_card, code)
  }

  /** The card alone on a page of its own, for the printer. */
  function print_card() {
    const frame = h("iframe", {title: "key card for print", style: "position:absolute;width:0;height:0;border:0"})
    document.body.append(frame)
    const page = frame.contentDocument
    page.title = "Keys"
    page.body.append(page.importNode(key_card.querySelector("h4"), true),
      page.importNode(key_card.querySelector(".columns"), true))
    page.body.style.cssText = "font: 12px sans-serif; columns: 2"
    frame.contentWindow.onafterprint = () => frame.remove()
    frame.contentWindow.print()
  }

  function toggle_card() {
    close()
    key_card.hidden = !key_card.hidden
    if (key_card.hidden) return root.focus()
    const by_group = Map.groupBy ? Map.groupBy(setup.keys, (k) => k.group) : new Map([["keys", setup.keys]])
    key_card.replaceChildren(
      h("h4", {}, "Keys (they act while the frame around the review is drawn thick)"),
      h("p", {}, "By mouse: a click sets the cursor, a double click puts the mark in hand there, a mark can be dragged."),
      h("div", {class: "columns"}, ...[...by_group].map(([group, keys]) => h("table", {},
        h("caption", {}, group),
        ...keys.map((key) => h("tr", {}, h("td", {}, kbd(key)), h("td", {}, key.words)))))),
      h("div", {class: "buttons"},
        h("button", {class: "do", onclick: toggle_card}, h("kbd", {}, "?"), " close"),
        h("button", {class: "do", onclick: print_card}, "print")))
    relabel_keys(key_card)
    key_card.focus()
    key_card.scrollIntoView({block: "nearest"})
  }

  const screen = {
    root, picture, lasting: "", form_key: null, choose, ask, tell, is_cut, toggle_card, card_key, close, show_notice, pass_notice, paint_map, text,
    title, progress, counted, blind, walking, saved, keys_on, rows, detail, foot, differs, waiting, live,
    overview, over_title, over_map, spectrum, spectrum_map, overview_hit: () => undefined,
    get card_open() { return !key_card.hidden },
  }
  return screen
}
