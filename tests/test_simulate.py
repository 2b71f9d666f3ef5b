"""Simulated trials: the stated truth holds in the samples themselves."""

import math

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnknownNameError
from emgreview.simulation import ARTEFACTS, artefacts, rest_noise
from emgreview.simulation.pool import FULL_EXCITATION, INTERVAL_CV, Drive, MotorPool

RATE_HZ = 2000.0
LEVELS = {
    "tonic": {"level_uv": 8.0},
    "stray_unit": {"level_uv": 20.0},
    "crosstalk": {"level_uv": 10.0},
    "heart": {"level_uv": 60.0},
    "swing": {"level_uv": 40.0},
    "mains": {"level_uv": 6.0},
    "pop": {"level_uv": 150.0},
    "dropout": {},
    "clip": {"share": 0.5},
}


def band_pass(x):
    """An independent road to the band: a steep Butterworth, both ways."""
    return signal.sosfiltfilt(signal.butter(8, [20, 450], "bandpass", fs=RATE_HZ, output="sos"), x, axis=-1)


def rms(x, where):
    return np.sqrt(np.mean(x[where] ** 2))


@pytest.fixture(scope="module")
def fast():
    return er.simulate(30, RATE_HZ, seed=3, snr_db=20.0, rise_s=0.05)


def times(sim):
    return np.arange(sim.x.shape[1]) / sim.rate_hz


def test_same_seed_same_bits_and_another_seed_others(fast):
    again = er.simulate(30, RATE_HZ, seed=3, snr_db=20.0, rise_s=0.05)
    np.testing.assert_array_equal(again.x, fast.x)
    assert not np.array_equal(er.simulate(30, RATE_HZ, seed=4, snr_db=20.0, rise_s=0.05).x, fast.x)


def test_burst_is_exactly_zero_before_the_first_potential_and_after_the_last(fast):
    t = times(fast)
    for burst, onset, offset in zip(fast.burst_uv, fast.onset_s, fast.offset_s, strict=True):
        assert not burst[t < onset - 0.008].any()
        assert not burst[t > offset + 0.008].any()
        assert burst[(t >= onset) & (t < onset + 0.01)].any()


def test_first_potential_has_risen_by_a_tenth_at_the_onset():
    pool = MotorPool.draw(np.random.default_rng(0))
    rate_hz = 200_000.0
    for unit in range(0, 120, 7):
        fired = type(pool.discharges(_drive(1), np.random.default_rng(0)))(
            np.array([0]), np.array([unit]), np.array([0.00512])
        )
        x = np.abs(pool.signal(fired, (1, 8000), rate_hz)[0])
        first_peak = signal.argrelmax(x)[0][0]
        onset = pool.truth(fired, 1)[0][0]
        assert x[round(onset * rate_hz)] == pytest.approx(0.1 * x[first_peak], rel=0.02)
        assert not x[: round(0.00512 * rate_hz)].any()


@pytest.mark.parametrize("onset_s", [1.1, 1.25037])
def test_asked_onset_is_the_first_potential(onset_s):
    sim = er.simulate(12, RATE_HZ, seed=1, onset_s=onset_s, rise_s=0.1)
    np.testing.assert_array_equal(sim.onset_s, onset_s)
    first = np.array([np.flatnonzero(row)[0] for row in sim.burst_uv]) / RATE_HZ
    assert (np.abs(first - onset_s) < 0.008).all()


@pytest.mark.parametrize("snr_db", [5.0, 15.0, 30.0])
def test_level_is_the_burst_alone_over_the_rest(snr_db):
    sim = er.simulate(40, RATE_HZ, seed=8, snr_db=snr_db)
    t = times(sim)
    active = (t >= sim.onset_s[:, None]) & (t <= sim.offset_s[:, None])
    rest = t < 1.0
    rest_rms = rms(band_pass(sim.x)[:, rest], ...)
    assert rest_rms == pytest.approx(sim.noise_uv, rel=0.03)
    alone = rms(band_pass(sim.burst_uv), active)
    assert 20 * np.log10(alone / sim.noise_uv) == pytest.approx(snr_db, abs=0.3)
    together = rms(band_pass(sim.x), active)
    assert together**2 == pytest.approx(alone**2 + rest_rms**2, rel=0.05)
    np.testing.assert_array_equal(sim.level_db, snr_db)


def test_slow_or_weak_rises_become_visible_later(fast):
    lag = {
        name: np.nanmedian(sim.visible_s - sim.onset_s)
        for name, sim in {
            "fast": fast,
            "slow": er.simulate(30, RATE_HZ, seed=3, snr_db=20, rise_s=0.3, duration_s=0.6),
            "slow and weak": er.simulate(30, RATE_HZ, seed=3, snr_db=8, rise_s=0.3, duration_s=0.6),
        }.items()
    }
    assert 0 <= lag["fast"] < lag["slow"] < lag["slow and weak"]
    assert lag["slow and weak"] > 0.02
    assert (fast.drive_s < fast.onset_s).all()


def test_amplitude_grows_over_the_rise():
    sim = er.simulate(60, RATE_HZ, seed=2, snr_db=20, rise_s=0.3, duration_s=0.8, onset_s=1.2)
    t = times(sim)
    early, middle, plateau = (
        rms(sim.burst_uv, (..., (t > 1.2 + a) & (t <= 1.2 + b))) for a, b in ((0.0, 0.05), (0.05, 0.15), (0.3, 0.6))
    )
    assert early < 0.5 * plateau
    assert early < middle < plateau


def test_no_activity_has_no_truth_and_only_noise():
    sim = er.simulate(4, RATE_HZ, seed=0, snr_db=[-math.inf, 20, -math.inf, 10])
    assert sim.present.tolist() == [False, True, False, True]
    for truth in (sim.onset_s, sim.drive_s, sim.visible_s, sim.offset_s, sim.level_db):
        assert np.isnan(truth[~sim.present]).all()
    assert not sim.burst_uv[~sim.present].any()
    assert (sim.x[~sim.present].std(axis=1) > 1).all()


def test_median_frequency_is_that_of_surface_emg():
    """The median frequency of voluntary bursts is commonly 50 to 200 Hz (common practice, no source)."""
    sim = er.simulate(30, RATE_HZ, seed=5, snr_db=25)
    f, power = signal.periodogram(sim.burst_uv, RATE_HZ)
    share = np.cumsum(power.sum(axis=0)) / power.sum()
    assert 80 < f[np.searchsorted(share, 0.5)] < 200


def _drive(rows, rise_s=1.0, hold_s=4.0):
    ones = np.ones(rows)
    return Drive(0 * ones, 0.5 * FULL_EXCITATION * ones, rise_s * ones, hold_s * ones, 0.2 * ones)


def test_units_follow_the_published_rates_and_order():
    """Fuglevand, Winter & Patla 1993 (from memory): recruitment by size, 8 to 35 impulses a second, interval CV 0.2."""
    rng = np.random.default_rng(1)
    pool = MotorPool.draw(rng)
    fired = pool.discharges(_drive(1), rng)
    first = [fired.time_s[fired.unit == unit].min() for unit in np.unique(fired.unit)]
    assert first == sorted(first)
    cvs, rates = [], []
    for unit in np.unique(fired.unit)[:60]:
        steady = np.sort(fired.time_s[(fired.unit == unit) & (fired.time_s > 1.5) & (fired.time_s < 5.0)])
        intervals = np.diff(steady)
        rates.append(1 / intervals.mean())
        cvs.append(intervals.std() / intervals.mean())
    assert min(rates) > 8
    assert max(rates) < 37
    assert np.median(cvs) == pytest.approx(INTERVAL_CV, abs=0.03)


@pytest.mark.parametrize("name", ARTEFACTS)
def test_an_artefact_changes_nothing_but_its_own_part(name):
    plain = er.simulate(3, RATE_HZ, seed=9)
    spoilt = er.simulate(3, RATE_HZ, seed=9, artefacts={name: LEVELS[name]})
    assert not np.array_equal(spoilt.x, plain.x)
    np.testing.assert_array_equal(spoilt.burst_uv, plain.burst_uv)
    np.testing.assert_array_equal(spoilt.onset_s, plain.onset_s)
    both = er.simulate(3, RATE_HZ, seed=9, artefacts={name: LEVELS[name], "mains": LEVELS["mains"]})
    again = er.simulate(3, RATE_HZ, seed=9, artefacts={"mains": LEVELS["mains"], name: LEVELS[name]})
    np.testing.assert_array_equal(both.x, again.x)


def made(name, **levels):
    x = np.zeros((4, 8000))
    return ARTEFACTS[name](x, RATE_HZ, np.random.default_rng(2), **{**LEVELS[name], **levels})


def test_artefacts_have_their_stated_levels():
    np.testing.assert_allclose(np.sqrt(np.mean(made("mains") ** 2, axis=1)), 6.0, rtol=0.05)
    np.testing.assert_allclose(np.sqrt(np.mean(artefacts.in_band(made("tonic"), RATE_HZ) ** 2, axis=1)), 8.0)
    np.testing.assert_allclose(np.abs(made("pop", at_s=1.0)).max(axis=1), 150.0)
    np.testing.assert_allclose(made("heart").max(axis=1), 60.0, rtol=0.05)
    moving = made("swing", at_s=1.0, length_s=0.5)
    assert not moving[:, :2000].any()
    assert not moving[:, 3001:].any()
    np.testing.assert_allclose(np.sqrt(np.mean(moving[:, 2000:3000] ** 2, axis=1)), 40.0, rtol=1e-6)
    arriving = artefacts.in_band(made("crosstalk", at_s=1.0, duration_s=0.4), RATE_HZ)
    np.testing.assert_allclose(np.sqrt(np.sum(arriving**2, axis=1) / 800), 10.0)
    stray = made("stray_unit", at_s=1.0, count=3)
    assert not stray[:, :2000].any()
    np.testing.assert_allclose(np.abs(stray).max(axis=1), 20.0, rtol=0.1)


def test_mains_lies_on_its_harmonics_and_the_heart_beats_at_its_rate():
    hum = ARTEFACTS["mains"](np.zeros((1, 40000)), RATE_HZ, np.random.default_rng(0), level_uv=5.0, hz=60.0)
    f, power = signal.periodogram(hum[0], RATE_HZ)
    near = np.abs(f[:, None] - 60.0 * np.arange(1, 8)).min(axis=1) < 2
    assert power[near].sum() > 0.99 * power.sum()
    assert abs(f[power.argmax()] - 60) <= 0.25
    beats = ARTEFACTS["heart"](np.zeros((1, 120_000)), RATE_HZ, np.random.default_rng(0), level_uv=50.0)
    assert len(signal.find_peaks(beats[0], height=30)[0]) == pytest.approx(68, abs=4)


def test_flat_and_clipped_samples_are_flat_and_clipped():
    x = rest_noise((2, 4000), RATE_HZ, np.random.default_rng(0), level_uv=3.0)
    flat = artefacts.dropout(x, RATE_HZ, np.random.default_rng(0), at_s=0.5, length_s=0.05)
    assert not flat[:, 1000:1100].any()
    np.testing.assert_array_equal(flat[:, 1100:], x[:, 1100:])
    clipped = artefacts.clip(x, RATE_HZ, np.random.default_rng(0), share=0.3)
    np.testing.assert_allclose(np.abs(clipped).max(axis=1), 0.3 * np.abs(x).max(axis=1))
    assert (np.abs(clipped) == np.abs(clipped).max(axis=1, keepdims=True)).sum() > 100


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"snr_db": [1.0, 2.0]}, "snr_db .* 3 trials"),
        ({"snr_db": math.nan}, "snr_db .* NaN"),
        ({"rise_s": 0.0}, "rise_s"),
        ({"duration_s": 0.1}, "duration_s .* at least"),
        ({"onset_s": 2.4}, "onset_s .* lengthen after_s"),
        ({"onset_s": -0.1}, "onset_s"),
        ({"effort": 2.0}, "effort"),
        ({"noise_uv": 0.0}, "noise_uv"),
        ({"artefacts": {"mains": {}}}, "states level_uv"),
    ],
)
def test_values_out_of_range_are_refused(options, words):
    with pytest.raises(ParameterError, match=words):
        er.simulate(3, RATE_HZ, seed=0, **options)


def test_unknown_names_and_low_rates_are_refused():
    with pytest.raises(UnknownNameError, match="Did you mean 'mains'"):
        er.simulate(3, RATE_HZ, seed=0, artefacts={"main": {"level_uv": 1}})
    with pytest.raises(UnknownNameError, match="level of 'mains'"):
        er.simulate(3, RATE_HZ, seed=0, artefacts={"mains": {"level": 1}})
    with pytest.raises(RateError, match="1000 Hz"):
        er.simulate(3, 500.0, seed=0)
    with pytest.raises(ParameterError, match="n_trials"):
        er.simulate(0, RATE_HZ, seed=0)
