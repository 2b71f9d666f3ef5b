"""How accurate the onset methods are: the benchmark behind ``emgreview bench onsets``.

    bench_onsets     run it: trials with known truth, every method, an oracle, and the figures to reach
    OnsetReport      what it gives: rows of numbers, judged figures; as text, or as files

Seeds below 1000 and subjects 1 to 10 of the open forearm recordings were used while weights of the default method were
chosen; the report uses neither. (An earlier version of the method had been developed on all subjects.) The third kind
of activity, "modulated", was first looked at in a full report with another seed, which led to the gentle profiles.
"""

import platform
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy

import emgreview
from emgreview import checks
from emgreview.bench import recipes
from emgreview.bench.figures import line_figure
from emgreview.bench.page import markdown, tsv
from emgreview.bench.score import oracle, score, score_rest, wilson
from emgreview.bench.verdicts import Figure, judge
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.model import Onsets
from emgreview.signal.onset import METHODS, estimate_onsets

__all__ = ["Figure", "OnsetReport", "bench_onsets"]

EMG_METHODS = ("ramp", "threshold", "energy", "double-threshold", "likelihood-ratio", "profile")
LEVELS_DB = (5, 10, 15, 20, 30)
RISES_S = (0.01, 0.02, 0.05, 0.08, 0.15, 0.3, 0.35)
KINDS = ("units", "splices", "modulated")
SEED = 20_260
SUBJECTS = tuple(range(11, 21))
QUIET_TIMES = 2
"""Trials without activity are so many times the trials of a cell: shares of 1 % need them."""

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class OnsetReport:
    """``cells``, ``troubles`` and ``quiet``: rows of numbers, one a cell (kind of trouble, of rest) and method.

    ``untrusted``: rests that cannot be trusted, and what the default says of them. ``figures`` are the figures to
    reach, judged; ``facts`` how the report was made. Times in ms, shares in %.
    """

    cells: tuple[dict[str, Any], ...]
    troubles: tuple[dict[str, Any], ...]
    quiet: tuple[dict[str, Any], ...]
    untrusted: tuple[dict[str, Any], ...]
    figures: tuple[Figure, ...]
    facts: dict[str, Any]

    def text(self) -> str:
        """The report as Markdown."""
        return markdown(self.cells, self.troubles, self.quiet, self.untrusted, self.figures, self.facts)

    def write(self, folder: Path | str) -> Path:
        """Write report.md, tables (TSV), figures (SVG) into a new or empty folder; ParameterError if it is neither."""
        folder = Path(folder)
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise ParameterError(f"{folder} exists and is not an empty folder; give a new one; nothing was written.")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "report.md").write_text(self.text(), encoding="utf-8")
        for name in ("cells", "troubles", "quiet", "untrusted"):
            (folder / f"{name}.tsv").write_text(tsv(getattr(self, name)), encoding="utf-8")
        for value, words in (("median_ms", "median |error|, ms"), ("bias_ms", "median error (bias), ms")):
            (folder / f"{value}.svg").write_text(line_figure(self.cells, value, words), encoding="utf-8")
        return folder


def bench_onsets(
    *,
    trials: int = 500,
    seed: int = SEED,
    methods: Sequence[str] = EMG_METHODS,
    levels_db: Sequence[float] = LEVELS_DB,
    rises_s: Sequence[float] = RISES_S,
    kinds: Sequence[str] = KINDS,
    open_data: Path | str | None = None,
    subjects: Sequence[int] = SUBJECTS,
    progress: Progress | None = None,
) -> OnsetReport:
    """Every method on trials whose truth is known, ``trials`` a cell, and on trials without activity.

    ``open_data`` is the folder that holds the open forearm recordings; without it, splices and real rest are left out,
    which the report says. Some six minutes on one core at 500 trials; with fewer than 500 nothing is judged.
    ``progress(done, total, words)`` is called after each cell. Raises UnknownNameError (method, kind), ParameterError
    and ReadError (recordings not there).
    """
    for name in methods:
        if name not in METHODS:
            raise UnknownNameError("onset method", name, METHODS)
    for name in kinds:
        if name not in KINDS:
            raise UnknownNameError("kind of activity", name, KINDS)
    trials, seed = checks.whole("trials", trials, least=10), checks.whole("seed", seed, least=0)
    material = None if open_data is None else recipes.forearm(Path(open_data), tuple(subjects))
    used = [kind for kind in kinds if kind != "splices" or material is not None]
    plan = [(kind, snr_db, rise_s) for kind in used for snr_db in levels_db for rise_s in rises_s]
    rests = [kind for kind in recipes.QUIET if kind != "real rest" or material is not None]
    total, done = len(plan) + len(recipes.TROUBLES) + len(rests) + len(recipes.UNTRUSTED), 0

    def step(words: str) -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, total, words)

    cells: list[dict[str, Any]] = []
    for kind, snr_db, rise_s in plan:
        rng = np.random.default_rng([seed, KINDS.index(kind), round(10 * snr_db) + 1000, round(1e4 * rise_s)])
        if kind == "splices":
            assert material is not None
            made = recipes.splices(rng, trials, snr_db, rise_s, material=material)
        else:
            made = (recipes.units if kind == "units" else recipes.modulated)(rng, trials, snr_db, rise_s)
        cell = {"kind": kind, "snr_db": snr_db, "rise_ms": round(1e3 * rise_s)}
        cells += [cell | row for row in _rows(made, methods)]
        step(f"{kind}, {snr_db} dB, {1e3 * rise_s:.0f} ms")

    troubles: list[dict[str, Any]] = []
    for number, (name, options) in enumerate(recipes.TROUBLES.items()):
        made = recipes.units(
            np.random.default_rng([seed, 7, number]), trials, recipes.TROUBLE_DB, recipes.TROUBLE_RISE_S, **options
        )
        troubles += [{"trouble": name} | row for row in _rows(made, methods)]
        step(f"trouble: {name}")

    quiet: list[dict[str, Any]] = []
    for kind in rests:
        n = QUIET_TIMES * trials
        made = recipes.quiet(np.random.default_rng([seed, 8, recipes.QUIET.index(kind)]), n, kind, material=material)
        for method in methods:
            k = int(np.isfinite(find(made, method).onset_s).sum())
            low, high = wilson(k, n)
            row = {"rest": kind, "method": method, "trials": n, "false": 100 * k / n}
            quiet.append(row | {"false_low": 100 * low, "false_high": 100 * high})
        step(f"no activity: {kind}")

    untrusted: list[dict[str, Any]] = []
    for number, (rest, (due, options)) in enumerate(recipes.UNTRUSTED.items()):
        for place, snr_db in enumerate(recipes.UNTRUSTED_DB):
            made = recipes.units(np.random.default_rng([seed, 9, number, place]), trials, snr_db, 0.05, **options)
            untrusted.append({"rest": rest, "snr_db": snr_db} | score_rest(made, find(made, "ramp"), due))
        step(f"rest: {rest}")

    facts = {
        "trials": trials,
        "seed": seed,
        "subjects": "none: no open data given" if material is None else f"{min(subjects)} to {max(subjects)}",
        "versions": f"emgreview {emgreview.__version__}, Python {platform.python_version()}, numpy {np.__version__}, "
        f"scipy {scipy.__version__}",
        "band-pass": "butter(4, [20, 450]), zero-phase",
        "rest": "0.5 s before the cue; search from the cue to the end of the trial",
    }
    figures = judge(cells, troubles, quiet, untrusted)
    return OnsetReport(tuple(cells), tuple(troubles), tuple(quiet), tuple(untrusted), tuple(figures), facts)


def find(made: recipes.Made, method: str) -> Onsets:
    return estimate_onsets(made.x, made.rate_hz, cue_s=recipes.CUE_S, rest_s=made.rest_s, method=method)


def _rows(made: recipes.Made, methods: Sequence[str]) -> list[dict[str, Any]]:
    found = {method: find(made, method) for method in methods}
    rows = [{"method": method} | score(made, result) for method, result in found.items()]
    nothing = np.full(len(made.x), np.nan)
    known = replace(
        next(iter(found.values())),
        onset_s=oracle(made),
        low_s=nothing,
        high_s=nothing,
        offset_s=nothing,
        offset_low_s=nothing,
        offset_high_s=nothing,
    )
    return [*rows, {"method": "oracle"} | score(made, known)]
