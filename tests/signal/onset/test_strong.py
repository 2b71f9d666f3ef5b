"""Strong activity: what a zero-phase band-pass lets be seen early must not move an onset, nor any level make it late.

Truth is exact in every signal here: noise, and a burst of band-limited noise or of simulated motor units that begins at
a known moment, filtered together by scipy's own zero-phase band-pass.
"""

import numpy as np
import pytest
from scipy import signal

import emgreview as er
from emgreview.bench import recipes
from emgreview.bench.score import score, wilson
from emgreview.signal.filters import bandpass
from emgreview.signal.onset.bursts import find_in_long
from emgreview.signal.onset.long import in_memory
from emgreview.signal.onset.posterior import SHARP
from emgreview.signal.onset.ramp import RampParameters, locate
from emgreview.signal.onset.ringing import assumed_bands, unringing
from emgreview.signal.onset.unsound import Looked
from emgreview.signal.onset.whitening import filtered

CUE_S, ONSET_S, OFFSET_S = 1.0, 1.25, 1.65


def zero_phase(x: np.ndarray, rate_hz: float, *, low_hz: float = 20.0, order: int = 4) -> np.ndarray:
    high_hz = min(450.0, 0.45 * rate_hz)
    sos = signal.butter(order, [low_hz, high_hz], "bandpass", fs=rate_hz, output="sos")
    return signal.sosfiltfilt(sos, x, axis=-1)


def spliced(
    rate_hz: float, level_db: float, *, n: int = 40, rise_s: float = 0.01, seed: int = 11, filtered=zero_phase
) -> np.ndarray:
    """Trials of 2.4 s: white noise, and from ONSET_S on noise of 40 Hz to at most 200 Hz under a straight ramp."""
    rng = np.random.default_rng([seed, round(rate_hz), round(10 * level_db)])
    time_s = np.arange(round(2.4 * rate_hz)) / rate_hz
    colour = signal.butter(2, [40.0, min(200.0, 0.4 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    burst = signal.sosfilt(colour, rng.standard_normal((n, len(time_s))), axis=-1)
    gain = np.clip((time_s - ONSET_S) / rise_s, 0, 1) * (time_s < OFFSET_S)
    noise = rng.standard_normal(burst.shape)
    rest = zero_phase(noise, rate_hz).std()
    level = zero_phase(burst, rate_hz).std()
    return filtered(noise / rest + burst * gain / level * 10 ** (level_db / 20), rate_hz)


@pytest.mark.parametrize("level_db", [40.0, 50.0, 60.0])
@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0, 2000.0, 10_000.0])
def test_strong_onsets_are_where_they_are_at_every_rate(rate_hz, level_db):
    """Within 2 ms or two samples in the median, and 90 % intervals hold 85 % or more by the 95 % interval of the share.

    Before, trials of 40 dB and more came 40 to 70 ms late, and intervals held 0 to 50 %.
    """
    n = 24 if rate_hz > 5000 else 40
    found = er.estimate_onsets(spliced(rate_hz, level_db, n=n), rate_hz, cue_s=CUE_S)
    error = np.abs(found.onset_s - ONSET_S)
    assert np.isfinite(error).all()
    assert np.median(error) <= max(0.002, 2 / rate_hz)
    assert np.quantile(error, 0.9) < 0.03
    inside = (found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)
    assert wilson(int(inside.sum()), n)[1] >= 0.85
    assert (found.high_s - found.low_s >= 2 * max(0.001, 1 / rate_hz) - 1e-9).all()
    assert np.median(np.abs(found.offset_s - OFFSET_S)) <= max(0.005, 3 / rate_hz)


@pytest.mark.parametrize("level_db", [15.0, 25.0])
def test_at_low_rates_ringing_is_early_on_weak_activity_too(level_db):
    """At 200 Hz, a step; before, 20 to 50 ms early, and the interval held it in a fifth to two thirds of trials."""
    found = er.estimate_onsets(spliced(200.0, level_db, rise_s=0.001), 200.0, cue_s=CUE_S)
    assert abs(np.nanmedian(found.onset_s - ONSET_S)) <= 0.015
    inside = (found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)
    assert wilson(int(inside.sum()), len(inside))[1] >= 0.85


@pytest.mark.parametrize("level_db", [35.0, 40.0, 50.0, 60.0])
@pytest.mark.parametrize("rise_s", [0.01, 0.05])
def test_strong_trains_of_motor_units(level_db, rise_s):
    truth = recipes.units(np.random.default_rng([45, round(level_db)]), 50, level_db, rise_s)
    row = score(truth, er.estimate_onsets(truth.x, truth.rate_hz, cue_s=recipes.CUE_S))
    assert row["missed"] == 0
    assert row["median_ms"] <= 2.6
    assert row["p90_ms"] <= 8
    assert row["covered_high"] >= 85


def test_the_error_does_not_grow_with_the_level():
    """The same bursts, 30 to 60 dB: no jump, as from 38 dB on before."""
    error = {
        level: np.median(
            np.abs(er.estimate_onsets(spliced(2000.0, level, rise_s=0.03), 2000.0, cue_s=CUE_S).onset_s - ONSET_S)
        )
        for level in (30.0, 36.0, 40.0, 44.0, 50.0, 60.0)
    }
    assert max(error.values()) <= error[30.0] + 0.002


def test_a_narrow_interval_of_a_strong_burst_is_an_honest_one():
    """What a bulk rule picks, narrow intervals and high levels, are the good trials and not the wrong ones."""
    x = np.concatenate([spliced(2000.0, level, n=20) for level in (20.0, 30.0, 40.0, 50.0, 60.0)])
    found = er.estimate_onsets(x, 2000.0, cue_s=CUE_S)
    picked = (found.high_s - found.low_s < 0.015) & (found.level_db > 25)
    assert picked.sum() >= 40
    assert np.mean((found.low_s <= ONSET_S) & (found.high_s >= ONSET_S), where=picked) >= 0.85


@pytest.mark.parametrize("rate_hz", [500.0, 2000.0])
@pytest.mark.parametrize("level_db", [45.0, 60.0])
def test_bursts_of_a_continuous_signal_are_where_they_are(rate_hz, level_db):
    x = spliced(rate_hz, level_db, n=6).reshape(-1)
    starts = ONSET_S + 2.4 * np.arange(6)
    found = [burst for burst in er.list_bursts(x, rate_hz) if burst.level_db > 20]
    assert len(found) == 6
    assert np.median(np.abs([b.onset_s for b in found] - starts)) <= max(0.002, 2 / rate_hz)
    assert np.median(np.abs([b.offset_s for b in found] - starts - OFFSET_S + ONSET_S)) <= max(0.006, 3 / rate_hz)
    assert np.mean([b.low_s <= s <= b.high_s for b, s in zip(found, starts, strict=True)]) >= 0.8


def test_a_strong_burst_read_in_pieces_is_the_same():
    x = spliced(1000.0, 50.0, n=5).reshape(-1)
    rest = slice(0, 1000)
    whole = er.list_bursts(x, 1000.0, rest_s=(0.0, 1.0))
    pieces = find_in_long(in_memory(x), len(x), 1000.0, rest, 0.05, 0.05, Looked())
    assert len(whole) == len(pieces) >= 5
    for one, other in zip(whole, pieces, strict=True):
        assert one.onset_s == pytest.approx(other.onset_s, abs=1e-4)
        assert one.offset_s == pytest.approx(other.offset_s, abs=1e-4)


@pytest.mark.parametrize(("low_hz", "order"), [(20.0, 4), (20.0, 2), (10.0, 4), (30.0, 2)])
@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0, 10_000.0])
def test_the_filter_ends_the_ringing_and_looks_at_the_past_alone(rate_hz, low_hz, order):
    """A burst by itself: of the ringing ahead of it less than a thousandth of its amplitude is left."""
    rng = np.random.default_rng(4)
    start = round(rate_hz)
    burst = np.zeros((8, 2 * start))
    burst[:, start:] = rng.standard_normal((8, start))
    x = zero_phase(burst, rate_hz, low_hz=low_hz, order=order)
    band = assumed_bands(rate_hz)[0]
    clear = filtered(x, unringing(rate_hz, *band), 0)
    ahead = slice(start - round(0.3 * rate_hz), start - round(0.003 * rate_hz))
    after = slice(start + round(0.1 * rate_hz), start + round(0.5 * rate_hz))
    ratio = {
        name: np.sqrt((y[:, ahead] ** 2).mean() / (y[:, after] ** 2).mean()) for name, y in (("x", x), ("clear", clear))
    }
    assert ratio["clear"] < 1e-2 * ratio["x"]
    assert ratio["clear"] < 1e-3
    changed = x.copy()
    changed[:, start:] += 1.0
    changed = filtered(changed, unringing(rate_hz, *band), 0)
    np.testing.assert_array_equal(changed[:, : start - 64], clear[:, : start - 64])
    np.testing.assert_allclose(changed[:, :start], clear[:, :start], atol=1e-12)


def test_a_knock_before_strong_activity_is_no_onset():
    x = spliced(2000.0, 45.0, rise_s=0.03)
    knock = np.zeros(x.shape[1])
    at = round(1.12 * 2000)
    knock[at : at + 24] = 150 * np.hanning(24) * np.cos(np.arange(24) * 0.9)
    found = er.estimate_onsets(x + zero_phase(knock, 2000.0), 2000.0, cue_s=CUE_S)
    assert np.mean(np.abs(found.onset_s - ONSET_S) < 0.01) >= 0.9


@pytest.mark.parametrize(("weak_db", "strong_db", "later_s"), [(15, 50, 0.15), (25, 60, 0.15), (20, 50, 0.3)])
def test_a_weak_burst_before_a_strong_one_keeps_its_onset(weak_db, strong_db, later_s):
    """Before, the onset was a third activity between the two, or the second, with an interval that held neither."""
    rng = np.random.default_rng([8, weak_db])
    n, time_s = 40, np.arange(4800) / 2000.0
    x = rng.standard_normal((n, len(time_s)))
    x += rng.standard_normal(x.shape) * ((time_s >= ONSET_S) & (time_s < ONSET_S + 0.15)) * 10 ** (weak_db / 20)
    starts = ONSET_S + later_s
    x += rng.standard_normal(x.shape) * ((time_s >= starts) & (time_s < starts + 0.4)) * 10 ** (strong_db / 20)
    found = er.estimate_onsets(zero_phase(x, 2000.0, order=2), 2000.0, cue_s=CUE_S)
    assert np.mean(np.abs(found.onset_s - ONSET_S) < 0.02) >= 0.9
    assert np.mean((found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)) >= 0.8


@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0])
def test_a_rest_that_is_flat_in_part_is_said_and_stops_no_other_trial(rate_hz):
    """Zeros in place of lost packets, 300 of the 500 ms; before, an error from numpy or an onset that is none."""
    x = spliced(rate_hz, 40.0, n=4)
    x[1, round(0.6 * rate_hz) : round(0.9 * rate_hz)] = 0.0
    found = er.estimate_onsets(x, rate_hz, cue_s=CUE_S)
    assert list(found.baseline_note) == ["", "flat", "", ""]
    assert np.isnan(found.onset_s[1])
    assert np.isnan(found.present[1])
    assert (np.abs(found.onset_s[[0, 2, 3]] - ONSET_S) < 0.01).all()


@pytest.mark.parametrize("direction", ["zero-phase", "causal"])
@pytest.mark.parametrize("level_db", [40.0, 60.0])
def test_a_sharp_strong_onset_lies_in_its_interval_as_the_package_filters(direction, level_db):
    """Order 2, the default; before, 3 to 4 ms early outside intervals of 7 ms."""

    def filtered(x, rate_hz):
        return bandpass(x, rate_hz, low_hz=20.0, high_hz=450.0, order=2, direction=direction)

    x = spliced(2000.0, level_db, rise_s=0.001, filtered=filtered)
    found = er.estimate_onsets(x, 2000.0, cue_s=CUE_S)
    assert np.median(np.abs(found.onset_s - ONSET_S)) < 0.004
    inside = (found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)
    assert wilson(int(inside.sum()), len(inside))[1] >= 0.85


def test_an_onset_is_found_where_one_profile_alone_fits():
    """Where the best profile has the least weight the cube of the likelihood must not vanish."""
    window = np.ones((1, 400), np.float32)
    window[0, 200:] = 1e8
    window[0, 195:200] = 1e4
    found, _ = locate(
        window, np.where(np.arange(40) < 20, 0.0, 18.0)[None].astype(np.float32), np.array([20]), np.array([0.38]),
        SHARP, 10, 0.002, 2000.0, RampParameters(),
    )  # fmt: skip
    assert np.isfinite(found).all()
    assert abs(found[1, 0] - 198) < 6


def test_trials_that_all_lack_samples_are_said():
    """One lost electrode: before, an error from numpy for the whole batch."""
    x = spliced(2000.0, 30.0, n=3)
    x[:, 700] = np.nan
    found = er.estimate_onsets(x, 2000.0, cue_s=CUE_S)
    assert list(found.baseline_note) == ["missing"] * 3
    assert np.isnan(found.present).all()


@pytest.mark.parametrize("level_db", [40.0, 60.0])
def test_sharp_strong_onsets_of_low_frequency(level_db):
    """Bursts of 20 to 120 Hz after the package's own filter; before, the interval held half of them."""
    rng = np.random.default_rng([9, round(level_db)])
    n, time_s = 40, np.arange(4800) / 2000.0
    colour = signal.butter(2, [20.0, 120.0], "bandpass", fs=2000.0, output="sos")
    burst = signal.sosfilt(colour, rng.standard_normal((n, len(time_s))), axis=-1)
    burst *= ((time_s >= ONSET_S) & (time_s < OFFSET_S)) / burst.std() * 10 ** (level_db / 20)
    x = bandpass(
        rng.standard_normal(burst.shape) + burst, 2000.0, low_hz=20.0, high_hz=450.0, order=2, direction="zero-phase"
    )
    found = er.estimate_onsets(x, 2000.0, cue_s=CUE_S)
    inside = (found.low_s <= ONSET_S) & (found.high_s >= ONSET_S)
    assert wilson(int(inside.sum()), n)[1] >= 0.85


@pytest.mark.parametrize("fall_s", [0.0, 0.02])
@pytest.mark.parametrize("filtered", [True, False])
def test_an_offset_is_as_honest_as_an_onset(fall_s, filtered):
    """Sudden ends at 15 to 45 dB. Before, they were told 10 ms late below 38 dB, and 1 to 44 % of intervals held them:
    energies look at the past, and smear an end to the wrong side."""
    held = {}
    for level_db in (15.0, 25.0, 33.0, 45.0):
        rng = np.random.default_rng(round(level_db))
        time_s = np.arange(round(2.6 * 2000.0)) / 2000.0
        off_s = 1.7 + rng.uniform(-0.1, 0.1, (40, 1))
        gain = np.clip((off_s - time_s) / max(fall_s, 1e-9), 0, 1) * (time_s >= 1.3) * 10 ** (level_db / 20)
        x = rng.standard_normal((40, time_s.size)) + gain * rng.standard_normal((40, time_s.size))
        if filtered:
            x = bandpass(x, 2000.0, low_hz=20.0, high_hz=450.0, order=2, direction="zero-phase")
        found = er.estimate_onsets(x, 2000.0, cue_s=0.8, rest_s=(-0.7, 0.0))
        held[level_db] = np.mean((found.offset_low_s <= off_s[:, 0]) & (off_s[:, 0] <= found.offset_high_s))
        assert abs(np.median(found.offset_s - off_s[:, 0])) < 0.015
    assert min(held.values()) >= 0.85, held


@pytest.mark.parametrize("level_db", [10.0, 20.0, 45.0])
def test_a_second_burst_is_no_part_of_the_first_one_s_end(level_db):
    """0.25 s of activity, 0.2 s of rest, 0.25 s. Before, up to 98 % of offsets were those of the second."""
    rng = np.random.default_rng(3)
    time_s = np.arange(round(2.6 * 2000.0)) / 2000.0
    on = ((time_s >= 1.1) & (time_s < 1.35)) | ((time_s >= 1.55) & (time_s < 1.8))
    x = rng.standard_normal((40, time_s.size)) * np.sqrt(1 + on * 10 ** (level_db / 10))
    x = bandpass(x, 2000.0, low_hz=20.0, high_hz=450.0, order=2, direction="zero-phase")
    found = er.estimate_onsets(x, 2000.0, cue_s=0.8, rest_s=(-0.7, 0.0))
    assert np.mean(np.abs(found.offset_s - 1.35) < 0.1) >= 0.95
