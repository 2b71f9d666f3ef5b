// @ts-check
// The card of all keys, for every screen.

import {card_key, h, kbd} from "./elements.js"
import {relabel_keys} from "./keys.js"
import {bring_up, scroll_by} from "./scrolling.js"

/** @import {Action, Key, Pressed} from "../types.js" */

/** The card of all keys, by their groups, with what the mouse does; `clear_away()` takes away what it would cover.
 * @param {() => HTMLElement} root
 * @param {Key[]} keys
 * @param {string} what  what the keys act on
 * @param {string} mouse
 * @param {() => void} clear_away
 */
export function make_card(root, keys, what, mouse, clear_away) {
  const element = h("div", {class: "card", hidden: true, role: "dialog", "aria-label": "key card", tabindex: -1})

  /** The card alone on a page of its own, for the printer. */
  function print() {
    const frame = h("iframe", {title: "key card for print", style: "position:absolute;width:0;height:0;border:0"})
    document.body.append(frame)
    const sheet = frame.contentWindow
    if (!sheet) return
    const page = sheet.document
    page.title = "Keys"
    for (const part of element.querySelectorAll(":scope > h4, :scope > .columns")) {
      page.body.append(page.importNode(part, true))
    }
    page.body.style.cssText = "font: 12px sans-serif; columns: 2"
    sheet.onafterprint = () => frame.remove()
    sheet.print()
  }

  let scroll_back = () => {}
  function fill() {
    const groups = [...new Set(keys.map((key) => key.group))]
    element.replaceChildren(
      h("h4", {}, `Keys (they act while the frame around the ${what} is drawn thick)`),
      h(
        "div",
        {class: "buttons"},
        h("button", {class: "do", onclick: toggle}, h("kbd", {}, card_key(keys)), " close"),
        h("button", {class: "do", onclick: print}, "print"),
      ),
      h("p", {}, `By mouse: ${mouse}`),
      h(
        "div",
        {class: "columns"},
        ...groups.map((group) =>
          h(
            "table",
            {},
            h("caption", {}, group),
            ...keys.filter((key) => key.group === group).map((key) =>
              h("tr", {}, h("td", {}, kbd(key)), h("td", {}, key.words))
            ),
          )
        ),
      ),
    )
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
    element,
    toggle,
    hide,
    get open() {
      return !element.hidden
    },
    /** A key while the card is open: it closes on Esc or on its own key, and can be scrolled.
     * @param {Action} key @param {Pressed} pressed */
    key(key, {code}) {
      if (code === "Escape" || key.command === "key_card") toggle()
      else scroll_by(element, code)
    },
  }
}

/** @typedef {ReturnType<typeof make_card>} KeyCard */
