"""The detection floor: it is where fresh bursts of that level are found that often."""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, signal

import emgreview as er
from emgreview.errors import ParameterError, SignalError
from emgreview.signal.floor import _why_missing, find_floor, rising_floor

RATE_HZ = 2000.0


def own_signals(seed, trials, snr_db=28.0):
    """Rest before the cue and bursts from onset to offset of one simulated person."""
    sim = er.simulate(trials, RATE_HZ, seed=seed, snr_db=snr_db)
    x = signal.sosfiltfilt(signal.butter(2, [20, 450], "bandpass", fs=RATE_HZ, output="sos"), sim.x, axis=1)
    edges = np.round(np.stack([sim.onset_s, sim.offset_s], axis=1) * RATE_HZ).astype(int)
    return x[:, 900:2000], [row[start:stop] for row, (start, stop) in zip(x, edges, strict=True)]


@pytest.fixture(scope="module")
def person():
    return own_signals(5, 160)


@pytest.fixture(scope="module")
def floor(person):
    return find_floor(person[0][:40], person[1][:40], RATE_HZ)


def test_a_rising_curve_is_the_isotonic_one():
    # scipy.optimize.isotonic_regression as an independent reference
    rng = np.random.default_rng(0)
    levels = np.sort(rng.uniform(-9, 30, 12))
    shares = np.clip(np.sort(rng.uniform(0, 1.1, (40, 12)), axis=1) + 0.15 * rng.standard_normal((40, 12)), 0, 1)
    passed = rising_floor(levels, shares, 0.8)
    for row, at in zip(shares, passed, strict=True):
        fitted = optimize.isotonic_regression(row).x
        if fitted.max() < 0.8:
            assert np.isnan(at)
        else:
            above = np.argmax(fitted >= 0.8 - 1e-12)
            assert levels[max(above - 1, 0)] <= at <= levels[above]
            assert np.interp(at, levels, fitted) == pytest.approx(max(0.8, fitted[0]), abs=1e-9) or at == levels[above]


def test_the_floor_passes_its_share():
    assert rising_floor([0, 1, 2, 3], [[0.0, 0.5, 0.9, 1.0]], 0.95)[0] == pytest.approx(2.5)
    assert rising_floor([0, 1], [[0.97, 1.0]], 0.95)[0] == 0
    assert np.isnan(rising_floor([0, 1], [[0.5, 0.9]], 0.95)[0])


def test_bursts_at_the_floor_are_found_that_often_in_other_trials(person, floor):
    """Fresh rest, fresh bursts of the same person, at the stated level and 3 dB below."""
    other = find_floor(person[0][40:], person[1][40:], RATE_HZ, injections=300, seed=7)
    at_floor = np.interp(floor.level_db, other.tried_db, other.found_share)
    assert at_floor > 0.9
    assert np.interp(floor.level_db - 3, other.tried_db, other.found_share) < 0.8
    assert floor.low_db <= other.level_db <= floor.high_db


def test_the_floor_speaks_in_decibels_and_microvolts(floor):
    assert floor.low_db < floor.level_db < floor.high_db
    assert floor.high_db - floor.low_db < 3
    assert floor.level == pytest.approx(floor.rest * 10 ** (floor.level_db / 20))
    assert floor.low < floor.level < floor.high
    assert (floor.rests, floor.bursts, floor.injected) == (40, 40, 200)
    assert np.all(np.diff(floor.tried_db) > 0)
    assert floor.found_share[0] < 0.1
    assert floor.found_share[-1] > 0.97


@pytest.mark.parametrize("method", ["threshold", "energy"])
def test_any_method_has_a_floor(person, method):
    found = find_floor(person[0][:40], person[1][:40], RATE_HZ, method=method, injections=100)
    assert 0 < found.level_db < 12
    assert found.method == method


def test_gain_and_sign_move_microvolts_and_not_decibels_and_the_seed_decides(person, floor):
    louder = find_floor(-8 * person[0][:40], [-8 * burst for burst in person[1][:40]], RATE_HZ)
    assert louder.level_db == pytest.approx(floor.level_db, abs=1e-6)
    assert louder.level == pytest.approx(8 * floor.level)
    once, again, other = (
        find_floor(person[0][:40], person[1][:40], RATE_HZ, method="threshold", injections=60, seed=seed)
        for seed in (1, 1, 2)
    )
    assert (again.level_db, again.low_db, again.high_db) == (once.level_db, once.low_db, once.high_db)
    assert other.level_db != once.level_db


def test_a_stricter_method_has_a_higher_floor(person):
    found = [
        find_floor(person[0][:40], person[1][:40], RATE_HZ, method="threshold", k=k, injections=100).level_db
        for k in (3.0, 6.0, 12.0)
    ]
    assert found[0] < found[1] < found[2]


def test_a_method_that_never_finds_has_no_floor(person):
    blind = find_floor(person[0][:20], person[1][:20], RATE_HZ, method="threshold", k=900.0, injections=40)
    assert np.isnan([blind.level_db, blind.low_db, blind.high_db, blind.level]).all()
    assert not blind.found_share.any()
    assert blind.note == "no level tried, -9 to 30 dB, was found in 95% of trials; 0% at most."


def test_why_a_floor_or_its_interval_is_missing_is_said(floor):
    assert floor.note == ""
    levels = np.array([0.0, 3.0, 6.0])
    assert _why_missing((1.0, 0.5, np.nan), levels, np.array([0.5, 1.0, 1.0]), 0.95).startswith(
        "the interval has no end"
    )
    lost = _why_missing((np.nan,) * 3, levels, np.array([0.5, 0.96, 0.8]), 0.95)
    assert lost == "95% was reached at one level and not kept at stronger ones, 0 to 6 dB: try more injections."


def test_too_little_is_a_missing_floor_that_says_so(person):
    """A table over people goes on where one of them has too few trials."""
    rests, bursts = person[0][:10].copy(), person[1][:10]
    for given, words in (
        ((rests[:3], bursts), "3 whole stretches of rest that vary and 10 bursts came; 5 and 1 are needed"),
        ((rests, [np.zeros(100), np.full(100, np.nan)]), "10 whole stretches of rest that vary and 0 bursts came"),
        ((0 * rests, bursts), "0 whole stretches of rest that vary and 10 bursts came"),
        ((rests[:0], []), "0 whole stretches of rest that vary and 0 bursts came"),
    ):
        found = find_floor(*given, RATE_HZ)
        assert found.note.startswith(words)
        assert np.isnan([found.level_db, found.low_db, found.high_db, found.level, found.low, found.high]).all()
        assert (found.injected, len(found.tried_db), found.share) == (0, 0, 0.95)
    assert find_floor(rests[:3], bursts, RATE_HZ).rest > 0, "what is known is told"


def test_what_cannot_be_is_refused(person):
    rests, bursts = person[0][:10], person[1][:10]
    for wrong in (rests[:, :150], rests[0]):
        with pytest.raises(SignalError, match=r"rests came with shape \(.*; allowed: \(stretches, samples\) of 0.1 s"):
            find_floor(wrong, bursts, RATE_HZ)
    with pytest.raises(ParameterError, match="share"):
        find_floor(rests, bursts, RATE_HZ, share=1.0)
    with pytest.raises(ParameterError, match="injections"):
        find_floor(rests, bursts, RATE_HZ, injections=3)


def test_rest_that_wanders_from_trial_to_trial_costs_little(person):
    """Steps between trials are no part of a trial: only the spread of their levels counts."""
    gain = np.exp(0.3 * np.random.default_rng(0).standard_normal((40, 1)))
    steady, wandering = (find_floor(g * person[0][:40], person[1][:40], RATE_HZ) for g in (1.0, gain))
    assert steady.level_db < wandering.level_db < steady.level_db + 6


def test_floor_of_real_rest_and_real_bursts():
    """Forearm recordings under CC0 1.0 (rate of 1000 Hz and unit inferred): a floor well below the real bursts."""
    if "EMGREVIEW_OPEN_DATA" not in os.environ:
        pytest.skip("EMGREVIEW_OPEN_DATA is not set: the open recordings are not at hand")
    folder = Path(os.environ["EMGREVIEW_OPEN_DATA"]) / "forearm_cc0"
    sos = signal.butter(2, [20, 450], "bandpass", fs=1000, output="sos")

    def channel(movement, repetition):
        x = np.loadtxt(folder / f"3_{repetition}_{movement}.txt", delimiter=",")[:, 1]
        return signal.sosfiltfilt(sos, 1000 * x)

    rests = np.concatenate([channel(5, repetition)[300:3800].reshape(-1, 500) for repetition in (1, 2, 3)])
    bursts = [channel(2, repetition)[2500:2900] * np.minimum(1, np.arange(400) / 50) for repetition in (1, 2, 3)]
    for method in ("ramp", "threshold"):
        found = find_floor(rests, bursts, 1000.0, method=method)
        assert 0 < found.level_db < 10
        assert found.level < 0.5 * np.sqrt(np.mean(np.square(bursts)))
