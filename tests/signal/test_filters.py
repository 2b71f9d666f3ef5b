"""Filters: the stated corner is the true one, runs between missing samples, and what must not change the result."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from emgreview.errors import ParameterError, RateError, SignalError
from emgreview.signal.filters import (
    bandpass,
    correction,
    design_bandpass,
    design_lowpass,
    finite_runs,
    lowpass,
    settling_samples,
    shortest_run,
)

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "signal.json").read_text(encoding="utf-8"))
RATE = 2000.0
BAND = {"low_hz": 20.0, "high_hz": 450.0, "order": 2, "direction": "zero-phase"}
MINUS_3_DB = 1 / np.sqrt(2)


def noise(*shape, seed=0):
    return np.random.default_rng(seed).standard_normal(shape) * 10


def gain(sos, frequency_hz, rate_hz, direction):
    one_pass = np.abs(signal.sosfreqz(sos, np.atleast_1d(frequency_hz), fs=rate_hz)[1])
    return one_pass**2 if direction == "zero-phase" else one_pass


@pytest.mark.parametrize(("order", "value"), REFERENCE["dual_pass_correction"].items())
def test_correction_of_two_passes(order, value):
    # Winter 4th ed. p 69, Robertson 2nd ed. p 288 (through an article quoting both)
    assert correction(int(order), "zero-phase") == pytest.approx(value, abs=5e-6)
    assert correction(int(order), "causal") == 1


@pytest.mark.parametrize("row", REFERENCE["dual_pass_design"], ids=lambda row: f"{row['kind']}-{row['corner_hz']}")
def test_design_corner_is_the_published_one(row):
    """A plain scipy design at the published corner is our design."""
    kind = row["kind"].replace("-", "")
    if kind == "lowpass":
        ours = design_lowpass(row["rate_hz"], corner_hz=row["corner_hz"], order=row["order"], direction="zero-phase")
    else:
        ours = design_bandpass(
            row["rate_hz"], low_hz=row["corner_hz"], high_hz=None, order=row["order"], direction="zero-phase"
        )
    plain = signal.butter(row["order"], row["design_hz"], kind, fs=row["rate_hz"], output="sos")
    assert np.allclose(ours, plain, rtol=1e-4)
    assert gain(ours, row["corner_hz"], row["rate_hz"], "zero-phase") == pytest.approx(MINUS_3_DB, abs=1e-9)


def test_reference_is_able_to_fail():
    """Uncorrected, two passes halve the corner; corrected on f instead of tan, the true corner moves (computed)."""
    plain = signal.butter(2, 20, fs=RATE, output="sos")
    assert gain(plain, 20, RATE, "zero-phase") == pytest.approx(REFERENCE["gain_at_corner_uncorrected_dual_pass"])
    row = REFERENCE["dual_pass_correction_of_fc"]
    assert row["corner_hz"] / correction(row["order"], "zero-phase") == pytest.approx(row["design_hz"], abs=5e-3)
    plain = signal.butter(row["order"], row["design_hz"], fs=row["rate_hz"], output="sos")
    assert gain(plain, row["true_hz"], row["rate_hz"], "zero-phase") == pytest.approx(MINUS_3_DB, abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(
    rate=st.sampled_from([500.0, 1000.0, 2000.0, 2148.148, 4000.0]),
    low=st.floats(0.5, 100),
    width=st.floats(0.05, 0.999),
    order=st.integers(1, 6),
    direction=st.sampled_from(["zero-phase", "causal"]),
)
def test_gain_is_minus_3_db_at_every_stated_corner(rate, low, width, order, direction):
    high = low + 5 + width * (rate / 2 - low - 6)
    sos = design_bandpass(rate, low_hz=low, high_hz=high, order=order, direction=direction)
    assert gain(sos, [low, high], rate, direction) == pytest.approx([MINUS_3_DB] * 2, abs=1e-6)
    assert gain(sos, np.linspace(low, high, 50), rate, direction).min() > MINUS_3_DB - 1e-6
    sos = design_bandpass(rate, low_hz=low, high_hz=None, order=order, direction=direction)
    assert gain(sos, low, rate, direction) == pytest.approx(MINUS_3_DB, abs=1e-6)
    sos = design_lowpass(rate, corner_hz=low, order=order, direction=direction)
    assert gain(sos, low, rate, direction) == pytest.approx(MINUS_3_DB, abs=1e-6)


@pytest.mark.parametrize("direction", ["zero-phase", "causal"])
@pytest.mark.parametrize("corner", [20.0, 450.0])
def test_sine_at_a_corner_loses_3_db(corner, direction):
    """Measured, not computed: the RMS of a sine, ends left out."""
    x = 100 * np.sin(2 * np.pi * corner * np.arange(8000) / RATE + 0.4)
    y = bandpass(x, RATE, **{**BAND, "direction": direction})
    inner = slice(2000, 6000)
    assert np.std(y[inner]) / np.std(x[inner]) == pytest.approx(MINUS_3_DB, abs=1e-4)


def test_equals_scipy_with_the_hand_made_design():
    """Band-pass: same product of the warped corners, distance over C (independent: roots, scipy's sosfiltfilt)."""
    x, c = noise(3, 12000), correction(2, "zero-phase")
    low, high = np.tan(np.pi * np.array([20, 450]) / RATE)
    edges = np.sort(np.abs(np.roots([1, -(high - low) / c, -low * high])))
    design = np.arctan(edges) * RATE / np.pi
    expected = signal.sosfiltfilt(signal.butter(2, design, "bandpass", fs=RATE, output="sos"), x)
    inner = slice(1500, -1500)
    assert np.allclose(bandpass(x, RATE, **BAND)[:, inner], expected[:, inner], atol=1e-6)
    assert REFERENCE["dual_pass_design"][2]["design_hz"] < design[0] < 20
    assert 450 < design[1] < np.arctan(high / c) * RATE / np.pi


def test_causal_equals_scipy_and_does_not_look_ahead():
    x = noise(2, 4000)
    sos = signal.butter(3, [20, 450], "bandpass", fs=RATE, output="sos")
    causal = {**BAND, "order": 3, "direction": "causal"}
    y = bandpass(x, RATE, **causal)
    assert np.allclose(y[:, 2000:], signal.sosfilt(sos, x)[:, 2000:], atol=1e-6)
    x[:, 2500:] += 1000
    assert np.allclose(bandpass(x, RATE, **causal)[:, :2500], y[:, :2500], atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    factor=st.floats(-100, 100),
    offset=st.floats(-1e5, 1e5),
    direction=st.sampled_from(["zero-phase", "causal"]),
    remove_offset=st.booleans(),
    seed=st.integers(0, 999),
)
def test_linear_and_blind_to_offset(factor, offset, direction, remove_offset, seed):
    how = {**BAND, "direction": direction, "remove_offset": remove_offset}
    one, other = noise(600, seed=seed), noise(600, seed=seed + 1)
    together = bandpass(one + factor * other + offset, RATE, **how)
    apart = bandpass(one, RATE, **how) + factor * bandpass(other, RATE, **how)
    assert np.allclose(together, apart, atol=1e-6)


def test_constant_comes_out_as_zero_from_the_first_sample():
    for direction in ("zero-phase", "causal"):
        y = bandpass(np.full(500, 1e5), RATE, **{**BAND, "direction": direction, "remove_offset": False})
        assert np.abs(y).max() < 1e-5


@pytest.mark.parametrize("direction", ["zero-phase", "causal"])
def test_shift_in_time_shifts_the_result(direction):
    x, how = noise(9000), {**BAND, "direction": direction}
    a, b = bandpass(x[:-700], RATE, **how), bandpass(x[700:], RATE, **how)
    assert np.allclose(a[700 + 1500 : -1500], b[1500:-700][: len(a) - 700 - 3000], atol=1e-7)


def test_zero_phase_is_the_same_backwards():
    x = noise(5000)
    y, z = bandpass(x, RATE, **BAND), bandpass(x[::-1], RATE, **BAND)[::-1]
    assert np.allclose(y[1500:-1500], z[1500:-1500], atol=1e-7)


def test_channels_do_not_touch_each_other_nor_does_shape_matter():
    x = noise(2, 3, 1000)
    y = bandpass(x, RATE, **BAND)
    assert y.shape == x.shape
    assert y.dtype == np.float64
    assert np.array_equal(y[1, 2], bandpass(x[1, 2], RATE, **BAND))


def test_input_is_left_alone():
    x = noise(1000)
    before = x.copy()
    bandpass(x, RATE, **BAND)
    lowpass(x, RATE, corner_hz=50, order=2, direction="causal")
    assert np.array_equal(x, before)


@pytest.mark.parametrize("direction", ["zero-phase", "causal"])
def test_runs_between_missing_samples_are_filtered_by_themselves(direction):
    how = {**BAND, "direction": direction}
    x = noise(2, 3000) + 500
    x[0, 1000:1010] = np.nan
    y = bandpass(x, RATE, **how)
    assert np.array_equal(np.isnan(y), np.isnan(x))
    assert np.allclose(y[0, :1000], bandpass(x[0, :1000], RATE, **how), atol=1e-8)
    assert np.allclose(y[0, 1010:], bandpass(x[0, 1010:], RATE, **how), atol=1e-8)
    assert np.allclose(y[1], bandpass(x[1], RATE, **how), atol=1e-8)


def test_run_shorter_than_a_period_of_the_low_corner_stays_missing():
    shortest = shortest_run(RATE, 20.0)
    assert shortest == 100
    x = noise(1000)
    x[[200, 200 + shortest, 401 + shortest]] = np.nan  # runs of 200, 99 and 300 samples, and the rest
    y = bandpass(x, RATE, **BAND)
    assert np.isnan(y[200 : 201 + shortest]).all()
    assert np.isfinite(y[201 + shortest : 401 + shortest]).all()
    z = lowpass(x, RATE, corner_hz=5, order=2, direction="zero-phase")
    assert np.array_equal(np.isnan(z), np.isnan(x))


def test_all_missing_stays_missing():
    assert np.isnan(bandpass(np.full((2, 300), np.nan), RATE, **BAND)).all()


def test_lowpass_keeps_a_constant_and_continues_what_is_positive():
    for direction in ("zero-phase", "causal"):
        y = lowpass(np.full((2, 50), 7.0), RATE, corner_hz=5, order=2, direction=direction)
        assert np.allclose(y, 7)
    rising = np.linspace(0, 10, 400)
    assert lowpass(rising, RATE, corner_hz=6, order=1, direction="zero-phase").min() > 0


@pytest.mark.parametrize("low", [1.0, 20.0])
@pytest.mark.parametrize("order", [1, 2, 4])
def test_settling_bounds_what_the_past_can_do(low, order):
    """Two pasts that differ by the worst case (a volt of drift) agree after settling; half the time is not enough."""
    sos = design_bandpass(RATE, low_hz=low, high_hz=450, order=order, direction="zero-phase")
    n = settling_samples(sos)
    past = np.random.default_rng(1).choice([-1e6, 1e6], 3 * n)
    x = np.concatenate((past, np.zeros(n + 100)))
    y = np.abs(signal.sosfilt(sos, x))
    assert y[4 * n :].max() < 1e-4
    assert y[3 * n + n // 2 : 4 * n].max() > 1e-4


def test_finite_runs():
    nan = np.nan
    assert finite_runs(np.array([nan, 1, 2, nan, nan, 3])) == [(1, 3), (5, 6)]
    assert finite_runs(np.array([1.0, 2.0])) == [(0, 2)]
    assert finite_runs(np.array([nan])) == []


@pytest.mark.parametrize(
    ("error", "change", "match"),
    [
        (
            RateError,
            {"high_hz": 1000.0},
            r"2000 Hz is too low for a high_hz of 1000 Hz, .* below half .* 1000 Hz; .*high_hz=None",
        ),
        (RateError, {"low_hz": 1500.0, "high_hz": None}, "2000 Hz is too low for a low_hz of 1500 Hz"),
        (ParameterError, {"low_hz": 500.0}, "high_hz came as"),
        (ParameterError, {"low_hz": 0.0}, "above 0 Hz"),
        (ParameterError, {"low_hz": float("nan")}, "above 0 Hz"),
        (ParameterError, {"order": 0}, "1 to 8"),
        (ParameterError, {"direction": "backward"}, "'zero-phase' or 'causal'"),
    ],
)
def test_parameters_out_of_range_are_refused(error, change, match):
    with pytest.raises(error, match=match):
        bandpass(noise(500), RATE, **{**BAND, **change})


def test_samples_that_cannot_be_filtered_are_refused():
    with pytest.raises(SignalError, match=r"99 samples .* at least 100, .* before cutting"):
        bandpass(noise(99), RATE, **BAND)
    with pytest.raises(SignalError, match="1 of 500 samples are infinite"):
        bandpass(np.where(np.arange(500) == 3, np.inf, 0.0), RATE, **BAND)
    with pytest.raises(SignalError, match="single number"):
        lowpass(3.0, RATE, corner_hz=5, order=2, direction="causal")
    with pytest.raises(RateError, match="rate_hz came as 0"):
        lowpass(noise(10), 0, corner_hz=5, order=2, direction="causal")
