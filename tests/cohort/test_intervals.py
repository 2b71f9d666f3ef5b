"""Intervals in small samples and with rare words: what they hold, by simulation, and against other implementations.

Independent here: scipy's Dirichlet, hypergeometric and noncentral t; the mean squares of statsmodels' analysis of
variance; and printed one-sided tolerance factors (as in ISO 16269-6, annex; from memory).
"""

import math
import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from emgreview.cohort import statistics as s


def words(shares, kappa):
    """Cells of two raters with the same shares of each word, and this kappa."""
    p = np.array(shares)
    return np.outer(p, p) * (1 - kappa) + np.diag(p * kappa)


def usual(table, confidence=0.95):
    """The interval by the standard error of Fleiss, Cohen & Everitt, as this package had it before."""
    n = table.sum()
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = np.trace(p), rows @ columns
    k = (observed - expected) / (1 - expected)
    diagonal = np.diag(p) @ (1 - (rows + columns) * (1 - k)) ** 2
    crossed = p * (columns[:, np.newaxis] + rows[np.newaxis, :]) ** 2
    beside = (1 - k) ** 2 * (crossed.sum() - np.trace(crossed))
    variance = (diagonal + beside - (k - expected * (1 - k)) ** 2) / (n * (1 - expected) ** 2)
    half = stats.norm.ppf((1 + confidence) / 2) * math.sqrt(max(variance, 0))
    return k - half, k + half


CELLS = [
    (shares, n, kappa)
    for shares in ([0.02, 0.98], [0.05, 0.95], [0.02, 0.03, 0.95])
    for n, kappa in ((80, 0.9), (150, 0.6))
]


def test_kappa_s_interval_holds_where_a_word_is_rare(counted):
    """150 tables a cell: the standard error of a coverage of 95 % is 1.8 %. Tables in which one of the two used a
    single word have no interval, and are left out."""
    rng = np.random.default_rng(8)
    held, before = {}, {}
    for shares, n, kappa in CELLS:
        mine, other = [], []
        for _ in range(150):
            table = rng.multinomial(n, words(shares, kappa).ravel()).reshape(len(shares), -1)
            found = s.kappa(table)
            if not math.isnan(found.low):
                mine.append(found.low <= kappa <= found.high)
                low, high = usual(table)
                other.append(low <= kappa <= high)
        held[str(shares), n, kappa], before[str(shares), n, kappa] = np.mean(mine), np.mean(other)
    counted(
        f"kappa, 95 % interval where a word has 2 to 5 %: held {min(held.values()):.0%} to {max(held.values()):.0%}; "
        f"the usual standard error {min(before.values()):.0%} to {max(before.values()):.0%}"
    )
    assert min(held.values()) >= 0.90
    assert min(before.values()) < 0.5, "what was wrong with the usual one"


def test_kappa_s_interval_where_the_two_use_a_word_unlike_often():
    rng = np.random.default_rng(9)
    cells = np.array([[0.03, 0.05], [0.01, 0.91]])
    truth = float(s.kappa(cells * 10_000).value)
    found = [s.kappa(rng.multinomial(120, cells.ravel()).reshape(2, 2)) for _ in range(150)]
    assert np.mean([one.low <= truth <= one.high for one in found if not math.isnan(one.low)]) >= 0.90


@pytest.mark.parametrize("table", [[[118, 5], [2, 10]], [[3, 1], [0, 60]], [[20, 5], [10, 15]]])
def test_kappa_s_interval_is_that_of_a_dirichlet(table):
    """Against scipy's Dirichlet, drawn by another generator: Jeffreys' prior of half a rating a cell for two words."""
    p = stats.dirichlet.rvs(np.ravel(table) + 0.5, size=60_000, random_state=5).reshape(-1, 2, 2)
    expected = (p.sum(axis=2) * p.sum(axis=1)).sum(axis=1)
    drawn = (p[:, 0, 0] + p[:, 1, 1] - expected) / (1 - expected)
    found = s.kappa(table)
    assert (found.low, found.high) == pytest.approx(np.quantile(drawn, [0.025, 0.975]), abs=0.012)
    assert s.kappa(table) == found, "the same each time"


def test_a_word_that_nobody_used_changes_no_kappa():
    small = s.kappa([[20, 5], [10, 15]])
    assert s.kappa([[20, 0, 5], [0, 0, 0], [10, 0, 15]]) == small
    assert s.rarest([[20, 0, 5], [0, 0, 0], [1, 0, 3]]) == (2, 12)
    assert s.rarest(np.zeros((2, 2))) == (-1, 0)


@pytest.mark.parametrize(("n", "factor"), [(5, 4.203), (10, 2.911), (20, 2.396), (30, 2.220)])
def test_the_interval_of_a_limit_is_a_tolerance_factor(n, factor):
    """One-sided factor for 95 % of a Gaussian with 95 % confidence; from memory. Two-sided here at 90 %, and the limit
    is that of 97.5 %, so the same quantile is asked for with 1.96 in place of 1.645."""
    by_formula = stats.nct.ppf(0.95, n - 1, stats.norm.ppf(0.95) * math.sqrt(n)) / math.sqrt(n)
    assert by_formula == pytest.approx(factor, abs=0.002)
    d = np.random.default_rng(n).normal(size=n)
    found = s.limits_of_agreement(d, confidence=0.9).upper
    expected = stats.nct.ppf(0.95, n - 1, stats.norm.ppf(0.975) * math.sqrt(n)) / math.sqrt(n)
    assert (found.high - d.mean()) / d.std(ddof=1) == pytest.approx(expected)


@pytest.mark.parametrize("n", [3, 4, 8, 20])
def test_limits_hold_in_small_samples(n):
    rng = np.random.default_rng(2)
    found = [s.limits_of_agreement(rng.normal(2, 8, n)) for _ in range(1200)]
    lower = np.mean([one.lower.low <= 2 - 1.959964 * 8 <= one.lower.high for one in found])
    upper = np.mean([one.upper.low <= 2 + 1.959964 * 8 <= one.upper.high for one in found])
    assert min(lower, upper) >= 0.93


@pytest.mark.parametrize("n", [3, 4, 8, 20])
def test_the_intraclass_correlation_holds_in_small_samples_and_never_warns(n):
    rng = np.random.default_rng(n)
    truth, held = 40**2 / (40**2 + 5**2 + 15**2), []
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for _ in range(800):
            x = 40 * rng.normal(size=(n, 1)) + 5 * rng.normal(size=(1, 2)) + 15 * rng.normal(size=(n, 2))
            found = s.icc(x, "(2,1)")
            assert math.isfinite(found.low)
            held.append(found.low <= truth <= found.high)
    assert np.mean(held) >= 0.92


@pytest.mark.parametrize(
    ("n", "k", "targets", "judges"), [(5, 2, 0, 1), (10, 3, 0, 0.5), (10, 2, 0.5, 1), (30, 3, 2, 1)]
)
def test_intervals_of_every_form_hold_as_often_as_they_say(n, k, targets, judges):
    """400 runs each: the standard error of a coverage of 95 % is 1.1 %. Those of (2,·) are approximate: over 10,000
    runs 90 to 98 %, lowest where few judges differ much. Of forms (1,·) judges do not differ by a constant."""
    rng = np.random.default_rng(n)
    for form in s.FORMS:
        spread = 0 if form[1] == "1" else judges
        truth = targets**2 / (targets**2 + (spread**2 if form[1] == "2" else 0) + 1)
        truth = k * truth / (1 + (k - 1) * truth) if form.endswith("k)") else truth
        held = []
        for _ in range(400):
            x = targets * rng.normal(size=(n, 1)) + spread * rng.normal(size=(1, k)) + rng.normal(size=(n, k))
            found = s.icc(x, form)
            if not math.isnan(found.value):
                held.append(found.low <= truth <= found.high)
        assert len(held) > 350
        assert np.mean(held) >= (0.87 if form[1] == "2" else 0.92), form


def test_the_intraclass_correlation_by_another_analysis_of_variance():
    """The mean squares of statsmodels' two-way analysis of variance, put into Shrout & Fleiss' formula of ICC(2,1)."""
    rng = np.random.default_rng(4)
    for n, k in ((5, 2), (12, 2), (9, 4)):
        x = 20 * rng.normal(size=(n, 1)) + 4 * rng.normal(size=(1, k)) + 6 * rng.normal(size=(n, k))
        long = pd.DataFrame(
            {
                "y": x.ravel(),
                "target": np.repeat(np.arange(n), k).astype(str),
                "judge": np.tile(np.arange(k), n).astype(str),
            }
        )
        square = anova_lm(ols("y ~ C(target) + C(judge)", long).fit())["mean_sq"]
        b, j, e = square["C(target)"], square["C(judge)"], square["Residual"]
        assert s.icc(x, "(2,1)").value == pytest.approx((b - e) / (b + (k - 1) * e + k * (j - e) / n))


def test_bounds_of_a_lot_by_scipy_s_hypergeometric():
    rng = np.random.default_rng(6)
    for _ in range(120):
        lot = int(rng.integers(1, 400))
        sample = int(rng.integers(1, lot + 1))
        found = int(rng.integers(0, min(sample, 6) + 1))
        bad = np.arange(found, lot - (sample - found) + 1)
        chance = stats.hypergeom.cdf(found, lot, bad, sample)
        assert s.chance_of_at_most(found, lot=lot, bad=bad, sample=sample) == pytest.approx(chance, abs=1e-9)
        assert s.most_bad(lot, sample, found) == bad[chance > 0.05].max(initial=found)
