"""Numbers that describe a stretch of signal: its amplitude, its rest, and how far it stands above rest.

Arrays are (..., samples): every function works along the last axis and keeps the others. Missing samples (NaN) are left
out of means, and a stretch without any sample gives NaN. Results have the unit of the signal unless the name says
otherwise (``_db``). Sums are taken in float64.

    rms, arv                       root mean square; average rectified value
    Baseline, baseline             mean, SD and RMS of the rest window, and distances from it in SDs
    level_db, snr_db, level_from_snr_db   a response over rest, with and without the rest in it
    rms_cv                         how uncertain an RMS is by chance alone, before any data
    teager_kaiser                  the energy operator
    stretches                      one stretch of each row, of its own length
    Measures, measure              everything that is measured of a burst, or of a window that starts with it
    slope_per_s                    how a rectified signal creeps up or down
    Reaction, reaction             reaction time, premotor and motor time
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.signal.spectrum import mean_frequency, median_frequency

FloatArray = NDArray[np.floating]

GRID_HZ = 0.2
"""Distance between the frequencies at which the spectrum of a burst is computed, where its length allows."""

ROUNDING = 16 * float(np.finfo(np.float64).eps)
"""Share of an RMS that rounding alone leaves of the SD of a constant."""

SPECTRUM_SHORTEST_S = 0.1
"""Mean and median frequency of shorter stretches are left out: their resolution would be worse than 10 Hz."""


def rms(x: ArrayLike) -> FloatArray:
    """Root mean square, sqrt(mean x²), about zero: (..., samples) to (...)."""
    return np.sqrt(_mean(np.square(_samples(x), dtype=np.float64)))


def arv(x: ArrayLike) -> FloatArray:
    """Average rectified value, mean |x|: (..., samples) to (...)."""
    return _mean(np.abs(_samples(x)))


@dataclass(frozen=True, slots=True, eq=False)
class Baseline:
    """Rest window of every stretch, arrays (...,) in the unit of the signal.

    ``sd`` is the population SD, sqrt(mean (x - mean)²): the baseline RMS once the offset is gone; 0 where it is no more
    than the rounding of float64 on a constant. ``rms`` is about zero. ``n_samples`` counts those present.
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
    about_zero = rms(rest)
    sd = np.where(sd <= ROUNDING * about_zero, 0.0, sd)
    return Baseline(mean, sd, about_zero, (~np.isnan(rest)).sum(axis=-1))


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
    checks.number("bandwidth_hz", bandwidth_hz, above=0, unit="Hz")
    checks.likely_unit("window_s", checks.number("window_s", window_s, above=0, unit="s"))
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


def stretches(x: ArrayLike, start: ArrayLike, stop: ArrayLike) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Samples ``start`` to ``stop`` (excluded) of each row of x (rows, samples), side by side, and which are whole.

    The first result is (rows, longest), NaN after the end of a shorter stretch. A stretch is whole where both its ends
    are known (not NaN), it holds a sample, lies inside the row, and lacks none; the others are NaN throughout.
    """
    samples = _samples(x)
    if samples.ndim != 2:
        raise SignalError(f"the samples came with shape {samples.shape}; they must be (rows, samples); reshape them.")
    n = samples.shape[-1]
    first, last = (np.broadcast_to(np.asarray(edge, dtype=np.float64), len(samples)) for edge in (start, stop))
    known = (first >= 0) & (last > first) & (last <= n)
    begin = np.where(known, first, 0).astype(np.intp)
    length = np.where(known, last - first, 0).astype(np.intp)
    at = np.arange(length.max(initial=0))
    inside = at < length[:, np.newaxis]
    out = np.take_along_axis(samples, np.minimum(begin[:, np.newaxis] + at, n - 1), axis=1).astype(np.float64)
    whole = known & ~(np.isnan(out) & inside).any(axis=1)
    out[~(inside & whole[:, np.newaxis])] = np.nan
    return out, whole


@dataclass(frozen=True, slots=True, eq=False)
class Measures:
    """What was measured of one stretch of each row, every field (rows,); see :func:`measure` for their definitions."""

    duration_s: FloatArray
    rms: FloatArray
    arv: FloatArray
    peak: FloatArray
    integral: FloatArray
    time_to_peak_s: FloatArray
    rise_per_s: FloatArray
    mean_hz: FloatArray
    median_hz: FloatArray


def measure(x: ArrayLike, envelope: ArrayLike, rate_hz: float, start: ArrayLike, stop: ArrayLike) -> Measures:
    """Measures of samples ``start`` to ``stop`` (excluded) of each row, in the unit of the signal.

    ``x`` is band-passed and ``envelope`` its envelope, both (rows, samples); ``start`` and ``stop`` (rows,) or one for
    all, NaN where not known. With N samples in a stretch, r the rate, e the envelope, p the place of its largest value:

    ========================  ==========================================================================
    ``duration_s``            N / r, also where samples are missing
    ``rms``, ``arv``          sqrt(mean x²), mean abs(x)
    ``peak``                  e[p]
    ``integral``              sum abs(x) / r, the integrated EMG, in the unit times seconds
    ``time_to_peak_s``        p / r, from the start of the stretch
    ``rise_per_s``            (e[p] - e[0]) / (p / r), the mean slope up to the peak; NaN where p is 0
    ``mean_hz``               centre of the power spectrum of x, its mean removed, no taper; and
    ``median_hz``             the frequency that halves its power; NaN for stretches below 0.1 s
    ========================  ==========================================================================

    A zero-phase filter mixes a little of what follows into the first samples: at 30 dB and 2 kHz (20 to 450 Hz,
    envelope 50 Hz) the rate of rise of bursts that rise within 5 ms comes out 12 % lower than causally, within 20 ms
    2 % lower, within 100 and 200 ms 4 and 8 % higher, the RMS of the first 30 ms 2 to 7 % higher (simulated noise).

    NaN where the stretch is not whole: never a measure of a part of it. Every row is computed by itself: what other
    rows come with it changes no bit. ARV, integral and frequencies are textbook definitions (vocabulary of McManus et
    al. 2021, J Electromyogr Kinesiol); the rate of rise has no agreed one.
    """
    rate_hz = checks.rate(rate_hz)
    if np.shape(x) != np.shape(envelope):
        raise SignalError(
            f"samples came with shape {np.shape(x)} and their envelope with {np.shape(envelope)}; they must be alike; "
            "give the envelope of the same stretch."
        )
    part, whole = stretches(x, start, stop)
    outline, outlined = stretches(envelope, start, stop)
    first, last = (np.broadcast_to(np.asarray(edge, dtype=np.float64), len(part)) for edge in (start, stop))
    duration_s = np.where(last > first, last - first, np.nan) / rate_hz
    size, average, mean_hz, median_hz, peak, to_peak_s, rise = np.full((7, len(part)), np.nan)
    for row in np.flatnonzero(whole):
        y = part[row, : int(last[row] - first[row])]
        size[row], average[row] = np.sqrt(np.mean(y * y)), np.mean(np.abs(y))
        if duration_s[row] >= SPECTRUM_SHORTEST_S - 0.5 / rate_hz:
            mean_hz[row], median_hz[row] = _frequencies(y, rate_hz)
    rows = np.flatnonzero(whole & outlined)
    if rows.size:
        place = np.nanargmax(outline[rows], axis=1)
        peak[rows] = outline[rows, place]
        to_peak_s[rows] = place / rate_hz
        rise[rows] = (peak[rows] - outline[rows, 0]) / np.where(place > 0, place / rate_hz, np.nan)
    return Measures(duration_s, size, average, peak, average * duration_s, to_peak_s, rise, mean_hz, median_hz)


def _frequencies(y: FloatArray, rate_hz: float) -> tuple[float, float]:
    """Mean and median frequency of one stretch (samples,), on a grid that follows from its own length alone.

    Zeros behind it refine the grid, to 0.2 Hz or sixteen times its length at most, twice at least. The median then lies
    within 0.1 Hz of the one on a grid four times finer (100 noises each of 0.1, 0.2 and 0.5 s at 1, 2 and 20 kHz).
    """
    n = fft.next_fast_len(max(2 * y.size, min(16 * y.size, math.ceil(rate_hz / GRID_HZ))), real=True)
    density = np.abs(fft.rfft(y - np.mean(y), n)) ** 2
    f = fft.rfftfreq(n, 1 / rate_hz)
    return float(mean_frequency(f, density)), float(median_frequency(f, density))


def slope_per_s(x: ArrayLike, rate_hz: float, start: ArrayLike, stop: ArrayLike) -> FloatArray:
    """Least-squares slope of abs(x) over samples ``start`` to ``stop`` (excluded) of each row, in the unit per second.

    (rows, samples) to (rows,); NaN where the stretch is not whole, or has a single sample. Its mean over noise without
    a trend is 0; a preparation that creeps up before go makes it positive, and every threshold late.
    """
    part, _ = stretches(x, start, stop)
    y = np.abs(part)
    present = ~np.isnan(y)
    t = np.where(present, np.arange(y.shape[1]) / rate_hz, np.nan)
    t = t - _mean(t)[:, np.newaxis]
    spread = np.where(present, t * t, 0.0).sum(axis=1)
    return np.where(present, t * y, 0.0).sum(axis=1) / np.where(spread > 0, spread, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Reaction:
    """Times of a reaction, (rows,), in seconds; ``impossible`` where the muscle starts at or after its response."""

    reaction_s: FloatArray
    premotor_s: FloatArray
    motor_s: FloatArray
    impossible: NDArray[np.bool_]


def reaction(go_s: ArrayLike, onset_s: ArrayLike, response_s: ArrayLike) -> Reaction:
    """Reaction time = premotor time (go to onset) + motor time (onset to response), all on one clock.

    Botwinick & Thompson 1966. A motor time of 0 or less cannot be the responding muscle's: look at the trial again.
    NaN where a part is missing.
    """
    go, onset, response = (np.asarray(part, dtype=np.float64) for part in (go_s, onset_s, response_s))
    motor = response - onset
    return Reaction(response - go, onset - go, motor, motor <= 0)


def _samples(x: ArrayLike) -> NDArray[Any]:
    """Floating samples with at least one axis; floats keep their precision, everything else becomes float64."""
    samples = checks.samples(x, dtype=None)
    if samples.ndim == 0:
        raise SignalError("a single number came; samples must be an array (..., samples); give at least one axis.")
    return samples


def _mean(x: NDArray[Any]) -> FloatArray:
    """Mean over the samples present, along the last axis, in float64; NaN where there are none."""
    present = ~np.isnan(x)
    count = present.sum(axis=-1)
    total = np.where(present, x, 0).sum(axis=-1, dtype=np.float64)
    return total / np.where(count, count, np.nan)
