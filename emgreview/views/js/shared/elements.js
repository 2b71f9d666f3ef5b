// @ts-check
// Elements of every screen: making them, their words, and buttons that leave the keys where they are.

import {key_name} from "./keys.js"

/** @import {Key} from "../types.js" */

/**
 * Make an element: attributes, listeners (on…), then children. Text is always text, never markup.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, any>} attributes
 * @param {(Node | string | null | undefined)[]} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value)
    else if (value !== null && value !== undefined && value !== false) {
      element.setAttribute(name, value === true ? "" : value)
    }
  }
  for (const child of children) if (child !== null && child !== undefined) element.append(child)
  return element
}

/** The label of a key.
 * @param {{code: string, shift?: boolean}} key */
export function kbd(key) {
  return h("kbd", {"data-code": key.code, "data-shift": key.shift ? "yes" : null}, key_name(key))
}

/** What is printed on the key that opens the key card: another one where keys were moved, or for the left hand.
 * @param {Key[]} keys */
export const card_key = (keys) => key_name(keys.find((key) => key.command === "key_card") ?? {code: ""})

/** Nothing is written where nothing changes: a screen reader would read it again.
 * @param {HTMLElement | Element} element @param {string} words */
export function set_text(element, words) {
  if (element.textContent !== words) element.textContent = words
}

/** Buttons act without taking the keys away; those of the boxes given keep the focus in there.
 * @param {HTMLElement} root @param {HTMLElement[]} boxes */
export function keep_keys(root, ...boxes) {
  root.addEventListener("mousedown", (event) => {
    const path = event.composedPath()
    if (!path.some((element) => element instanceof HTMLButtonElement)) return
    event.preventDefault()
    if (!boxes.some((box) => path.includes(box))) root.focus()
  })
}
