// @ts-check
// Orders: of people in the table, of trials by their response. Missing values stand last, whichever way round.

/** @import {Cell, Flag, Setup} from "./types.js" */

export const FLAGGED = -1 // the order in which flagged people stand first
export const STUDY = -2 // that of the study

const NAMES = new Intl.Collator("en", {numeric: true})

/** @param {Cell | undefined} value */
const missing = (value) => value === null || value === undefined || value === ""

/**
 * Numbers of people in the order of a column, or FLAGGED (by the gravest of their flags), or STUDY.
 * @param {Pick<Setup, "people" | "flags">} setup
 * @param {{by: number, down: boolean, row: number}} how  `down`: largest first; the channel
 */
export function people_order({people, flags}, {by, down, row}) {
  const order = people.map((_, i) => i)
  if (by === STUDY) return down ? order.reverse() : order
  if (by === FLAGGED) {
    const last = Math.max(0, ...flags.map(({rank}) => rank)) + 1
    const first = order.map(() => last)
    for (const {person, rank} of flags) first[person] = Math.min(first[person], rank)
    return order.sort((a, b) => first[a] - first[b] || a - b)
  }
  const cell = (/** @type {number} */ i) => people[i].cells[row]?.[by]
  return order.sort((a, b) => {
    const [x, y] = [cell(a), cell(b)]
    if (missing(x) || missing(y)) return Number(missing(x)) - Number(missing(y)) || a - b
    const way = typeof x === "number" && typeof y === "number" ? x - y : NAMES.compare(String(x), String(y))
    return (down ? -way : way) || a - b
  })
}

/** Places of trials by their response, those without one last.
 * @param {ArrayLike<number>} response */
export function by_response(response) {
  const last = (/** @type {number} */ i) => (Number.isFinite(response[i]) ? response[i] : Infinity)
  return Array.from(response, (_, i) => i).sort((a, b) => {
    const [x, y] = [last(a), last(b)]
    return x === y ? a - b : x - y
  })
}

/** The entry of a list so many steps on, from one of it; its first where it is none of it. Stays within.
 * @param {number[]} list @param {number | null} from @param {number} by */
export function stepped(list, from, by) {
  if (!list.length) return null
  const at = from === null ? -1 : list.indexOf(from)
  if (at < 0) return by > 0 ? list[0] : list[list.length - 1]
  return list[Math.max(0, Math.min(list.length - 1, at + by))]
}

/** Flags of somebody as words: codes, with the channels of each.
 * @param {Flag[]} flags */
export function flag_words(flags) {
  /** @type {Map<string, string[]>} */
  const by = new Map()
  for (const {code, channel} of flags) by.set(code, [...(by.get(code) ?? []), ...(channel ? [channel] : [])])
  return [...by].map(([code, channels]) => (channels.length ? `${code} (${channels.join(", ")})` : code)).join("; ")
}
