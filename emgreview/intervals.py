"""Shares, medians and ratios with their intervals: each formula beside its source, none of them about muscles.

Two-sided at ``confidence`` (95 %) unless a name says otherwise; observations are taken as independent. Nothing here
drops a missing value: whoever counts says what was left out.

    Estimate            a number with its interval
    wilson              a share                                                                 [1]
    most_when_none      where none of n was found: the exact one-sided upper bound of the share [2]
    mcnemar             two shares of the same pairs, exact                                     [3]
    median              a median, by order statistics                                           [4]
    geometric_ratio     two groups of positive numbers, the ratio of their geometric means      [5]
    cluster_mean        a mean of means of clusters, by drawing clusters again                  [6]

[1] Wilson 1927; Newcombe 1998, Stat Med 17:857-872, method 3. [2] (1 - p)^n = 1 - confidence, the one-sided case of
Clopper & Pearson 1934. [3] McNemar 1947, the sign test on pairs that differ. [4] Any textbook of nonparametric
statistics: the number of observations below the median is binomial (n, 1/2). [5] Welch 1947 on logarithms. [6]
Percentile bootstrap of clusters: Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 8 and 13. References
are cited from memory; tests/test_intervals_of_shares.py holds the numbers.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from emgreview.errors import ParameterError

DRAWS = 4000
"""How often clusters are drawn again, always by the same numbers."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with the ends of its interval, and the count it rests on; NaN where the data cannot say."""

    value: float
    low: float = math.nan
    high: float = math.nan
    n: int = 0


def wilson(found: int, n: int, *, confidence: float = 0.95) -> Estimate:
    """A share with Wilson's score interval, without continuity correction [1].

    (p + z^2/2n ± z sqrt(p (1 - p)/n + z^2/4n^2)) / (1 + z^2/n).
    """
    if not 0 <= found <= n:
        raise ParameterError(f"{found} of {n} came; give a count from 0 to n.")
    if n == 0:
        return Estimate(math.nan)
    z, p = normal_quantile(confidence), found / n
    half = z * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    low, high = ((p + z**2 / (2 * n) + sign * half) / (1 + z**2 / n) for sign in (-1, 1))
    return Estimate(p, 0.0 if found == 0 else low, 1.0 if found == n else high, n)


def most_when_none(n: int, *, confidence: float = 0.95) -> float:
    """Exact one-sided upper bound of a share of which none was found in ``n``: 1 - (1 - confidence)^(1/n) [2]; NaN of
    none at all."""
    return math.nan if n == 0 else float(1 - (1 - confidence) ** (1 / n))


def mcnemar(first_only: int, second_only: int) -> float:
    """Two-sided exact p of pairs of which one had it in the first condition alone, or in the second alone: twice the
    smaller binomial (n, 1/2) tail, at most 1 [3]; 1 where no pair differs."""
    n = first_only + second_only
    if min(first_only, second_only) < 0:
        raise ParameterError(f"{first_only} and {second_only} pairs came; give counts from 0 up.")
    return 1.0 if n == 0 else min(1.0, 2 * float(stats.binom.cdf(min(first_only, second_only), n, 0.5)))


def median(values: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Median of numbers (n,) with the narrowest symmetric interval of order statistics that holds it with at least
    ``confidence`` [4]; without one below six values at 95 %, of which the lowest and the highest hold it less often."""
    x = np.sort(np.asarray(values, dtype=np.float64))
    n = x.size
    if n == 0:
        return Estimate(math.nan)
    outside = int(stats.binom.ppf((1 - confidence) / 2, n, 0.5))  # so many of the lowest may be left out
    while outside > 0 and 2 * stats.binom.cdf(outside - 1, n, 0.5) > 1 - confidence:
        outside -= 1
    value = float(np.median(x))
    if outside == 0:
        return Estimate(value, n=n)
    return Estimate(value, float(x[outside - 1]), float(x[n - outside]), n)


def geometric_ratio(above: ArrayLike, below: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Geometric mean of ``above`` over that of ``below``, positive numbers (n,) and (m,), with Welch's t interval of
    the difference of mean logarithms [5]; without one where either group has a single value."""
    a, b = (np.log(np.asarray(x, dtype=np.float64)) for x in (above, below))
    if not (a.size and b.size):
        return Estimate(math.nan, n=a.size + b.size)
    centre = float(a.mean() - b.mean())
    if min(a.size, b.size) < 2 or not math.isfinite(centre):
        return Estimate(math.exp(centre), n=a.size + b.size)
    of_a, of_b = (float(x.var(ddof=1)) / x.size for x in (a, b))
    if of_a + of_b == 0:
        return Estimate(math.exp(centre), math.exp(centre), math.exp(centre), a.size + b.size)
    freedom = (of_a + of_b) ** 2 / (of_a**2 / (a.size - 1) + of_b**2 / (b.size - 1))
    half = float(stats.t.ppf(1 - (1 - confidence) / 2, freedom)) * math.sqrt(of_a + of_b)
    return Estimate(math.exp(centre), math.exp(centre - half), math.exp(centre + half), a.size + b.size)


def cluster_mean(values: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Mean of one number a cluster, (clusters,), each cluster of the same weight, with the percentile interval of
    clusters drawn again [6]; without one of a single cluster. Too narrow where clusters are few (below some ten)."""
    x = np.asarray(values, dtype=np.float64)
    if x.size < 2:
        return Estimate(float(x[0]) if x.size else math.nan, n=x.size)
    again = np.random.default_rng(0).choice(x, (DRAWS, x.size)).mean(axis=1)
    tail = (1 - confidence) / 2
    low, high = np.quantile(again, [tail, 1 - tail])
    return Estimate(float(x.mean()), float(low), float(high), x.size)


def normal_quantile(confidence: float) -> float:
    """How many standard deviations on either side of the mean hold that share of a Gaussian."""
    return float(stats.norm.ppf(1 - (1 - confidence) / 2))
