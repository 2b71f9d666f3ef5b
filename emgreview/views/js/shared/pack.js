// @ts-check
// Samples as Python packs them (packing.py): how bytes become traces.

/** @import {Pack} from "../types.js" */

export const MISSING = -32768 // a sample that is missing

/** A pack: int32 length of the JSON head, head, then int16 samples (-32768 = missing). Returns the head and a function
 * that gives a trace its samples.
 * @param {ArrayBuffer} buffer
 * @returns {Pack} */
export function unpack(buffer) {
  const length = new DataView(buffer).getInt32(0, true)
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)))
  /** @type {Pack["fill"]} */
  const fill = (trace) => Object.assign(trace, {samples: new Int16Array(buffer, 4 + length + trace.at, trace.n)})
  return {head, fill}
}
