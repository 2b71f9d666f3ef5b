"""Onsets: relations that must hold for every method, and known truth on small made signals."""

import dataclasses
import pickle

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.errors import ParameterError, RateError, SignalError, UnknownNameError
from emgreview.signal.onset import METHODS
from emgreview.signal.onset.ramp import PLAIN, cumulative, profiles, quantile

RATE_HZ = 2000.0
CUE_S = 0.7
ONSET_S, OFFSET_S = 1.0, 1.5
NUMBERS = [field.name for field in dataclasses.fields(er.Onsets)][:9]
BAND = signal.butter(2, [20, 450], "bandpass", fs=RATE_HZ, output="sos")


def made(
    n: int = 12, *, level_db: float = 20.0, rise_s: float = 0.02, seed: int = 1, length_s: float = 2.2, rate_hz=RATE_HZ
) -> np.ndarray:
    """Gaussian rest with a burst of band 50 to 160 Hz from ONSET_S to OFFSET_S, band-passed; rest SD about 1."""
    rng = np.random.default_rng(seed)
    band = signal.butter(2, [20, min(450, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    samples = int(length_s * rate_hz)
    time_s = np.arange(samples) / rate_hz
    noise = signal.sosfiltfilt(band, rng.standard_normal((n, samples)))
    muscle = signal.butter(2, [50, min(160, 0.4 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    burst = signal.sosfiltfilt(muscle, rng.standard_normal((n, samples)))
    gain = np.clip((time_s - ONSET_S) / rise_s, 0, 1) * np.clip((OFFSET_S - time_s) / 0.05, 0, 1)
    return noise / noise.std() + signal.sosfiltfilt(band, burst / burst.std() * gain) * 10 ** (level_db / 20)


def find(x: np.ndarray, method: str = "ramp", rate_hz: float = RATE_HZ, **options) -> er.Onsets:
    return er.estimate_onsets(
        x, rate_hz, **{"cue_s": CUE_S, "rest_s": (-0.6, 0.0), "search_s": (0.0, None), "method": method, **options}
    )


def same(a: er.Onsets, b: er.Onsets, tolerance: float = 1e-4) -> None:
    for name in NUMBERS:
        np.testing.assert_allclose(getattr(a, name), getattr(b, name), rtol=tolerance, atol=tolerance, err_msg=name)
    assert list(a.baseline_note) == list(b.baseline_note)


def part(found: er.Onsets, rows) -> er.Onsets:
    return dataclasses.replace(found, **{name: getattr(found, name)[rows] for name in [*NUMBERS, "baseline_note"]})


@pytest.fixture(params=list(METHODS))
def method(request) -> str:
    return request.param


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda x: 1e-6 * x, id="gain"),
        pytest.param(lambda x: 3e5 * x, id="large gain"),
        pytest.param(lambda x: -x, id="sign"),
        pytest.param(lambda x: x + 37.0, id="offset"),
        pytest.param(
            lambda x: x * np.linspace(0.1, 9, len(x))[:, None] + np.arange(len(x))[:, None], id="each its own"
        ),
    ],
)
def test_gain_sign_and_offset_do_not_matter(method, change):
    x = np.concatenate([made(6), made(4, level_db=6, rise_s=0.2), made(2, level_db=-90)])
    same(find(x, method), find(change(x), method))


def test_order_batch_and_neighbours_do_not_matter(method):
    x = np.concatenate([made(6), made(4, level_db=8, rise_s=0.2), made(2, level_db=-90)])
    whole = find(x, method)
    order = np.random.default_rng(4).permutation(len(x))
    same(part(whole, order), find(x[order], method))
    same(part(whole, slice(3, 4)), find(x[3:4], method))

    beside = np.insert(x, [0, 5, len(x)], 0.0, axis=0)
    beside[6, 100] = np.nan
    beside[-1] = 1e9 + 0 * beside[-1]
    good = np.setdiff1d(np.arange(len(beside)), [0, 6, len(beside) - 1])
    found = find(beside, method)
    same(whole, part(found, good))
    assert list(found.baseline_note[[0, 6, len(beside) - 1]]) == ["flat", "missing", "flat"]
    for name in NUMBERS:
        assert np.isnan(getattr(found, name)[[0, 6, len(beside) - 1]]).all(), name


def test_a_batch_larger_than_a_chunk_is_the_same_as_its_parts(monkeypatch):
    x = np.concatenate([made(8), made(4, level_db=-90)])
    whole = find(x)
    monkeypatch.setattr("emgreview.signal.onset.CHUNK_SAMPLES", 5 * x.shape[1])
    same(whole, find(x))


def test_moving_the_signal_moves_the_onset_as_much(method):
    x = made(10, length_s=2.4)
    late, early = (
        find(part, method, cue_s=cue_s, rest_s=(-0.4, 0.0))
        for part, cue_s in [(x[:, :-400], CUE_S), (x[:, 400:], CUE_S - 0.2)]
    )
    np.testing.assert_allclose(late.onset_s - early.onset_s, 0.2, atol=0.002)


@pytest.mark.parametrize(("level_db", "rise_s", "within_s"), [(20, 0.01, 0.006), (20, 0.08, 0.012), (10, 0.03, 0.015)])
def test_ramp_is_near_the_known_truth(level_db, rise_s, within_s):
    found = find(made(40, level_db=level_db, rise_s=rise_s))
    assert np.isfinite(found.onset_s).all()
    assert np.median(np.abs(found.onset_s - ONSET_S)) < within_s
    inside = (found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)
    assert inside.mean() > 0.8
    assert ((found.low_s <= found.onset_s) & (found.onset_s <= found.high_s)).all()
    assert np.median(np.abs(found.offset_s - OFFSET_S)) < 0.03
    assert ((found.offset_low_s <= found.offset_s) & (found.offset_s <= found.offset_high_s)).all()
    assert np.median(np.abs(found.level_db - level_db)) < 2.0
    assert (found.present > 0.9).all()


def test_ramp_beats_the_thresholds_on_a_slow_rise():
    x = made(40, level_db=15, rise_s=0.15)
    error = {m: np.median(np.abs(np.nan_to_num(find(x, m).onset_s, nan=np.inf) - ONSET_S)) for m in METHODS}
    assert error["ramp"] < 0.5 * min(error["threshold"], error["energy"])


def test_the_interval_narrows_as_the_level_rises_and_the_rise_is_told():
    weak, strong = find(made(30, level_db=8, rise_s=0.05)), find(made(30, level_db=25, rise_s=0.05))
    assert np.median(weak.high_s - weak.low_s) > 2 * np.median(strong.high_s - strong.low_s)
    fast, slow = (np.median(find(made(30, level_db=25, rise_s=r)).rise_s) for r in (0.01, 0.15))
    assert fast < 0.03
    assert 0.08 < slow < 0.25


def test_thresholds_do_not_invent_intervals_or_probabilities():
    for m in ("threshold", "energy"):
        found = find(made(), m)
        assert np.isfinite(found.onset_s).all()
        for name in ("low_s", "high_s", "offset_low_s", "offset_high_s", "rise_s", "present"):
            assert np.isnan(getattr(found, name)).all(), name


def test_threshold_bias_is_that_of_the_recipe():
    """Step at 20 dB, 50 Hz zero-phase second-order envelope, mean + 3 SD, 25 ms: about -5 ms (own computation)."""
    found = find(made(60, level_db=20, rise_s=1e-4), "threshold", rest_s=(-0.4, 0.1))
    assert -0.010 < np.median(found.onset_s - ONSET_S) < -0.001


def test_rest_alone_gives_no_onset():
    found = find(made(200, level_db=-90))
    assert np.isnan(found.onset_s).mean() >= 0.99
    assert np.mean(found.present < 0.5) >= 0.99
    quiet = found.present < 0.5
    for name in NUMBERS[:-1]:
        assert np.isnan(getattr(found, name)[quiet]).all(), name


def test_a_knock_is_no_activity_and_does_not_pull_the_onset():
    x = made(20, level_db=-90)
    knock = np.hanning(80) * 40 * np.cos(np.arange(80) * 0.5)
    x[:, 1800:1880] += knock
    assert np.isnan(find(x).onset_s).all()
    x = made(20)
    x[:, 1600:1640] += knock[::2]
    assert np.median(np.abs(find(x).onset_s - ONSET_S)) < 0.01


def test_activity_that_lasts_has_no_offset_and_earlier_activity_no_onset():
    x = made(10, length_s=1.45)
    found = find(x)
    assert np.isfinite(found.onset_s).all()
    assert np.isnan(found.offset_s).all()
    already = find(made(10), search_s=(0.45, None))
    assert (already.present > 0.5).all()
    assert np.isnan(already.onset_s).all()


def test_baseline_notes():
    quiet, busy = made(4, level_db=-90), made(4)
    assert list(find(quiet).baseline_note) == [""] * 4
    assert list(find(busy, cue_s=1.25).baseline_note) == ["active before the cue"] * 4
    ramped = quiet * np.linspace(0.3, 2.5, quiet.shape[1])
    assert "drifting" in set(find(ramped).baseline_note)
    assert list(find(quiet, rest_s=(-0.2, 0)).baseline_note) == ["too short"] * 4


def test_low_rates_and_short_trials_run():
    x = made(10, rate_hz=200.0)
    for m in METHODS:
        found = find(x, m, rate_hz=200.0)
        assert np.median(np.abs(found.onset_s - ONSET_S)) < 0.03, m


@pytest.mark.parametrize(
    ("options", "error", "match"),
    [
        ({"method": "rampp"}, UnknownNameError, "Did you mean 'ramp'"),
        ({"tempr": 1.0}, UnknownNameError, "Did you mean 'temper'"),
        ({"temper": -1.0}, ParameterError, "temper came as -1.0"),
        ({"method": "threshold", "k": "3"}, ParameterError, "k came as '3'"),
        ({"rest_s": (-0.9, 0.0)}, ParameterError, "cut longer trials"),
        ({"rest_s": (-0.05, 0.0)}, ParameterError, r"at least 0\.1 s are needed"),
        ({"rest_s": 0.5}, ParameterError, r"give \(start, stop\)"),
        ({"search_s": (0.0, 9.0)}, ParameterError, "search_s"),
        ({"search_s": (0.3, 0.35)}, ParameterError, r"at least 0\.2 s are needed"),
        ({"cue_s": float("nan")}, ParameterError, "rest_s"),
    ],
)
def test_errors_say_what_to_do(options, error, match):
    with pytest.raises(error, match=match):
        find(made(2), **options)


def test_errors_of_shape_and_rate():
    with pytest.raises(SignalError, match=r"x\[np.newaxis, :\]"):
        find(made(1)[0])
    with pytest.raises(SignalError, match="shape"):
        find(np.empty((0, 100)))
    with pytest.raises(SignalError, match="numbers"):
        find(np.array([["a", "b"]]))
    with pytest.raises(RateError, match="at least 100 Hz"):
        er.estimate_onsets(made(1), 0.0, cue_s=CUE_S)
    with pytest.raises(RateError, match="lower envelope_hz"):
        find(made(1), "threshold", envelope_hz=1500.0)


def test_a_flat_trial_alone_is_told():
    found = find(np.zeros((2, 4400)))
    assert list(found.baseline_note) == ["flat", "flat"]
    assert np.isnan(found.onset_s).all()


def test_the_input_is_left_alone_and_the_parameters_are_kept():
    x = made(3)
    before = x.copy()
    found = find(x, "threshold", k=2.5)
    np.testing.assert_array_equal(x, before)
    assert found.method == "threshold"
    assert found.parameters["k"] == 2.5
    again = pickle.loads(pickle.dumps(found))
    np.testing.assert_array_equal(again.onset_s, found.onset_s)


def test_quantile_and_cumulative_are_inverses():
    mass = np.random.default_rng(0).random((5, 40)) + 0.01
    cdf = np.pad(np.cumsum(mass, axis=1), ((0, 0), (1, 0)))
    cdf /= cdf[:, -1:]
    for q in (0.05, 0.5, 0.95):
        np.testing.assert_allclose(cumulative(cdf, quantile(cdf, q)), q, atol=1e-9)


def test_profiles_hold_the_equation_of_the_module():
    """l computed from the table equals the sum written out, for a few onsets, rises and levels."""
    step_s, candidates, wide = 0.002, 10, 60
    table, ln_v, rises_s, _ = profiles(step_s, candidates, wide, PLAIN)
    y = np.random.default_rng(3).exponential(2.0, wide)
    from_table = (y @ table + ln_v[wide]).reshape(candidates, len(rises_s), -1)
    levels = 10 ** (np.arange(from_table.shape[2]) * 4 / 10)
    for tau, r, g in [(0, 0, 0), (4, 2, 3), (9, 5, 7)]:
        rho = np.clip((np.arange(wide) + 0.5 - tau) * step_s / rises_s[r], 0, 1)
        v = 1 + levels[g] * rho**2
        assert from_table[tau, r, g] == pytest.approx(np.sum(np.log(v) + y * (1 / v - 1)), rel=1e-4)
