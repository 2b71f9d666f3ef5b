"""Butterworth filters whose stated corner is the true -3 dB point, whichever way they are run.

A filter run forward and backward ("zero-phase") attenuates twice, so that its gain at the corner it was designed for is
1/2 instead of 1/sqrt(2). Here the design is moved so that the gain is 1/sqrt(2) at the stated corner after *all*
passes. With C = (sqrt(2) - 1)^(1/2n), n the order of one pass, and corners warped as tan(π f / rate): a low-pass is
divided by C, a high-pass multiplied by C (Winter, Biomechanics and Motor Control of Human Movement, 4th ed., p 69;
Robertson et al., Research Methods in Biomechanics, 2nd ed., p 288; both quoted at second hand), and a band-pass keeps
the product of its two corners and has their distance divided by C, which is exact at both.

Arrays are (..., samples), filtered along the last axis in float64. Missing samples (NaN) stay missing: each run of
samples between them is filtered by itself, as if it were the whole signal. Filters start in their steady state for the
first sample, so an offset causes no transient.

    design_bandpass, design_lowpass   second-order sections
    bandpass, lowpass                 arrays
    settling_samples                  after how many samples the start is forgotten
    finite_runs                       where samples are present
"""

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from emgreview import checks
from emgreview.checks import refusal
from emgreview.errors import RateError, SignalError

FloatArray = NDArray[np.floating]
Direction = Literal["zero-phase", "causal"]

FORGOTTEN = 1e-11
"""Share of the largest past sample that may remain after settling: 1e-5 µV of a volt."""


def correction(order: int, direction: Direction) -> float:
    """The factor C by which one pass of a Butterworth filter must be moved: 1 for a single pass.

    One pass has the power gain 1/(1 + r^2n), r being the ratio to its own corner; two passes have its square, which is
    1/2 where r^2n = sqrt(2) - 1.
    """
    _check_order(order)
    if direction == "zero-phase":
        return float((math.sqrt(2) - 1) ** (1 / (2 * order)))
    if direction == "causal":
        return 1.0
    raise refusal("direction", direction, "'zero-phase' or 'causal'", "give one of them")


def design_bandpass(
    rate_hz: float, *, low_hz: float, high_hz: float | None, order: int, direction: Direction
) -> FloatArray:
    """Second-order sections of one pass of a band-pass, or of a high-pass where ``high_hz`` is None.

    ``low_hz`` and ``high_hz`` are -3 dB points after all passes of ``direction``; each side falls by 6 dB an octave
    times ``order`` and passes. RateError where ``high_hz`` reaches half the sampling rate; ParameterError where the
    corners are not 0 < low < high.
    """
    c = correction(order, direction)
    low = _warp(low_hz, rate_hz, "low_hz")
    if high_hz is None:
        return _sections(order, (_unwarp(low * c),), "highpass").copy()
    checks.number("high_hz", high_hz, above=low_hz, unit="Hz, or None")
    high = _warp(high_hz, rate_hz, "high_hz")
    half, centre = (high - low) / (2 * c), math.sqrt(low * high)
    reach = math.hypot(half, centre)
    return _sections(order, (_unwarp(centre * centre / (reach + half)), _unwarp(reach + half)), "bandpass").copy()


def design_lowpass(rate_hz: float, *, corner_hz: float, order: int, direction: Direction) -> FloatArray:
    """Second-order sections of one pass of a low-pass whose gain is -3 dB at ``corner_hz`` after all passes."""
    c = correction(order, direction)
    return _sections(order, (_unwarp(_warp(corner_hz, rate_hz, "corner_hz") / c),), "lowpass").copy()


@lru_cache(maxsize=64)
def _sections(order: int, corners: tuple[float, ...], kind: str) -> FloatArray:
    """A design, kept: that of one filter is asked for with every channel and stretch."""
    return signal.butter(order, corners[0] if len(corners) == 1 else corners, kind, output="sos")


def bandpass(
    x: ArrayLike,
    rate_hz: float,
    *,
    low_hz: float,
    high_hz: float | None,
    order: int,
    direction: Direction,
    remove_offset: bool = True,
) -> FloatArray:
    """Band-passed samples, same shape and unit as ``x`` (..., samples).

    ``remove_offset`` subtracts the median of all samples present first. Because the filter starts in its steady state
    and passes no constant, this changes nothing beyond rounding, and stretches of one recording filtered apart agree.
    A run of samples shorter than one period of ``low_hz`` cannot be told from drift: it comes back missing. An array
    shorter than that, or an infinite sample, is a SignalError. RateError, ParameterError as in :func:`design_bandpass`.
    """
    sos = design_bandpass(rate_hz, low_hz=low_hz, high_hz=high_hz, order=order, direction=direction)
    samples = checked_samples(x)
    shortest = shortest_run(rate_hz, low_hz)
    n = samples.shape[-1]
    if n < shortest:
        raise SignalError(
            f"{n} samples came along the last axis; a band-pass from {low_hz:g} Hz at {rate_hz:g} Hz needs at least "
            f"{shortest}, one period of {low_hz:g} Hz; filter the continuous recording before cutting it."
        )
    if remove_offset:
        samples = samples - _median(samples)
    return _filter_runs(sos, samples, direction, shortest=shortest, padtype="odd")


def lowpass(x: ArrayLike, rate_hz: float, *, corner_hz: float, order: int, direction: Direction) -> FloatArray:
    """Low-passed samples, same shape and unit as ``x`` (..., samples).

    Runs of any length are filtered. At its two ends a zero-phase run is continued by its mirror image, so that what is
    positive goes on positive (a Butterworth filter can still undershoot a little below zero).
    """
    sos = design_lowpass(rate_hz, corner_hz=corner_hz, order=order, direction=direction)
    return _filter_runs(sos, checked_samples(x), direction, shortest=1, padtype="even")


def shortest_run(rate_hz: float, low_hz: float) -> int:
    """Samples below which a run is not band-passed: one period of the lower corner."""
    return max(2, math.ceil(checks.rate(rate_hz) / checks.number("low_hz", low_hz, above=0, unit="Hz")))


def settling_samples(sos: FloatArray, *, remaining: float = FORGOTTEN) -> int:
    """Samples after which what came before a stretch no longer matters to one pass.

    The smallest n for which the impulse response h leaves sum |h[k]| over k ≥ n below ``remaining`` / sum |h|: two
    passes over a signal within ±A whose past is unknown are then wrong by no more than a few ``remaining`` times A,
    drift and offset included. Computed from h itself.
    """
    return _settled(np.ascontiguousarray(sos, dtype=np.float64).tobytes(), float(remaining))


@lru_cache(maxsize=64)
def _settled(sections: bytes, remaining: float) -> int:
    sos = np.frombuffer(sections).reshape(-1, 6).copy()
    radius = max(abs(pole) for pole in signal.sos2zpk(sos)[1])
    length = 64 + 2 * math.ceil(math.log(remaining) / math.log(radius)) if radius > 0 else 64
    h = np.zeros(length)
    h[0] = 1.0
    tail = np.cumsum(np.abs(signal.sosfilt(sos, h))[::-1])[::-1]
    return int(np.argmax(tail <= remaining / max(1.0, tail[0])))


def finite_runs(x: FloatArray) -> list[tuple[int, int]]:
    """Start and stop (excluded) of every run of present samples in one channel (samples,), in order."""
    edges = np.flatnonzero(np.diff(np.isnan(x), prepend=True, append=True))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]


def _filter_runs(
    sos: FloatArray, x: FloatArray, direction: Direction, *, shortest: int, padtype: Literal["odd", "even"]
) -> FloatArray:
    padding = settling_samples(sos) if direction == "zero-phase" else 0
    if not np.isnan(x).any():
        return _filter(sos, x, direction, padding, padtype)
    out = np.full(x.shape, np.nan)
    for row in np.ndindex(x.shape[:-1]):
        for start, stop in finite_runs(x[row]):
            if stop - start >= shortest:
                out[row][start:stop] = _filter(sos, x[row][start:stop], direction, padding, padtype)
    return out


def _filter(sos: FloatArray, x: FloatArray, direction: Direction, padding: int, padtype: str) -> FloatArray:
    if x.shape[-1] == 0:
        return x.copy()
    if direction == "zero-phase":
        return signal.sosfiltfilt(sos, x, axis=-1, padtype=padtype, padlen=min(padding, x.shape[-1] - 1))
    steady = signal.sosfilt_zi(sos)
    steady = steady.reshape(steady.shape[0], *[1] * (x.ndim - 1), 2) * x[np.newaxis, ..., :1]
    return signal.sosfilt(sos, x, axis=-1, zi=steady)[0]


def checked_samples(x: ArrayLike) -> FloatArray:
    """Samples as float64 with at least one axis; SignalError for a single number or an infinite sample."""
    samples = checks.samples(x)
    if samples.ndim == 0:
        raise SignalError("a single number came; samples must be an array (..., samples); give at least one axis.")
    if np.isinf(samples).any():
        raise SignalError(
            f"{np.isinf(samples).sum()} of {samples.size} samples are infinite; allowed: numbers, and NaN for missing; "
            "mark them as missing, or read the file again with its proper scale."
        )
    return samples


def _median(x: FloatArray) -> FloatArray:
    """Median of the samples present along the last axis, kept as an axis of length 1; 0 where there are none."""
    missing = np.isnan(x)
    if not missing.any():
        return np.median(x, axis=-1, keepdims=True)
    none = missing.all(axis=-1, keepdims=True)
    return np.nanmedian(np.where(none, 0.0, x), axis=-1, keepdims=True)


def _check_order(order: int) -> None:
    checks.whole("order", order, least=1, most=8)


def _warp(corner_hz: float, rate_hz: float, name: str) -> float:
    """tan(π f / rate): the bilinear transform makes the digital corner f an analogue one."""
    rate_hz = checks.rate(rate_hz)
    corner_hz = checks.number(name, corner_hz, above=0, unit="Hz")
    if corner_hz >= rate_hz / 2:
        instead = {"high_hz": ", or high_hz=None to leave the upper side open", "low_hz": ""}.get(name)
        where = "" if instead is None else f"{instead}; trials are cut with processing=Processing({name}=…)"
        raise RateError(
            f"the sampling rate of {rate_hz:g} Hz is too low for a {name} of {corner_hz:g} Hz, which must lie below "
            f"half of it, {rate_hz / 2:g} Hz; give a lower {name}{where}."
        )
    return math.tan(math.pi * corner_hz / rate_hz)


def _unwarp(warped: float) -> float:
    """Corner as a share of half the sampling rate, as scipy takes it."""
    return 2 / math.pi * math.atan(warped)
