// @ts-check
// Hearing a stretch.

/** @import {Trace} from "../types.js" */

/** Plays one stretch, once, at the level Python has limited it to; nothing ever plays by itself. */
export function make_player() {
  /** @type {AudioContext | null} */
  let context = null
  return {
    /** @param {Trace & {rate_hz: number}} sound */
    play({samples, scale, rate_hz}) {
      if (!samples.length) return {seconds: 0, state: "nothing"}
      context ??= new AudioContext()
      context.resume()
      const buffer = context.createBuffer(1, samples.length, rate_hz)
      buffer.getChannelData(0).set(Float32Array.from(samples, (v) => v * scale))
      const source = context.createBufferSource()
      source.buffer = buffer
      source.connect(context.destination)
      source.start()
      return {seconds: samples.length / rate_hz, state: context.state}
    },
    close: () => context?.close(),
  }
}

/** @typedef {ReturnType<typeof make_player>} Player */
