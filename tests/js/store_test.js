// @ts-check
/// <reference lib="deno.ns" />
// What the browser knows of a review: trials as they come, the latest card of each, what is asked for ahead of need.

import assert from "node:assert/strict"
import {MISSING, unpack} from "../../emgreview/views/js/shared/pack.js"
import {AHEAD, BEHIND, make_store} from "../../emgreview/views/js/review/store.js"
import {make_model, pack, with_clock} from "./made.js"

/** @import {News} from "../../emgreview/views/js/types.js" */

/** @param {number} n */
function made(n = 200) {
  const python = make_model({pack: null, sound: null})
  const summaries = Object.fromEntries([...Array(n).keys()].map((i) => [i, ["open", null, [], null]]))
  const store = make_store(python.model, /** @type {any} */ ({summaries}))
  /** @type {News[]} */
  const heard = []
  store.listen((what) => heard.push(what))
  const send = (/** @type {number[]} */ indices, serial = 1) => {
    const trials = indices.map((index) => ({index, traces: [], card: {index, serial, title: `as of ${serial}`}}))
    python.change("pack", pack({trials, typical: []}))
  }
  return {...python, store, heard, send}
}

Deno.test("a pack gives its samples, whatever the length of its head", () => {
  for (const word of ["a", "ab", "abc", "abcd", "é"]) {
    const {head, fill} = unpack(pack({word, trace: {at: 4, n: 2}}, [1, 2, MISSING, 7]))
    assert.equal(head.word, word)
    assert.deepEqual([...fill(head.trace).samples], [MISSING, 7])
  }
})

Deno.test("trials that came are there with traces, cards and usual envelopes, and are told of", () => {
  const {store, change, heard} = made()
  const place = (/** @type {number} */ at) => ({at, n: 1, scale: 0.5, step_s: 0.1})
  const trial = {index: 7, traces: [{...place(0), row: 0, kind: "raw"}], card: {index: 7, serial: 3}}
  const usual = {recording: 1, row: 2, n_trials: 9, lower: place(2), median: place(4), upper: place(6)}
  change("pack", pack({trials: [trial], typical: [usual]}, [11, 12, 13, 14]))
  assert.deepEqual([...store.trials.get(7)?.traces[0].samples ?? []], [11])
  assert.deepEqual([...store.typical.get("1|2")?.upper.samples ?? []], [14])
  assert.equal(store.cards.get(7)?.serial, 3)
  assert.deepEqual(heard, [{trials: [7]}])
})

Deno.test("an old card never takes the place of a later one, in whatever order they come", () => {
  const {store, tell, send} = made()
  tell({cards: [{index: 4, serial: 9, title: "late"}]})
  send([4], 8)
  assert.equal(store.cards.get(4)?.title, "late")
  tell({cards: [{index: 4, serial: 10, title: "later"}]})
  assert.equal(store.cards.get(4)?.title, "later")
})

Deno.test("summaries stand at their trials' places, and change with news", () => {
  const {store, tell} = made(12)
  assert.equal(store.summaries.length, 12)
  tell({summaries: {11: ["reviewed", 0.3, [], null]}})
  assert.equal(store.summaries[11][0], "reviewed")
  assert.equal(store.summaries[1][0], "open")
})

Deno.test("a word to renew asks for all that is held", () => {
  const {up, tell, send} = made()
  send([2, 5])
  tell({renew: true})
  assert.deepEqual(up.map(({kind, held}) => [kind, held]), [["everything", [2, 5]]])
})

Deno.test("what is missing is asked for in its order, ten at once, one request at a time", () =>
  with_clock((pass) => {
    const {store, up, send} = made()
    const wanted = [...Array(AHEAD).keys()]
    store.want(wanted)
    store.want(wanted)
    assert.deepEqual(up.map(({kind, trials}) => [kind, trials]), [["want", [...Array(10).keys()]]])
    send([...Array(10).keys()])
    store.want(wanted)
    assert.deepEqual(up[1].trials, [...Array(10).keys()].map((i) => i + 10))
    pass(5000) // the answer was lost
    store.watch(false)
    store.want(wanted)
    assert.deepEqual(up[2].trials, up[1].trials)
  }))

Deno.test("a few that are far ahead are not worth a request; one that is needed soon is", () => {
  const {store, up, send} = made()
  const wanted = [...Array(AHEAD + BEHIND).keys()]
  send(wanted.slice(0, -2))
  store.want(wanted)
  assert.equal(up.length, 0)
  store.trials.delete(1)
  store.want(wanted)
  assert.deepEqual(up[0].trials, [1, ...wanted.slice(-2)])
})

Deno.test("trials far from the one on the screen are let go when there are many", () => {
  const {store, send} = made(500)
  send([...Array(5 * AHEAD).keys()])
  const wanted = [...Array(20).keys()].map((i) => i + 5 * AHEAD - 10)
  store.want(wanted)
  assert.equal(store.trials.size, 4 * AHEAD)
  assert.ok(!store.trials.has(0))
  assert.ok(store.trials.has(5 * AHEAD - 1))
})

Deno.test("a sound for another screen is not heard", () => {
  const {store, heard, change} = made()
  const trace = {at: 0, n: 2, scale: 0.5}
  change("sound", pack({client: "another 1", rate_hz: 3000, trace}, [1, 2]))
  assert.equal(heard.length, 0)
  change("sound", pack({client: `${store.client} 1`, rate_hz: 3000, trace}, [1, 2]))
  assert.deepEqual([...heard[0].sound.samples], [1, 2])
  assert.equal(heard[0].sound.rate_hz, 3000)
})

Deno.test("a closed store listens to nothing", () => {
  const {store, listening} = made()
  store.close()
  assert.deepEqual(["news", "pulse", "pack", "sound"].map(listening), [0, 0, 0, 0])
})
