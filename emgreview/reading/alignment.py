"""Which row of a table of trials belongs to which cue, where their numbers differ: by the intervals between them.

Two clocks that started at different moments, and run a little differently, name the same moments; some are missing on
either side. The shift that makes most of them meet is found by trying that of every pair, then a straight line through
those that meet takes out the drift. Nothing is decided here: a person confirms what is proposed.

    propose_alignment   Alignment, or None where nothing fits
    intervals_apart     the first interval in which as many cues and rows differ
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from emgreview.model import FloatArray

TOLERANCE_S = 0.1
"""How far a cue and its row may lie apart once shift and drift are taken out: more than screens, sounds and operating
systems are late, less than half of the shortest interval between trials (our own choice, no source)."""
MOST_DRIFT = 1e-3
"""Clocks that run apart faster than this, a part of a second in a second, are not taken for those of one session."""
FEWEST_MEET = 0.8
"""Of the fewer of the two, such a share must meet; else nothing is proposed (our own choice, no source)."""


@dataclass(frozen=True)
class Alignment:
    """``rows``: for each cue the place of its row, from 0, None where it has none. ``shift_s``: what is added to the
    times of rows to have those of cues; ``drift``: by how much the clock of the rows runs faster; ``worst_s``: how far
    apart the furthest pair lies."""

    rows: tuple[int | None, ...]
    n_rows: int
    shift_s: float
    drift: float
    worst_s: float

    @property
    def cues_without(self) -> list[int]:
        """Places of cues that have no row."""
        return [place for place, row in enumerate(self.rows) if row is None]

    @property
    def rows_without(self) -> list[int]:
        """Places of rows that have no cue."""
        return sorted(set(range(self.n_rows)) - {row for row in self.rows if row is not None})


def propose_alignment(cue_s: Sequence[float], row_s: Sequence[float]) -> Alignment | None:
    """The alignment in which most meet; None where too few do, or where two fit equally well. Times in seconds, each
    rising; NaN for a row without one, which then meets nothing."""
    cues, rows = np.asarray(cue_s, float), np.asarray(row_s, float)
    usable = np.flatnonzero(np.isfinite(rows))
    if len(cues) == 0 or len(usable) == 0:
        return None
    shifts = np.sort((cues[:, None] - rows[usable][None, :]).ravel())
    best: list[tuple[int, float, list[tuple[int, int]]]] = []
    for shift in _crowded(shifts):
        line = np.array([shift, 1.0])
        pairs: list[tuple[int, int]] = []
        for _ in range(4):
            pairs = _pairs(cues, rows, usable, line)
            if len(pairs) < 2:
                break
            at, when = np.array(pairs).T
            slope, start = (
                np.polyfit(rows[when], cues[at], 1)
                if len(pairs) > 3
                else (1.0, float(np.median(cues[at] - rows[when])))
            )
            line = np.array([start, float(np.clip(slope, 1 - MOST_DRIFT, 1 + MOST_DRIFT))])
        if pairs:
            left = np.abs([cues[at] - line[0] - line[1] * rows[when] for at, when in pairs])
            best.append((len(pairs), -float(left.max()), pairs))
    if not best:
        return None
    best.sort(key=lambda one: one[:2], reverse=True)
    count, worst, pairs = best[0]
    if count < max(FEWEST_MEET * min(len(cues), len(usable)), 1):
        return None
    if any(other[0] == count and other[2] != pairs for other in best[1:]):
        return None
    matched = dict(pairs)
    found = tuple(matched.get(place) for place in range(len(cues)))
    at, when = np.array(pairs).T
    slope, start = np.polyfit(rows[when], cues[at], 1) if count > 3 else (1.0, float(np.median(cues[at] - rows[when])))
    return Alignment(found, len(rows), float(start), 1.0 - float(slope), -worst)


def _crowded(shifts: FloatArray) -> list[float]:
    """The middles of the stretches of one tolerance that hold most shifts, no two within a tolerance."""
    ends = np.searchsorted(shifts, shifts + TOLERANCE_S, side="right")
    counts = ends - np.arange(len(shifts))
    chosen: list[float] = []
    for place in np.argsort(-counts, kind="stable"):
        middle = float(np.median(shifts[place : ends[place]]))
        if all(abs(middle - other) > TOLERANCE_S for other in chosen):
            chosen.append(middle)
        if len(chosen) == 5:
            break
    return chosen


def _pairs(cues: FloatArray, rows: FloatArray, usable: np.ndarray, line: FloatArray) -> list[tuple[int, int]]:
    """Cues and rows that meet, in order of time, each once: nearest first."""
    expected = line[0] + line[1] * rows[usable]
    apart = np.abs(cues[:, None] - expected[None, :])
    close = np.argwhere(apart <= TOLERANCE_S)
    order = np.argsort(apart[close[:, 0], close[:, 1]], kind="stable")
    taken_cue, taken_row, pairs = set[int](), set[int](), []
    for at, when in close[order].tolist():
        if at not in taken_cue and when not in taken_row:
            taken_cue.add(at)
            taken_row.add(when)
            pairs.append((at, int(usable[when])))
    pairs.sort()
    in_order = all(one[1] < other[1] for one, other in pairwise(pairs))
    return pairs if in_order else []


def intervals_apart(cue_s: Sequence[float], row_s: Sequence[float]) -> tuple[int, float, float] | None:
    """Of as many cues as rows: place of the first one that comes later or earlier after the one before it than its row
    does, by more than the tolerance, with both intervals; None where there is none. A row without a time (NaN) is
    passed over: the interval is that from the one before it to the one after."""
    timed = np.flatnonzero(np.isfinite(np.asarray(row_s, float)))
    cues, rows = np.diff(np.asarray(cue_s, float)[timed]), np.diff(np.asarray(row_s, float)[timed])
    bad = np.flatnonzero(np.abs(cues - rows) > TOLERANCE_S + MOST_DRIFT * np.abs(cues))
    return None if not len(bad) else (int(timed[bad[0] + 1]), float(cues[bad[0]]), float(rows[bad[0]]))
