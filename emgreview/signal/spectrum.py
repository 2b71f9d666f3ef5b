"""How the power of a signal is spread over frequency: spectral density, its mean and median, and the mains in it.

Samples are (..., samples), spectra (..., frequencies); ``frequency_hz`` is (frequencies,), rising. Densities are
one-sided, in the unit of the signal squared per hertz, so that their integral is the variance. Between its frequencies
a density is taken as a straight line, and integrals, means and medians are exact for that line. Missing samples are not
accepted here: give a stretch without them.

    power_density                     one-sided power spectral density
    band_power                        its integral over a band
    mean_frequency, median_frequency  MNF, MDF
    statistical_bandwidth             of a density: how many independent values a second its signal has, halved
    Mains, measure_mains              share and prominence of the mains and its harmonics
    demand_mains, mains_density, mains_within   the same in steps, for several frequencies of one signal
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from emgreview import checks
from emgreview.errors import ParameterError, SignalError
from emgreview.signal.filters import checked_samples

FloatArray = NDArray[np.floating]

MAINS_SHORTEST_S = 2.0
"""Stretches shorter than this cannot resolve the mains from what lies 3 Hz beside it."""


def power_density(x: ArrayLike, rate_hz: float, *, window_s: float | None = None) -> tuple[FloatArray, FloatArray]:
    """Frequencies and one-sided power spectral density of (..., samples), its mean removed.

    ``window_s`` averages Hann-windowed pieces of that length, half overlapping (Welch 1967, IEEE Trans Audio
    Electroacoust 15:70-73); None takes the plain periodogram of the whole stretch, whose integral over all frequencies
    as a sum is the variance exactly. SignalError where samples are missing or fewer than the window has.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    n = samples.shape[-1]
    if np.isnan(samples).any():
        raise SignalError(
            f"{np.isnan(samples).sum()} of {samples.size} samples are missing; a spectrum needs every one; "
            "give a stretch without missing samples."
        )
    wanted = n if window_s is None else round(checks.number("window_s", window_s, above=0, unit="s") * rate_hz)
    if not 2 <= wanted <= n:
        raise SignalError(
            f"{n} samples came for a window of {wanted}; allowed: 2 or more, and no more than there are; "
            "give a longer stretch or a shorter window_s."
        )
    if window_s is None:
        return signal.periodogram(samples, rate_hz)
    return signal.welch(samples, rate_hz, nperseg=wanted)


def band_power(
    frequency_hz: FloatArray, density: FloatArray, low_hz: float | None = None, high_hz: float | None = None
) -> FloatArray:
    """Integral of a density from ``low_hz`` to ``high_hz`` (all of it unless told): (..., frequencies) to (...)."""
    f, p = _within(frequency_hz, density, low_hz, high_hz)
    return np.asarray(np.trapezoid(p, f, axis=-1))


def mean_frequency(
    frequency_hz: FloatArray, density: FloatArray, low_hz: float | None = None, high_hz: float | None = None
) -> FloatArray:
    """Mean frequency, the centre of gravity ∫ f p df / ∫ p df of a density: (..., frequencies) to (...).

    NaN where there is no power in the band.
    """
    f, p = _within(frequency_hz, density, low_hz, high_hz)
    left, right, df = f[:-1], f[1:], np.diff(f)
    moment = (df / 6 * (p[..., :-1] * (2 * left + right) + p[..., 1:] * (left + 2 * right))).sum(axis=-1)
    power = np.trapezoid(p, f, axis=-1)
    return moment / np.where(power > 0, power, np.nan)


def median_frequency(
    frequency_hz: FloatArray, density: FloatArray, low_hz: float | None = None, high_hz: float | None = None
) -> FloatArray:
    """Median frequency, below and above which lies half the power of a density: (..., frequencies) to (...).

    The first such frequency where a gap without power leaves more than one; NaN where there is no power in the band.
    """
    f, p = _within(frequency_hz, density, low_hz, high_hz)
    cells = np.diff(f) * (p[..., :-1] + p[..., 1:]) / 2
    below = np.cumsum(cells, axis=-1)
    half = below[..., -1:] / 2
    cell = np.argmax(below >= half, axis=-1)[..., np.newaxis]
    start, stop = np.take_along_axis(p, cell, -1), np.take_along_axis(p, cell + 1, -1)
    width = np.diff(f)[cell]
    missing = half - np.take_along_axis(below - cells, cell, -1)
    # Solve start·h + (stop - start)/(2·width)·h² = missing for h, in the form that stays exact as the slope goes to 0.
    root = np.sqrt(np.maximum(start**2 + 2 * (stop - start) / width * missing, 0.0))
    h = 2 * missing / np.where(half > 0, start + root, np.nan)
    return (f[cell] + h)[..., 0]


def statistical_bandwidth(frequency_hz: FloatArray, density: FloatArray, *, averages: int) -> float:
    """(∫ p df)² / ∫ p² df in hertz, for a density that is the mean of so many independent periodograms (Bendat and
    Piersol, Random Data, from memory); flat noise of bandwidth B has B. NaN without power.

    The mean of n periodograms scatters by 1/sqrt(n) about the true density, which makes ∫ p² larger by 1 + 1/n; that is
    taken out.
    """
    f, p = np.asarray(frequency_hz, dtype=np.float64), np.asarray(density, dtype=np.float64)
    whole, squared = float(p.sum()), float((p**2).sum())
    return float(f[1] - f[0]) * whole**2 / squared * (1 + 1 / averages) if squared > 0 else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Mains:
    """Mains in a signal; arrays (...,).

    ``power`` within ±1 Hz of the mains frequency and its harmonics, in the unit squared (a sine of amplitude a has
    a²/2); ``share`` of the total power; ``prominence_db`` of the highest point within ±1 Hz of the mains over the
    median 3 to 10 Hz on either side.
    """

    frequency_hz: float
    power: FloatArray
    share: FloatArray
    prominence_db: FloatArray


def measure_mains(x: ArrayLike, rate_hz: float, *, mains_hz: float) -> Mains:
    """How much of (..., samples) is mains hum, unfiltered signal preferred.

    Needs at least 2 s without missing samples (SignalError). Harmonics are counted up to half the sampling rate. Flat
    noise has a share of about 2 Hz / ``mains_hz`` by itself. NaN where the signal has no power.
    """
    samples = checked_samples(x)
    rate_hz = checks.rate(rate_hz)
    mains_hz = demand_mains(mains_hz, rate_hz)
    return mains_within(*mains_density(samples, rate_hz), mains_hz)


def demand_mains(mains_hz: float, rate_hz: float) -> float:
    """A frequency at which mains can be told from what lies beside it; ParameterError for any other."""
    return checks.number("mains_hz", mains_hz, least=15, most=rate_hz / 2 - 11, unit="Hz (usually 50 or 60)")


def mains_density(samples: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """The density that mains are looked for in, whichever their frequency; SignalError below 2 s."""
    seconds = samples.shape[-1] / rate_hz
    if seconds < MAINS_SHORTEST_S:
        raise SignalError(
            f"{seconds:.3f} s of samples came; the mains needs at least {MAINS_SHORTEST_S:g} s; "
            "measure it on the continuous recording, not on one trial."
        )
    return power_density(samples, rate_hz, window_s=min(seconds, 2 * MAINS_SHORTEST_S))


def mains_within(f: FloatArray, p: FloatArray, mains_hz: float) -> Mains:
    """How much of such a density is mains hum."""
    df, total = f[1], p.sum(axis=-1)
    harmonic = np.maximum(np.round(f / mains_hz), 1)
    power = p[..., np.abs(f - harmonic * mains_hz) <= 1].sum(axis=-1)
    away = np.abs(f - mains_hz)
    beside = np.median(p[..., (away >= 3) & (away <= 10)], axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        prominence = 10 * np.log10(p[..., away <= 1].max(axis=-1) / beside)
        return Mains(mains_hz, power * df, power / total, prominence)


def _within(
    frequency_hz: FloatArray, density: FloatArray, low_hz: float | None, high_hz: float | None
) -> tuple[FloatArray, FloatArray]:
    """The part of a density between two frequencies, with points put in at both where there are none."""
    f, p = np.asarray(frequency_hz, dtype=np.float64), np.asarray(density, dtype=np.float64)
    if f.ndim != 1 or len(f) < 2 or p.shape[-1:] != f.shape or not (np.diff(f) > 0).all():
        raise SignalError(
            f"{f.shape} frequencies came for a density of shape {p.shape}; allowed: rising frequencies (n,) and a "
            "density (..., n), n at least 2; give both as power_density returns them."
        )
    low, high = f[0] if low_hz is None else low_hz, f[-1] if high_hz is None else high_hz
    if not f[0] <= low < high <= f[-1]:
        raise ParameterError(
            f"the band came as {low:g} to {high:g} Hz; allowed: a rising pair within {f[0]:g} to {f[-1]:g} Hz; "
            "correct it."
        )
    inside = f[(f > low) & (f < high)]
    points = np.concatenate(([low], inside, [high]))
    cell = np.clip(np.searchsorted(f, points, side="right") - 1, 0, len(f) - 2)
    weight = (points - f[cell]) / (f[cell + 1] - f[cell])
    return points, p[..., cell] * (1 - weight) + p[..., cell + 1] * weight
