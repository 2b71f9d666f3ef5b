"""How loud is rest, and how sure is that: the RMS of the quiet blocks of a channel, and its coefficient of variation.

Runs are stretches (samples,) without missing samples, in any unit. For Gaussian noise of statistical bandwidth B, the
RMS over a window T varies by CV = 1 / sqrt(4 B T) from one window to the next (Bendat and Piersol, Random Data, from
memory): 11 % over 50 ms at 400 Hz.

    Baseline, baseline_of   RMS of the quiet parts, their length, bandwidth and CV
    rms_variation           CV of an RMS by that formula
    band_blocks             a signal within 20 to 450 Hz, in blocks of 0.1 s
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview import checks
from emgreview.signal.filters import bandpass, shortest_run
from emgreview.signal.spectrum import power_density, statistical_bandwidth

FloatArray = NDArray[np.floating]

LOW_HZ, HIGH_HZ = 20.0, 450.0
LEVEL_BLOCK_S = 0.1
QUIET = 4.0
"""Blocks of a power up to so many times that of rest are rest, as where heart beats are looked for (our own choice)."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """RMS of the quiet parts within 20 to 450 Hz in the unit of the signal, their length together in seconds, their
    statistical bandwidth in hertz, and the CV of that RMS. NaN where there is none."""

    rms: float
    seconds: float
    bandwidth_hz: float
    cv: float


NO_BASELINE = Baseline(math.nan, 0.0, math.nan, math.nan)


def rms_variation(bandwidth_hz: float, window_s: float) -> float:
    """1 / sqrt(4 B T), a share: how much the RMS over ``window_s`` varies by chance. Raises ParameterError."""
    bandwidth_hz = checks.number("bandwidth_hz", bandwidth_hz, above=0, unit="Hz")
    return 1 / math.sqrt(4 * bandwidth_hz * checks.number("window_s", window_s, above=0, unit="s"))


def band_blocks(runs: list[FloatArray], rate_hz: float) -> FloatArray:
    """(blocks, samples) of 0.1 s within 20 to 450 Hz, or up to 0.45 of the sampling rate; none where nothing is long
    enough."""
    n = max(2, round(LEVEL_BLOCK_S * rate_hz))
    parts: list[NDArray[np.floating]] = [np.empty((0, n))]
    if rate_hz > 2.5 * LOW_HZ:
        high = HIGH_HZ if rate_hz > HIGH_HZ / 0.45 else None
        for run in runs:
            if len(run) >= max(2 * n, shortest_run(rate_hz, LOW_HZ)):
                x = bandpass(run, rate_hz, low_hz=LOW_HZ, high_hz=high, order=2, direction="zero-phase")
                parts.append(x[: len(x) // n * n].reshape(-1, n))
    blocks: FloatArray = np.concatenate(parts).astype(np.float64, copy=False)
    return blocks


def baseline_of(blocks: FloatArray, rate_hz: float) -> Baseline:
    """The quiet ones of some blocks, as :func:`band_blocks` makes them: within four times the power at rest, and so
    are those beside them, where enough are."""
    power = np.mean(blocks**2, axis=1) if len(blocks) else np.empty(0)
    if not power.size or not power.max() > 0:
        return NO_BASELINE
    level = float(np.quantile(power, 0.2))
    for _ in range(5):
        level = float(np.mean(power[power <= QUIET * level])) if level > 0 else level
    still = power <= QUIET * level
    inner = (
        still & np.append(True, still[:-1]) & np.append(still[1:], True)
    )  # what a filter rings from bursts is beside
    quiet = blocks[inner if np.count_nonzero(inner) > np.count_nonzero(still) / 4 else still]
    if not level > 0 or not len(quiet):
        return NO_BASELINE
    frequency, density = power_density(quiet, rate_hz)
    seconds = quiet.size / rate_hz
    band = statistical_bandwidth(frequency, density.mean(axis=0), averages=len(quiet))
    cv = 1 / math.sqrt(4 * band * seconds) if band > 0 else math.nan
    return Baseline(float(np.sqrt(np.mean(quiet**2))), seconds, band, cv)
