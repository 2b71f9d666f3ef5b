"""Co-activation, shared signal and averages: published worked numbers, known truth, and relations."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emgreview.errors import ParameterError, SignalError
from emgreview.signal.averages import aligned_average
from emgreview.signal.coactivation import RULES, common_area, moment_coactivation, onset_order
from emgreview.signal.crosstalk import chance_share, lagged_correlation, shared_words
from emgreview.signal.filters import bandpass
from emgreview.signal.onset import estimate_onsets
from emgreview.simulation import rest_noise

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "measures.json").read_text(encoding="utf-8"))
RATE_HZ = 2000.0


def noise(*shape, seed=0):
    return np.random.default_rng(seed).standard_normal(shape)


# Common area


@pytest.mark.parametrize("rule", RULES)
def test_common_area_of_the_worked_example(rule):
    # Winter, 4th ed., eq. 6.13; integrals computed by hand
    known = REFERENCE["common_area"]
    assert common_area(known["a"], known["b"], rule=rule) == pytest.approx(known[rule], abs=0.05)


def test_moment_form_of_the_worked_example():
    # Winter, 4th ed., eq. 6.12
    known = REFERENCE["moments"]
    assert moment_coactivation(known["antagonist"], known["agonist"]) == pytest.approx(known["percent"], abs=0.5)
    assert moment_coactivation([-20, 0], [50, 0])[0] == pytest.approx(100 * 40 / 70)
    assert np.isnan(moment_coactivation(0, 0))


@pytest.mark.parametrize("rule", RULES)
@given(seed=st.integers(0, 99), gain=st.floats(0.01, 100))
def test_common_area_is_symmetric_between_0_and_100_and_keeps_a_common_gain(rule, seed, gain):
    a, b = np.abs(noise(2, 3, 40, seed=seed))
    index = common_area(a, b, rule=rule)
    assert ((index >= 0) & (index <= 100)).all()
    np.testing.assert_allclose(common_area(b, a, rule=rule), index)
    np.testing.assert_allclose(common_area(gain * a, gain * b, rule=rule), index)
    np.testing.assert_allclose(common_area(a, a, rule=rule), 100)
    np.testing.assert_allclose(common_area(a, 0 * a, rule=rule), 0)
    assert (common_area(a, b, rule="lines") >= common_area(a, b, rule="trapezoid") - 1e-9).all()


def test_the_exact_area_is_that_of_a_fine_grid_and_the_rules_meet_there():
    a, b = np.abs(noise(2, 30, seed=3))
    grid = np.linspace(0, 29, 29 * 2000 + 1)
    fine = [np.interp(grid, np.arange(30), part) for part in (a, b)]
    exact = common_area(a, b, rule="lines")
    for rule in RULES:
        assert common_area(*fine, rule=rule) == pytest.approx(exact, abs=0.02)


def test_common_area_missing_and_wrong():
    assert np.isnan(common_area([1, np.nan, 1], [1, 1, 1], rule="samples"))
    assert np.isnan(common_area([0, 0], [0, 0], rule="samples"))
    assert common_area([-1, 1, 1], [0, 1, 1], rule="samples") == 100
    with pytest.raises(ParameterError, match="'samples', 'trapezoid', 'lines'"):
        common_area([1, 2], [1, 2], rule="area")
    with pytest.raises(SignalError, match="alike"):
        common_area([1, 2], [1, 2, 3], rule="samples")


# Order


def test_order_of_two_onsets_with_equal_symmetric_intervals():
    # two independent normal errors: the half-width grows by sqrt(2)
    order = onset_order(
        [0.2] * 3,
        [0.25, 0.205, 0.15],
        a_interval_s=([0.19] * 3, [0.21] * 3),
        b_interval_s=([0.24, 0.195, 0.14], [0.26, 0.215, 0.16]),
    )
    np.testing.assert_allclose(order.difference_s, [0.05, 0.005, -0.05])
    np.testing.assert_allclose(order.high_s - order.low_s, 2 * 0.01 * np.sqrt(2))
    assert order.first.tolist() == ["A", "not told apart", "B"]
    for figure in ("94 %", "87 %", "93 %", "gentle rise"):
        assert figure in order.caution


def test_order_holds_the_truth_as_often_as_its_intervals_do():
    rng = np.random.default_rng(1)
    true_a, true_b, n = 0.2, 0.215, 4000
    sd = rng.uniform(0.004, 0.02, (2, n))
    a, b = np.array([[true_a], [true_b]]) + sd * rng.standard_normal((2, n))
    half = 1.645 * sd
    order = onset_order(a, b, a_interval_s=(a - half[0], a + half[0]), b_interval_s=(b - half[1], b + half[1]))
    inside = (order.low_s <= 0.015) & (order.high_s >= 0.015)
    assert inside.mean() == pytest.approx(0.90, abs=0.02)  # 4 binomial standard errors
    assert (order.first == "B").mean() < 0.05
    mirrored = onset_order(b, a, a_interval_s=(b - half[1], b + half[1]), b_interval_s=(a - half[0], a + half[0]))
    np.testing.assert_allclose(mirrored.low_s, -order.high_s)


def test_order_without_an_onset_or_interval_says_nothing():
    order = onset_order(
        [0.2, np.nan], [0.3, 0.3], a_interval_s=([np.nan] * 2,) * 2, b_interval_s=([0.29] * 2, [0.31] * 2)
    )
    assert order.first.tolist() == ["", ""]
    assert order.difference_s[0] == pytest.approx(0.1)
    with pytest.raises(SignalError, match="outside its interval"):
        onset_order(0.2, 0.3, a_interval_s=(0.25, 0.3), b_interval_s=(0.2, 0.4))


def test_the_interval_of_a_difference_holds_it_between_a_fast_and_a_gentle_rise():
    """At 25 dB between 5 ms and 100 ms (half a cosine) or 200 ms (a cube), and equals; the caution says how often.

    Measured by tests/benchmarks/bench_order.py; the limits here are its figures less three standard errors.
    """
    truth, found = {}, {}
    shapes = {
        "fast": (0.005, lambda u: u),
        "gentle": (0.1, lambda u: 0.5 - 0.5 * np.cos(np.pi * u)),
        "very gentle": (0.2, lambda u: u**3),
        "as fast": (0.005, lambda u: u),
    }
    for seed, (name, (rise_s, shape)) in enumerate(shapes.items()):
        rng = np.random.default_rng(seed)
        truth[name] = 1.0 + rng.uniform(0.15, 0.35, 150)
        t = np.arange(5000) / RATE_HZ
        size = shape(np.clip((t - truth[name][:, np.newaxis]) / rise_s, 0.0, 1.0))
        rest, burst = (rest_noise(size.shape, RATE_HZ, rng, level_uv=3.0) for _ in range(2))
        x = rest + burst * size * (t < 1.8) * 10 ** (25 / 20)
        band = {"low_hz": 20.0, "high_hz": 450.0, "order": 2, "direction": "zero-phase"}
        found[name] = estimate_onsets(bandpass(x, RATE_HZ, **band), RATE_HZ, cue_s=1.0)
    for other, least in (("as fast", 0.93), ("gentle", 0.9), ("very gentle", 0.78)):
        a, b = found["fast"], found[other]
        order = onset_order(a.onset_s, b.onset_s, a_interval_s=(a.low_s, a.high_s), b_interval_s=(b.low_s, b.high_s))
        true = truth[other] - truth["fast"]
        assert ((order.low_s <= true) & (true <= order.high_s)).mean() > least
        wrong = ((order.first == "A") & (true < 0)) | ((order.first == "B") & (true > 0))
        assert wrong.mean() < 0.05


# Shared signal


@pytest.mark.parametrize("r", REFERENCE["shared_power"])
def test_share_of_power_in_common(r):
    # Winter ch. 10, citing Winter, Fuglevand & Archer 1994: R = 0.6 is 36 %, and so on
    a, other = noise(2, 1, 400_000, seed=7)
    b = float(r) * a + np.sqrt(1 - float(r) ** 2) * other
    found = lagged_correlation(a, b, RATE_HZ, longest_lag_s=0.002)
    assert found.r[0] == pytest.approx(float(r), abs=0.007)
    assert found.r2[0] == pytest.approx(REFERENCE["shared_power"][r], abs=0.012)
    assert found.lag_s[0] == 0


@settings(deadline=None)
@given(lag=st.integers(-60, 60), gain=st.floats(-10, 10).filter(lambda g: abs(g) > 0.01), seed=st.integers(0, 20))
def test_a_delay_and_a_gain_leave_the_correlation_at_one(lag, gain, seed):
    x = noise(2, 500, seed=seed)
    a, b = x[:, 100:400], gain * x[:, 100 - lag : 400 - lag]
    found = lagged_correlation(a, b, RATE_HZ)
    np.testing.assert_allclose(found.r, np.sign(gain))
    np.testing.assert_allclose(found.lag_s, lag / RATE_HZ)
    back = lagged_correlation(b, a, RATE_HZ)
    np.testing.assert_allclose(back.lag_s, -found.lag_s)


def test_correlation_against_numpy():
    a, b = noise(2, 1, 300, seed=2)
    found = lagged_correlation(a, b, RATE_HZ, longest_lag_s=0.01)
    r = [
        np.dot(x, y) / np.sqrt(np.dot(x, x) * np.dot(y, y))
        for k in range(-20, 21)
        for x, y in [(a[0, max(-k, 0) : 300 - max(k, 0)], b[0, max(k, 0) : 300 - max(-k, 0)])]
    ]
    assert found.r[0] == pytest.approx(r[np.argmax(np.abs(r))])
    assert found.lag_s[0] == (np.argmax(np.abs(r)) - 20) / RATE_HZ


def test_chance_is_what_unrelated_trials_reach():
    a, b = noise(2, 200, 600, seed=5)
    chance = chance_share(a, b, RATE_HZ)
    unrelated = lagged_correlation(*noise(2, 400, 600, seed=6), RATE_HZ).r2
    assert (unrelated > chance).mean() == pytest.approx(0.05, abs=0.04)
    assert chance < 0.05
    with pytest.raises(SignalError, match="2 trials or more"):
        chance_share(a[:1], b[:1], RATE_HZ)


def test_words_are_a_caution_and_never_an_acquittal():
    loud = shared_words("FCR", "ECR", 0.36, 0.001, 0.02)
    assert "36 %" in loud
    assert "+1.0 ms" in loud
    assert "Caution" in loud
    assert "no evidence of separate activity" in loud
    quiet = shared_words("FCR", "ECR", 0.01, -0.0125, 0.02)
    assert "does not rule crosstalk out" in quiet
    for words in (loud, quiet, shared_words("FCR", "ECR", np.nan, np.nan)):
        for claim in ("no crosstalk", "is crosstalk", "independent", "proves", "free of"):
            assert claim not in words


def test_correlation_missing_and_wrong():
    a = noise(2, 300)
    b = a.copy()
    b[0, 7] = np.nan
    assert np.isnan(lagged_correlation(a, b, RATE_HZ).r).tolist() == [True, False]
    assert np.isnan(lagged_correlation(a, 0 * a, RATE_HZ).r).all()
    with pytest.raises(ParameterError, match="longest_lag_s came as"):
        lagged_correlation(a, a, RATE_HZ, longest_lag_s=1.0)
    with pytest.raises(SignalError, match="alike"):
        lagged_correlation(a, a[:1], RATE_HZ)


# Averages


def test_aligned_averages_bring_shifted_copies_together():
    template = np.exp(-0.5 * ((np.arange(400) - 200) / 12.0) ** 2)
    at = np.array([150.0, 180, 200, 240, np.nan])
    y = np.stack([np.roll(template, int(moment) - 200) for moment in np.nan_to_num(at, nan=200)])
    found = aligned_average(y, at, RATE_HZ, before_s=0.05, after_s=0.05)
    np.testing.assert_allclose(found.mean, template[100:300], atol=1e-12)
    np.testing.assert_allclose(found.sd, 0, atol=1e-12)
    assert found.used.tolist() == [True] * 4 + [False]
    assert (found.n == 4).all()
    assert found.time_s[100] == 0
    unaligned = aligned_average(y[:4], np.full(4, 200), RATE_HZ, before_s=0.05, after_s=0.05)
    assert unaligned.mean.max() < 0.5


def test_averages_count_what_is_there():
    y = noise(6, 3, 100)
    y[0, 0, 50:60] = np.nan
    at = np.array([50, 50, 50, 50, 95, 2])
    found = aligned_average(y, at, 1000.0, before_s=0.01, after_s=0.02)
    assert found.mean.shape == (3, 30)
    assert found.n[1].tolist() == [5] * 8 + [6] * 7 + [5] * 15
    assert found.n[0, 10] == found.n[1, 10] - 1
    whole = np.stack([y[row, 1, moment - 2 : moment + 4] for row, moment in enumerate(at)])
    np.testing.assert_allclose(found.mean[1, 8:14], whole.mean(axis=0))
    np.testing.assert_allclose(found.sd[1, 8:14], whole.std(axis=0, ddof=1))
    nobody = aligned_average(y, np.full(6, np.nan), 1000.0, before_s=0.01, after_s=0.02)
    assert np.isnan(nobody.mean).all()
    assert not nobody.n.any()
    one = aligned_average(y[:1], at[:1], 1000.0, before_s=0.01, after_s=0.01)
    assert np.isnan(one.sd).all()
    with pytest.raises(SignalError, match="one moment a trial"):
        aligned_average(y, at[:3], 1000.0, before_s=0.01, after_s=0.02)
    with pytest.raises(ParameterError, match="before_s"):
        aligned_average(y, at, 1000.0, before_s=-0.01, after_s=0.02)


def test_masked_samples_are_missing_here_too():
    a = np.abs(noise(2, 300))
    masked = np.ma.masked_array(a, mask=np.zeros(a.shape, bool))
    masked[0, 7] = np.ma.masked
    assert np.isnan(common_area(masked, a, rule="samples")).tolist() == [True, False]
    average = aligned_average(masked, np.array([100, 100]), RATE_HZ, before_s=0.05, after_s=0.05)
    assert average.n[7] == 1
