// @ts-check
// Forms that ask, for every screen: entries to choose from, fields, a long list, a text to read. Decides nothing.

import {h, kbd} from "./elements.js"
import {brief, shown} from "./texts.js"
import {relabel_keys} from "./keys.js"
import {bring_up, scroll_by, STEPS} from "./scrolling.js"

/** @import {Choice, Field, Pressed} from "../types.js" */
/** @import {Notice} from "./notices.js" */

export const LONGEST = 10_000 // letters of a text that is typed: as many as Python takes (annotations/events.py)

export const MOVES = {decides: false} // of a form whose answer is no decision: nothing of it is unsaved

/** What of a text cannot be taken, in words; "" where all of it can.
 * @param {string} words */
function unfit(words) {
  const long = [...words].length
  if (long > LONGEST) return `The text has ${long} letters; at most ${LONGEST} are allowed: shorten it.`
  const odd = words.match(/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]/u)?.[0].codePointAt(0)
  if (odd === undefined) return ""
  const code = odd.toString(16).toUpperCase().padStart(4, "0")
  return `The text holds a control character or line break (U+${code}); one line of ordinary text is allowed: replace it.`
}

/**
 * Forms that ask, one at a time, in a box beside the picture. `root()` gets the focus back, `clear_away()` takes away what
 * would cover a form. While `key` is there it takes all keys that no field takes: `key({code})`.
 * @param {() => HTMLElement} root
 * @param {Notice} notice
 * @param {() => void} clear_away
 */
export function make_asking(root, notice, clear_away) {
  const form = h("div", {class: "form", hidden: true, role: "dialog", "aria-modal": "true", tabindex: -1})
  /** @param {string} key @param {string} words @param {() => void} act */
  const button = (key, words, act) => h("button", {class: "do", onclick: () => act()}, h("kbd", {}, key), ` ${words}`)
  const leave = () => button("Esc", "leave as it was", close)
  let complaint = "" // what was said of an answer: gone with the form
  let scroll_back = () => {}
  let unsent = () => 0 // how much stands in the form that is chosen or typed and not yet sent

  /** Whether the form stays, for words that were typed in it are not yet sent; that is said. What is merely chosen goes
   * with the form, as by Esc. */
  function keeps() {
    const typed = [...form.querySelectorAll("input:not([hidden])")].some((input) =>
      input instanceof HTMLInputElement && input.value !== input.defaultValue
    )
    if (form.hidden || !unsent() || !typed) return false
    complain("The form holds words that are not yet saved: Enter confirms them, Esc leaves it as it was.")
    const field = /** @type {HTMLElement | null} */ (form.querySelector("input:not([hidden])"))
    const back = () => (field ?? form).focus({preventScroll: true})
    back()
    requestAnimationFrame(back) // the press that was made takes the focus after this
    return true
  }

  /** @param {string} words */
  function complain(words) {
    complaint = words
    notice.pass(words)
  }

  /** @param {string} question @param {(HTMLElement | null)[]} parts @param {(pressed: Pressed) => unknown} key */
  function open(question, parts, key) {
    clear_away()
    form.replaceChildren(h("h4", {}, question), ...parts.filter((part) => part !== null))
    relabel_keys(form, "Key")
    form.hidden = false
    form.setAttribute("aria-label", brief(question))
    form.focus({preventScroll: true})
    scroll_back = bring_up(form)
    asking.key = (event) => (event.code === "Escape" ? close() : key(event))
  }

  function close() {
    if (form.hidden) return
    form.hidden = true
    asking.key = null
    unsent = () => 0
    scroll_back()
    if (complaint && notice.element.textContent === shown(complaint)) notice.show(notice.lasting)
    complaint = ""
    root().focus({preventScroll: true})
  }

  /** @param {HTMLInputElement} input @param {() => void} finish */
  function on_enter(input, finish) {
    input.addEventListener("keydown", (event) => {
      if (event.isComposing) return
      if (event.key === "Enter") {
        event.preventDefault()
        finish()
      }
      if (event.key === "Escape") close()
    })
  }

  /** Ask by keys: returns by `done(words[])`, "word: what was typed" where a choice asks for words. Several may be chosen
   * if `several`: then Enter confirms. However many there are, arrows and the space bar reach each: those that come after
   * the last key, too.
   * @param {string} question @param {Choice[]} choices @param {boolean} several @param {(words: string[]) => unknown} done */
  function choose(question, choices, several, done) {
    /** @type {Choice[]} */
    const chosen = []
    let at = -1 // the entry that arrows have reached
    const items = choices.map((choice, i) =>
      h(
        "button",
        {
          class: "choice",
          id: `choice-${i}`,
          role: "option",
          "aria-selected": "false",
          onclick: () => toggle(choice),
        },
        choice.code ? kbd({code: choice.code}) : null,
        ` ${choice.shown}`,
      )
    )
    const list = h(
      "div",
      {
        class: "choices",
        role: "listbox",
        "aria-label": question,
        "aria-multiselectable": String(several),
        tabindex: -1,
      },
      ...items,
    )
    const other = h("input", {type: "text", placeholder: "in words", hidden: true, "aria-label": "in words"})
    const keyless = choices.some(({code}) => !code)
    /** @param {Choice} choice */
    function toggle(choice) {
      const place = chosen.indexOf(choice)
      if (place >= 0) chosen.splice(place, 1)
      else chosen.push(choice)
      items.forEach((item, i) => item.setAttribute("aria-selected", String(chosen.includes(choices[i]))))
      at = choices.indexOf(choice) // arrows go on from here
      if (!several) {
        finish()
        return
      }
      other.hidden = !chosen.some((c) => c.text)
      if (!other.hidden) other.focus()
    }
    function finish() {
      if (!chosen.length) {
        toggle_reached()
        return
      }
      const said = other.value.trim()
      if (!other.hidden && !said) {
        other.focus()
        return
      }
      const complaint = unfit(said)
      if (complaint) {
        complain(complaint)
        return other.focus()
      }
      const words = chosen.map((choice) => (choice.text ? `${choice.words}: ${said}` : choice.words))
      if (several) { if (done(words) !== false) close() }
      else {
        close() // before another form may be opened
        done(words)
      }
    }
    const toggle_reached = () => {
      if (at >= 0) toggle(choices[at])
    }
    /** @param {number} by */
    function reach(by) {
      const from = at < 0 && by < 0 ? items.length : at
      at = Math.max(0, Math.min(items.length - 1, from + by))
      items.forEach((item, i) => {
        item.dataset.reached = i === at ? "yes" : ""
      })
      items[at].scrollIntoView({block: "nearest"})
      list.setAttribute("aria-activedescendant", items[at].id)
    }
    on_enter(other, finish)
    other.addEventListener("keydown", (event) => {
      if (!STEPS[event.code] || event.isComposing) return
      event.preventDefault()
      list.focus({preventScroll: true})
      reach(STEPS[event.code])
    })
    open(question, [
      keyless ?
        h(
          "p",
          {class: "hint"},
          "↑ ↓ reach every entry and the space bar takes it; " +
            (several ? "Enter confirms, Esc leaves." : "Esc leaves."),
        ) :
        null,
      list,
      other,
      h("div", {class: "buttons"}, several ? button("Enter", "confirm", finish) : null, leave()),
    ], ({code}) => {
      const choice = choices.find((c) => c.code === code)
      if (code === "Enter") finish()
      else if (STEPS[code]) reach(STEPS[code])
      else if (code === "Space") toggle_reached()
      else if (choice) toggle(choice)
    })
    list.focus({preventScroll: true})
    unsent = () => Number(several && chosen.length > 0)
  }

  /** Ask for values in fields: [{name, words, value, type}]; `done({name: text, or a number})`. What `done` does not take
   * (it returns false) stays in the form, and so does a number that is none, or a text that is too long.
   * @param {string} question @param {Field[]} fields @param {(values: Record<string, any>) => unknown} done
   * @param {{decides: boolean}} answer  whether it is a decision */
  function ask(question, fields, done, {decides} = {decides: true}) {
    const inputs = fields.map((f) =>
      h("input", {
        type: f.type ?? "text",
        value: f.value ?? "",
        name: f.name,
        step: "any",
        "aria-label": f.words ? null : question,
      })
    )
    const finish = () => {
      const bad = inputs.find((input) => input.type === "number" && !Number.isFinite(input.valueAsNumber))
      if (bad) {
        complain(`"${bad.value}" is no number; give one, or leave with Esc.`)
        return bad.focus()
      }
      for (const input of inputs) {
        const complaint = input.type === "number" ? "" : unfit(input.value.trim())
        if (!complaint) continue
        complain(complaint)
        return input.focus()
      }
      const values = inputs.map((
        input,
      ) => [input.name, input.type === "number" ? input.valueAsNumber : input.value.trim()])
      if (done(Object.fromEntries(values)) !== false) close()
    }
    open(question, [
      ...fields.map((f, i) => h("label", {}, f.words ? `${f.words} ` : null, inputs[i])),
      h("div", {class: "buttons"}, button("Enter", "confirm", finish), leave()),
    ], ({code}) => code === "Enter" && finish())
    for (const input of inputs) on_enter(input, finish)
    inputs[0].focus()
    inputs[0].select()
    unsent = () => Number(decides && inputs.some((input) => input.value !== input.defaultValue))
  }

  /** Pick one of many by typing part of its words, arrows and Enter, or a click: `done(index)`.
   * @param {string} question @param {string[]} items @param {number | undefined} at @param {(index: number) => void} done */
  function pick(question, items, at, done) {
    const most = 200
    const filter = h("input", {type: "text", placeholder: "type to narrow", "aria-label": "narrow the list"})
    const list = h("div", {class: "list", role: "listbox", "aria-label": question})
    /** @type {{words: string, index: number}[]} */
    let listed = []
    let chosen = at
    const finish = (/** @type {number} */ index) => {
      close()
      done(index)
    }
    function fill() {
      const wanted = filter.value.trim().toLowerCase()
      const matching = items.map((words, index) => ({words, index})).filter(({words}) =>
        words.toLowerCase().includes(wanted)
      )
      if (!matching.some(({index}) => index === chosen)) chosen = matching[0]?.index
      const place = matching.findIndex(({index}) => index === chosen)
      const from = Math.max(0, Math.min(place - most / 2, matching.length - most))
      listed = matching.slice(from, from + most)
      list.replaceChildren(
        ...listed.map(({words, index}) =>
          h("button", {
            class: "choice",
            role: "option",
            "aria-selected": String(index === chosen),
            onclick: () => finish(index),
          }, words)
        ),
        ...(matching.length > most
          ? [h("p", {}, `${listed.length} of ${matching.length} shown: type to narrow.`)]
          : []),
      )
      list.querySelector("[aria-selected=true]")?.scrollIntoView({block: "nearest"})
    }
    /** @param {number} by */
    function move(by) {
      const place = listed.findIndex(({index}) => index === chosen)
      const next = listed[Math.max(0, Math.min(listed.length - 1, place + by))]
      if (!next) return
      chosen = next.index
      for (const [i, item] of [...list.querySelectorAll(".choice")].entries()) {
        item.setAttribute("aria-selected", String(listed[i].index === chosen))
      }
      list.querySelector("[aria-selected=true]")?.scrollIntoView({block: "nearest"})
    }
    filter.addEventListener("input", fill)
    const take = () => chosen !== undefined && listed.length && finish(chosen)
    filter.addEventListener("keydown", (event) => {
      if (STEPS[event.code]) {
        event.preventDefault()
        move(STEPS[event.code])
      }
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

  /** Show a text to read, by its lines.
   * @param {string} heading @param {string} words */
  function tell(heading, words) {
    open(heading, [
      h("div", {class: "told"}, ...words.split("\n").filter(Boolean).map((line) => h("p", {}, line))),
      h("div", {class: "buttons"}, button("Esc", "close, then the keys act", close)),
    ], ({code}) => {
      if (code === "Enter") close()
      else if (!scroll_by(form, code)) complain("Keys wait until this is read: Esc or Enter closes it.")
    })
  }

  const nobody = /** @type {((pressed: Pressed) => unknown) | null} */ (null)
  const asking = {
    form,
    choose,
    ask,
    pick,
    tell,
    close,
    complain,
    keeps,
    get unsent() {
      return form.hidden ? 0 : unsent()
    },
    key: nobody,
  }
  return asking
}

/** @typedef {ReturnType<typeof make_asking>} Asking */
