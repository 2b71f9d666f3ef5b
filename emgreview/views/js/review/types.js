// @ts-check
// What a trial review is told (setting.py, cards.py, packing.py), and what its parts hand to each other, as types.
// Times are seconds from the cue; null is a value that is missing.

/** @import {Choice, Commands, Key, Span, Trace} from "../types.js" */
/** @import {Deciding} from "./deciding.js" */
/** @import {Moving} from "./moving.js" */
/** @import {Painting} from "./painting.js" */
/** @import {Player} from "./player.js" */
/** @import {Pointer} from "./pointer.js" */
/** @import {Screen} from "./screen.js" */
/** @import {Selection} from "./selection.js" */
/** @import {State} from "./state.js" */
/** @import {Store} from "./store.js" */
/** @import {TrialLists} from "./trial_lists.js" */
/** @import {Words} from "./words.js" */

/**
 * @typedef {{label: string, over: string, unit_label: string, auxiliary: boolean}} Channel
 *
 * @typedef {{
 *   channels: Channel[], keys: Key[], rate_hz: number, start_s: number, height: number, spans: [Span, Span], rest_s: Span,
 *   plausible_s: Span | null, break_after_min: number | null, cursor_s: number, processing: string, method: string,
 *   smear: {time_s: number[], value: number[]}, choices: Record<string, Choice[]>, audit_list: string,
 *   signs: [string, string][], n_trials: number, order: number[] | null, awaited: string, progress: [number, number], counted: string, none_left: string,
 *   blind: boolean, reviewer: string, convention: string, next_version: string, summaries: Record<string, Summary>,
 *   where: number, notices: string[], notes: string[]}} Setup  what the screen is told once
 *
 * @typedef {[
 *   status: string, response_s: number | null,
 *   channels: [onset_s: number | null, offset_s: number | null, interval_s: Span | null, sign: string, reviewed: boolean][],
 *   recorded: [recording: number, sample: number] | null]} Summary  of a trial, for the map and the overview
 *
 * @typedef {{
 *   id: string, kind: string, onset_s: number, offset_s: number | null, half_width_s: number | null}} Burst
 *
 * @typedef {{
 *   why: string, said: {timed: string, untimed: string}, settled: string,
 *   candidates: {letter: string, bursts: Burst[]}[]}} Dispute
 *
 * @typedef {{
 *   bursts: Burst[], interval_s: Span | null, sign: string, words: string, reviewed: boolean, asked: boolean,
 *   unfit: unknown, hidden: boolean, notes: string[], detail: {timed: string, untimed: string, bare: string},
 *   automatic: {onset_s: number | null, low_s: number | null, high_s: number | null}, excluded: string | null | undefined,
 *   aside: [start_s: number, stop_s: number, words: string][], comment: string, dispute: Dispute | null}} ChannelCard
 *
 * @typedef {{
 *   index: number, serial: number, title: string, bare_title: string,
 *   lines: {kind: string, at_s: number, words: string}[], notes: string[], excluded: Record<string, string | null>,
 *   comment: string, dispute: Dispute | null, channels: ChannelCard[], mains: Record<string, string> | null}} Card
 *   a trial's decisions as Python confirmed them
 *
 * @typedef {Trace & {rectified?: Int16Array}} Samples
 *
 * @typedef {{
 *   index: number, recording: number, card: Card, full_scale: number[], level_words: string[],
 *   traces: Samples[]}} Trial  its samples
 *
 * @typedef {{recording: number, row: number, n_trials: number, lower: Trace, median: Trace, upper: Trace}} Typical
 *   the envelope that is usual for a channel: quartiles
 *
 * @typedef {"onset" | "offset" | "earliest" | "latest"} Side
 *
 * @typedef {{burst: string | null, side: Side, at_s: number | null}} Mark
 *   what is selected; `at_s`: where it is being put, null while it lies where the card says
 *
 * @typedef {{
 *   range: Span, gain: number, theme: string, read_out: boolean, widths: boolean, smear: boolean, blind: boolean,
 *   font_px: number}} Look  how a trial is looked at
 *
 * @typedef {{
 *   setup: Setup, trial: Trial, card: Card, look: Look, focus_row: number, mark: Mark, cursor_s: number,
 *   hover_s: number | null, typical: Map<string, Typical>}} Scene  all that is painted of a trial
 *
 * @typedef {{
 *   setup: Setup,
 *   store: Store,
 *   screen: Screen,
 *   state: State,
 *   player: Player,
 *   selection: Selection,
 *   lists: TrialLists,
 *   painting: Painting,
 *   words: Words,
 *   deciding: Deciding,
 *   moving: Moving,
 *   forms: Commands,
 *   pointer: Pointer}} Review  the parts of a screen; review.js joins them
 */

export {}
