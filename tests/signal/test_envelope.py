"""Envelopes: known truth on sines and noise, and what must not change them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emgreview.errors import ParameterError, RateError
from emgreview.signal.envelope import low_pass_envelope, rms_envelope, rms_half_window

RATE = 2000.0
SMOOTH = {"corner_hz": 10.0, "order": 2, "direction": "zero-phase"}


def noise(*shape, seed=0):
    return np.random.default_rng(seed).standard_normal(shape)


def test_mean_of_the_low_pass_envelope_is_the_average_rectified_value():
    """2A/π for a sine (textbook, from memory); the low-pass passes the mean and stops the ripple at 200 Hz."""
    x = 50 * np.sin(2 * np.pi * 100 * np.arange(8000) / RATE + 0.3)
    y = low_pass_envelope(x, RATE, **SMOOTH)
    assert np.allclose(y[2000:6000], np.mean(np.abs(x)), rtol=3e-3)
    assert y[4000] == pytest.approx(100 / np.pi, rel=0.01)


def test_rms_envelope_of_a_sine_is_its_rms_everywhere():
    """A/sqrt(2) (textbook): a window of a whole number of half periods, here 4 of 10 samples and one sample more."""
    x = 50 * np.sin(2 * np.pi * 100 * np.arange(4000) / RATE)
    y = rms_envelope(x, RATE, window_s=0.02)
    assert np.allclose(y[20:-20], 50 / np.sqrt(2), rtol=0.02)


@settings(max_examples=40, deadline=None)
@given(n=st.integers(1, 300), window=st.floats(0.0005, 0.1), seed=st.integers(0, 99))
def test_rms_envelope_is_what_its_definition_says(n, window, seed):
    x = noise(2, n, seed=seed)
    x[0, ::7] = np.nan
    half = rms_half_window(RATE, window)
    expected = np.full_like(x, np.nan)
    for row, i in np.ndindex(*x.shape):
        if not np.isnan(x[row, i]):
            expected[row, i] = np.sqrt(np.nanmean(x[row, max(0, i - half) : i + half + 1] ** 2))
    assert np.allclose(rms_envelope(x, RATE, window_s=window), expected, equal_nan=True)


def test_quiet_stretch_after_a_huge_artefact_keeps_its_precision():
    quiet = noise(4000)
    loud = np.concatenate((np.full(3000, 1e9), quiet))
    after = rms_envelope(loud, RATE, window_s=0.05)[3000 + 50 :]
    assert np.allclose(after, rms_envelope(quiet, RATE, window_s=0.05)[50:], rtol=1e-12)


@pytest.mark.parametrize(
    "envelope",
    [
        lambda x: low_pass_envelope(x, RATE, **SMOOTH),
        lambda x: low_pass_envelope(x, RATE, **{**SMOOTH, "direction": "causal"}),
        lambda x: rms_envelope(x, RATE, window_s=0.05),
    ],
    ids=["zero-phase", "causal", "rms"],
)
def test_sign_and_gain(envelope):
    x = noise(3, 2, 1000)
    assert envelope(x).shape == x.shape
    assert np.allclose(envelope(-x), envelope(x))
    assert np.allclose(envelope(10 * x), 10 * envelope(x))
    x[1, 1, 500:520] = np.nan
    assert np.array_equal(np.isnan(envelope(x)), np.isnan(x))


def test_causal_envelope_lags_and_zero_phase_leads():
    x = np.where(np.arange(4000) >= 2000, 1.0, 0.0)
    for direction, reached in (("zero-phase", 0.5), ("causal", 0.0)):
        y = low_pass_envelope(x, RATE, **{**SMOOTH, "direction": direction})
        assert y[1999] == pytest.approx(reached, abs=0.02)


def test_parameters_out_of_range_are_refused():
    with pytest.raises(ParameterError, match="window_s came as 0"):
        rms_envelope(noise(10), RATE, window_s=0)
    with pytest.raises(
        RateError, match="rate of 80 Hz is too low for a corner_hz of 50 Hz, which must lie below half of it, 40 Hz"
    ):
        low_pass_envelope(noise(100), 80.0, corner_hz=50, order=2, direction="causal")
