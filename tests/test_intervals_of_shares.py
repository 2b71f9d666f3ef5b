"""Shares, medians and ratios with their intervals: against published values, formulas by hand, and other libraries."""

import math

import numpy as np
import pytest
from scipy import stats

from emgreview.errors import ParameterError
from emgreview.intervals import (
    Estimate,
    cluster_mean,
    geometric_ratio,
    mcnemar,
    median,
    most_when_none,
    wilson,
)


@pytest.mark.parametrize(
    ("found", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_is_that_of_newcombe(found, n, low, high):
    """Newcombe 1998, Stat Med 17:857-872, method 3 (from memory)."""
    share = wilson(found, n)
    assert (round(share.low, 4), round(share.high, 4)) == (low, high)


def test_the_bound_of_none_is_exact():
    """13.9, 9.5 and 3.0 % for 20, 30 and 100 (computed of 1 - 0.05^(1/n)), and the one-sided bound of scipy."""
    assert [round(100 * most_when_none(n), 1) for n in (20, 30, 100)] == [13.9, 9.5, 3.0]
    for n in (1, 7, 40):
        exact = stats.binomtest(0, n, alternative="less").proportion_ci(0.95, method="exact").high
        assert most_when_none(n) == pytest.approx(exact)
    assert math.isnan(most_when_none(0))


def test_mcnemar_is_exact():
    """10 against 2: p = .03857 (computed by hand: 2 (1 + 12 + 66) / 4096)."""
    assert mcnemar(10, 2) == mcnemar(2, 10) == pytest.approx(2 * (1 + 12 + 66) / 4096)
    assert round(mcnemar(10, 2), 5) == 0.03857
    assert (mcnemar(0, 0), mcnemar(5, 5)) == (1.0, 1.0)
    tables = pytest.importorskip("statsmodels.stats.contingency_tables")
    for first, second in [(1, 9), (0, 6), (14, 3), (4, 4)]:
        assert mcnemar(first, second) == pytest.approx(tables.mcnemar([[20, first], [second, 5]], exact=True).pvalue)
    with pytest.raises(ParameterError, match="counts from 0 up"):
        mcnemar(-1, 2)


def test_a_median_has_the_order_statistics_that_hold_it():
    assert median(np.arange(1, 11)) == Estimate(5.5, 2.0, 9.0, 10), "2nd and 9th of ten hold it with 97.9 %, any table"
    assert median(np.arange(1, 7)) == Estimate(3.5, 1.0, 6.0, 6)
    few = median([3.0, 1.0, 2.0, 4.0, 5.0])
    assert (few.value, few.n) == (3.0, 5)
    assert math.isnan(few.low), "lowest and highest of five hold it with 93.75 %"
    assert math.isnan(median([]).value)


@pytest.mark.parametrize("n", [6, 17, 40, 100])
def test_the_interval_of_a_median_holds_at_least_what_it_says_and_no_narrower_one_does(n):
    found = median(np.arange(n))
    below, above = int(found.low), n - 1 - int(found.high)
    assert below == above
    assert 1 - 2 * stats.binom.cdf(below, n, 0.5) >= 0.95
    assert 1 - 2 * stats.binom.cdf(below + 1, n, 0.5) < 0.95


def test_a_ratio_is_welchs_t_on_logarithms():
    a, b = np.array([3.0, 4.5, 2.8]), np.array([10.0, 12.0, 9.0, 14.0])
    found = geometric_ratio(a, b)
    other = stats.ttest_ind(np.log(a), np.log(b), equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((math.exp(other.low), math.exp(other.high)))
    assert found.value == pytest.approx(stats.gmean(a) / stats.gmean(b))
    assert math.isnan(geometric_ratio([1.0], b).low)
    assert geometric_ratio([2.0, 2.0], [1.0, 1.0]) == Estimate(2.0, 2.0, 2.0, 4)
    assert math.isnan(geometric_ratio([], b).value)


def test_the_mean_of_clusters_counts_each_once_and_says_less_of_few():
    values = np.random.default_rng(1).uniform(0.2, 0.8, 25)
    many, few = cluster_mean(values), cluster_mean(values[:5])
    error = values.std(ddof=1) / math.sqrt(25)
    assert many.value == pytest.approx(values.mean())
    assert many.high - many.low == pytest.approx(2 * 1.96 * error, rel=0.1), "as the normal one, of many clusters"
    assert few.high - few.low > many.high - many.low
    assert math.isnan(cluster_mean([0.4]).low)
