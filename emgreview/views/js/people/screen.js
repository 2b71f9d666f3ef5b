// @ts-check
// The elements of the screen of people: table beside small pictures, somebody's words, somebody's pictures. Decides
// nothing.

import {card_key, h, keep_keys} from "../shared/elements.js"
import {button_groups, make_frame} from "../shared/frame.js"
import {key_name} from "../shared/keys.js"
import {make_table} from "./table.js"

/** @import {Action} from "../types.js" */
/** @import {Hit, Find, Setup} from "./types.js" */

const MOUSE =
  "click a row, a panel or a dot of the rates for a person; a row or dot of a trial for that trial, twice to " +
  "open it; the head of a column to sort by it."

export const PICTURES = /** @type {const} */ ([
  ["raster", "Onsets, sorted by response"],
  ["heat", "All trials in order of time"],
  ["rest", "Rest over the session"],
  ["spectra", "Spectra and the group's band"],
  ["onset_response", "Onset against response"],
  ["onset_level", "Onset against level"],
  ["matrix", "Channels against channels"],
  ["rates", "None found, and limits by chance"],
])

/**
 * @param {Setup} setup
 * @param {HTMLElement | null} review  the review's element
 * @param {{act: (action: Action) => void, sort: (by: number) => void, choose: (person: number) => void,
 *   hit: (what: Hit, twice: boolean) => void}} on
 */
export function make_screen(setup, review, on) {
  const frame = make_frame({...setup, processing: ""}, on.act, () => root, {what: "screen", mouse: MOUSE})
  const {asking, key_card, keys_on, live} = frame
  const title = h("span", {class: "title"})
  const head = h("div", {class: "head"}, title, keys_on, frame.card_button)
  const channels = setup.labels.map((label, k) =>
    h("button", {
      class: "do channel-button",
      title: label,
      onclick: () => on.act({command: "channel", arguments: {number: k + 1}}),
    }, label)
  )
  const groups = button_groups(setup.keys, (key) => ({title: key.words, onclick: () => on.act(key)}))
  const bar = h("div", {class: "bar"}, ...groups.values())
  const channel_bar = h("div", {class: "buttons", role: "group", "aria-label": "channel"}, ...channels)
  const table = make_table(setup, on)
  const small = make_picture("multiples", "Everybody")
  const who = h("h4", {class: "who"})
  const reasons = h("ul", {class: "reasons", tabindex: 0, "aria-label": "flags and their reasons"})
  const trial = h("div", {class: "trial-words", role: "status"})
  const unlike = h(
    "ol",
    {class: "unlike"},
    ...setup.unlike.map((one, k) =>
      h(
        "li",
        {},
        h(
          "button",
          {class: "plain", title: one.reason, onclick: () => on.act({command: "unlike", index: k})},
          `${setup.people[one.person].name}${one.channel ? `, ${one.channel}` : ""}: ${one.code}`,
        ),
        ` ${Math.abs(one.value ?? NaN).toFixed(1)} SD, limit ${one.limit?.toFixed(1)}`,
      )
    ),
  )
  const rest = h(
    "div",
    {class: "beside"},
    h("h4", {}, "Most unlike the others, below every limit"),
    setup.unlike.length ? unlike : h("p", {}, "nobody can be told apart by numbers"),
  )
  const pictures = PICTURES.map(([id, name]) => make_picture(id, name))
  const grid = h("div", {class: "pictures"}, ...pictures.map(({element}) => element))
  const root = h(
    "div",
    {
      class: "emgreview people",
      tabindex: 0,
      role: "application",
      "aria-label": `people of a study; the key ${card_key(setup.keys)} shows the keys`,
    },
    head,
    frame.notes.element,
    bar,
    channel_bar,
    frame.notice.element,
    h("div", {class: "body"}, asking.form, h("div", {class: "people-side"}, table.element), small.element),
    h("div", {class: "words"}, h("div", {class: "somebody"}, who, reasons, trial), rest),
    grid,
    live,
    key_card.element,
  )
  keep_keys(root, asking.form, key_card.element)
  const back = setup.keys.find(({command}) => command === "back")
  const return_button = h(
    "button",
    {class: "do", onclick: () => on.act({command: "back"})},
    h("kbd", {}, key_name(back ?? {code: ""})),
    " back to the people",
  )
  const shown = h("span", {class: "title"})
  const opened = review &&
    h("div", {class: "opened", "data-open": "no"}, h("div", {class: "emgreview return"}, return_button, shown), review)
  const element = h("div", {class: "people-frame"}, root, opened)

  for (const {canvas, finder} of [small, ...pictures]) {
    const at = (/** @type {MouseEvent} */ event) => finder.find?.(event.offsetX, event.offsetY) ?? null
    canvas.addEventListener("click", (event) => {
      root.focus()
      const what = at(event)
      if (what) on.hit(what, event.detail > 1)
    })
    canvas.addEventListener("mousemove", (event) => {
      canvas.style.cursor = at(event) ? "pointer" : ""
    })
  }
  return {
    ...frame,
    root,
    element,
    opened,
    shown,
    title,
    table,
    channels,
    small,
    pictures,
    who,
    reasons,
    trial,
    grid,
    bar,
  }
}

/** A canvas under its name; what paints it puts into `finder` what tells the point under the mouse.
 * @param {string} id @param {string} name */
function make_picture(id, name) {
  const canvas = h("canvas", {role: "img", "aria-label": name, "data-picture": id})
  const caption = h("figcaption", {}, name)
  const element = h("figure", {class: `picture-box ${id}`}, caption, canvas)
  return {id, name, canvas, caption, element, finder: {find: /** @type {Find | null} */ (null)}}
}

/** @typedef {ReturnType<typeof make_screen>} Screen */
