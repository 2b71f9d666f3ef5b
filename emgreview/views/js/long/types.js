// @ts-check
// What a long view is told (long_view.py, long_marks.py), and what its parts hand to each other, as types. Times are
// seconds from the start of the recording; null is a value that is missing.

/** @import {Choice, Key, Span, Trace} from "../types.js" */

/**
 * @typedef {{
 *   label: string, over: string, unit_label: string, auxiliary: boolean, limits: Span, kinds: Record<string, number>,
 *   middle: number, level_words: string}} Channel
 *
 * @typedef {{
 *   title: string, channels: Channel[], kinds: string[], rate_hz: number, n_samples: number, duration_s: number,
 *   height: number, view_s: Span, markers: [s: number, words: string][], keys: Key[], processing: string,
 *   ribbon_words: string, notes: string[], decides: boolean, cues: string[], choices: Record<string, Choice[]>,
 *   share: number}} Setup  what the screen is told once
 *
 * @typedef {{kind: string, gain: number}} Row  how a channel is shown
 *
 * @typedef {Trace & {low: Int16Array, high: Int16Array, gaps: boolean}} Outline  lowest and highest value of each column
 *
 * @typedef {{
 *   start: number, stop: number, width: number, unread: Span[], traces: Map<number, Outline>}} Stretch
 *   what is here of the recording, in samples; `width`: samples a column
 *
 * @typedef {{width: number, traces: Map<number, Outline>}} Ribbon
 *
 * @typedef {{
 *   setup: Setup, rows: Row[], have: Stretch | null, focus: number, share: number, cursor_s: number,
 *   hover_s: number | null, range: Span, theme: string, font_px: number}} Scene  all that is painted of a recording
 *
 * @typedef {{image: ImageData, words: Uint32Array, width: number, ratio: number}} Paper  pixels of the traces
 *
 * @typedef {{x: number, words: string, ink: string}} Foot  words for the foot of the picture, beside their line
 *
 * @typedef {{row: number, id: string, kind: string, onset_s: number, offset_s: number | null, sure: boolean}} Burst
 *
 * @typedef {{
 *   trial: string, cue: string, cue_s: number, corrected_s: number | null, none: string | null | undefined,
 *   start_s: number, stop_s: number, status: "reviewed" | "begun" | "open", bursts: Burst[]}} Card  of a trial
 *
 * @typedef {{row: number, start_s: number, stop_s: number, words: string}} Marked
 *
 * @typedef {{aside: Marked[], marked: Marked[], added: [s: number, label: string][]}} Status  what stands outside trials
 *
 * @typedef {{
 *   burst: null | {trial: string, id: string}, row: number, ends: [number, number | null], side: 0 | 1 | null,
 *   moved: boolean}} Selection  a burst or a stretch, and which of its ends moves
 */

export {}
