// @ts-check
// The words around the picture of a trial: head line, panel of decisions, overview, map of the queue. Builds elements
// and offers functions that refresh them; decides nothing.

import {card_key, h, keep_keys} from "../shared/elements.js"
import {button_groups, make_frame} from "../shared/frame.js"
import {scrolled_by, shown_by} from "../shared/scrolling.js"
import {brief} from "../shared/texts.js"
import {make_queue_map} from "./queue_map.js"

/** @import {Action} from "../types.js" */
/** @import {Setup} from "./types.js" */

const MOUSE = "a click sets the cursor, a double click puts the selected mark there, a mark can be dragged."

/** @param {Setup} setup @param {HTMLElement} figure @param {(action: Action) => void} act */
export function make_screen(setup, figure, act) {
  const frame = make_frame(setup, act, () => root, {what: "review", mouse: MOUSE})
  const {asking, key_card, differs, foot, live} = frame
  const title = h("span", {class: "title"})
  const progress = h("progress", {max: 1, value: 0, "aria-label": `share of ${setup.counted}`})
  const counted = h("span", {class: "counted"})
  const stepping = h("span", {class: "chip stepping", hidden: true})
  const awaited = h("div", {class: "awaited", role: "status", hidden: true})
  const blind = h("span", {class: "chip", hidden: true}, "blind")
  const count = h("span", {class: "count"}, progress, counted)
  const {saved, keys_on, card_button} = frame
  const head = h("div", {class: "head"}, title, count, blind, stepping, saved, keys_on, card_button)

  const waiting = h("div", {class: "waiting", hidden: true})
  const picture = h("div", {class: "picture"}, figure, waiting, differs)
  const over_title = h("div", {class: "over-title"})
  const over_map = h("canvas", {class: "over-map", role: "img"})
  const legend = h("div", {class: "legend"}, ...setup.signs.map(([sign, words]) => h("span", {}, `${sign} ${words}`)))
  const overview = h("div", {class: "overview"}, over_title, over_map, legend)
  const spectrum_map = h("canvas", {class: "spectrum-map", role: "img", "aria-label": "spectrum of burst and rest"})
  const spectrum = h("div", {class: "spectrum", hidden: true}, h("h4", {}, "Spectrum"), spectrum_map)

  const rows = setup.channels.map((channel, row) =>
    channel.auxiliary ? null : h(
      "button",
      {class: "row", onclick: () => act({command: "channel", row})},
      h("span", {class: "sign"}),
      h("span", {class: "name"}, brief(channel.label)),
      h("span", {class: "state"}),
    )
  )
  const detail = h("p", {class: "detail"})
  const groups = button_groups(setup.keys, (key) => ({title: key.words, onclick: () => act(key)}))
  const queue_map = make_queue_map(go_to)
  const queue = h(
    "div",
    {class: "queue"},
    h("h4", {}, "All trials in order: □ open, ◧ begun, ▣ reviewed, ◇ to discuss. ", "Click one to go there."),
    queue_map.element,
  )
  const side = h(
    "div",
    {class: "side"},
    h("h4", {}, "Channels of this trial"),
    ...rows,
    detail,
    spectrum,
    ...[...groups].flatMap(([group, buttons]) => [h("h4", {}, group), buttons]),
  )
  const root = h(
    "div",
    {
      class: "emgreview",
      tabindex: 0,
      role: "application",
      "aria-label": `review of EMG trials; the key ${card_key(setup.keys)} shows the keys`,
    },
    head,
    awaited,
    frame.notes.element,
    frame.notice.element,
    h("div", {class: "body"}, asking.form, overview, h("div", {class: "main"}, picture, queue), side),
    foot,
    live,
    key_card.element,
  )
  keep_keys(root, asking.form, key_card.element)

  /** @param {number | undefined} index */
  function go_to(index) {
    if (index !== undefined) act({command: "trial", index})
    root.focus()
  }

  over_map.addEventListener("click", (event) => go_to(screen.overview_hit(event.offsetY)))

  /** The words of a channel's row, and whether they are cut for want of room.
   * @param {number} row */
  function row_parts(row) {
    const button = /** @type {HTMLButtonElement} */ (rows[row])
    const [sign, , words] = button.children
    return {button, sign, words, cut: words.scrollWidth > words.clientWidth}
  }

  /** @type {Element | null} */
  let scroller = null
  /** Scroll the page so that a band of the picture is in view, with the head line where both fit. Heights in px.
   * @param {number} top @param {number} height */
  function reveal(top, height) {
    if (!scroller?.isConnected) scroller = scrolled_by(root)
    const [from, to] = shown_by(scroller)
    const at = picture.getBoundingClientRect().top + top
    const high = Math.min(height, to - from) // of a band that is higher than the window, its top
    if (at >= from && at + high <= to) return
    const head_at = root.getBoundingClientRect().top
    if (at + high > to) scroller.scrollTop += at + high - to
    else scroller.scrollTop += (at + high - head_at <= to - from ? head_at : at) - from
  }

  const screen = {
    ...frame,
    root,
    picture,
    title,
    progress,
    counted,
    blind,
    stepping,
    awaited,
    waiting,
    row_parts,
    detail,
    overview,
    over_title,
    over_map,
    spectrum,
    spectrum_map,
    paint_map: queue_map.paint,
    reveal,
    /** Which trial lies at a height of the overview, as it was painted last.
     * @type {(y: number) => number | undefined} */
    overview_hit: () => undefined,
  }
  return screen
}

/** @typedef {ReturnType<typeof make_screen>} Screen */
