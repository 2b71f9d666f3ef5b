"""How far somebody stands from the others of a study, and how far is far: statistics for flags.

    robust_z        distance from the median in scaled MADs (Iglewicz & Hoaglin 1993)
    distance        distance from the mean of the others in their SDs, those that stand out left out
    limit_of        what no person of a clean study exceeds in any feature, but for a stated share of studies
    funnel          limits of a rate around that of all, by the exact binomial distribution
    slope           Theil-Sen slope (Sen 1968)
    exchanged       would a person's channels fit better with two of them exchanged

Values are (people,) or (..., people); NaN is left out and stays NaN.

A limit of 3.5 for one feature is passed by somebody in 10 to 14 of 100 clean studies of 16 people, and with a hundred
features by somebody in every study: so the limit grows with both numbers. It is the quantile of the largest distance
among so many people and independent features drawn from a normal distribution, by a fixed seed. Features of one person
that go together make it stricter than stated, never looser; features with longer tails than the normal distribution
make it looser, which is why the share of clean studies with a flag is measured and printed
(``tests/benchmarks/bench_people.py``).
"""

import math
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

FloatArray = NDArray[np.floating]

MAD_TO_SD = 1.4826
"""1 / 0.67449: the median absolute deviation of a normal distribution to its SD."""

FEWEST = 8
"""Of fewer people nobody is told apart by statistics (our own choice, no source)."""

LEFT_OUT = 3.5
"""Robust z beyond which a person counts not among the others, were there any number of people (Iglewicz & Hoaglin
1993); times 1 + 8 / n, as the MAD of few people is uncertain."""

BORROWED, MOST_BORROWED = 5, 20
"""How many people's worth a variance takes from each other channel, and from all of them (our own choice)."""

WIDER = 1.5
"""Times the spread of all channels from which on a channel's own takes its place in exchanges (our own choice)."""

DRAWS = 1_000_000
"""Normal values that a limit rests on."""


def robust_z(values: ArrayLike, *, least: float = 0.0) -> FloatArray:
    """z = 0.6745 (x - median) / MAD; where MAD is 0, IQR / 1.349 takes the place of MAD / 0.6745, and where that is 0
    too, NaN: nothing can be told. MAD / 0.6745 is taken for ``least`` where it is smaller. References: Iglewicz &
    Hoaglin 1993."""
    x = np.asarray(values, dtype=np.float64)
    middle_of = np.nanmedian if np.isnan(x).any() else np.median
    middle = middle_of(x, axis=-1, keepdims=True)
    scale = MAD_TO_SD * middle_of(np.abs(x - middle), axis=-1, keepdims=True)
    if not (scale > 0).all():
        low, high = np.nanpercentile(x, [25, 75], axis=-1, keepdims=True)
        scale = np.where(scale > 0, scale, (high - low) / 1.349)
    scale = np.maximum(scale, least)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (x - middle) / np.where(scale > 0, scale, np.nan)


def distance(values: ArrayLike, *, least: float = 0.0, borrow: bool = False) -> FloatArray:
    """How many SDs each value lies from the mean of the others, (..., people).

    (x - m) / (s sqrt(1 + 1/k)), m and s mean and SD of the k others that do not stand out themselves (robust z within
    LEFT_OUT (1 + 8 / n)): the deleted residual of a mean, Student's t with k - 1 degrees of freedom where all are of
    one normal distribution. s is taken for ``least`` where it is smaller. With ``borrow`` the rows (channels, people)
    are of one feature, and each variance is drawn towards their median, which counts like BORROWED further people for
    every other row, MOST_BORROWED at most: the moderated t (Smyth 2004, from memory), its weights fixed. NaN where
    fewer than FEWEST values are there, or where the others are all alike.
    """
    x = np.asarray(values, dtype=np.float64)
    present = np.isfinite(x)
    counts = present.sum(axis=-1, keepdims=True)
    z = np.full(x.shape, np.nan)
    if x.size and (counts >= FEWEST).any():
        with np.errstate(invalid="ignore"):
            safe = np.where(counts >= FEWEST, np.where(present, x, np.nan), 0.0)
            z = robust_z(safe, least=least)
    kept = present & (np.abs(z) <= LEFT_OUT * (1 + 8 / np.maximum(counts, 1)))
    middle = np.where(kept, x, 0.0).sum(axis=-1, keepdims=True) / np.maximum(kept.sum(axis=-1, keepdims=True), 1)
    from_it = np.where(present, x - middle, 0.0)  # near 0, so that sums of squares lose nothing
    k = kept.sum(axis=-1, keepdims=True) - kept
    total = np.where(kept, from_it, 0.0)
    mean = (total.sum(axis=-1, keepdims=True) - total) / np.maximum(k, 1)
    squares = (total**2).sum(axis=-1, keepdims=True) - total**2 - k * mean**2
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = np.maximum(squares, 0.0) / np.maximum(k - 1, 1)
        if borrow and x.ndim > 1 and x.shape[-2] > 1:
            weight = min(BORROWED * (x.shape[-2] - 1), MOST_BORROWED)
            of_rows = _nanmedian(np.where(counts >= FEWEST, variance, np.nan), axis=-1)
            common = _nanmedian(of_rows, axis=-2)
            variance = np.where(
                np.isfinite(common), (weight * common + (k - 1) * variance) / (weight + k - 1), variance
            )
        sd = np.maximum(np.sqrt(variance), least)
        scale = np.abs(middle) + np.abs(from_it).max(axis=-1, keepdims=True, initial=0.0)
        sd = np.where(sd > 1e-12 * scale, sd, np.nan)
        out = (from_it - mean) / (sd * np.sqrt(1 + 1 / np.maximum(k, 1)))
    return np.where(present & (counts >= FEWEST) & (k >= FEWEST // 2), out, np.nan)


@cache
def _largest(n: int, rows: int) -> FloatArray:
    """The largest distance among n people of a clean group in so many rows that borrow, many times, sorted."""
    rng = np.random.default_rng([n, rows])
    times = max(4000, min(60_000, DRAWS // (n * rows)))
    out = [
        np.nanmax(np.abs(distance(rng.standard_normal((2000, rows, n)), borrow=True)), axis=(-2, -1))
        for _ in range(-(-times // 2000))
    ]
    return np.sort(np.concatenate(out))


@cache
def limit_of(people: int, features: int, share: float, rows: int = 1) -> float:
    """The distance that somebody exceeds in any of so many features in a ``share`` of clean studies of so many people;
    infinite of fewer than FEWEST people. Features are in groups of ``rows`` that borrow from one another."""
    if people < FEWEST or features < 1:
        return math.inf
    return float(np.quantile(_largest(min(people, 400), rows), (1 - share) ** (rows / features)))


def funnel(found: int, n: int, rate: float, chance: float) -> tuple[int, int]:
    """The fewest and the most of n that a person of the common ``rate`` has, but for ``chance`` on either side, by the
    exact binomial distribution."""
    low = int(stats.binom.ppf(chance, n, rate))
    high = int(stats.binom.isf(chance, n, rate))
    return low, high


def slope(values: ArrayLike) -> float:
    """Median slope of all pairs against their place, NaN of fewer than 8 values. References: Sen 1968, Theil 1950."""
    y = np.asarray(values, dtype=np.float64)
    x = np.flatnonzero(np.isfinite(y))
    return float(stats.theilslopes(y[x], x).slope) if x.size >= 8 else math.nan


class Exchange(NamedTuple):
    """Two channels of a person that fit better the other way round: by how much, in squared SDs, and the limit."""

    person: int
    first: int
    second: int
    gain: float
    limit: float


def exchanged(features: ArrayLike, share: float, *, least: ArrayLike = 0.0) -> list[Exchange]:
    """People of whom two channels, exchanged, fit far better, from ``features`` (people, channels, features).

    With m the median of a feature over people in each channel, and s its scaled MAD around these over all channels (or
    that of the wider of the two, drawn towards it as in :func:`distance`, where that is WIDER times as large), at least
    ``least``, the misfit of a person's channel a at place b is d²(a, b) = sum ((f_a - m_b) / s)², f the features;
    exchanging i and j gains d²(i, i) + d²(j, j) - d²(i, j) - d²(j, i).
    For a clean person of whom the two places lie D apart that gain has
    mean -2 D² and SD 2 sqrt(2) D, so it passes a limit L with a chance of at most Q(sqrt(L)), whatever D: L is the
    square of Student's t at ``share`` over all pairs of all people. What stands out most is told, one pair a person.
    """
    x = np.asarray(features, dtype=np.float64)
    people, channels, _ = x.shape
    if people < FEWEST or channels < 2:
        return []
    with np.errstate(invalid="ignore"):
        middle = _nanmedian(x, axis=0)[0]
        spread = MAD_TO_SD * np.nanmedian(np.abs(x - middle).reshape(people * channels, -1), axis=0)
        spread = np.maximum(np.where(spread > 0, spread, np.nan), np.asarray(least))
    own = MAD_TO_SD * _nanmedian(np.abs(x - middle), axis=0)[0]
    weight = min(BORROWED * (channels - 1), MOST_BORROWED)
    own = np.sqrt((weight * spread**2 + people * np.where(np.isfinite(own), own, 0.0) ** 2) / (weight + people))
    spreads = np.where(own > WIDER * spread, own, spread)  # a channel in which people differ far more takes its own
    pairs = people * channels * (channels - 1) / 2
    limit = float(stats.t.isf(share / pairs, people - 2) ** 2)  # of one channel: others may differ less
    out = []
    for person in range(people):
        best: Exchange | None = None
        for i in range(channels):
            for j in range(i + 1, channels):
                widest = np.fmax(spreads[i], spreads[j])
                a, b, at_a, at_b = (row / widest for row in (x[person, i], x[person, j], middle[i], middle[j]))
                terms = (a - at_a) ** 2 + (b - at_b) ** 2 - (a - at_b) ** 2 - (b - at_a) ** 2
                gain = float(np.nansum(terms))
                if gain > limit and (best is None or gain > best.gain):
                    best = Exchange(person, i, j, gain, limit)
        if best is not None:
            out.append(best)
    return out


def _nanmedian(x: FloatArray, axis: int) -> FloatArray:
    """Median along an axis, which is kept; NaN where nothing has a value, without a word."""
    empty = ~np.isfinite(x).any(axis=axis, keepdims=True)
    return np.where(empty, np.nan, np.nanmedian(np.where(empty, 0.0, x), axis=axis, keepdims=True))
