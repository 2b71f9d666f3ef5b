// @ts-check
// Texts of strangers, as a screen shows them: labels, names, comments and whatever else comes from files may hold letters
// that turn round what stands beside them, that nobody sees, or that break the line. What is shown is never what is sent.

const ODD = /[^\x20-\x7e\xa0-\u02ff\u2010-\u2027\u2030-\u205e\u2190-\u23ff\u2500-\u27bf]/ // most texts have none of these

const RIGHT = "\\u0590-\\u08ff\\u200f\\ufb1d-\\ufdff\\ufe70-\\ufefc\\u{10800}-\\u{10fff}\\u{1e800}-\\u{1efff}"
/** Words that are written from right to left, with what stands between them. */
const RUN = `[${RIGHT}](?:[${RIGHT}\\p{M}\\u200c\\u200d ,'"\\-_./\\d]*[${RIGHT}])?\\p{M}*`
const RUNS = new RegExp(RUN, "gu")
const ISOLATED = new RegExp(`\\u2067(${RUN})\\u2069`, "gu") // as we have made it before
const TURNING = /[\u061c\u200e\u202a-\u202e\u2066-\u2069]/g
const UNSEEN = /[\u00ad\u180e\u200b\u2060-\u2064\u206a-\u206f\ufeff\ufff9-\ufffb]|[\u{e0000}-\u{e007f}]/gu
const BREAK = "\u21b5"
const HEAPED = /(\p{M}{4})\p{M}+/gu // marks over one letter that would reach into other lines

/**
 * A text that stays in its place: runs from right to left are isolated, what turns the order of others, breaks lines or
 * is not seen is a sign. Shown again, it stays the same.
 * @param {string} text
 * @param {boolean} lines  whether line feeds stay
 */
export function shown(text, lines = false) {
  if (!ODD.test(text)) return text
  return text
    .replace(ISOLATED, "$1")
    .replace(TURNING, "\ufffd")
    .replace(UNSEEN, "\ufffd")
    .replace(/[\u2028\u2029]/g, BREAK)
    .replace(/\p{Cc}/gu, (sign) => (sign !== "\n" ? "\ufffd" : lines ? sign : BREAK))
    .replace(HEAPED, "$1")
    .replace(RUNS, "\u2067$&\u2069")
}

/**
 * As much of it as a line can hold, for what cannot wrap and what is read aloud.
 * @param {string} text
 * @param {number} most  letters
 */
export function brief(text, most = 160) {
  if (text.length <= most) return shown(text)
  return shown(`${[...text.slice(0, 2 * most)].slice(0, most - 1).join("")}…`)
}
