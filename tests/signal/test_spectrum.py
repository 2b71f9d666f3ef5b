"""Spectrum: figures whose answer is known by hand, Parseval, and hum of known power."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emgreview.errors import ParameterError, SignalError
from emgreview.signal.spectrum import band_power, mean_frequency, measure_mains, median_frequency, power_density

KNOWN = json.loads((Path(__file__).parents[1] / "reference" / "signal.json").read_text(encoding="utf-8"))["spectrum"]
RATE = 2000.0


def noise(*shape, seed=0):
    return np.random.default_rng(seed).standard_normal(shape)


def sine(hz, amplitude, seconds=10.0):
    return amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE + 0.2)


def test_flat_density():
    f = np.linspace(20, 450, 44)
    assert mean_frequency(f, np.ones(44)) == pytest.approx(KNOWN["flat_20_450_mean_hz"], abs=1e-9)
    assert median_frequency(f, np.ones(44)) == pytest.approx(KNOWN["flat_20_450_median_hz"], abs=1e-9)
    wide = np.arange(0, 1000.5, 0.7)
    assert mean_frequency(wide, np.ones(len(wide)), 20, 450) == pytest.approx(235, abs=1e-9)
    assert median_frequency(wide, np.ones(len(wide)), 20, 450) == pytest.approx(235, abs=1e-9)


@given(top=st.floats(50, 900), points=st.integers(2, 200))
def test_falling_triangle(top, points):
    f = np.linspace(0, top, points)
    assert mean_frequency(f, top - f) == pytest.approx(top * KNOWN["falling_triangle_mean"], rel=1e-6)
    assert median_frequency(f, top - f) == pytest.approx(top * KNOWN["falling_triangle_median"], rel=2e-5)
    assert median_frequency(f, top - f) == pytest.approx(top * (1 - 1 / np.sqrt(2)), rel=1e-9)


def test_two_equal_lines_have_their_mean_in_the_middle():
    f = np.arange(0, 301.0)
    lines = np.isin(f, [50, 150]).astype(float)
    assert mean_frequency(f, lines) == pytest.approx(100)
    assert 50 < median_frequency(f, lines) < 150
    x = sine(50, 3) + sine(150, 3)
    assert mean_frequency(*power_density(x, RATE)) == pytest.approx(100, abs=1e-6)


def test_no_power_gives_missing():
    f = np.arange(5.0)
    assert np.isnan(mean_frequency(f, np.zeros((2, 5)))).all()
    assert np.isnan(median_frequency(f, np.zeros((2, 5)))).all()


def test_parseval_and_shapes():
    x = noise(2, 3, 4000)
    f, p = power_density(x, RATE)
    assert p.shape == (2, 3, len(f))
    assert np.allclose(p.sum(axis=-1) * f[1], x.var(axis=-1))
    f, p = power_density(x, RATE, window_s=0.5)
    assert f[1] == pytest.approx(2)
    assert np.allclose(p.sum(axis=-1) * f[1], x.var(axis=-1), rtol=0.1)
    assert band_power(f, p).shape == (2, 3)
    assert np.allclose(band_power(f, p, 0, 100.7) + band_power(f, p, 100.7, 1000), band_power(f, p))


def test_gain_and_offset_leave_the_frequencies():
    x = noise(3, 4000)
    for measure in (mean_frequency, median_frequency):
        expected = measure(*power_density(x, RATE, window_s=0.5), 20, 450)
        assert np.allclose(measure(*power_density(-7 * x, RATE, window_s=0.5), 20, 450), expected)
        assert np.allclose(measure(*power_density(x + 1000, RATE, window_s=0.5), 20, 450), expected)


@pytest.mark.parametrize("hz", [50.0, 49.8, 60.0])
@pytest.mark.parametrize("seconds", [2.0, 3.3, 10.0])
def test_hum_of_amplitude_a_has_power_a_squared_over_2(hz, seconds):
    found = measure_mains(sine(hz, 4, seconds) + 1000, RATE, mains_hz=round(hz, -1))
    assert found.power == pytest.approx(8, rel=0.01)
    assert found.share > 0.99


def test_hum_with_harmonics_in_noise():
    x = noise(2, 40000) + sine(50, 2, 20) + sine(150, 1, 20)
    clean = measure_mains(noise(2, 40000), RATE, mains_hz=50)
    found = measure_mains(x, RATE, mains_hz=50)
    assert np.allclose(found.share, 2.5 / 3.5, atol=0.03)
    assert (found.prominence_db > 25).all()
    # Flat noise holds about 2 Hz in every 50 by itself.
    assert np.allclose(clean.share, 0.04, atol=0.01)
    assert (clean.prominence_db < 4).all()
    assert np.allclose(measure_mains(10 * x, RATE, mains_hz=50).share, found.share)


def test_mains_needs_two_seconds_and_a_sensible_frequency():
    with pytest.raises(SignalError, match=r"1\.999 s of samples came; the mains needs at least 2 s"):
        measure_mains(noise(3998), RATE, mains_hz=50)
    with pytest.raises(ParameterError, match="mains_hz came as 995"):
        measure_mains(noise(5000), RATE, mains_hz=995)


def test_bad_input_is_refused():
    x = noise(100)
    x[3] = np.nan
    with pytest.raises(SignalError, match="1 of 100 samples are missing"):
        power_density(x, RATE)
    with pytest.raises(SignalError, match="100 samples came for a window of 2000"):
        power_density(noise(100), RATE, window_s=1)
    f, p = power_density(noise(100), RATE)
    with pytest.raises(ParameterError, match="rising pair within 0 to 1000 Hz"):
        band_power(f, p, 500, 1200)
    with pytest.raises(SignalError, match="rising frequencies"):
        band_power(f[::-1], p)
