"""Statistics behind flags, against published worked values, reference libraries and known truth."""

import numpy as np
import pytest
from scipy import stats

from emgreview.people import odd

LEYS = np.array([1, 3, 3, 6, 8, 10, 10, 1000.0])  # Leys et al. 2013, worked example (from memory)


def test_the_scale_of_robust_z_is_that_of_the_worked_example():
    """Leys et al. 2013, J Exp Soc Psychol 49:764: median 7, MAD 5.1891 with 1.4826 (from memory)."""
    z = odd.robust_z(LEYS)
    scale = (LEYS - 7.0) / z
    assert scale == pytest.approx(5.1891, abs=1e-3)


def test_robust_z_is_scipys_scaled_deviation():
    x = np.random.default_rng(1).gamma(2.0, size=31)
    scale = stats.median_abs_deviation(x, scale="normal")
    assert odd.robust_z(x) == pytest.approx((x - np.median(x)) / scale, rel=1e-4)


def test_without_a_mad_the_quartiles_take_its_place_and_without_them_nothing_is_told():
    x = np.array([1.0, 1, 1, 1, 1, 1, 2, 3, 5])
    assert np.median(np.abs(x - 1)) == 0
    assert odd.robust_z(x)[-1] == pytest.approx((5 - 1) / ((2 - 1) / 1.349))
    assert np.isnan(odd.robust_z(np.array([1.0, 1, 1, 1, 1, 1, 1, 1, 5]))).all()


def test_the_distance_of_a_clean_group_is_students_t_of_the_others():
    """The deleted residual of a mean, against scipy's two-sample t of one value and the others."""
    x = np.random.default_rng(2).standard_normal(14)
    for place, far in enumerate(odd.distance(x)):
        t = stats.ttest_ind(x[place : place + 1], np.delete(x, place)).statistic
        assert far == pytest.approx(t, rel=1e-9)


def test_somebody_odd_hides_nobody_else():
    rng = np.random.default_rng(3)
    x = rng.standard_normal(20)
    alone = x.copy()
    alone[0] = 9.0
    both = alone.copy()
    both[1] = 40.0
    assert odd.distance(both)[0] == pytest.approx(odd.distance(np.delete(alone, 1))[0], rel=1e-9)
    assert odd.distance(both)[1] > 20


def test_the_distance_does_not_depend_on_unit_or_origin_and_turns_with_the_sign():
    x = np.random.default_rng(4).standard_normal(12)
    far = odd.distance(x)
    assert odd.distance(1e6 + 3 * x) == pytest.approx(far, rel=1e-6)
    assert odd.distance(-x) == pytest.approx(-far)


def test_missing_people_stay_missing_and_count_for_nobody():
    x = np.random.default_rng(5).standard_normal(12)
    gaps = np.insert(x, [0, 5], np.nan)
    assert np.isnan(odd.distance(gaps)[[0, 6]]).all()
    assert odd.distance(gaps)[np.isfinite(gaps)] == pytest.approx(odd.distance(x))
    assert np.isnan(odd.distance(x[: odd.FEWEST - 1])).all()


def test_where_all_are_alike_nothing_is_told_unless_a_least_spread_is_given():
    x = np.array([5.0] * 11 + [6.0])
    assert np.isnan(odd.distance(x)).all()
    assert odd.distance(x, least=0.5)[-1] == pytest.approx(1.0 / (0.5 * np.sqrt(1 + 1 / 11)))


@pytest.mark.parametrize(("people", "features"), [(8, 6), (16, 36), (60, 20)])
def test_limits_are_passed_in_the_stated_share_of_clean_studies(people, features):
    rng = np.random.default_rng(people)
    limit = odd.limit_of(people, features, 0.05)
    passed = np.mean([np.nanmax(np.abs(odd.distance(rng.standard_normal((features, people))))) > limit
                      for _ in range(1500)])  # fmt: skip
    assert 0.03 < passed < 0.07


def test_limits_grow_with_features_and_with_fewer_people_and_of_very_few_there_is_none():
    assert odd.limit_of(16, 10, 0.05) < odd.limit_of(16, 40, 0.05) < odd.limit_of(16, 160, 0.05)
    assert odd.limit_of(60, 40, 0.05) < odd.limit_of(16, 40, 0.05) < odd.limit_of(10, 40, 0.05)
    assert odd.limit_of(odd.FEWEST - 1, 40, 0.05) == np.inf


@pytest.mark.parametrize(("n", "rate"), [(40, 0.05), (400, 0.5), (12, 0.2)])
def test_funnel_limits_are_those_of_the_binomial_distribution(n, rate):
    low, high = odd.funnel(0, n, rate, 0.025)
    below, above = stats.binom.cdf([low - 1, low], n, rate), stats.binom.sf([high, high - 1], n, rate)
    assert below[0] < 0.025 <= below[1]
    assert above[0] <= 0.025 < above[1]


def test_the_slope_is_that_of_theil_and_sen():
    y = 0.3 * np.arange(30.0)
    y[[3, 11, 20]] = 100.0
    assert odd.slope(y) == pytest.approx(0.3, abs=0.02)
    assert np.isnan(odd.slope(y[:7]))


def test_an_exchange_is_found_whichever_two_channels_and_never_among_clean_people():
    rng = np.random.default_rng(6)
    places = np.array([[28.0, 0.0], [16.0, 0.03], [6.0, 0.08]])
    x = places + rng.standard_normal((16, 3, 2)) * [3.0, 0.007]
    assert odd.exchanged(x, 0.005) == []
    for i, j in ((0, 1), (0, 2), (1, 2)):
        swapped = x.copy()
        swapped[5, [i, j]] = swapped[5, [j, i]]
        (found,) = odd.exchanged(swapped, 0.005)
        assert (found.person, found.first, found.second) == (5, i, j)
        assert found.gain > found.limit
