// @ts-check
/// <reference lib="deno.ns" />
// What the browser knows of a review: trials as they come, the latest card of each, what is asked for ahead of need.

import assert from "node:assert/strict"
import {MISSING, unpack} from "../../emgreview/views/js/shared/pack.js"
import {AHEAD, BEHIND, make_store} from "../../emgreview/views/js/review/store.js"
import {make_model, pack, with_clock} from "./made.js"

/** @import {News} from "../../emgreview/views/js/types.js" */

/** @param {number} n @param {number} told  of how many trials the summaries came at once */
function made(n = 200, told = n) {
  const python = make_model({pack: null, sound: null})
  const summaries = summaries_of([...Array(told).keys()])
  const store = make_store(python.model, /** @type {any} */ ({summaries, n_trials: n, order: null}))
  /** @type {News[]} */
  const heard = []
  store.listen((what) => heard.push(what))
  const send = (/** @type {number[]} */ indices, serial = 1) => {
    const trials = indices.map((index) => ({index, traces: [], card: {index, serial, title: `as of ${serial}`}}))
    python.change("pack", pack({trials, typical: []}))
  }
  return {...python, store, heard, send}
}

/** @param {number[]} indices
 * @returns {any} */
function summaries_of(indices) {
  return Object.fromEntries(indices.map((i) => [i, ["open", null, [], null]]))
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

Deno.test("trials that join have numbers of their own, and places in the order that is told", () => {
  const {store, tell, send} = made(3)
  send([0, 1])
  tell({joined: {n_trials: 5, order: [3, 4, 0, 1, 2]}, forget: [1]})
  assert.deepEqual(store.order, [3, 4, 0, 1, 2])
  assert.deepEqual([0, 1, 2, 3, 4].map(store.place), [2, 3, 4, 0, 1])
  assert.equal(store.untold, 2)
  assert.deepEqual([...store.trials.keys()], [0]) // what is drawn otherwise from now on is asked for anew
  tell({joined: {n_trials: 5, order: null}})
  assert.deepEqual(store.order, [0, 1, 2, 3, 4])
})

Deno.test("summaries come in pages, those after the trial on the screen first, one page at a time", () =>
  with_clock((pass) => {
    const {store, up, tell} = made(250, 10)
    store.want_page(200)
    store.want_page(200)
    assert.equal(up.length, 1)
    const {kind, trials} = up[0]
    assert.deepEqual([kind, trials.length, trials[0], trials[50]], ["page", 100, 200, 10])
    pass(1400)
    store.want_page(200)
    assert.equal(up.length, 1)
    tell({summaries: summaries_of(trials)})
    assert.equal(store.untold, 140)
    store.want_page(0)
    assert.deepEqual(up[1].trials.slice(0, 2), [60, 61])
    pass(1600) // it was lost
    store.want_page(0)
    assert.deepEqual(up[2].trials, up[1].trials)
  }))

Deno.test("all summaries are asked for anew where news was missed, and stand until then", () => {
  const {store, tell} = made(12)
  tell({page_anew: true, summaries: {3: ["reviewed", 0.3, [], null]}})
  assert.equal(store.untold, 11)
  assert.equal(store.summaries[5][0], "open")
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
