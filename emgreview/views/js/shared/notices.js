// @ts-check
// What is told at the head of every screen: a line of words, and the list of what was left out or assumed.

import {h, set_cut_text, set_text} from "./elements.js"

/** @import {Timer} from "../types.js" */

/** A line of words: `show` until something else is shown, `pass` for some seconds, then what is `lasting` again. */
export function make_notice() {
  const element = h("div", {class: "notice", role: "alert"})
  /** @type {Timer} */
  let timer
  const notice = {
    element,
    lasting: "",
    /** @param {string} words */
    show(words) {
      clearTimeout(timer)
      element.dataset.words = words ? "yes" : ""
      set_text(element, words)
    },
    /** @param {string} words */
    pass(words) {
      notice.show(words)
      timer = setTimeout(() => notice.show(notice.lasting), 8000)
    },
    /** Say it until it is over, which is said by no words.
     * @param {string} words */
    last(words) {
      notice.lasting = words
      notice.show(words)
    },
  }
  return notice
}

/** What was left out, ignored or assumed: one line that stays, unfolded by a click; nothing where there is nothing. */
export function make_notes() {
  const list = h("ul")
  const count = h("button", {
    class: "plain",
    "aria-expanded": "false",
    onclick: () => notes.unfold(Boolean(list.hidden)),
  })
  const first = h("span", {class: "first"})
  const element = h("div", {class: "notes"}, count, first, list)
  const notes = {
    element,
    /** @param {boolean} open */
    unfold(open) {
      list.hidden = !open
      first.hidden = open
      count.setAttribute("aria-expanded", String(open))
    },
    /** @param {string[]} words */
    fill(words) {
      element.hidden = !words.length
      set_text(count, `${words.length} ${words.length === 1 ? "note" : "notes"}`)
      set_cut_text(first, words[0] ?? "")
      list.replaceChildren(...words.map((said) => h("li", {}, said)))
    },
  }
  notes.unfold(false)
  return notes
}

/** @typedef {ReturnType<typeof make_notice>} Notice */
