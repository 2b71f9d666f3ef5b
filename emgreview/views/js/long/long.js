// @ts-check
// The long view of a recording: joins what is here of it (loader), what is on the screen (state, screen), the marks, the
// keys, the pointer and the pictures.

import {live, show_saved, theme_of} from "../shared/frame.js"
import {context_of, paper_of} from "../shared/paint.js"
import {canvas_font_px} from "../shared/palette.js"
import {fitting_height} from "../shared/scrolling.js"
import {make_wire} from "../shared/wire.js"
import {head_px, lay_rows, least_row_px} from "./bands.js"
import {draw_marks, draw_on_ribbon} from "./draw_marks.js"
import {make_marks} from "./marks.js"
import {make_moving} from "./moving.js"
import {draw_outlines} from "./outlines.js"
import {draw_over} from "./over.js"
import {listen_to_pointer} from "./pointer.js"
import {draw_ribbon} from "./ribbon.js"
import {make_screen} from "./screen.js"
import {make_state} from "./state.js"
import {make_loader} from "./loader.js"
import {make_words} from "./words.js"

/** @import {Layer} from "../shared/layer.js" */
/** @import {Action, Commands, Model, Pressed, Timer} from "../types.js" */
/** @import {Paper, Scene, Setup} from "./types.js" */

const TICK_MS = 250
const AFTER_MS = 60 // words and ribbon may lag behind the picture by this

/**
 * @param {{model: Model, view: any}} panel
 * @param {Setup} setup
 */
export function render_long({model, view}, setup) {
  const {rate_hz} = setup
  const wire = make_wire(model, {still: " What is shown was read before; other stretches stay blank."})
  const state = make_state(setup)
  const screen = make_screen(setup, model.get_child("picture"), (action) => act(action, null))
  const {root, notice, asking} = screen
  const moving = make_moving(setup, state, screen, refresh)
  const marks = make_marks(setup, {
    decide,
    asking,
    notice: notice.pass,
    go_to: moving.go_to,
    refresh,
    focus: () => state.focus,
    cursor: moving.seen_cursor,
    set_cursor: (s) => {
      state.cursor_s = s
    },
    range: state.range,
  })
  const loader = make_loader(model, setup, wire, {
    layer: () => state.layer,
    kinds: () => state.rows.map((row) => row.kind),
    still_ms: () => performance.now() - state.moved,
    changed: refresh,
    ribbon_changed: paint_ribbon,
    last: notice.last,
  })
  const words = make_words(setup, state, screen, {marks, loader, wire})
  /** @type {Commands} */
  const commands = {
    ...moving.commands(marks),
    ...marks.commands,
    words: () => asking.tell("Every word of what is in view", words.in_full()),
  }

  // --- painting ---------------------------------------------------------------------------------------------------

  /** @type {Paper | null} */
  let paper = null
  /** @type {Timer} */
  let later

  /** @returns {Scene} */
  function scene() {
    const {rows, focus, cursor_s, hover_s, font_px} = state
    const {have, share} = loader
    return {setup, rows, have, focus, share, cursor_s, hover_s, range: state.range(), theme: theme_of(root), font_px}
  }

  /** @param {CanvasRenderingContext2D} ctx @param {HTMLCanvasElement} canvas @param {number} ratio */
  function paper_for(ctx, {width, height}, ratio) {
    if (paper?.image.width !== width || paper.image.height !== height) {
      const image = ctx.createImageData(width, height)
      paper = {image, words: new Uint32Array(image.data.buffer), width, ratio}
    }
    paper.ratio = ratio
    return paper
  }

  /** Called by the layer at every paint, and by us when anything shown changes.
   * @param {Layer} layer */
  function draw(layer) {
    state.layer = layer
    const began = performance.now()
    const ctx = context_of(layer.canvas, {willReadFrequently: true})
    const {width, height} = layer.frame()
    const ratio = window.devicePixelRatio || 1
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0)
    const now = scene()
    const absent = draw_outlines(ctx, paper_for(ctx, layer.canvas, ratio), now, width, height)
    const feet = draw_marks(ctx, marks.shown, now, width, height)
    draw_over(ctx, now, feet, width, height)
    root.dataset.painted = absent.loading ? "loading" : absent.reading ? "reading" : "whole"
    root.dataset.view = layer.range().join(" ")
    root.dataset.drawing = (performance.now() - began).toFixed(2)
    root.dataset.paints = String(Number(root.dataset.paints ?? 0) + 1)
    loader.refill()
    after_paint()
  }

  /** What may lag behind the picture by a frame. */
  function after_paint() {
    if (later) return
    later = setTimeout(() => {
      later = undefined
      words.write()
      paint_ribbon()
    }, AFTER_MS)
  }

  function paint_ribbon() {
    const [width, height] = [screen.ribbon.clientWidth, screen.ribbon.clientHeight]
    if (!state.layer || !width) return
    const ctx = paper_of(screen.ribbon, {width, height})
    ctx.font = `${state.font_px}px system-ui, sans-serif`
    draw_ribbon(ctx, scene(), loader.ribbon, width, height)
    if (setup.decides) draw_on_ribbon(ctx, marks.shown, scene(), width, height)
  }

  function refresh() {
    state.layer?.redraw()
    show_saved(root, screen.saved, wire) // at once: words that are wrong for a moment are wrong
    after_paint()
  }

  // --- keys, pointer, decisions -------------------------------------------------------------------------------------

  /** Send a decision with what was on screen; false, and said so, where none may be taken.
   * @param {string} command @param {Record<string, unknown>} args */
  function decide(command, args) {
    const span_s = state.range().map((s) => Number(s.toFixed(4)))
    const visible = {span_s, gain: state.rows.map((row) => row.gain), shown: state.rows.map((row) => row.kind)}
    const taken = wire.decide({command, args, visible})
    if (!taken && wire.stopped) notice.pass(wire.stopped)
    return taken
  }

  /** One key of the table, or a click that stands for one; `pressed` is what was pressed, null for a click.
   * @param {Action} action @param {Pressed | null} pressed
   * @returns {unknown} */
  function act(action, pressed) {
    if (pressed && asking.key) return asking.key(pressed)
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed)
    if (!pressed && asking.keeps()) return
    asking.close() // a click stands for a key, and a question is for what was selected when it was asked
    state.hover_s = null // keys act at the cursor
    if (!state.layer) return
    const [x0, x1] = state.range()
    asking.form.dataset.side = state.cursor_s > (x0 + x1) / 2 ? "left" : "right"
    commands[action.command]?.(action)
  }

  listen_to_pointer(screen, setup, marks, {
    layer: () => state.layer,
    bands: (height) => lay_rows(setup.channels, height, state.font_px),
    show: state.show,
    shift: moving.shift,
    zoom: moving.zoom,
    refresh,
    take_channel: moving.face,
    set_cursor: (s) => {
      state.cursor_s = Math.round(s * rate_hz) / rate_hz
    },
    hover: (s) => {
      if (s === state.hover_s) return
      state.hover_s = s
      state.layer?.redraw()
    },
    centre: (s) => {
      state.cursor_s = state.inside(s)
      moving.centre(s)
    },
  })

  wire.hold(() => marks.held + asking.unsent)
  wire.listen((what) => {
    show_saved(root, screen.saved, wire) // at once: a decision on its way is not saved
    if ("stopped" in what) notice.last(what.stopped)
    marks.take(what)
    if (what.trials || what.status) refresh()
    if (what.go_to?.client === wire.client) moving.go_to(what.go_to.s)
    if (what.said?.client === wire.client) notice.pass(what.said.words)
    if (what.unfit) notice.pass(what.unfit)
    if (what.refusal) notice.pass(`${what.refusal.doubt ? "Perhaps saved" : "Not taken"}: ${what.refusal.words}`)
    after_paint()
  })

  // --- life -----------------------------------------------------------------------------------------------------

  /** Letters as the page has them, and a figure that fits the window, if every channel's label has room in that. */
  function fit() {
    state.font_px = canvas_font_px()
    const {layer, font_px} = state
    if (!layer) return
    layer.letters(font_px)
    const needed = layer.around() + head_px(font_px) + state.rows.length * least_row_px(font_px)
    layer.make_tall(fitting_height(root, setup.height, needed))
    refresh()
  }

  live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS,
    act,
    draw,
    ready(layer) {
      state.layer = layer
      fit()
    },
    dress: refresh,
    fit,
    tick(attentive) {
      wire.watch(attentive || loader.waits)
      loader.tick()
      if (canvas_font_px() !== state.font_px) fit()
      show_saved(root, screen.saved, wire)
    },
    leave: marks.flush,
    unsaved: () => wire.pending.length + wire.held > 0,
    close() {
      clearTimeout(later)
      marks.close()
      loader.close()
      wire.close()
    },
  })
  wire.insist("hello")
  loader.start()
  return root
}
