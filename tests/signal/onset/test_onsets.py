"""Onsets: relations that must hold for every method, and known truth on small made signals."""

import dataclasses
import pickle
import re
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.bench import recipes
from emgreview.bench.score import score
from emgreview.errors import ParameterError, RateError, SignalError, UnknownNameError
from emgreview.signal.onset import METHODS
from emgreview.signal.onset.posterior import PLAIN, cumulative, levels_db, profiles, quantile

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


def test_the_docstring_names_every_method():
    told = er.estimate_onsets.__doc__.split("method : str", 1)[1].split("**parameters", 1)[0]
    assert set(re.findall(r'"([\w-]+)"', told)) == set(METHODS)


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


@pytest.mark.parametrize(
    ("level_db", "rise_s", "within_s"),
    [
        *((20, 0.01, 0.006), (20, 0.08, 0.012), (10, 0.03, 0.015)),
        *((40, 0.01, 0.003), (40, 0.08, 0.012), (50, 0.01, 0.002), (60, 0.01, 0.002), (60, 0.08, 0.002)),
    ],
)
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


def test_thresholds_do_not_invent_intervals_or_presence():
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
        ({"rest_s": 0.5}, ParameterError, r"allowed: \(start, stop\) in seconds from the cue"),
        ({"search_s": (0.0, 9.0)}, ParameterError, "search_s"),
        ({"search_s": (0.3, 0.35)}, ParameterError, r"at least 0\.2 s are needed"),
        ({"cue_s": float("nan")}, ParameterError, "cue_s came as nan"),
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


@pytest.mark.parametrize("band", [0, 2, 7])
def test_profiles_hold_the_equation_of_the_module(band):
    """l computed from the table equals the sum written out, for a few onsets, rises, levels and ends of the stretch;
    where several steps are taken as one, so does the mean of 1/v over them."""
    step_s, candidates, wide = 0.002, 10, 60
    shapes = profiles(step_s, candidates, wide, PLAIN, band)
    y = np.random.default_rng(3).exponential(2.0, wide)
    levels = 10 ** (levels_db(band) / 10)
    edges = np.array(shapes.edges)
    assert list(edges[:10]) == list(range(10))
    assert edges[-1] == wide
    for tau, r, g, end in [(0, 0, 0, wide), (4, 2, 1, wide), (9, 5, 2, 41), (3, 5, 1, 2)]:
        ours = np.array([y[tau + a : min(tau + b, end)].sum() for a, b in pairwise(edges)])
        known = len(levels) * r + g
        rho = np.clip((np.arange(wide) + 0.5) * step_s / shapes.rises_s[known], 0, 1)
        v = 1 + levels[g] * rho**2
        mean = np.repeat([(1 / v)[a:b].mean() for a, b in pairwise(edges)], np.diff(edges))
        after = slice(0, max(0, end - tau))
        written_out = np.sum(np.log(v)[after]) + np.sum(y[tau:end] * mean[after])
        assert ours @ shapes.table[known] + shapes.ln_v[end, known, tau] == pytest.approx(written_out, rel=1e-4)


def shaped(gain: np.ndarray, *, burst_db: float | None = None, n: int = 60, seed: int = 5) -> np.ndarray:
    """White noise times ``gain``, band-passed; a burst of 0.4 s from 1.25 s at ``burst_db`` over noise of SD 1."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(gain.size) / RATE_HZ
    x = rng.standard_normal((n, gain.size)) * gain
    if burst_db is not None:
        x += rng.standard_normal(x.shape) * ((time_s > 1.25) & (time_s < 1.65)) * 10 ** (burst_db / 20)
    return signal.sosfiltfilt(BAND, x)


TIME_S = np.arange(int(2.6 * RATE_HZ)) / RATE_HZ


def test_a_rest_louder_than_what_follows_is_said_and_nothing_is_guessed():
    """Active throughout the rest and to 50 ms after go: a burst below that activity is neither found nor denied."""
    loud = np.where(TIME_S < 1.05, 10.0, 1.0)
    hidden = find(shaped(loud, burst_db=15), cue_s=1.0, rest_s=(-0.5, 0))
    assert set(hidden.baseline_note) == {"active before the cue"}
    for name in NUMBERS:
        assert np.isnan(getattr(hidden, name)).all(), name
    stronger = find(shaped(loud, burst_db=35), cue_s=1.0, rest_s=(-0.5, 0))
    assert set(stronger.baseline_note) == {"active before the cue"}
    assert np.abs(np.median(stronger.onset_s) - 1.25) < 0.01


def test_a_drop_out_after_go_does_not_make_the_rest_active():
    x = made(6)
    x[:, 3400:3800] = 0
    assert list(find(x).baseline_note) == [""] * 6


def test_a_rest_that_grows_up_to_the_cue_gives_no_guess():
    """SD grows to k times up to the cue and stays: at most 1 in 20 onsets, and what is not known is not said."""
    for k in (3, 4, 8):
        growing = 1 + (k - 1) * np.clip((TIME_S - 0.5) / 0.5, 0, 1)
        found = find(shaped(growing), cue_s=1.0, rest_s=(-0.5, 0))
        assert np.isin(found.baseline_note, ["drifting", "active before the cue"]).mean() > 0.85
        assert np.isfinite(found.onset_s).mean() <= 0.05
        drifting = found.baseline_note == "drifting"
        assert np.isnan(found.present[drifting]).mean() > 0.95
        strong = find(shaped(growing, burst_db=20 + 20 * np.log10(k)), cue_s=1.0, rest_s=(-0.5, 0))
        seen = np.isfinite(strong.onset_s)
        assert seen.mean() > 0.6
        assert np.median(np.abs(strong.onset_s[seen] - 1.25)) < 0.015


def test_masked_samples_are_missing_and_complex_ones_are_refused():
    x = made(3)
    masked = np.ma.masked_array(x, mask=np.zeros(x.shape, bool))
    masked[1, 200:210] = np.ma.masked
    found = find(masked)
    assert list(found.baseline_note) == ["", "missing", ""]
    same(part(found, [0, 2]), find(x[[0, 2]]))
    with pytest.raises(SignalError, match="complex128"):
        find(x + 0j)
    with pytest.raises(SignalError, match="complex128"):
        er.list_bursts(x[0] + 0j, RATE_HZ)


def test_numbers_of_numpy_are_numbers_and_truth_values_are_none():
    x = made(2)
    same(find(x, "threshold", k=np.int64(3)), find(x, "threshold", k=3.0))
    same(find(x, cue_s=np.float32(0.75)), find(x, cue_s=0.75))
    for options, words in (
        ({"k": True}, "k came as True"),
        ({"envelope_order": 2.5}, "envelope_order came as 2.5; allowed: a whole number from 1 to 8"),
        ({"cue_s": "go"}, "cue_s came as 'go'"),
    ):
        with pytest.raises(ParameterError, match=words):
            find(x, "threshold", **options)
    with pytest.raises(ParameterError, match="energy came as 'no'"):
        find(x, "profile", energy="no")
    for rate in ("2000", None, True):
        with pytest.raises(RateError, match="rate_hz came as"):
            find(x, rate_hz=rate)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"stretch_s": 0.1}, "stretch_s came as 0.1; allowed: at least lead_s [+] trail_s, 0.48 s"),
        ({"fine_s": 1e-4}, "bin_s came as 0.002; allowed: at most fine_s"),
        ({"coarse_s": 2.0}, "coarse_s came as 2.0; allowed: at most trail_s"),
        ({"block_s": 900.0}, "block_s came as 900.0"),
        ({"block_s": 0.3, "span_s": 0.6, "quiet_s": 0.4}, "rest_s came with 0.600 s, 1 whole blocks of 0.300 s"),
        ({"bin_s": 0.5}, "bin_s came as 0.5"),
        ({"needed": 5}, "needed came as 5; allowed: a number above 0, at most 1"),
        ({"span_s": 3.0}, "search_s came with"),
        ({"fine_stretch_s": 0.05}, "fine_stretch_s came as 0.05; allowed: at least 2 fine_s"),
    ],
)
def test_parameters_of_the_ramp_must_fit_each_other(options, words):
    with pytest.raises(ParameterError, match=words):
        find(made(2), **options)


def test_gates_are_in_decibels():
    """Without activity below the gate: a level of 6 dB passes a gate of 3.5 dB and not one of 9 dB."""
    x = made(10, level_db=6.0)
    assert np.isfinite(find(x).onset_s).mean() > 0.8
    assert np.isnan(find(x, gate_floor_db=12.0).onset_s).all()


@pytest.mark.parametrize(
    ("level_db", "rise_s"),
    [(3, 0.05), (10, 0.02), (10, 0.15), (20, 0.05), (30, 0.02), (40, 0.01), (40, 0.15), (50, 0.02), (60, 0.05)],
)
def test_intervals_hold_the_truth_as_often_as_they_say(level_db, rise_s):
    """Coverage by simulation, motor units: 90 % intervals hold 85 % or more, by the 95 % interval of the share."""
    truth = recipes.units(np.random.default_rng([44, level_db]), 100, float(level_db), rise_s)
    row = score(truth, er.estimate_onsets(truth.x, truth.rate_hz, cue_s=recipes.CUE_S, rest_s=recipes.REST_S))
    assert row["covered_high"] >= 85
    assert row["offset_covered_high"] >= 85
    assert row["missed"] <= 2
