// @ts-check
// What every screen is made of, as types: keys, forms, messages, traces. Types alone; what only one screen has stands
// in its own types.js. Times are seconds, lengths CSS pixels; null is a value that is missing.

/**
 * @typedef {{
 *   code: string, command: string, words: string, group: string, button: string, shift: boolean, repeat: boolean,
 *   goes_on: boolean, arguments: Record<string, any>}} Key  a line of keys.py
 *
 * @typedef {{
 *   command: string, code?: string, shift?: boolean, words?: string, group?: string, arguments?: any, row?: number,
 *   index?: number}} Action  a key of the table, or a click that stands for one, which may name a channel or a trial
 *
 * @typedef {{code: string, shift: boolean}} Pressed  the key that was pressed, by its place on the keyboard
 *
 * @typedef {Record<string, (action: Action) => unknown>} Commands  by their names in keys.py
 *
 * @typedef {{code: string, words: string, shown: string, text?: boolean, ask?: () => void}} Choice
 *   an entry of a list: `text` where it asks for words of its own, `ask` where a further form follows
 *
 * @typedef {{name: string, words: string, value?: unknown, type?: string}} Field  of a form
 *
 * @typedef {{row: number, top: number, height: number, auxiliary?: boolean}} Band  where a channel is drawn
 *
 * @typedef {ReturnType<typeof setTimeout> | undefined} Timer
 *
 * @typedef {[number, number]} Span  start and stop, in seconds
 *
 * @typedef {{
 *   row: number, kind: string, at: number, n: number, scale: number, step_s: number, offset: number, limits: number[],
 *   samples: Int16Array}} Trace  one trace of a pack; a sample times `scale` (plus `offset`) is its value
 *
 * @typedef {{
 *   head: any, fill: <T extends {at: number, n: number}>(trace: T) => T & {samples: Int16Array}}} Pack  see pack.js
 *
 * @typedef {{
 *   [name: string]: any, setup: string, news: string, pulse: string,
 *   properties: Record<string, {internal?: boolean}>,
 *   on: (name: string, listener: () => void) => void, off?: (name: string, listener: () => void) => void,
 *   send_msg: (message: object) => void, get_child: (name: string) => HTMLElement}} Model
 *   the Python side as Panel shows it to the browser: the synced properties by name
 *
 * @typedef {{
 *   command: string, args?: any, visible?: object, index?: number, channel?: string | null, seen?: object | null
 * }} Decision
 *
 * @typedef {Decision & {n: number, at: number, again?: number}} Sent  with its running number, and when it was sent,
 *   at first and last
 *
 * @typedef {Record<string, any>} News  an update from Python (wire.py, and the screen's own), or what wire.js adds to it
 */

export {}
