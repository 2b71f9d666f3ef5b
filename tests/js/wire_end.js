// @ts-check
/// <reference lib="deno.ns" />
// The browser's end of the wire as a process: a line of JSON in, one out, and a clock that only the lines move. Used by
// tests/test_wire_under_loss.py, which holds Python's own end.

import {make_wire} from "../../emgreview/views/js/shared/wire.js"
import {make_model} from "./made.js"

/** @import {News} from "../../emgreview/views/js/types.js" */

let now = 1000
performance.now = () => now

const {model, up, change} = make_model()
const wire = make_wire(model, {shown: () => [0]})
/** @type {News[]} */
const refusals = []
wire.listen(({refusal}) => {
  if (refusal) refusals.push(refusal)
})

/** @param {Record<string, any>} line */
function act({at, decide, down, watch}) {
  now = at
  if (down) change(down.name, down.value)
  if (watch) wire.watch(true)
  const taken = decide ? wire.decide({args: {}, visible: {}, ...decide}) : null
  const {pending, stopped} = wire
  return {taken, pending: pending.length, stopped, up: up.splice(0), refused: refusals.map(({n}) => n)}
}

let rest = ""
for await (const text of Deno.stdin.readable.pipeThrough(new TextDecoderStream())) {
  rest += text
  const lines = rest.split("\n")
  rest = lines.pop() ?? ""
  for (const line of lines) console.log(JSON.stringify(act(JSON.parse(line))))
}
