"""Activity that starts small and grows evenly in dB, as recruitment by size gives, and activity that fades gently: the
default method is near the truth, and its interval holds it. Trials of our own, truth known; no source."""

import numpy as np
import pytest
from scipy import signal

from emgreview.signal.filters import bandpass
from emgreview.signal.onset import estimate_onsets

RATE = 2000.0
CUE_S, LENGTH_S, N = 1.0, 2.6, 60


def noise(rng, low_hz, high_hz):
    band = signal.butter(1, [low_hz, high_hz], "bandpass", fs=RATE, output="sos")
    x = signal.sosfilt(band, rng.standard_normal((N, round(LENGTH_S * RATE) + 500)), axis=1)[:, 500:]
    return x / x.std()


def found(gain_of, seed):
    """Onsets, and where they and the ends truly are; ``gain_of`` seconds since the onset, over the rest's SD."""
    rng = np.random.default_rng(seed)
    onset_s = CUE_S + rng.uniform(0.2, 0.4, N)
    u = np.arange(round(LENGTH_S * RATE)) / RATE - onset_s[:, None]
    x = 3.0 * (noise(rng, 15.0, 400.0) + gain_of(u) * noise(rng, 25.0, 180.0))
    banded = bandpass(x, RATE, low_hz=20.0, high_hz=450.0, order=4, direction="zero-phase")
    return estimate_onsets(banded, RATE, cue_s=CUE_S), onset_s


@pytest.mark.parametrize(
    ("start_db", "top_db", "rise_s"), [(6, 30, 0.2), (6, 34, 0.3), (10, 34, 0.3), (0, 26, 0.2), (14, 34, 0.2)]
)
def test_a_small_start_that_grows_evenly_in_db(start_db, top_db, rise_s, counted):
    def gain(u):
        db = top_db - (top_db - start_db) * (1 - np.clip(u / rise_s, 0, 1))
        return ((u >= 0) & (u < 0.6)) * 10 ** (db / 20)

    got, onset_s = found(gain, seed=start_db + top_db)
    error_s = got.onset_s - onset_s
    held = np.mean((got.low_s <= onset_s) & (onset_s <= got.high_s))
    counted(
        f"from {start_db} to {top_db} dB in {rise_s} s: interval holds {held:.0%}, {1e3 * np.median(error_s):+.0f} ms"
    )
    assert held > 0.8  # 90 % less three standard errors of 60 trials; 20 to 50 % before there were such profiles
    assert abs(np.median(error_s)) < 0.015  # 35 to 60 ms early before


@pytest.mark.parametrize("top_db", [20, 30, 40])
@pytest.mark.parametrize("fade_s", [0.1, 0.2, 0.3])
def test_the_interval_of_an_offset_holds_the_end_of_a_gentle_fade(fade_s, top_db):
    def gain(u):
        fading = np.clip((0.7 - u) / fade_s, 0, 1)
        return (u >= 0) * (0.5 - 0.5 * np.cos(np.pi * fading)) * 10 ** (top_db / 20)

    got, onset_s = found(gain, seed=top_db)
    end_s = onset_s + 0.7
    assert np.mean((got.offset_low_s <= end_s) & (end_s <= got.offset_high_s)) > 0.8  # 0 to 75 % before
