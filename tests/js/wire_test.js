// @ts-check
/// <reference lib="deno.ns" />
// The wire, seen from the browser's end: order, loss, silence. Both ends together are tested in browser/test_wire.py.

import assert from "node:assert/strict"
import {make_wire, PATIENCE_MS} from "../../emgreview/views/js/shared/wire.js"
import {make_model, with_clock} from "./made.js"

/** @import {News} from "../../emgreview/views/js/types.js" */

/** A wire, Python's end of it, and what its listeners heard. */
function ends() {
  const python = make_model()
  const wire = make_wire(python.model, {shown: () => [3, 1]})
  /** @type {News[]} */
  const heard = []
  wire.listen((what) => heard.push(what))
  const settle = (/** @type {number} */ n, more = {}) => python.tell({settled: {client: wire.client, n}, ...more})
  return {...python, wire, heard, settle, kinds: () => python.up.map(({kind}) => kind)}
}

Deno.test("decisions are numbered in order, and kept until they are settled", () => {
  const {wire, up, settle} = ends()
  for (const command of ["one", "two", "three"]) assert.ok(wire.decide({command}))
  assert.deepEqual(up.map(({n, command}) => [n, command]), [[1, "one"], [2, "two"], [3, "three"]])
  settle(2)
  assert.deepEqual(wire.pending.map(({command}) => command), ["three"])
  settle(3)
  assert.equal(wire.pending.length, 0)
})

Deno.test("what another screen settled settles nothing here", () => {
  const {wire, tell} = ends()
  wire.decide({command: "one"})
  tell({settled: {client: "another", n: 9}})
  assert.equal(wire.pending.length, 1)
})

Deno.test("what a gap names is sent again, that alone, and each not more often than twice a second", () =>
  with_clock((pass) => {
    const {wire, up, tell} = ends()
    for (const command of ["one", "two", "three"]) wire.decide({command})
    up.splice(0)
    tell({gap: {client: wire.client, awaited: 1, missing: [1, 3]}})
    assert.deepEqual(up.map(({command}) => command), ["one", "three"])
    assert.ok(!("at" in up[0]) && !("again" in up[0]), "when it was sent is the browser's own matter")
    tell({gap: {client: wire.client, awaited: 1, missing: [1, 2]}})
    assert.deepEqual(up.slice(2).map(({command}) => command), ["two"])
    pass(600)
    tell({gap: {client: wire.client, awaited: 3, missing: [3]}})
    assert.deepEqual(up.slice(3).map(({command}) => command), ["three"])
  }))

Deno.test("a question is asked again until it is answered, and rarely where Python is busy", () =>
  with_clock((pass) => {
    const {wire, up, tell} = ends()
    wire.insist("everything", [7])
    for (let i = 0; i < 3; i++) {
      pass(501)
      wire.watch(false)
    }
    assert.deepEqual(up.map(({kind, held, asks}) => [kind, held, asks]), Array(4).fill(["everything", [7], 1]))
    wire.insist("everything", [8])
    assert.equal(up.length, 4, "its turn has not come")
    tell({answered: {client: wire.client, n: 1}}) // what was asked before
    pass(501)
    wire.watch(false)
    assert.deepEqual(up[4].held, [7, 8])
    tell({answered: {client: wire.client, n: 2}})
    pass(60_000)
    wire.watch(false)
    assert.equal(up.length, 5)
    wire.insist("hello")
    for (let i = 0; i < 600; i++) {
      pass(100)
      wire.watch(false)
    }
    assert.ok(up.length < 5 + 30, `${up.length - 5} in a minute`)
  }))

Deno.test("a beat that is not answered is asked for again", () =>
  with_clock((pass) => {
    const {wire, up} = ends()
    wire.decide({command: "one"})
    for (let i = 0; i < 5; i++) {
      wire.watch(false)
      pass(501)
    }
    const beats = up.filter(({kind}) => kind === "beat")
    assert.equal(beats.length, 5)
    assert.deepEqual([beats[4].sent, beats[4].settled], [1, 0])
  }))

Deno.test("no number leaves the browser that is not finite, nor anything else that JSON does not know", () => {
  const {wire, up, heard} = ends()
  for (const odd of [NaN, Infinity, -Infinity, 10n, () => 1, Symbol("s")]) {
    assert.equal(wire.decide({command: "move", args: {onset_s: 0.1, ends: [{at_s: odd}]}}), false)
  }
  assert.equal(wire.decide({command: "move", visible: {gain: NaN}}), false)
  assert.equal(up.length, 0)
  assert.equal(wire.pending.length, 0)
  assert.match(heard[1].unfit, /at_s = Infinity cannot be sent; finite numbers and text are allowed/)
  assert.ok(wire.decide({command: "move", args: {onset_s: 0.1, burst: null, reasons: ["a"], on: true}}))
})

Deno.test("a decision that was settled and is missed again stops for good", () => {
  const {wire, settle, tell} = ends()
  wire.decide({command: "one"})
  wire.decide({command: "two"})
  settle(1)
  tell({gap: {client: wire.client, awaited: 1}})
  assert.match(wire.stopped, /reload the page/)
  settle(2)
  assert.match(wire.stopped, /reload the page/)
  assert.equal(wire.decide({command: "three"}), false)
})

Deno.test("news that was missed has everything asked for, with what is held", () => {
  const {up, tell, heard} = ends()
  tell({share: 0.1})
  tell({share: 0.3}, 1)
  assert.deepEqual(up.map(({kind, held}) => [kind, held]), [["everything", [3, 1]]])
  assert.deepEqual(heard.map(({share}) => share), [0.1, 0.3])
})

Deno.test("what was said before the screen opened is not for it, and no update is heard twice", () => {
  const {model, change} = make_model({})
  model.news = JSON.stringify({serial: 5, updates: [{serial: 5, share: 0.5}]})
  const wire = make_wire(model)
  /** @type {News[]} */
  const heard = []
  wire.listen((what) => heard.push(what))
  change("news", model.news)
  assert.equal(heard.length, 0)
  const more = JSON.stringify({serial: 6, updates: [{serial: 5, share: 0.5}, {serial: 6, share: 0.6}]})
  change("news", more)
  change("news", more)
  assert.deepEqual(heard.map(({share}) => share), [0.6])
})

Deno.test("a refusal is told once, with its decision", () => {
  const {wire, settle, heard} = ends()
  wire.decide({command: "wrong"})
  const refused = [{client: wire.client, n: 1, words: "no"}, {client: "another", n: 1, words: "not ours"}]
  settle(1, {refused})
  settle(1, {refused})
  const told = heard.filter(({refusal}) => refusal)
  assert.deepEqual(told.map(({refusal}) => [refusal.words, refusal.decision.command]), [["no", "wrong"]])
})

Deno.test("a decision that is not confirmed in time stops decisions; its confirmation lets them go on", () =>
  with_clock((pass) => {
    const {wire, settle} = ends()
    wire.decide({command: "one"})
    pass(PATIENCE_MS - 1)
    wire.watch(false)
    assert.equal(wire.stopped, "")
    pass(2)
    wire.watch(false)
    assert.match(wire.stopped, /has not confirmed 1 decision/)
    assert.equal(wire.decide({command: "two"}), false)
    settle(1)
    assert.equal(wire.stopped, "")
  }))

Deno.test("a slow decision says in its own words why nothing is taken meanwhile", () =>
  with_clock((pass) => {
    const {wire} = ends()
    wire.decide({command: "long", args: {slow: "this takes a while"}})
    pass(PATIENCE_MS + 1)
    wire.watch(true)
    assert.equal(wire.stopped, "this takes a while")
  }))

Deno.test("a beat is asked for while someone looks, not otherwise, and silence stops decisions", () =>
  with_clock((pass) => {
    const {wire, kinds, change} = ends()
    wire.watch(false)
    assert.deepEqual(kinds(), [])
    wire.watch(true)
    assert.deepEqual(kinds(), ["beat"])
    pass(PATIENCE_MS + 1)
    wire.watch(true)
    assert.match(wire.stopped, /does not answer/)
    change("pulse", "another 1")
    assert.match(wire.stopped, /does not answer/)
    change("pulse", `${wire.client} 1`)
    assert.equal(wire.stopped, "")
  }))

Deno.test("a problem stops for good", () => {
  const {wire, tell, settle} = ends()
  tell({problem: "another screen has taken over"})
  settle(0)
  assert.equal(wire.stopped, "another screen has taken over")
})

Deno.test("what may be on disk all the same is counted once", () => {
  const {wire, tell} = ends()
  wire.decide({command: "one"})
  const refused = [{client: wire.client, n: 1, words: "the disk is full", doubt: true}]
  tell({refused})
  tell({refused})
  assert.equal(wire.doubtful, 1)
})

Deno.test("a closed wire listens to nothing", () => {
  const {wire, listening} = ends()
  assert.deepEqual(["news", "pulse"].map(listening), [1, 1])
  wire.close()
  assert.deepEqual(["news", "pulse"].map(listening), [0, 0])
})
