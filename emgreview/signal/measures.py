"""Numbers that describe a stretch of signal: its amplitude, its rest, and how far it stands above rest.

Arrays are (..., samples): every function works along the last axis and keeps the others. Missing samples (NaN) are left
out of means, and a stretch without any sample gives NaN. Results have the unit of the signal unless the name says
otherwise (``_db``). Sums are taken in float64.

    rms, arv                       root mean square; average rectified value
    Baseline, baseline             mean, SD and RMS of the rest window, and distances from it in SDs
    level_db, snr_db, level_from_snr_db   a response over rest, with and without the rest in it
    rms_cv                         how uncertain an RMS is by chance alone, before any data
    teager_kaiser                  the energy operator
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview.errors import ParameterError, SignalError

FloatArray = NDArray[np.floating]


def rms(x: ArrayLike) -> FloatArray:
    """Root mean square, sqrt(mean x²), about zero: (..., samples) to (...)."""
    return np.sqrt(_mean(np.square(_samples(x), dtype=np.float64)))


def arv(x: ArrayLike) -> FloatArray:
    """Average rectified value, mean |x|: (..., samples) to (...)."""
    return _mean(np.abs(_samples(x)))


@dataclass(frozen=True, slots=True, eq=False)
class Baseline:
    """Rest window of every stretch, arrays (...,) in the unit of the signal.

    ``sd`` is the population SD, sqrt(mean (x - mean)²): the baseline RMS once the offset is gone. ``rms`` is about
    zero. ``n_samples`` counts those present.
    """

    mean: FloatArray
    sd: FloatArray
    rms: FloatArray
    n_samples: NDArray[np.integer]

    def z(self, y: ArrayLike) -> FloatArray:
        """How many SDs of rest the values (..., samples) lie above the mean of rest; NaN where rest has no spread."""
        sd = np.where(self.sd > 0, self.sd, np.nan)
        return (np.asarray(y) - self.mean[..., np.newaxis]) / sd[..., np.newaxis]


def baseline(x: ArrayLike, start: int, stop: int) -> Baseline:
    """Mean, SD and RMS of samples ``start`` to ``stop`` (excluded) of (..., samples).

    Raises SignalError where that window does not lie inside the samples.
    """
    samples = _samples(x)
    n = samples.shape[-1]
    if not 0 <= start < stop <= n:
        raise SignalError(
            f"the rest window came as samples {start} to {stop} of a stretch of {n}; "
            f"allowed: 0 ≤ start < stop ≤ {n}; move the window, or cut longer stretches."
        )
    rest = samples[..., start:stop].astype(np.float64)
    mean = _mean(rest)
    sd = np.sqrt(_mean(np.square(rest - mean[..., np.newaxis])))
    return Baseline(mean, sd, rms(rest), (~np.isnan(rest)).sum(axis=-1))


def level_db(response: ArrayLike, rest: ArrayLike) -> FloatArray:
    """Level of a response over rest, L = 20 log10(RMS response / RMS rest) in dB; both (..., samples).

    The response contains the rest as well. NaN where rest is zero or either is missing; -inf where the response is
    zero.
    """
    above, below = rms(response), rms(rest)
    with np.errstate(divide="ignore"):
        return 20 * np.log10(above / np.where(below > 0, below, np.nan))


def snr_db(level: ArrayLike) -> FloatArray:
    """Burst alone over rest, 10 log10(10^(L/10) - 1) in dB, of a level L that includes the rest.

    Holds where burst and rest are independent, so that their powers add. A level of 10 dB gives 9.54 dB; 0 dB gives
    -inf (nothing was added); below 0 dB there is no such burst and the result is NaN.
    """
    added = np.power(10.0, np.asarray(level, dtype=np.float64) / 10) - 1
    with np.errstate(divide="ignore"):
        return 10 * np.log10(np.where(added >= 0, added, np.nan))


def level_from_snr_db(snr: ArrayLike) -> FloatArray:
    """Level including the rest, 10 log10(10^(SNR/10) + 1) in dB: the inverse of :func:`snr_db`."""
    return 10 * np.log10(np.power(10.0, np.asarray(snr, dtype=np.float64) / 10) + 1)


def rms_cv(bandwidth_hz: float, window_s: float) -> float:
    """Coefficient of variation of the RMS of Gaussian noise, 1/sqrt(4 B T), from chance alone.

    B is the effective bandwidth in hertz, T the window in seconds (Bendat & Piersol, Random Data; quoted from memory).
    For 400 Hz and 0.2 s it is 5.6 %: a shorter rest window makes a shakier threshold.
    """
    if not (bandwidth_hz > 0 and window_s > 0):
        raise ParameterError(
            f"bandwidth_hz came as {bandwidth_hz!r} and window_s as {window_s!r}; both must be above 0; correct them."
        )
    return float(1 / np.sqrt(4 * bandwidth_hz * window_s))


def teager_kaiser(x: ArrayLike) -> FloatArray:
    """Teager-Kaiser energy x²[n] - x[n-1] x[n+1], in the unit squared: (..., samples) to the same shape.

    A sine of amplitude A and angular step Ω gives A² sin²Ω exactly; white noise of variance σ² has mean σ² (Kaiser
    1990, ICASSP 381-384; from memory). The two end samples, which lack a neighbour, copy the sample next to them.
    Single precision stays single. Needs at least 3 samples (SignalError). A missing sample makes its neighbours
    missing too.
    """
    samples = _samples(x)
    if samples.shape[-1] < 3:
        raise SignalError(
            f"{samples.shape[-1]} samples came; the energy operator needs at least 3; give a longer stretch."
        )
    out = np.empty_like(samples)
    inner = out[..., 1:-1]
    np.multiply(samples[..., 1:-1], samples[..., 1:-1], out=inner)
    inner -= samples[..., :-2] * samples[..., 2:]
    out[..., 0], out[..., -1] = out[..., 1], out[..., -2]
    return out


def _samples(x: ArrayLike) -> NDArray[Any]:
    """Floating samples with at least one axis; floats keep their precision, everything else becomes float64."""
    samples = np.asarray(x)
    if samples.ndim == 0:
        raise SignalError("a single number came; samples must be an array (..., samples); give at least one axis.")
    return samples if np.issubdtype(samples.dtype, np.floating) else samples.astype(np.float64)


def _mean(x: NDArray[Any]) -> FloatArray:
    """Mean over the samples present, along the last axis, in float64; NaN where there are none."""
    present = ~np.isnan(x)
    count = present.sum(axis=-1)
    total = np.where(present, x, 0).sum(axis=-1, dtype=np.float64)
    return total / np.where(count, count, np.nan)
