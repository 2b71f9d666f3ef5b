// @ts-check
// Where Panel enters: one bundle for all screens; the setup says which of them a widget is.

import {render_long} from "./long/long.js"
import {render_people} from "./people/people.js"
import {render_review} from "./review/review.js"

/** @import {Model} from "./types.js" */

/** @type {Record<string, (panel: {model: Model, view: any}, setup: any) => HTMLElement>} */
const SCREENS = {review: render_review, long: render_long, people: render_people}

/** The element of a widget, made by Panel once it is shown.
 * @param {{model: Model, view: any}} panel */
export function render(panel) {
  const setup = JSON.parse(panel.model.setup)
  return SCREENS[setup.screen](panel, setup)
}
