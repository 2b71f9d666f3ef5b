"""Agreement and acceptance in numbers: each formula beside its source, none of them about muscles.

Over 400 lines, so that all formulas are read beside one list of sources. Ratings are arrays, differences are plain
numbers in any unit; nothing here drops a missing value: a NaN is refused. Intervals are two-sided at ``confidence``
(95 %) unless a name says otherwise, and take the ratings as independent. What they hold in small samples and with rare
words was simulated; tests/cohort/test_intervals.py holds the figures.

    Estimate                    a number with its interval
    cross_table                 two raters' words, counted
    raw_agreement, kappa, ac1, prevalence       two raters, words                           [1-5, 15]
    fleiss_kappa                many raters, words                                          [6]
    icc                         many raters, numbers; the form is named                     [7, 8]
    limits_of_agreement         two raters, numbers                                         [9, 10]
    within_sd                   one rater twice                                             [9]
    drift                       the same, against the time between                          [11]
    median_difference           two groups, numbers                                         [14]
    wilson                      a share, of emgreview.intervals                             [4]
    most_bad, acceptance_plan   a lot judged by a sample of it, exactly                     [12, 13]

[1] Cohen 1960, Educ Psychol Meas 20:37-46. [2] Basu, Banerjee & Sen 2000, Biometrics 56:577-582: kappa by its
posterior; Agresti & Min 2005, Biometrics 61:515-523: such intervals hold in small tables. [3] Gwet 2008, Br J Math
Stat Psychol 61:29-48. [4] Wilson 1927; Newcombe 1998, Stat Med 17:857-872, method 3. [5] Byrt, Bishop & Carlin 1993, J
Clin Epidemiol 46:423-429: why prevalence stands beside kappa. [6] Fleiss 1971, Psychol Bull 76:378-382. [7] Shrout &
Fleiss 1979, Psychol Bull 86:420-428. [8] McGraw & Wong 1996, Psychol Methods 1:30-46: intervals. [9] Bland & Altman
1986, Lancet i:307-310. [10] Carkeet 2015, Optom Vis Sci 92:e71-e80: exact intervals of a limit, by the noncentral t.
[11] Least squares through the origin, any textbook. [12] Sampling without replacement, any textbook; acceptance
sampling by attributes is the matter of the ISO 2859 family. [13] Samohyl 2018, on acceptance sampling by the exact
hypergeometric. [14] Percentile bootstrap: Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13. [15]
Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323-327: the usual standard error of kappa, which is not used: where a
word is rare, its 95 % interval holds 19 to 80 %. References are cited from memory; tests/cohort holds the numbers.
"""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from emgreview.checks import refusal
from emgreview.errors import ParameterError
from emgreview.intervals import Estimate as Estimate
from emgreview.intervals import normal_quantile
from emgreview.intervals import wilson as wilson

Floats = NDArray[np.float64]
Form = Literal["(1,1)", "(2,1)", "(3,1)", "(1,k)", "(2,k)", "(3,k)"]
FORMS: tuple[Form, ...] = ("(1,1)", "(2,1)", "(3,1)", "(1,k)", "(2,k)", "(3,k)")


# Two raters, words -----------------------------------------------------------------------------------------------


def cross_table(first: Sequence[str], second: Sequence[str], words: Sequence[str]) -> Floats:
    """Counts, (words, words): the first rater's word down, the second's across. Raises ParameterError otherwise."""
    if len(first) != len(second):
        raise ParameterError(f"{len(first)} and {len(second)} ratings came; give the same number, pair by pair.")
    place = {word: index for index, word in enumerate(words)}
    strange = sorted({*first, *second} - set(place))
    if strange:
        raise ParameterError(f"the rating {strange[0]!r} came; allowed: {', '.join(words)}; correct it.")
    table = np.zeros((len(place), len(place)))
    np.add.at(table, ([place[word] for word in first], [place[word] for word in second]), 1)
    return table


def raw_agreement(table: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Share on the diagonal, with its Wilson interval."""
    counts = _square(table)
    return wilson(int(np.trace(counts)), int(counts.sum()), confidence=confidence)


def prevalence(table: ArrayLike) -> Floats:
    """Share of each word over both raters, (words,): where one is rare, kappa is low whatever the agreement [5]."""
    counts = _square(table)
    with np.errstate(invalid="ignore"):
        return np.asarray((counts.sum(axis=0) + counts.sum(axis=1)) / (2 * counts.sum()))


def kappa(table: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Cohen's kappa, (po - pe) / (1 - pe) with pe = sum_i p_i. p_.i [1]; NaN where both raters used one word
    only. Where one of them did, it is 0 whatever the other said, and has no interval.

    The interval is that of the posterior of kappa [2], equal tails: the cells are Dirichlet, of the words that were
    used, the prior worth half a rating on every cell of the diagonal and one rating on all others together (for two
    words that is Jeffreys'). Where a word is rare, the usual standard error is far too small [15]; this interval held
    92 to 98 % in simulations with words used in 2 % of 60 ratings. It is drawn 10,000 times, always by the same
    numbers.
    """
    counts = _square(table)
    n = int(counts.sum())
    if n == 0:
        return Estimate(math.nan)
    if n in (*counts.sum(axis=0), *counts.sum(axis=1)):
        return Estimate(math.nan if np.trace(counts) == n else 0.0, n=n)
    value = float(_kappas(counts))
    used = counts.sum(axis=0) + counts.sum(axis=1) > 0
    seen, q = counts[np.ix_(used, used)], int(used.sum())
    prior = np.where(np.eye(q, dtype=bool), 0.5, 1 / (q * (q - 1)))
    cells = np.random.default_rng(0).standard_gamma((seen + prior).ravel(), (10_000, q * q)).reshape(-1, q, q)
    tail = (1 - confidence) / 2
    low, high = np.quantile(_kappas(cells), [tail, 1 - tail])
    return Estimate(value, min(float(low), value), max(float(high), value), n)


def _kappas(cells: Floats) -> Floats:
    """Kappa of every table (…, words, words)."""
    p = cells / cells.sum(axis=(-2, -1), keepdims=True)
    observed = np.trace(p, axis1=-2, axis2=-1)
    expected = (p.sum(axis=-1) * p.sum(axis=-2)).sum(axis=-1)
    return np.asarray((observed - expected) / (1 - expected))


def rarest(table: ArrayLike) -> tuple[int, int]:
    """Which word was used least of those used at all, and how often, by both raters together; (-1, 0) without any."""
    counts = _square(table)
    times = counts.sum(axis=0) + counts.sum(axis=1)
    used = np.flatnonzero(times)
    if not len(used):
        return -1, 0
    place = int(used[np.argmin(times[used])])
    return place, int(times[place])


def ac1(table: ArrayLike) -> float:
    """Gwet's AC1, (po - pe) / (1 - pe) with pe = sum_i pi_i (1 - pi_i) / (q - 1), pi the prevalence [3].

    It is 1 where both raters used one word only. ``q`` counts the words offered, used or not.
    """
    counts = _square(table)
    if counts.sum() == 0 or len(counts) < 2:
        return math.nan
    shares = prevalence(counts)
    expected = float(shares @ (1 - shares)) / (len(counts) - 1)
    return (float(np.trace(counts) / counts.sum()) - expected) / (1 - expected)


# Many raters -----------------------------------------------------------------------------------------------------


def fleiss_kappa(counts: ArrayLike) -> float:
    """Fleiss' kappa of counts (subjects, words): how many raters gave a subject each word [6].

    P_i = [sum_j n_ij^2 - n] / [n (n - 1)], pe = sum_j p_j^2; every subject has the same number n of ratings.
    """
    table = _numbers("counts", counts, 2)
    raters = table.sum(axis=1)
    if not len(table) or raters.min() != raters.max() or raters[0] < 2 or table.min() < 0:
        raise ParameterError(
            f"counts came with {sorted(set(raters.tolist()))[:4]} ratings a subject; every subject needs the same "
            "number, two or more; complete or leave out the others, and say so."
        )
    n = raters[0]
    observed = float(np.mean((np.square(table).sum(axis=1) - n) / (n * (n - 1))))
    expected = float(np.square(table.sum(axis=0) / table.sum()).sum())
    return math.nan if math.isclose(expected, 1.0) else (observed - expected) / (1 - expected)


ROUNDING = 1e-12
RATING_ROUNDING = 8 * float(np.finfo(np.float64).eps)
"""Ratings that differ by less than this share of the largest are equal: a few roundings of a float64."""


def icc(ratings: ArrayLike, form: Form, *, confidence: float = 0.95) -> Estimate:
    """Intraclass correlation of ratings (targets, judges), in a form of Shrout & Fleiss [7], with its interval [8].

    (1,·) each target has other judges; (2,·) judges are a sample, absolute agreement; (3,·) these judges alone,
    consistency. (·,1) of one judge, (·,k) of the mean of all. With the mean squares B between targets, W within, J
    between judges, E the rest, k judges and n targets:
    (1,1) (B-W)/(B+(k-1)W)   (2,1) (B-E)/(B+(k-1)E+k(J-E)/n)   (3,1) (B-E)/(B+(k-1)E)
    (1,k) (B-W)/B            (2,k) (B-E)/(B+(J-E)/n)           (3,k) (B-E)/B
    The degrees of freedom of (2,·) take a negative estimate as 0, for no share of variance is less: with a negative one
    they approach 0, and the upper end fell below the estimate. The mean of judges has no lower end (-inf) where that of
    one judge is beyond -1/(k-1), and no value where the estimate is: no variance is left of it.
    Ratings that are all equal give NaN. Equal is what differs by no more than the rounding of the largest rating: a sum
    of squares that such differences reach is taken as 0. Raises ParameterError (shape, missing ratings, form).
    """
    x = _numbers("ratings", ratings, 2)
    if form not in FORMS:
        raise refusal("form", form, ", ".join(FORMS), "name one")
    n, k = x.shape
    if k < 2:
        raise ParameterError(f"ratings of {k} judges came; give two or more, (targets, judges).")
    if n < 2:
        return Estimate(math.nan, n=n)
    if (largest := float(np.abs(x).max())) > 0:  # no form depends on the unit, and squares may not overflow
        x = np.ldexp(x, -int(np.frexp(largest)[1]))
    rounded = x.size * float(RATING_ROUNDING * np.abs(x).max()) ** 2
    x = x - x[0, 0]  # no form depends on the level, and equal ratings have the mean 0, exactly
    grand, targets, judges = x.mean(), x.mean(axis=1), np.ascontiguousarray(x.T).mean(axis=1)
    sums = (
        k * np.square(targets - grand).sum(),
        n * np.square(judges - grand).sum(),
        np.square(x - targets[:, np.newaxis]).sum(),
        np.square(x - targets[:, np.newaxis] - judges + grand).sum(),
    )
    freedoms = n - 1, k - 1, n * (k - 1), (n - 1) * (k - 1)
    B, J, W, E = (0.0 if total <= rounded else float(total) / df for total, df in zip(sums, freedoms, strict=True))
    if B == 0 and W == 0:
        return Estimate(math.nan, n=n)
    ratios = {
        "(1,1)": (B - W, B + (k - 1) * W),
        "(2,1)": (B - E, B + (k - 1) * E + k * (J - E) / n),
        "(3,1)": (B - E, B + (k - 1) * E),
        "(1,k)": (B - W, B),
        "(2,k)": (B - E, B + (J - E) / n),
        "(3,k)": (B - E, B),
    }
    values = {name: above / below if below > 0 else math.nan for name, (above, below) in ratios.items()}
    if B <= ROUNDING * W:  # targets do not differ: the mean of judges says nothing, and no interval can be told
        return Estimate(math.nan if form.endswith("k)") else float(values[form]), n=n)
    if math.isnan(values[form]):
        return Estimate(math.nan, n=n)
    low, high = _icc_interval(form, max(0.0, float(values["(2,1)"])), B, J, W, E, n, k, confidence)
    return Estimate(float(values[form]), low, high, n)


def _icc_interval(
    form: Form, rho: float, B: float, J: float, W: float, E: float, n: int, k: int, confidence: float
) -> tuple[float, float]:
    upper = 1 - (1 - confidence) / 2
    noise = W if form[1] == "1" else E
    if noise == 0 and form[1] != "2":
        return 1.0, 1.0
    if form[1] == "2":
        if math.isclose(rho, 1.0):
            return 1.0, 1.0
        a = k * rho / (n * (1 - rho))
        b = 1 + k * rho * (n - 1) / (n * (1 - rho))
        freedom = (a * J + b * E) ** 2 / ((a * J) ** 2 / (k - 1) + (b * E) ** 2 / ((n - 1) * (k - 1)))
        ends = stats.f.ppf(upper, n - 1, freedom), stats.f.ppf(upper, freedom, n - 1)
        below, above = np.clip(ends, 1.0, 1e12)  # hardly any degree of freedom: the limit of what follows
        rest = k * J + (k * n - k - n) * E
        low = n * (B - below * E) / (below * rest + n * B)
        high = n * (above * B - E) / (rest + n * above * B)
    else:
        freedom = n * (k - 1) if form[1] == "1" else (n - 1) * (k - 1)
        ratio = B / noise
        least, most = ratio / stats.f.ppf(upper, n - 1, freedom), ratio * stats.f.ppf(upper, freedom, n - 1)
        low, high = (least - 1) / (least + k - 1), (most - 1) / (most + k - 1)
    if form.endswith("k)"):  # Spearman-Brown, which has a pole at -1/(k-1)
        low, high = (k * end / below if (below := 1 + (k - 1) * end) > 0 else -math.inf for end in (low, high))
    return float(low), float(high)


# Two raters, numbers ---------------------------------------------------------------------------------------------


class Limits(NamedTuple):
    """Mean difference, SD of differences, and lower and upper limit of agreement."""

    bias: Estimate
    sd: float
    lower: Estimate
    upper: Estimate


def limits_of_agreement(differences: ArrayLike, *, confidence: float = 0.95) -> Limits:
    """Mean ± 1.96 SD of differences (n,) [9]. The interval of a limit is exact for Gaussian differences: mean + k SD
    with k sqrt(n) a quantile of the noncentral t of n - 1 degrees of freedom, shifted by 1.96 sqrt(n) [10]; the usual
    s sqrt(3/n) held 91 % for n = 4. Of the bias: t of n - 1 degrees of freedom."""
    d = _numbers("differences", differences, 1)
    n = len(d)
    bias = float(d.mean()) if n else math.nan
    if n < 2:
        return Limits(Estimate(bias, n=n), math.nan, Estimate(math.nan, n=n), Estimate(math.nan, n=n))
    sd, z = float(d.std(ddof=1)), normal_quantile(0.95)
    tail = (1 - confidence) / 2
    half = float(stats.t.ppf(1 - tail, n - 1)) * sd / math.sqrt(n)
    near, far = (float(k) * sd / math.sqrt(n) for k in stats.nct.ppf([tail, 1 - tail], n - 1, z * math.sqrt(n)))
    lower = Estimate(bias - z * sd, bias - far, bias - near, n)
    return Limits(
        Estimate(bias, bias - half, bias + half, n), sd, lower, Estimate(bias + z * sd, bias + near, bias + far, n)
    )


def within_sd(differences: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """SD of one rater's marks about their own mean, sqrt(sum d^2 / 2n), from differences of two marks each (n,) [9].

    Interval: sum d^2 / (2 s_w^2) is chi-squared with n degrees of freedom where marks are Gaussian and do not drift.
    """
    d = _numbers("differences", differences, 1)
    n, total = len(d), float(np.square(d).sum())
    if n == 0:
        return Estimate(math.nan)
    tail = (1 - confidence) / 2
    ends = [math.sqrt(total / 2 / float(stats.chi2.ppf(q, n))) for q in (1 - tail, tail)]
    return Estimate(math.sqrt(total / (2 * n)), ends[0], ends[1], n)


def drift(differences: ArrayLike, between: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Change of the marks a unit of time: slope b of d = b t through the origin, with its t interval [11].

    ``differences`` second minus first mark, ``between`` the time between the two; (n,) each.
    """
    d, t = _numbers("differences", differences, 1), _numbers("between", between, 1)
    n = len(d)
    if n != len(t):
        raise ParameterError(f"{n} differences and {len(t)} times came; give one time a difference.")
    power = float(t @ t)
    if n < 2 or power == 0:
        return Estimate(math.nan, n=n)
    slope = float(t @ d) / power
    error = math.sqrt(float(np.square(d - slope * t).sum()) / (n - 1) / power)
    half = float(stats.t.ppf(1 - (1 - confidence) / 2, n - 1)) * error
    return Estimate(slope, slope - half, slope + half, n)


def median_difference(first: ArrayLike, second: ArrayLike, *, confidence: float = 0.95, draws: int = 4000) -> Estimate:
    """Median of the first group less that of the second, with a percentile bootstrap interval [14]: both groups drawn
    again ``draws`` times, always by the same numbers. Wide steps where many values are equal; of little use below some
    ten values a group."""
    a, b = _numbers("first", first, 1), _numbers("second", second, 1)
    if not len(a) or not len(b):
        return Estimate(math.nan, n=len(a) + len(b))
    rng = np.random.default_rng(0)
    again = [np.median(rng.choice(x, (draws, len(x))), axis=1) for x in (a, b)]
    tail = (1 - confidence) / 2
    low, high = np.quantile(again[0] - again[1], [tail, 1 - tail])
    return Estimate(float(np.median(a) - np.median(b)), float(low), float(high), len(a) + len(b))


# Shares and lots -------------------------------------------------------------------------------------------------


def chance_of_at_most(found: int, *, lot: ArrayLike, bad: ArrayLike, sample: ArrayLike) -> Floats:
    """Probability of ``found`` bad ones or fewer in a sample drawn without replacement, hypergeometric [12].

    sum_{x <= found} C(bad, x) C(lot - bad, sample - x) / C(lot, sample). The last three broadcast.
    """
    N, D, n = np.broadcast_arrays(*(np.asarray(part, float) for part in (lot, bad, sample)))
    total = np.zeros(N.shape)
    for x in range(found + 1):
        possible = (x <= D) & (x <= n) & (n - x <= N - D)
        with np.errstate(invalid="ignore"):
            logs = _log_choose(D, x) + _log_choose(N - D, n - x) - _log_choose(N, n)
        total += np.where(possible, np.exp(np.where(possible, logs, 0.0)), 0.0)
    return np.minimum(total, 1.0)


def most_bad(lot: int, sample: int, found: int, *, confidence: float = 0.95) -> int:
    """Exact one-sided upper bound of the bad ones in a lot, those of the sample included: the largest number with
    which ``found`` or fewer in the sample would still have a chance above 1 - confidence [12, 13]."""
    if not 0 <= found <= sample <= lot:
        raise ParameterError(f"{found} bad of {sample} out of {lot} came; give found ≤ sample ≤ lot.")
    numbers = np.arange(found, lot - (sample - found) + 1)
    chance = chance_of_at_most(found, lot=lot, bad=numbers, sample=sample)
    return int(numbers[chance > 1 - confidence].max(initial=found))


def most_bad_left(lot: int, sample: int, found: int, *, confidence: float = 0.95) -> float:
    """The same bound as a share of what was not sampled: those of the sample are known and left out."""
    left = lot - sample
    return 0.0 if left == 0 else (most_bad(lot, sample, found, confidence=confidence) - found) / left


class AcceptancePlan(NamedTuple):
    """How many of a lot to look at, how many may be bad, and the chance to pass where ``expected`` of the lot are."""

    lot: int
    sample: int
    allowed: int
    passes: float


def acceptance_plan(
    lot: int, at_most: float, *, expected: float = 0.0, passes: float = 0.9, confidence: float = 0.95
) -> AcceptancePlan:
    """The smallest sample after which a passed lot's rest holds at most a share ``at_most`` of bad ones [13].

    A sample of n with up to c bad passes. (n, c) is the smallest with which P(X <= c) <= 1 - confidence for every
    lot whose rest would hold more than that share, and P(X <= c) >= ``passes`` where ``expected`` of the lot are bad.
    Where no smaller sample will do, all of the lot is looked at.
    """
    if not (lot > 0 and 0 < at_most < 1 and 0 <= expected < at_most and 0 < passes < 1 and 0 < confidence < 1):
        raise ParameterError(
            f"a lot of {lot} with at_most={at_most}, expected={expected}, passes={passes}, confidence={confidence} "
            "came; allowed: a lot of one or more, 0 < at_most < 1, 0 <= expected < at_most, the others between 0 and "
            "1; correct them."
        )
    bad = math.floor(expected * lot + 0.5)
    sizes = np.arange(1, lot)
    tolerated = np.floor(at_most * (lot - sizes) + 1e-9)
    for allowed in range(lot):
        least = np.minimum(allowed + tolerated + 1, lot)
        risk = chance_of_at_most(allowed, lot=lot, bad=least, sample=sizes)
        good = (risk <= 1 - confidence) & (sizes > allowed) & (allowed + tolerated + 1 <= lot)
        if not good.any():
            break
        sample = int(sizes[good][0])
        chance = float(chance_of_at_most(allowed, lot=lot, bad=bad, sample=sample))
        if chance >= passes:
            return AcceptancePlan(lot, sample, allowed, chance)
    return AcceptancePlan(lot, lot, bad, 1.0)


# Inside ----------------------------------------------------------------------------------------------------------


def _log_choose(n: ArrayLike, k: ArrayLike) -> Floats:
    n, k = np.asarray(n, float), np.asarray(k, float)
    return np.asarray(special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1))


def _numbers(name: str, came: ArrayLike, dimensions: int) -> Floats:
    x = np.asarray(came, float)
    if x.ndim != dimensions or not np.isfinite(x).all():
        raise ParameterError(
            f"{name} came with shape {x.shape} and {int((~np.isfinite(x)).sum())} missing values; {dimensions} "
            "dimension(s) of finite numbers are allowed; count missing ones apart, then leave them out."
        )
    return x


def _square(table: ArrayLike) -> Floats:
    counts = _numbers("table", table, 2)
    if counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise ParameterError(
            f"a table of shape {counts.shape} came; a square one of counts is allowed; use cross_table."
        )
    return counts
