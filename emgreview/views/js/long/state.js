// @ts-check
// What is on the screen of a long view: which time and channel, and how the channels are shown.

import {within} from "../shared/geometry.js"
import {canvas_font_px} from "../shared/palette.js"

/** @import {Layer} from "../shared/layer.js" */
/** @import {Span} from "../types.js" */
/** @import {Row, Setup} from "./types.js" */

const SHORTEST = 16 // samples in view at least

/** @param {Setup} setup */
export function make_state(setup) {
  const {duration_s, rate_hz} = setup
  /** @type {Row[]} */
  const rows = setup.channels.map(({auxiliary}) => ({kind: auxiliary ? "raw" : "band-passed", gain: 1}))
  const state = {
    rows,
    focus: 0, // the channel that keys act on
    cursor_s: (setup.view_s[0] + setup.view_s[1]) / 2,
    hover_s: /** @type {number | null} */ (null), // where the pointer is
    moved: 0, // when the view last moved
    font_px: canvas_font_px(),
    said: "", // what the last move was about, for the screen reader
    layer: /** @type {Layer | null} */ (null),
  }
  const shortest_s = SHORTEST / rate_hz
  return Object.assign(state, {
    shortest_s,
    /** The time on the screen.
     * @returns {Span} */
    range: () => state.layer?.range() ?? setup.view_s,
    /** A time of the recording.
     * @param {number} s */
    inside: (s) => within(s, 0, duration_s - 1 / rate_hz),
    /** Show a stretch of time, as far as there is one.
     * @param {number} x0 @param {number} x1 */
    show(x0, x1) {
      const span = Math.min(duration_s, Math.max(shortest_s, x1 - x0))
      const start = Math.max(0, Math.min(duration_s - span, x0 + (x1 - x0 - span) / 2))
      state.moved = performance.now()
      state.layer?.set_range(start, start + span)
    },
  })
}

/** @typedef {ReturnType<typeof make_state>} State */
