"""What the benchmark runs: one task a cell, each with a generator of its own, so that order and choice change nothing.

PARTS, and what they hold: ``grid`` every method over kinds, levels and rises, at the usual rate of a kind;
``troubles``; ``quiet`` trials without activity; ``untrusted`` rests; ``rates`` other sampling rates; ``shapes`` shapes
of rise told apart; ``others`` other motor units, restless rests; ``filters`` sharp splices after a zero-phase, a
causal, and the package's own band-pass.

    tasks     all tasks of some parts
    Task      its part, its words, and what it runs
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from emgreview.bench import others, recipes, still
from emgreview.bench.score import oracle, score, score_rest, wilson
from emgreview.model import Onsets
from emgreview.signal.onset import estimate_onsets

Row = dict[str, Any]

PARTS = ("grid", "troubles", "quiet", "untrusted", "rates", "shapes", "others", "filters")
EMG_METHODS = ("ramp", "threshold", "energy", "double-threshold", "likelihood-ratio", "profile")
COMPARATORS = ("threshold", "energy")
LEVELS_DB = (3, 5, 10, 15, 20, 30, 40, 50, 60)
RISES_S = (0.001, 0.01, 0.02, 0.05, 0.08, 0.15, 0.3, 0.35)
KINDS = ("units", "splices", "modulated")
USUAL_HZ = {"units": recipes.RATE_HZ, "splices": recipes.SPLICE_RATE_HZ, "modulated": recipes.RATE_HZ}
RATES_HZ = (200.0, 500.0, 1000.0, 2000.0, 10_000.0)
RATE_RISES_S = (0.001, 0.01, 0.05, 0.15)
SHAPE_RISES_S = (0.05, 0.1, 0.2)
OTHER_RISES_S = (0.01, 0.05, 0.15)
STEP_S = 0.001
"""The rise of a sharp splice: within a sample at most rates."""
HIGH_HZ = 4000.0
QUIET_TIMES = 2
"""Trials without activity are so many times the trials of a cell: shares of 1 % need them."""


@dataclass(frozen=True)
class Task:
    """``run`` gives rows of ``part``."""

    part: str
    words: str
    run: Callable[[], list[Row]]


def fewer(trials: int, part: str, rate_hz: float) -> int:
    """Trials of a cell: half of those of the grid in the other parts, a quarter of them at high rates; 10 or more."""
    if part in ("grid", "troubles", "untrusted"):
        return trials
    return max(10, trials // (2 if rate_hz < HIGH_HZ else 4))


def tasks(
    parts: Sequence[str],
    *,
    trials: int,
    seed: int,
    methods: Sequence[str],
    levels_db: Sequence[float],
    rises_s: Sequence[float],
    kinds: Sequence[str],
    material: recipes.Forearm | None,
) -> list[Task]:
    """All tasks of ``parts``; those that need real recordings are left out where ``material`` is None."""
    out: list[Task] = []
    used = [kind for kind in kinds if kind != "splices" or material is not None]
    compared = [m for m in methods if m == "ramp" or m in COMPARATORS]

    def add(part: str, words: str, run: Callable[..., list[Row]], *given: Any) -> None:
        if part in parts:
            out.append(Task(part, words, partial(run, *given)))

    for kind in used:
        for snr_db in levels_db:
            for rise_s in rises_s:
                words = f"{kind}, {snr_db:g} dB, {1e3 * rise_s:.0f} ms"
                given = (seed, trials, kind, snr_db, rise_s, USUAL_HZ[kind], material, methods, True)
                add("grid", words, _cell, *given)
    for number, name in enumerate(recipes.TROUBLES):
        add("troubles", f"trouble: {name}", _trouble, seed, trials, number, name, methods)
    for kind in still.QUIET:
        if kind not in still.REAL_RESTS or material is not None:
            add("quiet", f"no activity: {kind}", _quiet, seed, QUIET_TIMES * trials, kind, material, methods)
    for number, rest in enumerate(recipes.UNTRUSTED):
        add("untrusted", f"rest: {rest}", _untrusted, seed, trials, number, rest)
    for kind in used:
        for rate_hz in RATES_HZ:
            for snr_db in levels_db if rate_hz != USUAL_HZ[kind] else ():
                n = fewer(trials, "rates", rate_hz)
                for rise_s in RATE_RISES_S:
                    words = f"{rate_hz:g} Hz: {kind}, {snr_db:g} dB, {1e3 * rise_s:.0f} ms"
                    add("rates", words, _cell, seed, n, kind, snr_db, rise_s, rate_hz, material, compared, False)
    for shape in (*recipes.SHAPES, recipes.EVENLY) if "modulated" in used else ():
        for snr_db in levels_db:
            for rise_s in SHAPE_RISES_S:
                words = f"{shape}, {snr_db:g} dB, {1e3 * rise_s:.0f} ms"
                add("shapes", words, _shape, seed, fewer(trials, "shapes", 0), shape, snr_db, rise_s)
    restless = [kind for kind in others.RESTLESS if kind != "real rest" or material is not None]
    for kind in (*others.POOLS, *(f"restless: {kind}" for kind in restless)):
        for snr_db in levels_db:
            for rise_s in OTHER_RISES_S:
                words = f"{kind}, {snr_db:g} dB, {1e3 * rise_s:.0f} ms"
                n = fewer(trials, "others", 0)
                add("others", words, _other, seed, n, kind, snr_db, rise_s, material, compared)
    if "splices" in used:
        assert material is not None
        for rate_hz in RATES_HZ:
            for snr_db in levels_db:
                words = f"sharp splices, {rate_hz:g} Hz, {snr_db:g} dB"
                add("filters", words, _filters, seed, fewer(trials, "filters", rate_hz), snr_db, rate_hz, material)
    return out


def generator(seed: int, number: int, snr_db: float, rise_s: float, *more: int) -> np.random.Generator:
    """Of one cell, whatever others are run."""
    return np.random.default_rng([seed, number, round(10 * snr_db) + 1000, round(1e4 * rise_s), *more])


def _cell(
    seed: int,
    n: int,
    kind: str,
    snr_db: float,
    rise_s: float,
    rate_hz: float,
    material: recipes.Forearm | None,
    methods: Sequence[str],
    known: bool,
) -> list[Row]:
    rng = generator(seed, KINDS.index(kind), snr_db, rise_s, *(() if known else (round(rate_hz),)))
    if kind == "splices":
        assert material is not None
        made = recipes.splices(rng, n, snr_db, rise_s, material=material, rate_hz=rate_hz)
    else:
        make = recipes.units if kind == "units" else recipes.modulated
        made = make(rng, n, snr_db, rise_s, rate_hz=rate_hz)
    cell = {"kind": kind, "rate_hz": rate_hz, "snr_db": snr_db, "rise_ms": round(1e3 * rise_s)}
    return [cell | row for row in _rows(made, methods, known=known)]


def _trouble(seed: int, n: int, number: int, name: str, methods: Sequence[str]) -> list[Row]:
    rng = np.random.default_rng([seed, 7, number])
    made = recipes.units(rng, n, recipes.TROUBLE_DB, recipes.TROUBLE_RISE_S, **recipes.TROUBLES[name])
    return [{"trouble": name, "rate_hz": made.rate_hz} | row for row in _rows(made, methods)]


def _quiet(seed: int, n: int, kind: str, material: recipes.Forearm | None, methods: Sequence[str]) -> list[Row]:
    made = still.quiet(np.random.default_rng([seed, 8, still.QUIET.index(kind)]), n, kind, material=material)
    rows = []
    for method in methods:
        k = int(np.isfinite(find(made, method).onset_s).sum())
        low, high = wilson(k, n)
        row = {"rest": kind, "method": method, "trials": n, "false": 100 * k / n}
        rows.append(row | {"false_low": 100 * low, "false_high": 100 * high})
    return rows


def _untrusted(seed: int, n: int, number: int, rest: str) -> list[Row]:
    due, options = recipes.UNTRUSTED[rest]
    rows = []
    for place, snr_db in enumerate(recipes.UNTRUSTED_DB):
        made = recipes.units(np.random.default_rng([seed, 9, number, place]), n, snr_db, 0.05, **options)
        rows.append({"rest": rest, "snr_db": snr_db} | score_rest(made, find(made, "ramp"), due))
    return rows


def _shape(seed: int, n: int, shape: str, snr_db: float, rise_s: float) -> list[Row]:
    rng = generator(seed, 10, snr_db, rise_s, [*recipes.SHAPES, recipes.EVENLY].index(shape))
    made = recipes.modulated(rng, n, snr_db, rise_s, shape=shape)
    cell = {"shape": shape, "rate_hz": made.rate_hz, "snr_db": snr_db, "rise_ms": round(1e3 * rise_s)}
    return [cell | row for row in _rows(made, ("ramp",), known=False)]


def _other(
    seed: int,
    n: int,
    kind: str,
    snr_db: float,
    rise_s: float,
    material: recipes.Forearm | None,
    methods: Sequence[str],
) -> list[Row]:
    name = kind.removeprefix("restless: ")
    if name == kind:
        rng = generator(seed, 11, snr_db, rise_s, list(others.POOLS).index(kind))
        made = others.trains(rng, n, snr_db, rise_s, kind=kind)
    else:
        rng = generator(seed, 12, snr_db, rise_s, others.RESTLESS.index(name))
        made = others.on_restless(rng, n, snr_db, rise_s, kind=name, material=material)
    cell = {"other": kind, "rate_hz": made.rate_hz, "snr_db": snr_db, "rise_ms": round(1e3 * rise_s)}
    return [cell | row for row in _rows(made, methods, known=False)]


def _filters(seed: int, n: int, snr_db: float, rate_hz: float, material: recipes.Forearm) -> list[Row]:
    rows = []
    for name in recipes.WAYS:
        rng = generator(seed, 13, snr_db, STEP_S, round(rate_hz))  # the same trials for all
        options: dict[str, Any] = {"material": material, "rate_hz": rate_hz, "way": name}
        made = recipes.splices(rng, n, snr_db, STEP_S, **options)
        cell = {"filter": name, "rate_hz": rate_hz, "snr_db": snr_db, "rise_ms": round(1e3 * STEP_S)}
        rows += [cell | row for row in _rows(made, ("ramp",), known=False)]
    return rows


def find(made: recipes.Made, method: str) -> Onsets:
    return estimate_onsets(made.x, made.rate_hz, cue_s=recipes.CUE_S, rest_s=made.rest_s, method=method)


def _rows(made: recipes.Made, methods: Sequence[str], *, known: bool = True) -> list[Row]:
    """One row a method, and one of the oracle where ``known``."""
    found = {method: find(made, method) for method in methods}
    rows = [{"method": method} | score(made, result) for method, result in found.items()]
    if not known:
        return rows
    nothing = np.full(len(made.x), np.nan)
    best = replace(
        next(iter(found.values())),
        onset_s=oracle(made),
        low_s=nothing,
        high_s=nothing,
        offset_s=nothing,
        offset_low_s=nothing,
        offset_high_s=nothing,
    )
    return [*rows, {"method": "oracle"} | score(made, best)]
