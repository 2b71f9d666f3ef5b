// @ts-check
// Elements of every screen: making them, their words, and buttons that leave the keys where they are.

import {key_name} from "./keys.js"
import {shown} from "./texts.js"

/** @import {Key} from "../types.js" */

const READ = new Set(["title", "aria-label", "placeholder"]) // attributes that people read

/**
 * Make an element: attributes, listeners (on…), then children. Text is always text, never markup, and as texts.js shows
 * it.
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
      element.setAttribute(name, value === true ? "" : READ.has(name) ? shown(String(value)) : value)
    }
  }
  for (const child of children) {
    if (child !== null && child !== undefined) element.append(typeof child === "string" ? shown(child) : child)
  }
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
 * @param {HTMLElement | Element} element @param {string} words @param {boolean} lines  whether line feeds stay */
export function set_text(element, words, lines = false) {
  const text = shown(words, lines)
  if (element.textContent !== text) element.textContent = text
}

/** Words that may be cut for want of room: all of them are there for whoever points at them.
 * @param {HTMLElement} element @param {string} words */
export function set_cut_text(element, words) {
  set_text(element, words)
  const title = shown(words)
  if (element.title !== title) element.title = title
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
