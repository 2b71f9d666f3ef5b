// @ts-check
// What is painted of the review, and when: the trial itself at once, its neighbours, the map and the overview when idle.

import {canvas_font_px, PALETTES} from "../shared/palette.js"
import {set_cut_text, set_text} from "../shared/elements.js"
import {theme_of} from "../shared/frame.js"
import {context_of} from "../shared/paint.js"
import {brief} from "../shared/texts.js"
import {draw_overview, overview_order, SORTS} from "./overview.js"
import {draw_trial} from "./scene.js"
import {draw_traces} from "./traces.js"

/** @import {Box, Layer} from "../shared/layer.js" */
/** @import {Timer} from "../types.js" */
/** @import {Look, Review, Trial} from "./types.js" */

const IDLE_MS = 30
const KEPT = 8 // pictures of traces that are kept

/** @param {Review} review */
export function make_painting(review) {
  const {setup, store, screen, state} = review
  const {root} = screen
  /** @type {Map<string, HTMLCanvasElement>} traces already drawn, by what they show */
  const prepared = new Map()
  /** @type {Timer} */
  let idle
  let lettered = 0 // text size at which the picture was dressed
  let dress = () => {}

  /** @param {Layer} layer
   * @returns {Look} */
  const look_now = (layer) => ({
    range: layer.range(),
    gain: state.gain,
    theme: theme_of(root),
    read_out: state.times_shown(),
    widths: state.read_out,
    smear: state.smear,
    blind: state.blind,
    font_px: canvas_font_px(),
  })

  /** @param {Trial} trial @param {Box} size @param {Look} look */
  function traces_image(trial, size, look) {
    const key = [trial.index, size.width, size.height, ...look.range, look.gain, look.theme, look.font_px, look.blind]
      .join("|")
    const known = prepared.get(key)
    if (known) return known
    const canvas = document.createElement("canvas")
    const ratio = window.devicePixelRatio || 1
    canvas.width = Math.round(size.width * ratio)
    canvas.height = Math.round(size.height * ratio)
    const ctx = context_of(canvas)
    ctx.scale(ratio, ratio)
    draw_traces(ctx, trial, setup, look, size.width, size.height)
    prepared.set(key, canvas)
    for (const oldest of prepared.keys()) {
      if (prepared.size <= KEPT) break
      prepared.delete(oldest)
    }
    return canvas
  }

  /** How the view differs from the usual one. */
  function differences() {
    const differs = state.gain === 1 ? [] : [`gain × ${state.gain}`]
    if (!at_usual_span()) differs.push("time span moved")
    else if (state.span) differs.push("close-up time span")
    return differs
  }

  /** Whether the time on the screen is the usual one that was chosen. */
  function at_usual_span() {
    const wanted = setup.spans[state.span]
    return state.range().every((s, i) => Math.abs(s - wanted[i]) <= 1e-6)
  }

  /** Called by the layer at every paint, and by us when anything shown changes.
   * @param {Layer} layer */
  function draw(layer) {
    const ctx = context_of(layer.canvas)
    const size = layer.frame()
    const ratio = window.devicePixelRatio || 1
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    ctx.clearRect(0, 0, size.width, size.height)
    const {index} = state
    const trial = store.trials.get(index)
    const card = state.card()
    screen.waiting.hidden = state.loaded()
    if (!trial || !card) { // never an old picture under a new number
      set_text(screen.waiting, `loading trial ${state.count()} …`)
      return
    }
    const look = look_now(layer)
    const {mark, cursor_s, hover_s} = review.selection
    const typical = state.blind ? new Map() : store.typical
    const scene = {setup, trial, card, look, focus_row: state.row, mark, cursor_s, hover_s, typical}
    draw_trial(ctx, scene, traces_image(trial, size, look), size.width, size.height)
    const differs = differences()
    screen.differs.hidden = !differs.length
    set_text(screen.differs, `differs from the usual view: ${differs.join(", ")}`)
    root.dataset.painted = String(index)
    root.dataset.cursor = String(cursor_s)
    if (state.shown.index !== index) state.shown = {index, since: performance.now()}
  }

  function paint_overview() {
    if (screen.overview.hidden || !state.layer) return
    const {row, index, sort} = state
    const order = overview_order(store, row, sort)
    const reading = store.untold ? ` (${store.untold} of ${store.order.length} still being read)` : ""
    const words = `All trials of ${state.label()}, by ${SORTS[sort][0]}${reading}: onset to offset${
      state.blind ? "" : ", ¦ response"
    }`
    set_cut_text(screen.over_title, words)
    const range = setup.spans[0]
    const scene = {
      summaries: store.summaries,
      order,
      row,
      index,
      range,
      theme: theme_of(root),
      font_px: canvas_font_px(),
    }
    screen.overview_hit = draw_overview(screen.over_map, scene)
    const at = `overview of ${brief(state.label())}: row ${order.indexOf(index) + 1} of ${order.length}`
    screen.over_map.setAttribute("aria-label", at)
  }

  /** What may lag behind the picture. */
  function paint_rest() {
    const {layer} = state
    const font_px = canvas_font_px()
    if (layer && lettered !== font_px) return dress() // the text size of the page was changed
    if (layer) {
      for (const i of review.lists.coming().slice(1, 4)) {
        const trial = store.trials.get(i)
        if (trial) traces_image(trial, layer.frame(), look_now(layer))
      }
    }
    const statuses = store.order.map((i) => store.summaries[i]?.[0] ?? "not read yet")
    const map = {order: store.order, statuses, place: store.place(state.index)}
    screen.paint_map(map, PALETTES[theme_of(root)], Math.round(font_px))
    paint_overview()
    if (!screen.spectrum.hidden) review.moving.ask_spectrum()
  }

  /** Paint, write and ask for what anything changed needs. */
  function refresh() {
    state.layer?.redraw()
    review.words.write()
    store.want(review.lists.coming())
    clearTimeout(idle)
    idle = setTimeout(paint_rest, IDLE_MS)
  }

  return {
    draw,
    refresh,
    at_usual_span,
    /** The letters are those of the page from now on.
     * @param {() => void} again  dresses the screen, once they are not */
    dressed(again) {
      dress = again
      lettered = canvas_font_px()
    },
    close: () => clearTimeout(idle),
  }
}

/** @typedef {ReturnType<typeof make_painting>} Painting */
