// @ts-check
// The words around the long view: head line, buttons, one label a channel, ribbon. Builds elements and offers functions
// that refresh them; decides nothing.

import {card_key, h, keep_keys} from "../shared/elements.js"
import {button_groups, make_frame} from "../shared/frame.js"
import {brief} from "../shared/texts.js"

/** @import {Action, Band} from "../types.js" */
/** @import {Channel, Setup} from "./types.js" */

const MOUSE = "drag to pan; wheel to zoom while the keys are on; click the ribbon to go there."
const MOUSE_DECIDES = " Drag with Shift to select a stretch."

/** @param {Setup} setup @param {HTMLElement} figure @param {(action: Action) => void} act */
export function make_screen(setup, figure, act) {
  const mouse = MOUSE + (setup.decides ? MOUSE_DECIDES : "")
  const frame = make_frame(setup, act, () => root, {what: "view", mouse})
  const {asking, differs, foot, key_card, keys_on, live, saved} = frame
  const title = h("span", {class: "title", title: setup.title}, setup.title)
  const where = h("span", {class: "where"})
  const read_out = h("span", {class: "read-out"})
  saved.hidden = !setup.decides
  saved.setAttribute("role", "status")
  const head = h("div", {class: "head"}, title, where, saved, keys_on, frame.card_button)

  const groups = button_groups(setup.keys, (key) => {
    const all = setup.keys.find(({shift, code, group}) =>
      shift && !key.shift && code === key.code && group === "All channels"
    )
    const title = key.words + (all ? `; with Shift: ${all.words}` : "")
    return {title, onclick: ({shiftKey}) => act((shiftKey && all) || key)}
  })
  const bar = h("div", {class: "bar"}, ...groups.values())
  const rows = setup.channels.map((channel, row) => make_row(channel, row, act))
  const gutter = h("div", {class: "gutter"}, ...rows.map((row) => row.element))
  const picture = h("div", {class: "picture"}, figure)
  const ribbon = h("canvas", {class: "ribbon", role: "img"})
  const root = h(
    "div",
    {
      class: "emgreview long",
      tabindex: 0,
      role: "application",
      "aria-label": `long view of a recording; the key ${card_key(setup.keys)} shows the keys`,
    },
    head,
    frame.notes.element,
    bar,
    h("div", {class: "below-bar"}, read_out, differs),
    frame.notice.element,
    h("div", {class: "body"}, asking.form, gutter, picture),
    ribbon,
    h("div", {class: "foot"}, setup.ribbon_words),
    foot,
    live,
    key_card.element,
  )
  keep_keys(root, asking.form, key_card.element)

  /** The labels beside their bands.
   * @param {Band[]} bands @param {number} top */
  function lay_gutter(bands, top) {
    for (const band of bands) {
      Object.assign(rows[band.row].element.style, {top: `${top + band.top}px`, height: `${band.height}px`})
    }
  }

  return {...frame, root, picture, rows, ribbon, lay_gutter, where, read_out}
}

/** The label of a channel.
 * @param {Channel} channel @param {number} row @param {(action: Action) => void} act */
function make_row(channel, row, act) {
  const title = channel.label + (channel.over ? `, over ${channel.over}` : "")
  const label = brief(channel.label)
  const name = h("button", {class: "name", title, onclick: () => act({command: "channel", row})}, label)
  const shown = {class: "kind", title: "shown as; click for the next", onclick: () => act({command: "next_kind", row})}
  const kind = channel.auxiliary ? h("span", {class: "kind"}, "as recorded") : h("button", shown)
  const gain = h("span", {class: "gain"})
  const scale = h("span", {class: "scale"})
  const level = h("div", {class: "level", title: channel.level_words ?? ""}, channel.level_words ?? "")
  const element = h(
    "div",
    {class: "channel"},
    h("div", {class: "line"}, name, gain),
    h("div", {class: "line"}, kind, scale),
    level,
  )
  return {element, name, kind, gain, scale}
}

/** @typedef {ReturnType<typeof make_screen>} Screen */
