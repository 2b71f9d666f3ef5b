// @ts-check
// What the screen of people is told (people_facts.py), and what its parts hand to each other, as types. Times are seconds
// from the cue; null and NaN are values that are missing.

/** @import {Key, Span} from "../types.js" */

/**
 * @typedef {{name: string, head: string, unit: string, words: string, digits: number}} Column
 *
 * @typedef {{person: number, channel: string, code: string, reason: string, kind: string, value: number | null,
 *   limit: number | null, trials: number[], rank: number}} Flag  `trials`: those that show it, where it is about some;
 *   `rank`: smallest of what one looks at first
 *
 * @typedef {number | string | null} Cell
 *
 * @typedef {{name: string, n: number, unit: string, runs: string[], cells: (Cell[] | null)[]}} Somebody
 *
 * @typedef {{none: number[], n: number[], rate: number | null, places: number[], limits: number[][][]}} Rates
 *   limits by chance, then fewest and most, by place
 *
 * @typedef {{
 *   label: string, unit: string, top: number, rest_band: (number | null)[],
 *   spectra_band: (number | null)[][][], rates: Rates}} Channel  `spectra_band` before and after the cue, by quartile
 *
 * @typedef {{
 *   cue: string, marks: string, labels: string[], bins: number, span_s: Span, hz: number[], columns: Column[],
 *   people: Somebody[], flags: Flag[], unlike: Flag[], rules: string[], notes: string[], channels: Channel[],
 *   signals: string[], chances: number[], bright: number, keys: Key[], opens: boolean, within: boolean}} Setup
 *
 * @typedef {{samples: Int16Array, scale: number}} Samples
 *
 * @typedef {{
 *   n: number, onset: Float64Array, low: Float64Array, high: Float64Array, offset: Float64Array,
 *   response: Float64Array, level: Float64Array, rest: Float64Array, run: number[], ids: string[], signal: number[],
 *   reviewed: boolean[], none: boolean[], envelope: Samples, heat_limit: number | null, spectra: Float64Array[]}} Trials
 *   one person's on one channel; `rest` in its unit, `spectra` before and after the cue
 *
 * @typedef {{
 *   person: number, labels: string[], run: number[], ids: string[], signal: number[][], reviewed: boolean[][],
 *   none: boolean[][], heat_limit: (number | null)[], traces: Record<string, Samples>}} Pack  one person's, as it came
 *
 * @typedef {{left: number, top: number, width: number, height: number}} Box
 *
 * @typedef {{low: number, high: number, words: string, log?: boolean, ticks?: number[], said?: (v: number) => string
 * }} Axis  `said` writes a tick
 *
 * @typedef {{trial?: number, person?: number, row?: number}} Hit  what lies under the pointer
 *
 * @typedef {(x: number, y: number) => Hit | null} Find
 *
 * @typedef {{
 *   setup: Setup, colours: import("../shared/palette.js").Palette, heat: string[], font_px: number, person: number, row: number,
 *   trial: number | null, named: number[], data: Trials, alike: {labels: string[], values: Float64Array}, channel: Channel,
 *   unit: string}} Scene  all that is painted of somebody; `named`: trials that a flag names
 *
 * @typedef {{find: Find | null, words: string}} Painted  `words`: what is seen
 *
 * @typedef {(ctx: CanvasRenderingContext2D, size: {width: number, height: number}, scene: Scene) => Painted} Paint
 */

export {}
