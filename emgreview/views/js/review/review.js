// @ts-check
// The review of trials: joins what is known (store), what is on the screen (state, screen), what is selected, the keys,
// the pointer and the pictures. The parts find each other in one record, Review (types.js); each is made once.

import {live, show_saved} from "../shared/frame.js"
import {canvas_font_px} from "../shared/palette.js"
import {fitting_height} from "../shared/scrolling.js"
import {lay_bands, least_bands_px} from "./bands.js"
import {make_commands} from "./commands.js"
import {make_deciding} from "./deciding.js"
import {make_forms} from "./forms.js"
import {make_moving} from "./moving.js"
import {listen_to_news} from "./news.js"
import {make_painting} from "./painting.js"
import {make_player} from "./player.js"
import {listen_to_pointer} from "./pointer.js"
import {make_screen} from "./screen.js"
import {make_selection} from "./selection.js"
import {make_state} from "./state.js"
import {make_store} from "./store.js"
import {make_trial_lists} from "./trial_lists.js"
import {make_words} from "./words.js"

/** @import {Action, Model, Pressed} from "../types.js" */
/** @import {Review, Setup} from "./types.js" */

const OF_MARK = new Set(["The mark", "Decide"]) // groups whose keys wait for a burst that was just added
const DOUBLE_CLICK_MS = 600
const NARROW_PX = 1000 // a screen narrower than this has no overview, unless asked for
const TICK_MS = 100

/**
 * @param {{model: Model, view: any}} panel
 * @param {Setup} setup
 */
export function render_review({model, view}, setup) {
  const store = make_store(model, setup)
  const state = make_state(setup, store)
  const screen = make_screen(setup, model.get_child("picture"), (action) => act(action, null))
  const {root} = screen
  const review = /** @type {Review} */ ({setup, store, screen, state, player: make_player()})

  const refresh = () => review.painting.refresh()
  review.painting = make_painting(review)
  review.deciding = make_deciding(review)
  const {decide, adding, refuse} = review.deciding
  review.lists = make_trial_lists(setup, store, screen, {
    index: () => state.index,
    show: (index) => review.moving.show(index),
    arrive: (index) => review.moving.arrive(index),
    refresh,
    decide: (command) => decide(command),
  })
  review.selection = make_selection(setup, {
    channel: () => (state.loaded() ? state.here() : null),
    place: () => ({index: state.index, row: state.row}),
    range: state.range,
    adding,
    stopped: () => store.stopped,
    decide,
    notice: screen.notice.pass,
    refuse,
    refresh,
    redraw() {
      state.layer?.redraw()
      show_saved(root, screen.saved, store) // a drag is not saved
    },
  })
  review.words = make_words(review)
  review.moving = make_moving(review)
  review.forms = make_forms(review)
  const {selection, forms, moving} = review
  const commands = {...selection.commands, ...forms, ...make_commands(review)}

  let told = !setup.convention
  let told_at = -Infinity
  review.pointer = listen_to_pointer(screen.picture, selection, {
    layer: () => state.layer,
    bands: (height) => lay_bands(setup, height, canvas_font_px()),
    channel: (row) => (state.loaded() ? state.card()?.channels[row] : null),
    face(row) {
      if (screen.asking.keeps()) return false
      root.focus()
      if (performance.now() - told_at < DOUBLE_CLICK_MS) return false // this press has opened the convention
      if (row !== state.row || screen.asking.key) moving.show(state.index, row)
      return true
    },
  })
  store.hold(() => selection.held + review.pointer.held + screen.asking.unsent)
  listen_to_news(review)

  /** One key of the table, or a click that stands for one; `pressed` is what was pressed, null for a click.
   * @param {Action} action @param {Pressed | null} pressed
   * @returns {unknown} */
  function act(action, pressed) {
    const {command, group = ""} = action
    if (review.pointer.dragging && pressed) return pressed.code === "Escape" && review.pointer.let_go()
    if (pressed && screen.asking.key) return screen.asking.key(pressed)
    if (pressed && screen.key_card.open) return screen.key_card.key(action, pressed)
    if (!pressed && screen.asking.keeps()) return
    if (selection.keep(OF_MARK.has(group), () => act(action, pressed))) return
    if (!command) return
    screen.asking.close()
    if (command !== "nudge") selection.flush()
    if (commands[command]) return commands[command](action)
    if (decide(command, action.arguments ?? {}) && state.closes(command)) moving.go_on()
    else refresh()
  }

  root.addEventListener("focusin", () => {
    if (told) return
    told = true // the convention is read before the first decision
    told_at = performance.now()
    forms.convention({command: "convention"})
  })

  /** A picture that fits the window, if every band has room in that. */
  function fit() {
    const {layer} = state
    const least = layer && layer.around() + least_bands_px(setup, canvas_font_px())
    if (layer && least) layer.make_tall(fitting_height(root, setup.height, least))
  }

  const dress = live(model, view, {
    root,
    keys_on: screen.keys_on,
    keys: setup.keys,
    every_ms: TICK_MS,
    act(action, pressed) {
      act(action, pressed)
      moving.reveal() // by mouse nothing scrolls: it would take the next button from under the pointer
    },
    draw: review.painting.draw,
    ready(layer) {
      state.layer = layer
      layer.hide_times(state.blind)
      screen.overview.hidden = root.clientWidth < NARROW_PX
    },
    dress() {
      fit()
      state.spectrum_for = ""
      review.painting.dressed(dress)
      refresh()
    },
    fit,
    tick(attentive) {
      store.watch(attentive || Boolean(state.awaited_words))
      store.want_page(state.index)
      show_saved(root, screen.saved, store)
    },
    leave(hides) {
      selection.flush()
      if (hides) review.pointer.put()
    },
    unsaved: () => store.pending.length + store.held > 0,
    close() {
      review.painting.close()
      review.player.close()
      store.close()
    },
  })

  state.row = moving.first_open(state.index) ?? state.row
  store.say_hello()
  review.words.write()
  if (setup.notices.length) screen.notice.pass(setup.notices.join(" "))
  return root
}
