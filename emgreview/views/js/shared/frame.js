// @ts-check
// What every screen has around its picture: notices, notes, forms that ask, the key card, chips that tell whether the
// keys act and whether all is saved; and what every screen does while it lives. Decides nothing.

import {make_asking} from "./asking.js"
import {card_key, h, kbd, set_text} from "./elements.js"
import {make_card} from "./key_card.js"
import {listen_to_keys, relabel_keys, shield} from "./keys.js"
import {attach_layer, until} from "./layer.js"
import {make_notes, make_notice} from "./notices.js"
import {MORE_CONTRAST, palette_name, PALETTES} from "./palette.js"

/** @import {Action, Key, Model, Pressed} from "../types.js" */
/** @import {Layer} from "./layer.js" */

/**
 * The parts that every screen puts where it likes.
 * @param {{keys: Key[], notes: string[], processing: string}} setup
 * @param {(key: Action) => void} act
 * @param {() => HTMLElement} root
 * @param {{what: string, mouse: string}} words  what the keys act on, and what the mouse does
 */
export function make_frame(setup, act, root, {what, mouse}) {
  const notice = make_notice()
  const notes = make_notes()
  notes.fill(setup.notes)
  const asking = make_asking(root, notice, () => key_card.hide())
  const key_card = make_card(root, setup.keys, what, mouse, () => asking.close())
  const card_words = `key card (${card_key(setup.keys)})`
  return {
    notice,
    notes,
    asking,
    key_card,
    keys_on: h("button", {class: "chip keys"}),
    saved: h("span", {class: "chip"}),
    card_button: h("button", {class: "plain", onclick: () => act({command: "key_card"})}, card_words),
    differs: h("div", {class: "differs", hidden: true}),
    live: h("div", {class: "live", role: "status", "aria-live": "polite"}),
    foot: h("div", {class: "foot"}, setup.processing),
  }
}

/**
 * The buttons of the key table by their groups.
 * @param {Key[]} keys
 * @param {(key: Key) => {title: string, onclick: (event: MouseEvent) => void}} told  of each button
 * @returns {Map<string, HTMLElement>}
 */
export function button_groups(keys, told) {
  const groups = new Map()
  for (const key of keys.filter(({button}) => button)) {
    if (!groups.has(key.group)) {
      groups.set(key.group, h("div", {class: "buttons", role: "group", "aria-label": key.group}))
    }
    groups.get(key.group).append(
      h("button", {class: "do", "data-command": key.command, ...told(key)}, kbd(key), ` ${key.button}`),
    )
  }
  return groups
}

/**
 * Say how many decisions are not yet saved, with what is held and not yet sent, or why none is taken.
 * @param {HTMLElement} root
 * @param {HTMLElement} saved
 * @param {{pending: unknown[], held: number, doubtful: number, stopped: string}} wire
 */
export function show_saved(root, saved, {pending, held, doubtful, stopped}) {
  const waiting = pending.length + held
  const perhaps = doubtful ? `, perhaps saved: ${doubtful}` : ""
  const words = waiting ? `… not yet saved: ${waiting}` : "✓ all saved"
  set_text(saved, stopped ? `✕ decisions stopped, not saved: ${waiting}${perhaps}` : words)
  saved.dataset.state = stopped ? "stopped" : waiting ? "waiting" : "saved"
  root.dataset.unsaved = String(waiting)
}

/** Whether the page around an element is dark.
 * @param {HTMLElement} root */
const is_dark = (root) =>
  document.body.dataset.jpThemeLight === "false" || Boolean(root.closest(".dark")) ||
  document.documentElement.matches("[data-theme=dark], .dark")

/** The name of the palette that the page around an element asks for.
 * @param {HTMLElement} root */
export const theme_of = (root) => palette_name(is_dark(root))

/**
 * @typedef {{
 *   root: HTMLElement, keys_on: HTMLElement, keys: Key[], every_ms: number,
 *   act: (key: Action, pressed: Pressed) => void, draw?: (layer: Layer) => void, ready?: (layer: Layer) => void,
 *   dress: () => void, fit: () => void, tick: (attentive: boolean) => void, leave: (hides: boolean) => void,
 *   unsaved: () => boolean, close: () => void}} Life
 *   `draw` and `ready` where the screen has a figure: `ready` is told of its layer once; `dress` follows the page's theme, `fit` its window; `tick` comes every some ms;
 *   `leave` sends what is held: the focus goes, or the page `hides`; `unsaved` is asked before the page goes for good
 */

/**
 * Keys, focus, theme, size of the window, and the layer, from the first moment of a screen to its last. Returns what
 * dresses it anew.
 * @param {Model} model
 * @param {any} view  the component's view, as Panel and Bokeh have it
 * @param {Life} life
 */
export function live(model, view, life) {
  const {root, keys_on} = life
  let tallest = window.innerHeight
  /** @type {Layer | null} */
  let layer = null

  const show_focus = (/** @type {boolean} */ on) => {
    root.dataset.keys = on ? "on" : "off"
    set_text(keys_on, on ? "keys on" : "keys off: click here")
  }
  listen_to_keys(root, life.keys, life.act)
  root.addEventListener("focusin", () => show_focus(true))
  root.addEventListener("focusout", ({relatedTarget}) => {
    const stays = relatedTarget instanceof Node && root.contains(relatedTarget)
    if (!stays) life.leave(false)
    show_focus(stays)
  })
  const hide = () => life.leave(true)
  const hide_if_hidden = () => document.hidden && hide()
  /** @param {BeforeUnloadEvent} event */
  function ask_before(event) {
    hide()
    if (life.unsaved()) event.preventDefault() // the browser asks whether to leave; meanwhile, what was sent arrives
  }
  document.addEventListener("visibilitychange", hide_if_hidden)
  window.addEventListener("pagehide", hide)
  window.addEventListener("beforeunload", ask_before)
  show_focus(false)

  function dress() {
    const theme = theme_of(root)
    root.classList.toggle("dark-theme", theme.startsWith("dark"))
    const {ink, grid, ground} = PALETTES[theme]
    layer?.colours(ink, grid, ground)
    life.dress()
  }

  const themes = new MutationObserver(dress)
  themes.observe(document.body, {attributes: true, attributeFilter: ["data-jp-theme-light"]})
  MORE_CONTRAST.addEventListener("change", dress)
  const clock = setInterval(() => {
    life.tick(root.dataset.keys === "on")
    if (window.innerHeight === tallest) return
    tallest = window.innerHeight
    life.fit()
  }, life.every_ms)

  const {draw} = life
  const shown = draw ? attach_layer(view, draw) : until(() => (root.isConnected && root.clientWidth ? true : null))
  shown.then((made) => {
    shield(root)
    if (made !== true) {
      layer = made
      life.ready?.(made)
    }
    dress()
  })
  relabel_keys(root)

  model.on("remove", () => {
    try {
      hide()
    } catch (fault) {
      console.warn("what was held could not be sent any more:", fault) // Python may be gone with the widget
    }
    document.removeEventListener("visibilitychange", hide_if_hidden)
    window.removeEventListener("pagehide", hide)
    window.removeEventListener("beforeunload", ask_before)
    clearInterval(clock)
    themes.disconnect()
    MORE_CONTRAST.removeEventListener("change", dress)
    layer?.detach()
    life.close()
  })
  return dress
}
