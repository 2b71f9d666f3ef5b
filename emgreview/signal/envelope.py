"""Envelopes: the slow outline of a band-passed signal.

Two kinds, always named with their numbers because they are not the same quantity: the rectified signal after a
low-pass with a true -3 dB corner (its mean is the ARV), or the RMS in a centred window. Arrays are (..., samples), in
the unit of the signal. Missing samples (NaN) stay missing and are left out of their neighbours' windows.

A zero-phase envelope starts to rise before the signal does, a causal one later: look at the signal itself for timing.

    low_pass_envelope   |x|, then a Butterworth low-pass
    rms_envelope        root mean square in a centred window
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.signal.filters import Direction, checked_samples, lowpass

FloatArray = NDArray[np.floating]


def low_pass_envelope(
    x: ArrayLike, rate_hz: float, *, corner_hz: float, order: int, direction: Direction
) -> FloatArray:
    """Rectified signal, low-passed with -3 dB at ``corner_hz`` after all passes; same shape and unit as ``x``.

    Beside a strong burst it can undershoot a little below zero. Errors as in :func:`emgreview.signal.filters.lowpass`.
    """
    return lowpass(np.abs(checked_samples(x)), rate_hz, corner_hz=corner_hz, order=order, direction=direction)


def rms_envelope(x: ArrayLike, rate_hz: float, *, window_s: float) -> FloatArray:
    """Root mean square in a window centred on each sample; same shape and unit as ``x``.

    The window has the odd number of samples 2 h + 1, h = :func:`rms_half_window`; at the ends, and beside missing
    samples, it is the mean over those present.
    """
    samples = checked_samples(x)
    half = rms_half_window(rate_hz, window_s)
    missing = np.isnan(samples)
    if not missing.any():
        at = np.arange(samples.shape[-1])
        return np.sqrt(_window_sums(np.square(samples), half) / (np.minimum(at, half) + np.minimum(at[::-1], half) + 1))
    power = _window_sums(np.where(missing, 0.0, np.square(samples)), half)
    count = _window_sums((~missing).astype(np.float64), half)
    return np.sqrt(power / np.where(missing, np.nan, count))


def rms_half_window(rate_hz: float, window_s: float) -> int:
    """Samples on either side of the centre: those whose distance is at most half of ``window_s``."""
    window_s = checks.number("window_s", window_s, above=0, unit="s")
    checks.likely_unit("window_s", window_s, most_s=checks.LONGEST_STRETCH_S)
    return math.floor(window_s * checks.rate(rate_hz) / 2 + 1e-9)


def _window_sums(x: FloatArray, half: int) -> FloatArray:
    """Sums over ``half`` samples on either side, zeros beyond the ends.

    The padded signal is cut into blocks as long as the window, n; a window is then the end of one block and the start
    of the next. Running sums are thus never longer than n and nothing is subtracted: a quiet stretch after a huge
    artefact keeps its full precision.
    """
    n, length = 2 * half + 1, x.shape[-1]
    blocks = -(-(length + 2 * half) // n)
    padded = np.zeros((*x.shape[:-1], blocks * n))
    padded[..., half : half + length] = x
    padded = padded.reshape(*x.shape[:-1], blocks, n)
    to_end = np.cumsum(padded[..., ::-1], axis=-1)[..., ::-1]
    to_end[..., 0] = 0.0
    from_start = np.cumsum(padded, axis=-1).reshape(*x.shape[:-1], -1)
    return from_start[..., n - 1 : n - 1 + length] + to_end.reshape(*x.shape[:-1], -1)[..., :length]
