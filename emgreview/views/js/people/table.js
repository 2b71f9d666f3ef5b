// @ts-check
// The table of people: one row a person's session, for the chosen channel. Flags stand as words beside the name.

import {h, set_text} from "../shared/elements.js"
import {brief} from "../shared/texts.js"
import {flag_words, FLAGGED, STUDY} from "./order.js"

/** @import {Timer} from "../types.js" */
/** @import {Cell, Column, Setup} from "./types.js" */

const ROOM_PX = 200 // above and below the rows in view, that are filled with them
const AT_ONCE = 40 // rows
const AFTER_MS = 120

/** A cell as it is written.
 * @param {Cell | undefined} value @param {Column} column */
export function cell_words(value, {digits}) {
  if (value === null || value === undefined) return "n/a"
  return typeof value === "number" ? value.toFixed(digits).replace("-", "−") : value
}

/**
 * @param {Setup} setup
 * @param {{sort: (by: number) => void, choose: (person: number) => void}} act
 */
export function make_table(setup, act) {
  const heads = [
    {by: STUDY, head: "person", unit: "", words: "Participant and session, in the order of the study"},
    {by: FLAGGED, head: "flags", unit: "", words: "What is odd about the person, by which rule; flagged people first"},
    ...setup.columns.map(({head, unit, words}, by) => ({by, head, unit, words})),
  ]
  const buttons = heads.map(({by, head, words}) =>
    h("button", {class: "head-cell", tabindex: -1, title: words, onclick: () => act.sort(by)}, head)
  )
  const units = heads.map(() => h("span", {class: "unit"}))
  const head_cells = heads.map((_, k) => h("th", {scope: "col"}, buttons[k], units[k]))
  const body = h("tbody")
  const caption = h("caption")
  const table = h("table", {class: "people-table"}, caption, h("thead", {}, h("tr", {}, ...head_cells)), body)
  const element = h("div", {class: "table-box", role: "region", "aria-label": "table of people", tabindex: 0}, table)

  const flags = setup.people.map((_, i) => flag_words(setup.flags.filter(({person}) => person === i)))
  /** @type {HTMLTableCellElement[][]} */
  const cells = []
  const rows = setup.people.map(({name}, i) => {
    const own = setup.columns.map(() => h("td"))
    cells.push(own)
    const words = flags[i]
      ? h("td", {class: "flags", title: flags[i]}, `⚑ ${brief(flags[i])}`)
      : h("td", {class: "flags none"}, "no flag")
    return h("tr", {onclick: () => act.choose(i)}, h("th", {scope: "row", title: name}, brief(name, 40)), words, ...own)
  })

  /** @type {Timer} */
  let later

  /** People whose rows are in view, or near it; everybody as long as no row is laid out. */
  function rows_seen() {
    const [top, bottom] = [element.scrollTop - ROOM_PX, element.scrollTop + element.clientHeight + ROOM_PX]
    return rows.flatMap(({offsetTop}, i) => (offsetTop >= top && offsetTop <= bottom ? [i] : []))
  }

  /** @param {number} i @param {number} row @param {string} unit  that most have */
  function fill_one(i, row, unit) {
    const {cells: values, unit: own} = setup.people[i]
    setup.columns.forEach((column, k) => {
      const value = values[row]?.[k]
      const cell = cells[i][k]
      const foreign = own !== unit && column.unit.startsWith("unit") && value !== null ? ` ${own}` : ""
      const text = brief(cell_words(value, column) + foreign, 60)
      if (cell.textContent !== text) cell.textContent = text
      cell.className = value === null || value === undefined ? "none" : typeof value === "string" ? "text" : ""
    })
  }

  return {
    element,
    flags,
    rows,
    /** The cells of a channel: those in view at once, the others soon after, so that no key waits for them.
     * @param {number} row */
    fill(row) {
      const {label, unit} = setup.channels[row]
      set_text(caption, `${setup.people.length} people's sessions · ${label} · ${setup.marks} marks`)
      heads.forEach(({unit: said}, k) => set_text(units[k], said.replace("unit", unit)))
      const seen = rows_seen()
      seen.forEach((i) => fill_one(i, row, unit))
      clearTimeout(later)
      const rest = setup.people.map((_, i) => i).filter((i) => !seen.includes(i))
      const go_on = () => {
        for (const i of rest.splice(0, AT_ONCE)) fill_one(i, row, unit)
        if (rest.length) later = setTimeout(go_on, 0)
      }
      if (rest.length) later = setTimeout(go_on, AFTER_MS)
    },
    /** @param {number[]} order @param {{by: number, down: boolean}} sort */
    order(order, {by, down}) {
      body.append(...order.map((i) => rows[i]))
      heads.forEach(({by: own}, k) => {
        if (own === by) head_cells[k].setAttribute("aria-sort", down ? "descending" : "ascending")
        else head_cells[k].removeAttribute("aria-sort")
      })
    },
    /** @param {number} person */
    choose(person) {
      body.querySelector("[aria-current=true]")?.removeAttribute("aria-current")
      const row = rows[person]
      row.setAttribute("aria-current", "true")
      const head = table.tHead?.offsetHeight ?? 0
      if (row.offsetTop < element.scrollTop + head) element.scrollTop = row.offsetTop - head
      const below = row.offsetTop + row.offsetHeight - element.clientHeight
      if (below > element.scrollTop) element.scrollTop = below
    },
  }
}

/** @typedef {ReturnType<typeof make_table>} Table */
