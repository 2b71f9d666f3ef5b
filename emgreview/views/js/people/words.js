// @ts-check
// What is said of somebody, and of one trial.

import {h, set_cut_text, set_text} from "../shared/elements.js"
import {brief, shown} from "../shared/texts.js"
import {plain} from "./axes.js"
import {by_response} from "./order.js"
import {cell_words} from "./table.js"

/** @import {Screen} from "./screen.js" */
/** @import {State} from "./state.js" */
/** @import {Store} from "./store.js" */
/** @import {Setup, Trials} from "./types.js" */

/** @param {number} s */
const ms = (s) => (Number.isFinite(s) ? `${plain(Number((1000 * s).toFixed(0)))} ms` : "n/a")

/** One trial in numbers.
 * @param {Trials} data @param {number} i @param {Setup} setup @param {string} unit @param {string[]} runs */
export function trial_words(data, i, {signals}, unit, runs) {
  const run = runs.length > 1 ? `, run ${data.run[i] + 1} of ${runs.length}` : ""
  const range = Number.isFinite(data.low[i]) ? ` (${ms(data.low[i])} to ${ms(data.high[i])})` : ""
  const onset = Number.isFinite(data.onset[i]) ? `onset ${ms(data.onset[i])}${range}` : "no burst found"
  const state = [
    data.signal[i] ? signals[data.signal[i]] : "",
    data.none[i] ? "reviewed: none" : data.reviewed[i] ? "reviewed" : "",
  ].filter(Boolean).join(", ")
  const level = Number.isFinite(data.level[i]) ? `${data.level[i].toFixed(1).replace("-", "−")} dB over rest` : "n/a"
  const rest = Number.isFinite(data.rest[i]) ? `${Number(data.rest[i].toPrecision(3))} ${unit}` : "n/a"
  return `Trial ${i + 1} of ${data.n}${run}: ${onset}, offset ${ms(data.offset[i])}, response ${
    ms(data.response[i])
  }, ` +
    `level ${level}, rest ${rest}${state ? ` · ${state}` : ""} · ${runs[data.run[i]]}${data.ids[i]}`
}

/**
 * @param {Setup} setup
 * @param {State} state
 * @param {Screen} screen
 * @param {Store} store
 */
export function make_words(setup, state, screen, store) {
  const flags = setup.people.map((_, i) => setup.flags.filter(({person}) => person === i))
  let somebody = -1

  const here = () => store.trials(state.person, state.row)

  function write() {
    const {person, row, trial} = state
    const one = setup.people[person]
    const label = setup.labels[row]
    set_cut_text(
      screen.title,
      `${one.name} · ${label} · ${setup.people.length} people, ${state.flagged.size} with a flag`,
    )
    screen.channels.forEach((button, k) => button.setAttribute("aria-pressed", String(k === row)))
    if (somebody !== person) {
      somebody = person
      const kinds = {physical: "by a physical rule", "unlike the others": "unlike the others"}
      set_text(screen.who, `${one.name}: ${flags[person].length ? "why" : "no flag"}`)
      screen.reasons.replaceChildren(
        ...flags[person].map(({code, channel, reason, kind, trials}) =>
          h(
            "li",
            {},
            h("b", {}, `⚑ ${code}${channel ? `, ${channel}` : ""}`),
            ` ${reason}`,
            h(
              "span",
              {class: "kind"},
              ` (${kinds[/** @type {keyof kinds} */ (kind)] ?? kind}${
                trials.length ? `; ${trials.length} trials` : ""
              })`,
            ),
          )
        ),
      )
    }
    const data = here()
    const none = data ? `${data.n} trials; → steps through them, a click on a dot or row takes one.` : ""
    const said = data && trial !== null ? trial_words(data, trial, setup, one.unit, one.runs) : none
    set_text(screen.trial, data === null ? `${one.name} has no channel ${label}.` : said || "loading")
    const flagged = flags[person].length ? screen.table.flags[person] : "no flag"
    set_text(
      screen.live,
      [one.name, label, flagged, trial === null ? "" : said].filter(Boolean).map((words) => brief(words)).join(". "),
    )
  }

  /** Everything of somebody, for a form: what is cut on the screen stands here whole. */
  function in_full() {
    const {person, row} = state
    const one = setup.people[person]
    const data = here()
    const numbers = setup.columns.map((column, k) => {
      const unit = column.unit.replace("unit", one.unit)
      return `${column.words}: ${cell_words(one.cells[row]?.[k], column)}${unit ? ` ${unit}` : ""}`
    })
    const parts = [
      `${one.name}, ${setup.labels[row]}`,
      ...one.runs.map((name, k) => `Recording ${k + 1}: ${name}`),
      ...flags[person].map(({code, channel, reason}) => `⚑ ${code}${channel ? `, ${channel}` : ""}: ${reason}`),
      ...numbers,
      ...(data && state.trial !== null ? [trial_words(data, state.trial, setup, one.unit, one.runs)] : []),
      ...screen.pictures.map(({name, canvas}) => `${name}: ${canvas.getAttribute("aria-label")}`),
    ]
    return parts.map((words) => shown(words)).join("\n")
  }

  return {write, in_full, here, order: () => by_response(here()?.response ?? [])}
}
