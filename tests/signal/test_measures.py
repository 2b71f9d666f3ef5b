"""Amplitude, baseline and level: published values, formulas, and what must not change them."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emgreview.errors import ParameterError, SignalError
from emgreview.signal.measures import (
    arv,
    baseline,
    level_db,
    level_from_snr_db,
    rms,
    rms_cv,
    snr_db,
    teager_kaiser,
)

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "signal.json").read_text(encoding="utf-8"))


def noise(*shape, seed=0):
    return np.random.default_rng(seed).standard_normal(shape)


def test_sine():
    # textbook values, from memory; those at 20 samples a cycle computed
    known = REFERENCE["sine"]
    fine = np.sin(2 * np.pi * (np.arange(100_000) + 0.5) / 10_000)
    assert rms(fine) == pytest.approx(known["rms"], abs=1e-5)
    assert arv(fine) == pytest.approx(known["arv"], abs=1e-5)
    assert rms(fine) / arv(fine) == pytest.approx(known["form_factor"], abs=5e-5)
    coarse = np.sin(2 * np.pi * np.arange(200) / 20 + 0.3)
    assert rms(coarse) == pytest.approx(known["rms"], abs=1e-5)
    assert arv(coarse) == pytest.approx(known["arv_20_samples_phase_0.3"], abs=5e-5)
    assert rms(coarse) / arv(coarse) == pytest.approx(known["form_factor_20_samples"], abs=1e-4)


def test_gaussian_noise():
    # textbook values, from memory; tolerances are 4 standard errors of 4 million samples
    known, x = REFERENCE["gaussian"], noise(4_000_000)
    rectified = np.abs(x)
    mean, sd = rectified.mean(), rectified.std()
    assert arv(x) == pytest.approx(known["arv"], abs=1.3e-3)
    assert rms(x) / arv(x) == pytest.approx(known["form_factor"], abs=2e-3)
    assert sd == pytest.approx(known["sd_rectified"], abs=1.3e-3)
    assert sd / mean == pytest.approx(known["cv_rectified"], abs=2e-3)
    assert np.mean(rectified > mean + 3 * sd) == pytest.approx(known["above_mean_plus_3sd"], abs=3e-4)
    assert np.mean(rectified > mean + 2 * sd) == pytest.approx(known["above_mean_plus_2sd"], abs=6e-4)


@given(gain=st.floats(0.01, 100), seed=st.integers(0, 99))
def test_amplitudes_scale_with_gain_and_ignore_sign_and_order(gain, seed):
    x = noise(3, 200, seed=seed)
    for measure in (rms, arv):
        assert np.allclose(measure(-gain * x), gain * measure(x))
        assert np.allclose(measure(x[:, ::-1]), measure(x))
    assert (rms(x) >= arv(x)).all()


def test_missing_samples_are_left_out_and_never_zero():
    x = noise(2, 100)
    x[0, 20:50], x[1] = np.nan, np.nan
    assert rms(x)[0] == pytest.approx(np.sqrt(np.mean(np.r_[x[0, :20], x[0, 50:]] ** 2)))
    assert np.isnan(rms(x)[1])
    assert np.isnan(arv(x)[1])
    assert np.isinf(rms(np.array([1.0, np.inf])))


def test_single_precision_is_summed_in_double():
    x = np.full(2_000_000, 0.1, dtype=np.float32)
    assert rms(x) == pytest.approx(float(np.float32(0.1)), rel=1e-10)


def test_baseline():
    x = noise(5, 1000) + 3
    rest = baseline(x, 100, 600)
    assert np.allclose(rest.mean, x[:, 100:600].mean(axis=-1))
    assert np.allclose(rest.sd, x[:, 100:600].std(axis=-1))
    assert np.allclose(rest.rms**2, rest.mean**2 + rest.sd**2)
    assert (rest.n_samples == 500).all()
    z = rest.z(x)
    assert np.allclose(z[:, 100:600].mean(axis=-1), 0)
    assert np.allclose(z[:, 100:600].std(axis=-1), 1)
    assert np.allclose(baseline(10 * x - 7, 100, 600).z(10 * x - 7), z)
    for constant in (1.0, 0.1, 1e5 / 3):
        x_same = np.full(1000, constant)
        assert np.isnan(baseline(x_same, 0, 333).z(x_same)).all(), "rounding of a constant is no spread"
    with pytest.raises(SignalError, match="samples 900 to 1100 of a stretch of 1000"):
        baseline(x, 900, 1100)


def test_levels():
    assert snr_db(10) == pytest.approx(REFERENCE["snr_of_level_10_db"], abs=5e-3)
    assert snr_db(0) == -np.inf
    assert np.isnan(snr_db(-1))
    levels = np.linspace(0.1, 60, 50)
    assert np.allclose(level_from_snr_db(snr_db(levels)), levels)
    rest, burst = noise(400_000), 3 * noise(400_000, seed=1)
    level = level_db(rest + burst, rest)
    assert level == pytest.approx(10 * np.log10(10), abs=0.05)
    assert snr_db(level) == pytest.approx(20 * np.log10(3), abs=0.05)
    assert np.allclose(level_db(5 * (rest + burst), -5 * rest), level)
    assert np.isnan(level_db(burst, 0 * rest))
    assert level_db(0 * rest, rest) == -np.inf


def test_chance_spread_of_an_rms():
    # 1/sqrt(4BT), Bendat & Piersol, from memory; numbers computed
    for window, cv in REFERENCE["rms_cv_400_hz"].items():
        assert rms_cv(400, float(window)) == pytest.approx(cv, abs=6e-4)
    # White noise at 2 kHz has B = 1000 Hz: measured over 4000 windows of 0.1 s (standard error of an SD: 1.1 %).
    measured = rms(noise(4000, 200))
    assert measured.std() / measured.mean() == pytest.approx(rms_cv(1000, 0.1), rel=0.045)
    with pytest.raises(ParameterError, match="window_s came as 0"):
        rms_cv(400, 0)


def test_energy_operator_on_a_sine_and_on_noise():
    # Kaiser 1990, from memory
    known = REFERENCE["teager_kaiser"]
    step = 2 * np.pi * known["frequency_hz"] / known["rate_hz"]
    x = known["amplitude"] * np.cos(step * np.arange(500) + 0.7)
    assert np.allclose(teager_kaiser(x), known["energy"], atol=5e-7)
    assert np.allclose(teager_kaiser(x), known["amplitude"] ** 2 * np.sin(step) ** 2, atol=1e-12)
    energy = teager_kaiser(2 * noise(4_000_000))
    assert energy.mean() == pytest.approx(4 * known["noise_mean_in_variances"], rel=0.01)
    assert energy.var() == pytest.approx(16 * known["noise_variance_in_squared_variances"], rel=0.02)


def test_energy_operator_ends_shape_precision_and_missing():
    x = noise(2, 3, 50).astype(np.float32)
    energy = teager_kaiser(x)
    assert energy.shape == x.shape
    assert energy.dtype == np.float32
    assert np.array_equal(energy[..., 0], energy[..., 1])
    assert np.array_equal(energy[..., -1], energy[..., -2])
    assert np.allclose(energy[..., 1:-1], x[..., 1:-1] ** 2 - x[..., :-2] * x[..., 2:], atol=1e-6)
    assert np.allclose(teager_kaiser(-x), energy)
    x[0, 0, 10] = np.nan
    assert np.flatnonzero(np.isnan(teager_kaiser(x)[0, 0])).tolist() == [9, 10, 11]
    assert teager_kaiser([1, 2, 3]).tolist() == [1, 1, 1]
    with pytest.raises(SignalError, match="2 samples came"):
        teager_kaiser([1.0, 2.0])
    with pytest.raises(SignalError, match="single number"):
        rms(3.0)
