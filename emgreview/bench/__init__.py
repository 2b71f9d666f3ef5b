"""How accurate the onset methods are: the benchmark behind ``emgreview bench onsets``.

    bench_onsets     run it: trials with known truth, every method, an oracle, and the figures to reach
    OnsetReport      what it gives: rows of numbers, judged figures; as text, or as files

Seeds below 1000 and subjects 1 to 10 of the open forearm recordings were used while weights of the default method were
chosen; the report uses neither. (An earlier version of the method had been developed on all subjects.) The third kind
of activity, "modulated", was first looked at in a full report with another seed, which led to the gentle profiles.
"""

import platform
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import scipy

import emgreview
from emgreview import checks
from emgreview.bench import recipes
from emgreview.bench.figures import line_figure
from emgreview.bench.page import markdown, tsv
from emgreview.bench.plan import EMG_METHODS, KINDS, LEVELS_DB, PARTS, RISES_S, Task, tasks
from emgreview.bench.verdicts import Figure, judge
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.signal.onset import METHODS

__all__ = ["Figure", "OnsetReport", "bench_onsets"]

SEED = 20_263
SUBJECTS = tuple(range(11, 21))
TABLES = {part: "cells" if part == "grid" else part for part in PARTS}
"""The field of a report that holds a part."""

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class OnsetReport:
    """How accurate the onset methods are; :func:`emgreview.bench_onsets` returns it.

    Each table is a tuple of dict, one a cell and method, and empty where that part was not
    run. Times in ms, shares in %.

    Attributes
    ----------
    cells : tuple of dict
        The grid: one row a cell (kind, level, rise) and method.
    troubles, quiet : tuple of dict
        One row a cell (kind of trouble, of rest) and method.
    untrusted : tuple of dict
        Rests that cannot be trusted, and what the default says of them.
    figures : tuple of Figure
        The figures to reach, judged.
    facts : dict
        How the report was made.
    rates, shapes, others, filters : tuple of dict
        Other sampling rates, shapes of rise, other motor units, and filters.
    """

    cells: tuple[dict[str, Any], ...]
    troubles: tuple[dict[str, Any], ...]
    quiet: tuple[dict[str, Any], ...]
    untrusted: tuple[dict[str, Any], ...]
    figures: tuple[Figure, ...]
    facts: dict[str, Any]
    rates: tuple[dict[str, Any], ...] = ()
    shapes: tuple[dict[str, Any], ...] = ()
    others: tuple[dict[str, Any], ...] = ()
    filters: tuple[dict[str, Any], ...] = ()

    @property
    def tables(self) -> dict[str, tuple[dict[str, Any], ...]]:
        """Rows by the name of their table."""
        return {name: getattr(self, name) for name in TABLES.values()}

    def text(self) -> str:
        """The report as Markdown.

        Returns
        -------
        str
        """
        return markdown(self.tables, self.figures, self.facts)

    def write(self, folder: Path | str) -> Path:
        """Write report.md, tables (TSV) and figures (SVG).

        Parameters
        ----------
        folder : str or Path
            A new or empty folder.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        ParameterError
            The folder is neither new nor empty.
        """
        folder = Path(folder)
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise ParameterError(f"{folder} exists and is not an empty folder; give a new one; nothing was written.")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "report.md").write_text(self.text(), encoding="utf-8")
        for name, rows in self.tables.items():
            (folder / f"{name}.tsv").write_text(tsv(rows), encoding="utf-8")
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
    parts: Sequence[str] = PARTS,
    open_data: Path | str | None = None,
    subjects: Sequence[int] = SUBJECTS,
    progress: Progress | None = None,
) -> OnsetReport:
    """The accuracy of every onset method, on trials whose truth is known and on trials without
    activity.

    Half an hour or so on one quiet core at 500 trials; with few trials nothing is judged.

    Parameters
    ----------
    trials : int, default 500
        Trials in each cell of the grid.
    seed : int, default 20263
        Seed of every draw.
    methods : sequence of str
        Names of onset methods; all for EMG unless given.
    levels_db, rises_s : sequence of float
        Levels of the burst over rest, in dB, and times of its rise, in seconds, of the grid.
        ``rises_s`` is that of the grid alone.
    kinds : sequence of str
        What the grid's trials are made of: "units", "splices", "modulated".
    parts : sequence of str
        Names of :data:`~emgreview.bench.plan.PARTS`: the grid of ``kinds``, ``levels_db``
        and ``rises_s``, troubles, rests, other sampling rates, shapes of rise, other motor
        units and filters.
    open_data : str, Path or None
        Folder that holds the open forearm recordings; without it, splices and real rest are
        left out, which the report says.
    subjects : sequence of int
        Which people of these recordings are used.
    progress : callable or None
        Called as (done, total, words) after each cell.

    Returns
    -------
    OnsetReport
        Tables of bias, spread and misses, and the figures to reach, judged.

    Raises
    ------
    UnknownNameError
        No method, kind or part has that name.
    ParameterError
        A number is out of range.
    ReadError
        The recordings are not there.
    """
    for what, names, known in (
        ("onset method", methods, METHODS),
        ("kind of activity", kinds, KINDS),
        ("part of the benchmark", parts, PARTS),
    ):
        for name in names:
            if name not in known:
                raise UnknownNameError(what, name, known)
    trials, seed = checks.whole("trials", trials, least=10), checks.whole("seed", seed, least=0)
    material = None if open_data is None else recipes.forearm(Path(open_data), tuple(subjects))
    todo = tasks(
        parts,
        trials=trials,
        seed=seed,
        methods=methods,
        levels_db=levels_db,
        rises_s=rises_s,
        kinds=kinds,
        material=material,
    )
    rows: list[tuple[Task, list[dict[str, Any]]]] = []
    for task in todo:
        rows.append((task, task.run()))
        if progress is not None:
            progress(len(rows), len(todo), task.words)
    return collected(rows, _facts(trials, seed, parts, material, subjects))


def collected(rows: Sequence[tuple[Task, list[dict[str, Any]]]], facts: dict[str, Any]) -> OnsetReport:
    """The report of tasks and their rows."""
    tables = {TABLES[part]: tuple(row for task, mine in rows if task.part == part for row in mine) for part in PARTS}
    return OnsetReport(**tables, figures=tuple(judge(tables)), facts=facts)


def _facts(
    trials: int, seed: int, parts: Sequence[str], material: recipes.Forearm | None, subjects: Sequence[int]
) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "trials": f"{trials} a cell of the grid; half as many at other sampling rates, in shapes, others and filters "
        "(a quarter at 10 kHz), twice as many without activity",
        "seed": seed,
        "subjects": "none: no open data given" if material is None else f"{min(subjects)} to {max(subjects)}",
        "versions": f"emgreview {emgreview.__version__}, Python {platform.python_version()}, numpy {np.__version__}, "
        f"scipy {scipy.__version__}",
        "band-pass": "butter(4, [20, 450]), up to 0.45 of the sampling rate where that is lower; zero-phase",
        "rest": "0.5 s before the cue; search from the cue to the end of the trial",
    }
    if material is not None:
        facts["channels of real rest"] = (
            f"{len(material.rests)} used; {len(material.left_out)} left out because a method had fired in them and a "
            f"picture showed activity (only those were looked at), {material.contracted} for a plain contraction; "
            "without the first selection: rows that say so"
        )
    missing = [part for part in PARTS if part not in parts]
    return facts | ({"not run": ", ".join(missing)} if missing else {})
