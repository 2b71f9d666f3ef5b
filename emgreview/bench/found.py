"""What ``check`` finds, and what it finds where nothing is wrong: the benchmark ``emgreview bench findings``.

    bench_findings   clean recordings, and one planted fault in each of others
    FindingsReport   shares with their 95 % intervals (Wilson), and whether the figures are reached

Figures to reach: clean recordings with any finding at most 1 %; each fault named in at least 95 %. Limits were chosen
on seeds below 10,000; the report uses others.
"""

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from emgreview import checks
from emgreview.bench.page import tsv
from emgreview.bench.planted import FAULTS, Made, able, clean
from emgreview.bench.score import wilson
from emgreview.checking import check
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.model import Recording
from emgreview.signal.quality import Quality

SEED = 40_261
CLEAN_MOST, FAULT_LEAST = 0.01, 0.95

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class Share:
    """``k`` of ``n``, its 95 % interval, the figure it is to reach, and what else was said or missed, in short."""

    what: str
    k: int
    n: int
    low: float
    high: float
    figure: str
    reached: bool
    notes: tuple[str, ...]


@dataclass(frozen=True)
class FindingsReport:
    """What :func:`emgreview.bench_findings` found.

    Attributes
    ----------
    rows : tuple of Share
        Clean recordings first, then one row a fault.
    seed : int
        The seed that it was drawn by.
    """

    rows: tuple[Share, ...]
    seed: int

    @property
    def reached(self) -> bool:
        """Whether every figure is reached."""
        return all(row.reached for row in self.rows)

    def to_dict(self) -> dict[str, Any]:
        """The report as plain JSON values.

        Returns
        -------
        dict
        """
        return {"seed": self.seed, "reached": self.reached, "rows": [dataclasses.asdict(row) for row in self.rows]}

    def text(self) -> str:
        """Lines for people.

        Returns
        -------
        str
        """
        lines = [f"What check finds; seed {self.seed}; 95 % intervals after Wilson"]
        for row in self.rows:
            share = f"{row.k} of {row.n} ({row.low:.1%} to {row.high:.1%})"
            lines.append(f"  {row.what:<28} {share:<32} {row.figure}: {'yes' if row.reached else 'NO'}")
            lines += [f"      {note}" for note in row.notes[:5]]
        return "\n".join(lines)

    def write(self, folder: Path | str) -> Path:
        """Write findings.txt and findings.tsv into a new folder.

        Parameters
        ----------
        folder : str or Path
            A folder that does not exist yet.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        ParameterError
            It exists already.
        """
        folder = Path(folder)
        if folder.exists():
            raise ParameterError(f"{folder} exists already; give a new one; nothing was written.")
        folder.mkdir(parents=True)
        (folder / "findings.txt").write_text(self.text() + "\n", encoding="utf-8")
        rows = [{**dataclasses.asdict(row), "notes": "; ".join(row.notes)} for row in self.rows]
        (folder / "findings.tsv").write_text(tsv(rows), encoding="utf-8")
        return folder


def bench_findings(
    *,
    recordings: int = 500,
    faulty: int | None = None,
    seed: int = SEED,
    faults: Sequence[str] | None = None,
    open_data: Path | str | None = None,
    progress: Progress | None = None,
) -> FindingsReport:
    """What :func:`emgreview.check` finds of planted faults, and says of clean recordings.

    Parameters
    ----------
    recordings : int, default 500
        Clean recordings, each drawn anew.
    faulty : int or None
        Others for each fault, each drawn anew; a fifth of ``recordings`` unless told.
    seed : int, default 40261
        Seed of every draw.
    faults : sequence of str or None
        Names of the faults; None for all.
    open_data : str, Path or None
        Folder of the open recordings, for real rest; simulated rest stands in for it
        without.
    progress : callable or None
        Called as (done, total, words) after each recording.

    Returns
    -------
    FindingsReport
        Shares with 95 % intervals after Wilson.

    Raises
    ------
    UnknownNameError
        No fault has that name.
    ParameterError
        A number is out of range.
    ReadError
        ``open_data`` does not hold the recordings.
    """
    recordings, seed = checks.whole("recordings", recordings, least=1), checks.whole("seed", seed, least=0)
    faulty = max(1, recordings // 5) if faulty is None else checks.whole("faulty", faulty, least=1)
    names = list(FAULTS) if faults is None else list(faults)
    for name in names:
        if name not in FAULTS:
            raise UnknownNameError("fault", name, FAULTS)
    folder = None if open_data is None else Path(open_data)
    total, done = recordings + faulty * len(names), 0

    def step(words: str) -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, total, words)

    wrong: list[str] = []
    for number in range(recordings):
        made = clean(np.random.default_rng([seed, 0, number]), open_data=folder)
        found = [f"{one.label}: {item.words}" for one in _check(made.x, made) for item in one.found]
        if found:
            wrong.append(f"{number}, {_words(made)}: {found[0]}")
        step("clean")
    low, high = wilson(len(wrong), recordings)
    reached = len(wrong) <= CLEAN_MOST * recordings
    rows = [Share("clean, with any finding", len(wrong), recordings, low, high, "at most 1 %", reached, tuple(wrong))]
    for name in names:
        plant, due = FAULTS[name]
        missed: list[str] = []
        for number in range(faulty):
            rng = np.random.default_rng([seed, 1 + list(FAULTS).index(name), number])
            made = clean(rng, open_data=folder)
            while not able(name, made):
                made = clean(rng, open_data=folder)
            x, places = plant(made, rng)
            all_found = _check(x, made)
            codes = [{item.code for item in all_found[place].found} for place in places]
            if not all(found & set(due) for found in codes):
                missed.append(f"{number}, {_words(made)}: {[sorted(found) for found in codes]}")
            step(name)
        k = faulty - len(missed)
        low, high = wilson(k, faulty)
        rows.append(Share(name, k, faulty, low, high, "at least 95 %", k >= FAULT_LEAST * faulty, tuple(missed)))
    return FindingsReport(tuple(rows), seed)


def _check(x: np.ndarray[Any, Any], made: Made) -> list[Quality]:
    labels = [f"m{place + 1}" for place in range(len(x))]
    return check(Recording.from_array(x, made.rate_hz, labels=labels))


def _words(made: Made) -> str:
    return f"{made.activity}, {made.rate_hz:g} Hz, {made.x.shape[1] / made.rate_hz:.0f} s, {len(made.x)} channels"
