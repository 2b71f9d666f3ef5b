// @ts-check
// The canvas layer between Bokeh's own canvases. Everything that leans on BokehJS internals stands in this file
// (plot view of the child figure, its canvas and frame, how and when it paints); tests/browser drives it.

import {canvas_font_px} from "./palette.js"

/**
 * @typedef {{left: number, top: number, width: number, height: number}} Box  in CSS pixels of the figure
 * @typedef {{
 *   canvas: HTMLCanvasElement, frame: () => Box, range: () => [number, number],
 *   set_range: (start: number, end: number) => void, colours: (ink: string, grid: string, ground: string) => void,
 *   letters: (px: number) => void, around: () => number, make_tall: (height: number) => void,
 *   hide_times: (hidden: boolean) => void, redraw: () => void, detach: () => void }} Layer
 */

/**
 * Place a canvas over the grid and under the annotations of the figure, and draw whenever Bokeh paints.
 * @param {any} view  the component's view, as Panel and Bokeh have it
 * @param {(layer: Layer) => void} draw
 * @returns {Promise<Layer>}
 */
export async function attach_layer(view, draw) {
  const plot = await until(() =>
    [...view._child_views.values()].find((/** @type {any} */ v) => v.canvas_view?.primary && v.frame)
  )
  const canvas = document.createElement("canvas")
  canvas.style.cssText = "position:absolute;pointer-events:none"
  for (const name of ["start", "end"]) plot.model.x_range.properties[name].internal = true // no echo to Python
  let set_in_frame = false
  /** @type {Layer} */
  const layer = {
    canvas,
    frame: () => plot.frame.bbox,
    range: () => [plot.model.x_range.start, plot.model.x_range.end],
    /** Paints at once, the first time in a frame: Bokeh's own pace would often let the next frame go by first. */
    set_range(start, end) {
      if (set_in_frame) return plot.model.x_range.setv({start, end})
      set_in_frame = true
      requestAnimationFrame(() => {
        set_in_frame = false
      })
      plot.pause()
      plot.model.x_range.setv({start, end})
      plot.unpause(true)
      plot.repaint()
    },
    colours(ink, grid, ground) {
      const plain = {syncable: false}
      for (const axis of [...plot.model.below, ...plot.model.left]) {
        if (!axis.properties.major_label_text_color) continue
        axis.setv({
          major_label_text_color: ink,
          axis_label_text_color: ink,
          axis_line_color: grid,
          major_tick_line_color: grid,
          major_label_text_font_size: `${canvas_font_px()}px`,
          axis_label_text_font_size: `${1.2 * canvas_font_px()}px`,
        }, plain)
      }
      for (const line of plot.model.center) {
        if (line.properties.grid_line_color) line.setv({grid_line_color: grid}, plain)
      }
      plot.model.setv({background_fill_color: ground, outline_line_color: grid}, plain)
    },
    /** The letters of the axes, in CSS pixels. */
    letters(px) {
      const size = {major_label_text_font_size: `${px}px`, axis_label_text_font_size: `${1.1 * px}px`}
      for (const axis of plot.model.below) {
        if (axis.properties.major_label_text_font_size) axis.setv(size, {syncable: false})
      }
    },
    /** Height of the figure that is not the frame's, and the figure's own height, set. */
    around: () => plot.model.height - plot.frame.bbox.height,
    make_tall: (height) => {
      if (plot.model.height !== height) plot.model.setv({height}, {syncable: false})
    },
    /** Take the numbers off the time axis, or put them back. */
    hide_times(hidden) {
      for (const axis of plot.model.below) {
        if (!axis.properties.major_label_text_color) continue
        axis.setv({major_label_text_alpha: hidden ? 0 : 1, axis_label_text_alpha: hidden ? 0 : 1}, {syncable: false})
      }
    },
    redraw() {
      const below = plot.canvas_view.primary.el
      if (canvas.previousElementSibling !== below) below.after(canvas) // Bokeh empties its canvas box when it renders anew
      const box = plot.frame.bbox
      const ratio = window.devicePixelRatio || 1
      const [width, height] = [Math.round(box.width * ratio), Math.round(box.height * ratio)]
      if (width < 2 || height < 2) return
      if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, {width, height})
      Object.assign(canvas.style, {
        left: `${box.left}px`,
        top: `${box.top}px`,
        width: `${box.width}px`,
        height: `${box.height}px`,
      })
      draw(layer)
    },
    detach() {
      plot.repainted.disconnect(on_paint)
      canvas.remove()
    },
  }
  /** Bokeh clears its canvas but for half of the first row and column, where slivers of earlier paints would stay. */
  function clear_edges() {
    const {el} = plot.canvas_view.primary
    const ctx = el.getContext("2d")
    ctx.save()
    ctx.setTransform(1, 0, 0, 1, 0, 0)
    ctx.clearRect(0, 0, 1, el.height)
    ctx.clearRect(0, 0, el.width, 1)
    ctx.restore()
  }
  const on_paint = () => {
    clear_edges()
    layer.redraw()
  }
  plot.repainted.connect(on_paint)
  return layer
}

/** Wait for a value that is not null or undefined, frame by frame.
 * @template T
 * @param {() => T} get
 * @returns {Promise<NonNullable<T>>} */
export function until(get) {
  return new Promise((resolve) => {
    const look = () => {
      const value = get()
      if (value !== null && value !== undefined) resolve(value)
      else requestAnimationFrame(look)
    }
    look()
  })
}
