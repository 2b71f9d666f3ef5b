// @ts-check
// The words of a long view as it stands: head line, labels of the channels, read-out, what a screen reader is told.

import {set_cut_text, set_text} from "../shared/elements.js"
import {show_saved} from "../shared/frame.js"
import {MISSING} from "../shared/pack.js"
import {brief, shown} from "../shared/texts.js"
import {heights, lay_rows, scale_bar} from "./bands.js"

/** @import {Wire} from "../shared/wire.js" */
/** @import {Marks} from "./marks.js" */
/** @import {Screen} from "./screen.js" */
/** @import {State} from "./state.js" */
/** @import {Loader} from "./loader.js" */
/** @import {Setup} from "./types.js" */

/** Seconds as hh:mm:ss.
 * @param {number} s */
function clock(s) {
  const whole = Math.floor(s)
  const parts = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60]
  return parts.map((n) => String(n).padStart(2, "0")).join(":")
}

/** @param {number} gain */
const gain_words = (gain) => (gain >= 1 ? String(gain) : `1/${Math.round(1 / gain)}`)

/**
 * @param {Setup} setup
 * @param {State} state
 * @param {Screen} screen
 * @param {{marks: Marks, loader: Loader, wire: Wire}} parts
 */
export function make_words(setup, state, screen, {marks, loader, wire}) {
  const {duration_s, rate_hz, channels} = setup
  const {rows} = state

  /** @param {number} row */
  const shown_as = (row) => (channels[row].auxiliary ? "as recorded" : rows[row].kind)

  /** The value of the channel in focus at a time, as far as it is here.
   * @param {number} s */
  function value_at(s) {
    const {have} = loader
    const trace = have?.traces.get(state.focus)
    if (!have || !trace || trace.kind !== rows[state.focus].kind) return null
    const i = Math.floor((s * rate_hz - have.start) / have.width + (have.width === 1 ? 0.5 : 0))
    if (i < 0 || i >= trace.low.length || trace.low[i] === MISSING) return null
    const value = (/** @type {number} */ v) => Number((v * trace.scale + trace.offset).toPrecision(3))
    const [low, high] = [value(trace.low[i]), value(trace.high[i])]
    return low === high ? `${low}` : `${low} to ${high}`
  }

  /** Time, and value of the channel in focus, where the pointer is or else at the cursor. */
  function read_out() {
    const {focus, hover_s, cursor_s} = state
    const s = hover_s ?? cursor_s
    const at = `${hover_s == null ? "cursor" : "pointer"} ${s.toFixed(4)} s`
    const value = value_at(s)
    const {label, unit_label} = channels[focus]
    return value == null ? at : `${at} · ${brief(label, 60)}, ${shown_as(focus)}: ${value} ${brief(unit_label, 24)}`
  }

  /** The labels beside the picture. @param {{top: number, height: number}} frame */
  function write_labels({top, height}) {
    const bands = lay_rows(channels, height, state.font_px)
    screen.lay_gutter(bands, top)
    channels.forEach((channel, row) => {
      const {element, name, kind, gain, scale} = screen.rows[row]
      const bar = scale_bar(heights(channel, rows[row], bands[row]), bands[row])
      const unit = channel.unit_label === "arbitrary units" ? "(arbitrary)" : channel.unit_label
      set_cut_text(scale, `${Number(bar.value.toPrecision(3))} ${unit}`)
      set_text(kind, shown_as(row))
      set_text(gain, rows[row].gain === 1 ? "" : `× ${gain_words(rows[row].gain)}`)
      name.setAttribute("aria-current", String(row === state.focus))
      element.dataset.here = String(row === state.focus)
    })
  }

  function write() {
    const {layer, focus, said} = state
    if (!layer) return
    const [x0, x1] = layer.range()
    const digits = x1 - x0 < 2 ? 3 : x1 - x0 < 100 ? 1 : 0
    const span = `${x0.toFixed(digits)} to ${x1.toFixed(digits)} s`
    set_text(screen.where, `${span} of ${duration_s.toFixed(0)} s (${clock(x0)})`)
    const held = marks.words(focus, state.hover_s ?? state.cursor_s)
    set_cut_text(screen.read_out, read_out() + (held ? ` · ${held}` : ""))
    write_labels(layer.frame())
    const other = rows.filter((row) => row.gain !== 1).length
    screen.differs.hidden = !other
    const which = other === rows.length ? "all channels" : `${other} of ${rows.length} channels`
    set_text(screen.differs, `differs from the usual gain: ${which}`)
    const whole = `the whole recording, ${duration_s.toFixed(0)} s; shown is ${x0.toFixed(1)} to ${x1.toFixed(1)} s`
    screen.ribbon.setAttribute("aria-label", whole)
    const told = [`${span}, ${brief(channels[focus].label)}, ${shown_as(focus)}`, said, held]
    set_text(screen.live, told.filter(Boolean).map((words) => brief(words)).join(". "))
    show_saved(screen.root, screen.saved, wire)
  }

  /** Every word of what is in view, for a form: what the screen has to cut stands there whole. */
  function in_full() {
    const [x0, x1] = state.range()
    const {cards, status} = marks.shown
    const names = channels.map(({label, over, unit_label, level_words}) =>
      [`${label}${over ? ` (over ${over})` : ""}, ${unit_label}`, level_words].filter(Boolean).join(": ")
    )
    const inside = setup.markers.filter(([s]) => s >= x0 && s <= x1).slice(0, 200)
    const near = cards.filter(({cue_s}) => cue_s >= x0 && cue_s <= x1)
    const parts = [
      setup.title,
      ...names.map((name) => `Channel ${name}`),
      ...inside.map(([s, words]) => `Marker at ${s.toFixed(3)} s: ${words}`),
      ...near.flatMap(({cue, cue_s, none}) => (none ? [`Cue ${cue} at ${cue_s.toFixed(3)} s is none: ${none}`] : [])),
      ...status.added.map(([s, words]) => `Added cue at ${s.toFixed(3)} s: ${words}`),
      ...status.aside.map(({row, start_s, stop_s, words}) =>
        `Set aside, ${channels[row].label}, ${start_s.toFixed(3)} to ${stop_s.toFixed(3)} s: ${words}`
      ),
      setup.processing,
    ]
    return parts.map((words) => shown(words)).join("\n")
  }

  return {write, in_full}
}
