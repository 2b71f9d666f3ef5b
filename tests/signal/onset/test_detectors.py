"""The single steps of the onset methods against published formulas, independent code and counting."""

import numpy as np
import pytest
from scipy import signal, special
from statsmodels.regression import linear_model as regression

import emgreview as er
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.signal.onset import METHODS
from emgreview.signal.onset.common import first_run
from emgreview.signal.onset.double_threshold import false_alarm, first_threshold
from emgreview.signal.onset.likelihood_ratio import ratio
from emgreview.signal.onset.profile import change
from emgreview.signal.onset.quiet import QuietParameters, swings
from emgreview.signal.onset.whitening import autoregression, residual

RATE_HZ = 1000.0
ONSET_S = 1.2
OF_AUXILIARY = ("level", "change")
STATISTICAL = [name for name in METHODS if name not in ("ramp", *OF_AUXILIARY)]
"""Every further method for EMG: a new one is tried, too."""


def stepped(n: int = 60, *, level_db: float = 15.0, seed: int = 3) -> np.ndarray:
    """White Gaussian rest whose SD steps up at ONSET_S and back at 1.7 s; no filter, no artefact."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(2500) / RATE_HZ
    active = (time_s >= ONSET_S) & (time_s < 1.7)
    return rng.standard_normal((n, len(time_s))) * np.where(active, np.sqrt(1 + 10 ** (level_db / 10)), 1.0)


@pytest.mark.parametrize(("m", "r0", "zeta"), [(5, 1, 8.0), (5, 2, 5.0), (8, 3, 4.0)])
def test_false_alarms_of_the_double_threshold_agree_with_counting(m, r0, zeta):
    """Bonato, D'Alessio and Knaflitz 1998: P_fa of independent pairs; counted in windows that do not overlap."""
    rng = np.random.default_rng(11)
    e = rng.standard_normal((40_000, m, 2))
    counted = np.mean((np.sum(e**2, axis=2) > zeta).sum(axis=1) >= r0)
    stated = false_alarm(zeta, m, r0)
    assert abs(counted - stated) < 4 * np.sqrt(stated * (1 - stated) / 40_000)
    p = np.exp(-zeta / 2)
    by_sum = sum(special.comb(m, k) * p**k * (1 - p) ** (m - k) for k in range(r0, m + 1))
    assert stated == pytest.approx(by_sum, rel=1e-9)
    assert first_threshold(stated, m, r0) == pytest.approx(zeta, rel=1e-9)


def test_the_autoregression_is_that_of_an_independent_estimate():
    """statsmodels, Yule-Walker with the biased covariance: the same equations, another's code."""
    rng = np.random.default_rng(5)
    x = signal.lfilter([1.0], [1.0, -1.2, 0.5], rng.standard_normal((3, 4000)), axis=1)
    x = np.clip(x, *np.array([-1, 1])[:, None, None] * 2.5 / 0.6745 * np.median(np.abs(x), axis=1, keepdims=True))
    ours = autoregression(x, 6, 0.0)
    for row, coefficients in zip(x, ours, strict=True):
        theirs, _ = regression.yule_walker(row, order=6, method="mle", demean=False, result_object=False)
        np.testing.assert_allclose(coefficients, theirs, atol=1e-6)
    np.testing.assert_allclose(ours[:, :2], [[1.2, -0.5]] * 3, atol=0.08)


def test_whitening_makes_coloured_rest_white():
    rng = np.random.default_rng(6)
    x = signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal((20, 3000)), axis=1)
    e = residual(x, slice(0, 2000), RATE_HZ, 0.008)[:, 100:]
    lagged = [np.mean(e[:, k:] * e[:, : e.shape[1] - k]) / np.mean(e**2) for k in range(1, 6)]
    assert np.abs(lagged).max() < 0.03
    before = np.mean(x[:, 1:] * x[:, :-1]) / np.mean(x**2)
    assert before > 0.8


def test_likelihood_ratio_is_that_of_two_gaussians():
    """(n / 2)(s² - 1 - ln s²) against the difference of two log-likelihoods written out."""
    x = 2.0 * np.random.default_rng(1).standard_normal(50)
    s2 = np.mean(x**2)
    own = np.sum(-0.5 * np.log(2 * np.pi * s2) - x**2 / (2 * s2))
    rest = np.sum(-0.5 * np.log(2 * np.pi) - x**2 / 2)
    assert ratio(np.array([np.sum(x**2)]), 50)[0] == pytest.approx(own - rest)
    assert ratio(np.array([30.0]), 50)[0] == 0.0


def test_change_finds_the_least_cost_by_trying_all():
    rng = np.random.default_rng(2)
    f = np.abs(rng.standard_normal((5, 120))) * np.where(np.arange(120) < 70, 1, 4)
    found = change(f, 10, 30, np.array([110, 110, 115, 100, 90]), 5)
    for row, stop, c in zip(f, [110, 110, 115, 100, 90], found, strict=True):
        places = range(30, stop - 5 + 1)
        cost = [(k - 10) * np.log(row[10:k].mean()) + (stop - k) * np.log(row[k:stop].mean()) for k in places]
        assert c == places[int(np.argmin(cost))]


@pytest.mark.parametrize("method", STATISTICAL)
def test_a_step_in_white_noise_is_found_where_it_is(method):
    """Bonato 1998 states a bias below 10 ms and an SD below 15 ms for the double threshold, in such conditions."""
    found = er.estimate_onsets(stepped(), RATE_HZ, cue_s=0.9, method=method)
    error_s = found.onset_s - ONSET_S
    assert np.isfinite(error_s).mean() > 0.95
    assert abs(np.nanmean(error_s)) < 0.010
    assert np.nanstd(error_s) < 0.015
    assert abs(np.nanmedian(found.offset_s) - 1.7) < 0.03


@pytest.mark.parametrize("distribution", ["gaussian", "laplace"])
@pytest.mark.parametrize("energy", [True, False])
def test_every_profile_likelihood_finds_the_step(distribution, energy):
    found = er.estimate_onsets(
        stepped(), RATE_HZ, cue_s=0.9, method="profile", distribution=distribution, energy=energy
    )
    assert np.median(np.abs(found.onset_s - ONSET_S)) < 0.006


def test_first_run_joins_short_gaps_and_leaves_short_runs_out():
    true = np.array([[0, 1, 0, 1, 1, 0, 0, 0, 1], [0, 1, 1, 0, 0, 0, 1, 1, 1], [0] * 9], bool)
    first, last = first_run(true, 3, 2)
    np.testing.assert_array_equal(first, [1, 6, -1])
    np.testing.assert_array_equal(last, [4, 8, -1])
    first, last = first_run(true, 1, 1)
    np.testing.assert_array_equal(first, [1, 1, -1])
    np.testing.assert_array_equal(last, [1, 2, -1])


@pytest.mark.parametrize("scale", [1.0, -20.0])
@pytest.mark.parametrize(
    ("method", "course", "within_s"),
    [
        ("level", lambda t: 50 * np.clip(t / 0.2, 0, 1) ** 2, 0.03),  # a force that starts gently
        ("level", lambda t: 30.0 * (t > 0), 0.004),  # key travel
        ("change", lambda t: 50 * np.clip(t / 0.2, 0, 1), 0.012),  # a force with a clear start
        ("change", lambda t: 20 * np.sin(2 * np.pi * 6 * t) * (t > 0) * (t < 0.5), 0.012),  # acceleration
    ],
)
def test_channels_that_are_no_emg(method, course, within_s, scale):
    rng = np.random.default_rng(8)
    time_s = np.arange(2500) / RATE_HZ
    x = scale * (300.0 + course(time_s - ONSET_S) + 0.5 * rng.standard_normal((30, 2500)))
    found = er.estimate_onsets(x, RATE_HZ, cue_s=0.9, method=method)
    assert np.abs(np.median(found.onset_s - ONSET_S)) < within_s
    assert np.isnan(found.low_s).all()
    quiet = er.estimate_onsets(300 + 0.5 * rng.standard_normal((200, 2500)), RATE_HZ, cue_s=0.9, method=method)
    assert np.isfinite(quiet.onset_s).mean() < 0.02


def test_a_cue_for_each_trial_moves_the_windows_with_it():
    x = stepped(20)
    late_s = np.random.default_rng(9).integers(-200, 200, 20) / RATE_HZ
    moved = np.stack([np.roll(row, round(s * RATE_HZ)) for row, s in zip(x, late_s, strict=True)])
    for method in ("ramp", "threshold"):
        fixed = er.estimate_onsets(x, RATE_HZ, cue_s=0.9, search_s=(0.0, 1.0), method=method)
        own = er.estimate_onsets(moved, RATE_HZ, cue_s=0.9 + late_s, search_s=(0.0, 1.0), method=method)
        np.testing.assert_allclose(own.onset_s - late_s, fixed.onset_s, atol=0.012)
        np.testing.assert_allclose(np.median(own.onset_s - late_s), np.median(fixed.onset_s), atol=0.002)
    with pytest.raises(ParameterError, match="one for each of 20 trials"):
        er.estimate_onsets(x, RATE_HZ, cue_s=[0.9, 0.9])
    with pytest.raises(ParameterError, match="cut longer trials"):
        er.estimate_onsets(x, RATE_HZ, cue_s=np.linspace(0.3, 0.9, 20))


def test_something_slow_and_strong_is_told_from_muscle():
    rng = np.random.default_rng(12)
    time_s = np.arange(5000) / 2000
    rest = rng.standard_normal((20, 5000))
    window = np.exp(-(((time_s - 1.6) / 0.1) ** 2))
    for hz, expected in [(20, True), (80, False), (120, False)]:
        x = rest + 20 * window * np.sin(2 * np.pi * hz * time_s + rng.uniform(0, 6, (20, 1)))
        assert (swings(x.astype(np.float32), 2000.0, QuietParameters()).any(axis=1) == expected).all(), hz
    assert not swings(rest.astype(np.float32), 2000.0, QuietParameters()).any()


@pytest.mark.parametrize(
    ("method", "options", "error", "match"),
    [
        ("double-threshold", {"r0": 6}, ParameterError, "r0 came as 6; allowed: at most m, which is 5"),
        ("double-threshold", {"m": 5.5}, ParameterError, "whole number"),
        ("double-threshold", {"false_alarm": 1.0}, ParameterError, "false_alarm came as 1.0"),
        ("likelihood-ratio", {"window_s": 0.0}, ParameterError, "window_s came as 0.0"),
        ("profile", {"distribution": "laplac"}, UnknownNameError, "Did you mean 'laplace'"),
        ("profile", {"least_db": -3}, ParameterError, "least_db came as -3"),
        ("level", {"k": 0}, ParameterError, "k came as 0"),
        ("change", {"change_s": 2.0}, ParameterError, "change_s came as 2.0"),
    ],
)
def test_parameters_are_checked(method, options, error, match):
    with pytest.raises(error, match=match):
        er.estimate_onsets(stepped(2), RATE_HZ, cue_s=0.9, method=method, **options)


def test_a_key_whose_rest_is_one_value_and_a_slow_force():
    """Digitised key travel: constant, then a clean step; a flat trial stays flat; force sampled at 50 Hz."""
    x = np.where(np.arange(2500) / RATE_HZ >= ONSET_S, 330, 300).astype(np.int16) * np.ones((3, 1), np.int16)
    x[1] = 300
    x[2, 1250] += 1  # one sample of flicker is no departure that lasts
    found = er.estimate_onsets(x, RATE_HZ, cue_s=0.9, method="level")
    assert list(found.baseline_note) == ["", "flat", ""]
    np.testing.assert_allclose(found.onset_s[[0, 2]], ONSET_S, atol=0.004)
    assert np.isnan(found.onset_s[1])
    other = er.estimate_onsets(-0.001 * x.astype(float), RATE_HZ, cue_s=0.9, method="level")
    np.testing.assert_allclose(other.onset_s, found.onset_s)
    assert list(er.estimate_onsets(x, RATE_HZ, cue_s=0.9).baseline_note) == ["flat"] * 3

    rng = np.random.default_rng(4)
    time_s = np.arange(125) / 50
    force = 50 * np.clip((time_s - ONSET_S) / 0.2, 0, 1) + 0.2 * rng.standard_normal((20, 125))
    slow = er.estimate_onsets(force, 50.0, cue_s=0.9, method="level")
    assert np.abs(np.median(slow.onset_s) - ONSET_S) < 0.03
