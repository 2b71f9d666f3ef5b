"""Are two recordings the same one: rests that go up and down together, trial by trial.

    Copy            two recordings that are, and how alike
    copies          all of them, of patterns of rest
    rest_pattern    what is compared

Unrelated rests differ by chance alone, whatever was done in between; those of one recording under two names go
together, also with another gain, rounded, filtered anew, or with trials cut off at an end.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import stats

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.features import log

COPY, COPY_RANKS = 0.9, 0.8
"""Correlation, and rank correlation, that two rests must pass. Of 20 unrelated values they lie 6 and 4.5 SD of Fisher's
z out (our own choice)."""
COPY_HALF, HALF_RANKS = 0.98, 0.6
"""Or: the correlation that the nearer half of the values speaks of, from the scaled MAD of the differences
(Gnanadesikan & Kettenring 1972, from memory), and the rank correlation of all: where single trials were cut off or
filtered otherwise. Of 20 unrelated values it is passed once in two million pairs."""
COPY_VALUES = 20
PERHAPS = 0.5
"""Correlation as it is, outliers and all, below which no closer look is taken: copies have the same outliers."""


class Copy(NamedTuple):
    """The places of two recordings, and the correlation of their rests."""

    first: int
    second: int
    r: float


def rest_pattern(rest: FloatArray) -> FloatArray:
    """Logarithms of rests without median and trend (Theil-Sen) of each channel, (channels, trials), outliers drawn in;
    0 where missing. A trend by least squares would make two people alike who moved in the same trial."""
    x = log(rest)
    slopes = np.nan_to_num([odd.slope(row) for row in x])[:, None]
    return _drawn_in(x - slopes * np.arange(x.shape[1]))


def copies(patterns: Sequence[FloatArray]) -> list[Copy]:
    """All pairs of recordings that are one, by the places of their patterns."""
    by_shape: dict[tuple[int, ...], list[int]] = {}
    for at, pattern in enumerate(patterns):
        by_shape.setdefault(pattern.shape, []).append(at)
    candidates = [pair for places in by_shape.values() for pair in _alike(patterns, places)]
    shapes = list(by_shape)
    for at, shape in enumerate(shapes):
        for other in shapes[at + 1 :]:
            if shape[0] == other[0]:
                candidates += [(a, b) for a in by_shape[shape] for b in by_shape[other]]
    found = [Copy(min(a, b), max(a, b), together(patterns[a], patterns[b])) for a, b in candidates]
    return sorted(one for one in found if one.r > COPY)


def _alike(patterns: Sequence[FloatArray], places: Sequence[int]) -> list[tuple[int, int]]:
    """Pairs of patterns of one shape that are worth a closer look."""
    flat = np.stack([patterns[at].ravel() for at in places])
    norms = np.sqrt(np.sum(flat**2, axis=1, keepdims=True))
    flat = np.divide(flat, norms, out=np.zeros_like(flat), where=norms > 0)
    first, second = np.nonzero(np.triu(flat @ flat.T, 1) > PERHAPS)
    return [(places[a], places[b]) for a, b in zip(first.tolist(), second.tolist(), strict=True)]


def together(a: FloatArray, b: FloatArray) -> float:
    """Correlation of two patterns whose outliers are drawn in, where their ranks go together too, so that no few trials
    make them alike; else 0. Of unequal numbers of trials, the best over all ways to lay one along the other."""
    if a.shape[1] > b.shape[1]:
        a, b = b, a
    n = a.shape[1]
    if a.size < COPY_VALUES:
        return 0.0
    parts = np.lib.stride_tricks.sliding_window_view(b, n, axis=1)  # (channels, ways, trials)
    norms = np.sqrt(np.sum(parts**2, axis=(0, 2)) * np.sum(a**2))
    along = np.einsum("cn,cwn->w", a, parts)
    best = 0.0
    for way in np.flatnonzero(along > PERHAPS * norms).tolist():
        part = parts[:, way]
        drawn_in = _correlation(_drawn_in(a), _drawn_in(part))
        half = _of_nearer_half(a, part)
        ranks = _correlation(*(stats.rankdata(x, axis=1) for x in (a, part)))
        if drawn_in > COPY and ranks > COPY_RANKS:
            best = max(best, drawn_in)
        if half > COPY_HALF and ranks > HALF_RANKS:
            best = max(best, half)
    return best


def _of_nearer_half(a: FloatArray, b: FloatArray) -> float:
    """1 - s² / 2, s the scaled MAD of the differences of both in their own scaled MADs."""
    scales = [odd.MAD_TO_SD * np.median(np.abs(x - np.median(x, axis=1, keepdims=True)), axis=1) for x in (a, b)]
    if not all((scale > 0).all() for scale in scales):
        return 0.0
    apart = a / scales[0][:, None] - b / scales[1][:, None]
    apart = apart - np.median(apart, axis=1, keepdims=True)
    return float(1 - (odd.MAD_TO_SD * np.median(np.abs(apart))) ** 2 / 2)


def _correlation(a: FloatArray, b: FloatArray) -> float:
    """Of two tables, each row about its own mean."""
    a, b = (x - x.mean(axis=1, keepdims=True) for x in (a, b))
    norm = math.sqrt(float(np.sum(a**2) * np.sum(b**2)))
    return float(np.sum(a * b)) / norm if norm > 0 else 0.0


def _drawn_in(x: FloatArray) -> FloatArray:
    """Rows about their medians, no value further than 3 scaled MADs from it; 0 where missing."""
    rows = [row[np.isfinite(row)] for row in x]
    middle = np.array([np.median(row) if row.size else 0.0 for row in rows])[:, None]
    mads = [np.median(np.abs(row - at)) if row.size else 0.0 for row, at in zip(rows, middle[:, 0], strict=True)]
    edge = 3 * odd.MAD_TO_SD * np.array(mads)[:, None]
    return np.nan_to_num(np.clip(x - middle, -edge, edge))
