// @ts-check
// People of a study: joins what is here of them (store), what is on the screen (state, screen), the keys and the pictures.

import {live, theme_of} from "../shared/frame.js"
import {paper_of} from "../shared/paint.js"
import {canvas_font_px, PALETTES} from "../shared/palette.js"
import {make_wire} from "../shared/wire.js"
import {draw_matrix, draw_rates, draw_spectra} from "./group.js"
import {draw_heat, HEATS} from "./heat.js"
import {make_moving} from "./moving.js"
import {draw_chosen, draw_multiples, lay_panels} from "./multiples.js"
import {draw_raster} from "./raster.js"
import {draw_onset_level, draw_onset_response, draw_rest} from "./scatters.js"
import {make_screen} from "./screen.js"
import {make_state} from "./state.js"
import {make_store} from "./store.js"
import {make_words} from "./words.js"

/** @import {Action, Model, Pressed} from "../types.js" */
/** @import {Box, Find, Hit, Paint, Scene, Setup} from "./types.js" */

const TICK_MS = 250
const AHEAD = 3 // so many people before and after the chosen one are asked for

/** @type {Record<string, Paint>} */
const PAINTS = {
  raster: draw_raster,
  heat: draw_heat,
  rest: draw_rest,
  spectra: draw_spectra,
  onset_response: draw_onset_response,
  onset_level: draw_onset_level,
  matrix: draw_matrix,
  rates: draw_rates,
}

/**
 * @param {{model: Model, view: any}} panel
 * @param {Setup} setup
 */
export function render_people({model, view}, setup) {
  let ready = false // the page shows the screen
  let [filled, ordered] = [-1, ""] // what the table shows
  /** The small pictures as they are whoever is chosen.
   * @type {{canvas: HTMLCanvasElement, key: string, find: Find | null, said: string, boxes: [Box, number][]}} */
  let everybody = {canvas: document.createElement("canvas"), key: "", find: null, said: "", boxes: []}
  const wire = make_wire(model, {still: " What is shown was sent before."})
  const state = make_state(setup)
  const store = make_store(model, setup, wire, (people, row) => {
    if (people.includes(state.person) || row === state.row) refresh()
  })
  const screen = make_screen(setup, setup.within ? model.get_child("opened") : null, {
    act: (action) => act(action, null),
    sort: (by) => moving.sort_by(by),
    choose: (person) => moving.choose(person),
    hit,
  })
  const {root, asking, notice, table} = screen
  const words = make_words(setup, state, screen, store)
  const moving = make_moving(setup, state, screen, wire, {
    refresh,
    per_page: () => panels().per_page,
    here: words.here,
    by_response: words.order,
    in_full: words.in_full,
    show_review,
  })
  const size_of = (/** @type {HTMLCanvasElement} */ canvas) => ({
    width: canvas.clientWidth,
    height: canvas.clientHeight,
  })
  const panels = () => lay_panels(size_of(screen.small.canvas), setup.people.length, canvas_font_px())

  /** What was chosen by the mouse; twice opens a trial.
   * @param {Hit} what @param {boolean} twice */
  function hit(what, twice) {
    if (asking.keeps()) return
    asking.close()
    if (what.person !== undefined) return moving.choose(what.person)
    if (what.row !== undefined) return moving.face(what.row)
    state.trial = what.trial ?? null
    refresh()
    if (twice) moving.open()
  }

  // --- painting ---------------------------------------------------------------------------------------------------

  function write_table() {
    const how = JSON.stringify(state.sort)
    if (how !== ordered || (filled !== state.row && state.sort.by >= 0)) table.order(state.order, state.sort)
    if (filled !== state.row) table.fill(state.row)
    ;[filled, ordered] = [state.row, how]
    table.choose(state.person)
  }

  /** @param {number} width */
  function paint_small(width) {
    const {small} = screen
    const page = state.page(panels().per_page)
    const size = size_of(small.canvas)
    if (width < 50) return
    store.want_singles(page.people, state.row)
    const {row, own_scale} = state
    const theme = theme_of(root)
    const font_px = canvas_font_px()
    const channel = setup.channels[row]
    const {people} = page
    const scene = {setup, colours: PALETTES[theme], font_px, row, channel, people, own_scale, store, flags: table.flags}
    const here = people.filter((i) => store.singles(i, row)).length
    const key = JSON.stringify([size, window.devicePixelRatio, theme, font_px, row, people, own_scale, here])
    if (key !== everybody.key) {
      const {find, words: said, boxes} = draw_multiples(paper_of(everybody.canvas, size), size, scene)
      everybody = {...everybody, key, find, said, boxes}
    }
    const ctx = paper_of(small.canvas, size)
    ctx.drawImage(everybody.canvas, 0, 0, size.width, size.height)
    draw_chosen(ctx, everybody.boxes, {...scene, person: state.person, trial: state.trial, data: words.here()})
    small.finder.find = everybody.find
    const pages = page.n > 1 ? ` · page ${page.at + 1} of ${page.n}` : ""
    small.caption.textContent = `${small.name}: mean envelope and single trials, ${setup.labels[state.row]}${pages}`
    small.canvas.setAttribute("aria-label", everybody.said)
  }

  function paint_somebody() {
    const data = words.here()
    const alike = store.alike(state.person)
    screen.grid.dataset.here = data ? "yes" : "no"
    if (!data || !alike) {
      for (const {canvas} of screen.pictures) paper_of(canvas, size_of(canvas))
      return data === null
    }
    const channel = setup.channels[state.row]
    const theme = theme_of(root)
    /** @type {Scene} */
    const scene = {
      setup,
      colours: PALETTES[theme],
      heat: HEATS[theme.startsWith("dark") ? "dark" : "light"],
      font_px: canvas_font_px(),
      person: state.person,
      row: state.row,
      trial: state.trial,
      named: state.named(),
      data,
      alike,
      channel,
      unit: setup.people[state.person].unit,
    }
    for (const {id, canvas, finder} of screen.pictures) {
      const size = size_of(canvas)
      if (size.width < 50 || size.height < 50) continue
      const painted = PAINTS[id](paper_of(canvas, size), size, scene)
      finder.find = painted.find
      canvas.setAttribute("aria-label", painted.words)
    }
    return true
  }

  function refresh() {
    if (!ready) return
    const began = performance.now()
    const at = state.order.indexOf(state.person)
    store.want([state.person, ...state.order.slice(Math.max(0, at - AHEAD), at + AHEAD + 1)])
    write_table()
    const whole = paint_somebody()
    paint_small(root.clientWidth)
    words.write()
    root.dataset.drawing = (performance.now() - began).toFixed(2)
    root.dataset.painted = whole ? `${state.person} ${state.row} ${state.trial ?? ""}`.trim() : "loading"
  }

  // --- keys, the review -------------------------------------------------------------------------------------------

  /** Show the review in the place of the people, or the people again.
   * @param {boolean} on */
  function show_review(on) {
    const {opened} = screen
    if (!opened) return
    state.opened = on
    root.hidden = on
    opened.dataset.open = on ? "yes" : "no"
    if (on) {
      screen.shown.textContent = screen.title.textContent
      const inner = review_root()
      inner?.focus()
    } else {
      root.focus()
      refresh()
    }
  }

  /** The element of the review that takes its keys, inside its own shadow root.
   * @returns {HTMLElement | null} */
  function review_root() {
    /** @param {ParentNode} node
     * @returns {HTMLElement | null} */
    const find = (node) => {
      for (const one of node.querySelectorAll("*")) {
        if (one instanceof HTMLElement && one.matches(".emgreview[tabindex]")) return one
        const inner = one.shadowRoot && find(one.shadowRoot)
        if (inner) return inner
      }
      return null
    }
    return screen.opened && find(screen.opened)
  }

  screen.opened?.addEventListener("keydown", (event) => {
    const back = setup.keys.find(({command}) => command === "back")
    if (!back || event.code.replace("Numpad", "") !== back.code || event.shiftKey !== back.shift) return
    if (/** @type {HTMLElement} */ (event.composedPath()[0]).tagName === "INPUT") return
    event.preventDefault()
    event.stopPropagation()
    show_review(false)
  }, {capture: true})

  /** One key of the table, or a click that stands for one.
   * @param {Action} action @param {Pressed | null} pressed
   * @returns {unknown} */
  function act(action, pressed) {
    if (pressed && asking.key) return asking.key(pressed)
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed)
    asking.close()
    moving.commands[action.command]?.(action)
  }

  wire.listen((what) => {
    if ("stopped" in what) notice.last(what.stopped)
    if (what.said?.client === wire.client) notice.pass(what.said.words)
    if (what.shown?.client === wire.client) show_review(true)
  })

  const sizes = new ResizeObserver(() => refresh())
  live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS,
    act,
    dress() {
      ready = true
      sizes.observe(root)
      refresh()
    },
    fit: refresh,
    tick(attentive) {
      wire.watch(attentive)
      if (root.dataset.painted === "loading") refresh()
      if (ready && !document.hidden && !state.opened) {
        const page = state.page(panels().per_page)
        for (const by of [1, -1]) store.want_singles(state.people_of(page.at + by, panels().per_page), state.row)
        store.want_ahead(state.order, state.order.indexOf(state.person))
      }
    },
    leave() {},
    unsaved: () => false,
    close() {
      sizes.disconnect()
      store.close()
      wire.close()
    },
  })
  wire.insist("hello")
  return screen.element
}
