"""Measures of bursts: textbook signals, independent references, and what must not change them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, signal, stats

from emgreview.errors import RateError, SignalError
from emgreview.signal.envelope import low_pass_envelope
from emgreview.signal.measures import measure, reaction, slope_per_s, stretches

RATE_HZ = 2000.0
NAMES = ("rms", "arv", "peak", "integral", "rise_per_s")
TIMES = ("duration_s", "time_to_peak_s", "mean_hz", "median_hz")


def envelope(x):
    return low_pass_envelope(x, RATE_HZ, corner_hz=50, order=2, direction="zero-phase")


def bursts(seed=0, rows=4, n=3000):
    rng = np.random.default_rng(seed)
    shape = np.exp(-0.5 * ((np.arange(n) - 1500) / 150) ** 2)
    band = signal.butter(4, [20, 450], "bandpass", fs=RATE_HZ, output="sos")
    return signal.sosfiltfilt(band, rng.standard_normal((rows, n)), axis=1) * (1 + 30 * shape)


def test_stretches_are_cut_out_and_whole_or_missing():
    x = np.arange(40.0).reshape(4, 10)
    part, whole = stretches(x, [2, 0, np.nan, 5], [5, 10, 4, 11])
    assert part.shape == (4, 10)
    assert part[0, :3].tolist() == [2, 3, 4]
    assert np.isnan(part[0, 3:]).all()
    assert part[1].tolist() == x[1].tolist()
    assert np.isnan(part[2:]).all(), "an unknown end, and an end beyond the row"
    assert whole.tolist() == [True, True, False, False]
    x[0, 3] = np.nan
    assert stretches(x, 2, 5)[1].tolist() == [False, True, True, True]
    assert stretches(x, 5, 5)[0].shape == (4, 0)
    with pytest.raises(SignalError, match=r"shape \(10,\)"):
        stretches(x[0], 0, 3)


def test_amplitudes_of_a_sine_burst():
    # RMS A/sqrt(2), ARV 2A/pi: textbook, from memory; integral = ARV times duration
    t = np.arange(4000) / RATE_HZ
    x = (7.0 * np.sin(2 * np.pi * 100 * t + 0.3))[np.newaxis]
    found = measure(x, np.abs(x), RATE_HZ, 1000, 3000)
    assert found.duration_s[0] == 1.0
    assert found.rms[0] == pytest.approx(7 / np.sqrt(2), rel=1e-9)
    assert found.arv[0] == pytest.approx(2 * 7 / np.pi, rel=0.01)
    assert found.integral[0] == pytest.approx(found.arv[0] * 1.0)
    assert found.mean_hz[0] == pytest.approx(100, abs=1)
    assert found.median_hz[0] == pytest.approx(100, abs=1)


def test_against_numpy_and_scipy_row_by_row():
    x = bursts()
    outline = envelope(x)
    start, stop = np.array([1200, 1250, 1300, 1000]), np.array([1800, 1700, 2400, 1999])
    found = measure(x, outline, RATE_HZ, start, stop)
    for row, (a, b) in enumerate(zip(start, stop, strict=True)):
        part, e = x[row, a:b], outline[row, a:b]
        assert found.rms[row] == pytest.approx(np.sqrt(np.mean(part**2)))
        assert found.arv[row] == pytest.approx(np.mean(np.abs(part)))
        assert found.integral[row] == pytest.approx(integrate.trapezoid(np.abs(part), dx=1 / RATE_HZ), rel=0.01)
        assert found.peak[row] == e.max()
        assert found.time_to_peak_s[row] == e.argmax() / RATE_HZ
        assert found.rise_per_s[row] == pytest.approx((e.max() - e[0]) / (e.argmax() / RATE_HZ))
        # scipy.signal.periodogram as an independent spectrum, summed without interpolation
        f, p = signal.periodogram(part - part.mean(), RATE_HZ, nfft=1 << 14)
        assert found.mean_hz[row] == pytest.approx(np.sum(f * p) / np.sum(p), rel=1e-3)
        assert found.median_hz[row] == pytest.approx(f[np.searchsorted(np.cumsum(p), 0.5 * p.sum())], abs=0.5)


def test_rate_of_rise_of_a_triangle():
    outline = np.concatenate([np.zeros(100), np.linspace(0, 50, 201), np.linspace(50, 0, 201)[1:]])[np.newaxis]
    found = measure(outline, outline, RATE_HZ, 100, 500)
    assert found.time_to_peak_s[0] == pytest.approx(0.1)
    assert found.rise_per_s[0] == pytest.approx(500.0)
    falling = measure(outline, outline, RATE_HZ, 300, 500)
    assert falling.time_to_peak_s[0] == 0
    assert np.isnan(falling.rise_per_s[0])


@settings(max_examples=20, deadline=None)
@given(gain=st.floats(0.01, 100), shift=st.integers(-400, 400), seed=st.integers(0, 9))
def test_gain_scales_amplitudes_and_neither_sign_nor_place_matters(gain, shift, seed):
    x = bursts(seed)
    outline = envelope(x)
    plain = measure(x, outline, RATE_HZ, 1200, 1800)
    moved = [np.roll(part, shift, axis=1) for part in (-gain * x, gain * outline)]
    other = measure(*moved, RATE_HZ, 1200 + shift, 1800 + shift)
    for name in NAMES:
        np.testing.assert_allclose(getattr(other, name), gain * getattr(plain, name), rtol=1e-9)
    for name in TIMES:
        np.testing.assert_allclose(getattr(other, name), getattr(plain, name), rtol=1e-9)


def test_rows_do_not_depend_on_each_other():
    x = bursts()
    outline = envelope(x)
    start, stop = np.array([1200, np.nan, 1300, 1000]), np.array([1800, 1700, 2400, 3600])
    together = measure(x, outline, RATE_HZ, start, stop)
    for row in range(4):
        alone = measure(x[[row]], outline[[row]], RATE_HZ, start[row], stop[row])
        for name in (*NAMES, "arv", *TIMES):
            np.testing.assert_array_equal(getattr(together, name)[row], getattr(alone, name)[0])
    for name in (*NAMES, "mean_hz"):
        assert np.isnan(getattr(together, name)[[1, 3]]).all()


@settings(max_examples=20, deadline=None)
@given(length=st.integers(200, 700), longer=st.integers(1, 2000), seed=st.integers(0, 20))
def test_a_longer_burst_beside_it_changes_no_bit(length, longer, seed):
    x = bursts(seed, rows=2)
    alone = measure(x[:1], envelope(x[:1]), RATE_HZ, 900, 900 + length)
    beside = measure(x, envelope(x), RATE_HZ, np.array([900, 0]), np.array([900 + length, 900 + longer]))
    for name in (*NAMES, *TIMES):
        assert getattr(beside, name)[0] == getattr(alone, name)[0], name


@pytest.mark.parametrize(("rate_hz", "length_s"), [(1000, 0.1), (2000, 0.1), (2000, 0.35), (20_000, 0.1), (2000, 3.0)])
def test_a_median_frequency_is_near_that_of_a_far_finer_grid(rate_hz, length_s):
    rng = np.random.default_rng(1)
    n = round(length_s * rate_hz)
    band = signal.butter(4, [20, 450], "bandpass", fs=rate_hz, output="sos")
    x = signal.sosfiltfilt(band, rng.standard_normal((20, n + 400)), axis=1)[:, 200 : 200 + n]
    found = measure(x, np.abs(x), rate_hz, 0, n)
    # scipy.signal.periodogram as an independent spectrum
    f, p = signal.periodogram(x, rate_hz, nfft=1 << 20)
    share = np.cumsum(p, axis=1) / p.sum(axis=1, keepdims=True)
    np.testing.assert_allclose(found.median_hz, f[(share < 0.5).sum(axis=1)], atol=0.1)


def test_a_burst_that_lacks_a_sample_has_no_measures_but_a_duration():
    x = bursts()
    outline = envelope(x)
    x[0, 1500] = np.nan
    found = measure(x, outline, RATE_HZ, 1200, 1800)
    assert np.isnan([found.rms[0], found.integral[0], found.peak[0], found.mean_hz[0]]).all()
    assert found.duration_s[0] == pytest.approx(0.3)
    assert np.isfinite([found.rms[1], found.integral[1], found.peak[1], found.mean_hz[1]]).all()


def test_no_frequency_of_a_short_stretch_and_no_row_at_all():
    x = bursts()
    assert np.isnan(measure(x, x, RATE_HZ, 1200, 1260).mean_hz).all()
    assert np.isfinite(measure(x, x, RATE_HZ, 1200, 1400).mean_hz).all()
    assert measure(x[:0], x[:0], RATE_HZ, np.array([]), np.array([])).rms.shape == (0,)
    assert np.isnan(measure(x, x, RATE_HZ, np.nan, np.nan).rms).all()
    with pytest.raises(SignalError, match="must be alike"):
        measure(x, x[:, 1:], RATE_HZ, 0, 10)
    with pytest.raises(RateError, match="above 0"):
        measure(x, x, 0, 0, 10)


def test_slope_of_a_creeping_preparation():
    # scipy.stats.linregress as an independent reference
    x = bursts()
    t = np.arange(x.shape[1]) / RATE_HZ
    found = slope_per_s(x, RATE_HZ, 200, 1200)
    for row, slope in zip(x, found, strict=True):
        assert slope == pytest.approx(stats.linregress(t[200:1200], np.abs(row[200:1200])).slope)
    ramp = (5 + 12 * t) * np.where(np.arange(t.size) % 2, 1, -1)
    np.testing.assert_allclose(slope_per_s(ramp[np.newaxis], RATE_HZ, 0, 2000), 12.0)
    assert np.isnan(slope_per_s(x, RATE_HZ, 100, 101)).all()
    assert np.isnan(slope_per_s(x, RATE_HZ, -1, 100)).all()


@given(go=st.floats(-5, 5), pmt=st.floats(-1, 1), mt=st.floats(-1, 1))
def test_reaction_time_is_premotor_plus_motor_time(go, pmt, mt):
    # Botwinick & Thompson 1966: RT = PMT + MT
    found = reaction(go, go + pmt, go + pmt + mt)
    assert found.reaction_s == pytest.approx(found.premotor_s + found.motor_s, abs=1e-12)
    assert bool(found.impossible) == (go + pmt + mt - (go + pmt) <= 0)


def test_a_muscle_that_starts_with_its_response_or_later_is_flagged():
    found = reaction([0, 0, 0, 0], [0.2, 0.3, 0.4, np.nan], [0.3, 0.3, 0.3, 0.3])
    assert found.impossible.tolist() == [False, True, True, False]
    assert np.isnan(found.motor_s[3])
    assert found.reaction_s[3] == pytest.approx(0.3)
