// What every screen is made of: elements, notices, forms that ask, the key card. Decides nothing.

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

/** What is printed on the key that opens the key card: another one where keys were moved, or for the left hand. */
const card_key = (keys) => key_name(keys.find((key) => key.command === "key_card"))

function set_text(element, words) {
  if (element.textContent !== words) element.textContent = words
}

/** Buttons act without taking the keys away; those of the boxes given keep the focus in there. */
function keep_keys(root, ...boxes) {
  root.addEventListener("mousedown", (event) => {
    const path = event.composedPath()
    if (!path.some((element) => element.tagName === "BUTTON")) return
    event.preventDefault()
    if (!boxes.some((box) => path.includes(box))) root.focus()
  })
}

/** A line of words: `show` until something else is shown, `pass` for some seconds, then what is `lasting` again. */
function make_notice() {
  const element = h("div", {class: "notice", role: "alert"})
  let timer = 0
  const notice = {
    element, lasting: "",
    show(words) {
      clearTimeout(timer)
      element.dataset.words = words ? "yes" : ""
      set_text(element, words)
    },
    pass(words) {
      notice.show(words)
      timer = setTimeout(() => notice.show(notice.lasting), 8000)
    },
  }
  return notice
}

/** What was left out, ignored or assumed: one line that stays, unfolded by a click; nothing where there is nothing. */
function make_notes() {
  const list = h("ul")
  const count = h("button", {class: "plain", "aria-expanded": "false", onclick: () => notes.unfold(list.hidden)})
  const first = h("span", {class: "first"})
  const element = h("div", {class: "notes"}, count, first, list)
  const notes = {
    element,
    unfold(open) {
      list.hidden = !open
      first.hidden = open
      count.setAttribute("aria-expanded", String(open))
    },
    fill(words) {
      element.hidden = !words.length
      set_text(count, `${words.length} ${words.length === 1 ? "note" : "notes"}`)
      set_text(first, words[0] ?? "")
      list.replaceChildren(...words.map((said) => h("li", {}, said)))
    },
  }
  notes.unfold(false)
  return notes
}

const AROUND_PX = 130 // of the window's height that a notebook keeps for itself: menu, tabs, tools, status
const LEAST_SHARE = 0.45 // of the window's height, for the picture in any case

/** Height of a picture that leaves the rest of its widget in the window: `wanted` if there is room, never under `least`. */
function fitting_height(root, wanted, least) {
  const beside = [...root.children].filter((part) => !part.matches(".body, .foot, .live, .card"))
  const room = window.innerHeight - AROUND_PX - beside.reduce((sum, part) => sum + part.offsetHeight, 0)
  return Math.ceil(Math.max(least, Math.min(wanted, Math.max(LEAST_SHARE * window.innerHeight, room))))
}

/** What scrolls an element: the nearest box around it with more inside than it shows, or the page. */
function scrolled_by(element) {
  for (let node = element; node; node = node.parentElement ?? node.getRootNode().host) {
    if (/auto|scroll/.test(getComputedStyle(node).overflowY) && node.scrollHeight > node.clientHeight + 1) return node
  }
  return document.scrollingElement
}

/** From where to where a scrolled box is seen, in px of the window. */
function shown_by(scroller) {
  if (scroller === document.scrollingElement) return [0, window.innerHeight]
  const {top, bottom} = scroller.getBoundingClientRect()
  return [top, bottom]
}

/** Bring a box that lies over the picture to where the page shows it. Returns what scrolls back, if nothing else scrolled. */
function bring_up(box) {
  const scroller = scrolled_by(box.parentElement)
  const before = scroller.scrollTop
  box.style.top = ""
  const [edge] = shown_by(scroller)
  if (getComputedStyle(box).position === "absolute" && box.getBoundingClientRect().top < edge) {
    const frame = box.offsetParent
    const lowest = frame.clientHeight - box.offsetHeight - 4 // it never hangs out of the widget
    box.style.top = `${Math.max(4, Math.min(edge + 4 - frame.getBoundingClientRect().top, lowest))}px`
  }
  box.scrollIntoView({block: "nearest"})
  const after = scroller.scrollTop
  return () => { if (scroller.scrollTop === after) scroller.scrollTop = before }
}

const STEPS = {ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8} // through a list, by key

function scroll_by(box, code) {
  const step = {ArrowDown: 40, ArrowUp: -40, PageDown: 300, PageUp: -300}[code]
  if (step) box.scrollBy(0, step)
  return Boolean(step)
}

/**
 * Forms that ask, one at a time, in a box beside the picture. `root()` gets the focus back, `clear_away()` takes away what
 * would cover a form. While `key` is there it takes all keys that no field takes: `key({code})`.
 */
function make_asking(root, notice, clear_away) {
  const form = h("div", {class: "form", hidden: true, role: "dialog", "aria-modal": "true", tabindex: -1})
  const button = (key, words, act) => h("button", {class: "do", onclick: () => act()}, h("kbd", {}, key), ` ${words}`)
  const leave = () => button("Esc", "leave as it was", close)
  let complaint = "" // what was said of an answer: gone with the form
  let scroll_back = () => {}

  function complain(words) {
    complaint = words
    notice.pass(words)
  }

  function open(question, parts, key) {
    clear_away()
    form.replaceChildren(h("h4", {}, question), ...parts.filter(Boolean))
    form.removeAttribute("aria-activedescendant")
    relabel_keys(form, "Key")
    form.hidden = false
    form.setAttribute("aria-label", question)
    form.focus({preventScroll: true})
    scroll_back = bring_up(form)
    asking.key = (event) => (event.code === "Escape" ? close() : key(event))
  }

  function close() {
    if (form.hidden) return
    form.hidden = true
    asking.key = null
    scroll_back()
    if (complaint && notice.element.textContent === complaint) notice.show(notice.lasting)
    complaint = ""
    root().focus({preventScroll: true})
  }

  function on_enter(input, finish) {
    input.addEventListener("keydown", (event) => {
      if (event.isComposing) return
      if (event.key === "Enter") { event.preventDefault(); finish() }
      if (event.key === "Escape") close()
    })
  }

  /** Ask by keys: returns by `done(words[])`, "word: what was typed" where a choice asks for words. Several may be chosen
   * if `several`: then Enter confirms. However many there are, arrows and the space bar reach each: those that come after
   * the last key, too. */
  function choose(question, choices, several, done) {
    const chosen = []
    let at = -1 // the entry that arrows have reached
    const items = choices.map((choice) => h("button", {class: "choice", onclick: () => toggle(choice)},
      choice.code ? kbd({code: choice.code}) : null, ` ${choice.shown}`))
    const other = h("input", {type: "text", placeholder: "in words", hidden: true, "aria-label": "in words"})
    const keyless = choices.some(({code}) => !code)
    function toggle(choice) {
      const place = chosen.indexOf(choice)
      if (place >= 0) chosen.splice(place, 1)
      else chosen.push(choice)
      items.forEach((item, i) => item.setAttribute("aria-pressed", String(chosen.includes(choices[i]))))
      at = choices.indexOf(choice) // arrows go on from here
      if (!several) return finish()
      other.hidden = !chosen.some((c) => c.text)
      if (!other.hidden) other.focus()
    }
    function finish() {
      if (!chosen.length) return at >= 0 ? toggle_reached() : undefined
      const said = other.value.trim()
      if (!other.hidden && !said) return other.focus()
      close()
      done(chosen.map((choice) => (choice.text ? `${choice.words}: ${said}` : choice.words)))
    }
    const toggle_reached = () => at >= 0 && toggle(choices[at])
    function reach(by) {
      const from = at < 0 && by < 0 ? items.length : at
      at = Math.max(0, Math.min(items.length - 1, from + by))
      items.forEach((item, i) => { item.dataset.reached = i === at ? "yes" : "" })
      items[at].scrollIntoView({block: "nearest"})
      form.setAttribute("aria-activedescendant", items[at].id)
    }
    items.forEach((item, i) => { item.id = `choice-${i}` })
    on_enter(other, finish)
    other.addEventListener("keydown", (event) => {
      if (!STEPS[event.code] || event.isComposing) return
      event.preventDefault()
      form.focus({preventScroll: true})
      reach(STEPS[event.code])
    })
    open(question, [keyless ? h("p", {class: "hint"}, "↑ ↓ reach every entry and the space bar takes it; " +
      (several ? "Enter confirms, Esc leaves." : "Esc leaves.")) : null, h("div", {class: "choices"}, ...items), other,
      h("div", {class: "buttons"}, several ? button("Enter", "confirm", finish) : null, leave())],
    ({code}) => {
      const choice = choices.find((c) => c.code === code)
      if (code === "Enter") finish()
      else if (STEPS[code]) reach(STEPS[code])
      else if (code === "Space") toggle_reached()
      else if (choice) toggle(choice)
    })
  }

  /** Ask for values in fields: [{name, words, value, type}]; `done({name: text, or a number})`. What `done` does not take
   * (it returns false) stays in the form, and so does a number that is none. */
  function ask(question, fields, done) {
    const inputs = fields.map((f) => h("input", {type: f.type ?? "text", value: f.value ?? "", name: f.name, step: "any",
      "aria-label": f.words ? null : question}))
    const finish = () => {
      const bad = inputs.find((input) => input.type === "number" && !Number.isFinite(input.valueAsNumber))
      if (bad) {
        complain(`"${bad.value}" is no number; give one, or leave with Esc.`)
        return bad.focus()
      }
      const values = inputs.map((input) => [input.name, input.type === "number" ? input.valueAsNumber : input.value.trim()])
      if (done(Object.fromEntries(values)) !== false) close()
    }
    open(question, [...fields.map((f, i) => h("label", {}, f.words ? `${f.words} ` : null, inputs[i])),
      h("div", {class: "buttons"}, button("Enter", "confirm", finish), leave())],
    ({code}) => code === "Enter" && finish())
    for (const input of inputs) on_enter(input, finish)
    inputs[0].focus()
    inputs[0].select()
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
    const take = () => chosen != null && shown.length && finish(chosen)
    filter.addEventListener("keydown", (event) => {
      if (STEPS[event.code]) { event.preventDefault(); move(STEPS[event.code]) }
    })
    on_enter(filter, take)
    open(question, [filter, list, h("div", {class: "buttons"}, leave())], ({code}) => {
      if (STEPS[code]) move(STEPS[code])
      else if (code === "Enter") take()
      else filter.focus()
    })
    fill()
    filter.focus()
  }

  /** Show a text to read. */
  function tell(heading, words) {
    open(heading, [h("p", {class: "told"}, words), h("div", {class: "buttons"}, button("Esc", "close, then the keys act", close))],
      ({code}) => {
        if (code === "Enter") close()
        else if (!scroll_by(form, code)) complain("Keys wait until this is read: Esc or Enter closes it.")
      })
  }

  const asking = {form, choose, ask, pick, tell, close, complain, key: null}
  return asking
}

/** The card of all keys, by their groups, with what the mouse does; `clear_away()` takes away what it would cover. */
function make_card(root, keys, what, mouse, clear_away) {
  const element = h("div", {class: "card", hidden: true, role: "dialog", "aria-label": "key card", tabindex: -1})

  /** The card alone on a page of its own, for the printer. */
  function print() {
    const frame = h("iframe", {title: "key card for print", style: "position:absolute;width:0;height:0;border:0"})
    document.body.append(frame)
    const page = frame.contentDocument
    page.title = "Keys"
    page.body.append(page.importNode(element.querySelector("h4"), true), page.importNode(element.querySelector(".columns"), true))
    page.body.style.cssText = "font: 12px sans-serif; columns: 2"
    frame.contentWindow.onafterprint = () => frame.remove()
    frame.contentWindow.print()
  }

  let scroll_back = () => {}
  function fill() {
    const groups = [...new Set(keys.map((key) => key.group))]
    element.replaceChildren(
      h("h4", {}, `Keys (they act while the frame around the ${what} is drawn thick)`),
      h("div", {class: "buttons"}, h("button", {class: "do", onclick: toggle}, h("kbd", {}, card_key(keys)), " close"),
        h("button", {class: "do", onclick: print}, "print")),
      h("p", {}, `By mouse: ${mouse}`),
      h("div", {class: "columns"}, ...groups.map((group) => h("table", {}, h("caption", {}, group),
        ...keys.filter((key) => key.group === group).map((key) => h("tr", {}, h("td", {}, kbd(key)), h("td", {}, key.words)))))))
    relabel_keys(element)
  }

  function hide() {
    if (element.hidden) return
    element.hidden = true
    scroll_back()
    root().focus({preventScroll: true})
  }

  function toggle() {
    if (!element.hidden) return hide()
    clear_away()
    element.hidden = false
    fill()
    element.focus({preventScroll: true})
    scroll_back = bring_up(element)
  }

  return {
    element, toggle, hide,
    get open() { return !element.hidden },
    /** A key while the card is open: it closes on Esc or on its own key, and can be scrolled. */
    key(key, {code}) {
      if (code === "Escape" || key.command === "key_card") toggle()
      else scroll_by(element, code)
    },
  }
}
