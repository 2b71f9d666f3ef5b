"""Averages of trials aligned to a moment of each: go, onset or response.

Average, aligned_average
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.model import to_sample

FloatArray = NDArray[np.floating]


@dataclass(frozen=True, slots=True, eq=False)
class Average:
    """Mean of aligned trials; :func:`emgreview.average_envelopes` returns one a channel.

    Attributes
    ----------
    time_s : ndarray, shape (samples,)
        Seconds from the moment of alignment.
    mean, sd : ndarray, shape (..., samples)
        Mean and SD of single trials (n - 1 in the denominator); NaN where there is none, or
        one.
    n : ndarray of int, shape (..., samples)
        Trials behind each sample: it falls where trials end or lack samples, and there the
        mean is of fewer, other trials.
    used : ndarray of bool, shape (trials,)
        Which trials had such a moment.
    notes : tuple of str
        What was left out before, where the caller knows.
    """

    time_s: FloatArray
    mean: FloatArray
    sd: FloatArray
    n: NDArray[np.integer]
    used: NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def aligned_average(y: ArrayLike, at: ArrayLike, rate_hz: float, *, before_s: float, after_s: float) -> Average:
    """Mean over trials of y (trials, samples) or (trials, channels, samples) from before to after sample ``at``.

    ``at`` (trials,) is the moment in samples of each trial, NaN where it has none: such a trial is left out. It is
    rounded to the nearest sample. Where a trial does not reach far enough, or lacks samples, it is left out there.
    Align envelopes, not raw signals: their phases cancel. Neither side may be longer than a trial.
    """
    samples = checks.samples(y)
    moment = np.asarray(at, dtype=np.float64)
    if samples.ndim not in (2, 3) or moment.shape != samples.shape[:1]:
        raise SignalError(
            f"samples of shape {samples.shape} came with moments of shape {moment.shape}; allowed: (trials, samples) "
            "or (trials, channels, samples), and one moment a trial (NaN where there is none); give them so."
        )
    ends = (("before_s", before_s), ("after_s", after_s))
    longest_s = samples.shape[-1] / checks.rate(rate_hz)
    before, after = (
        to_sample(checks.number(name, part, least=0, most=longest_s, unit="s"), rate_hz) for name, part in ends
    )
    checks.demand(before + after >= 1, "before_s, after_s", (before_s, after_s), "a sample at least, together")
    used = np.isfinite(moment)
    chosen = samples[used]
    start = np.floor(moment[used] + 0.5).astype(np.intp) - before
    place = start[:, np.newaxis] + np.arange(before + after)
    outside = (place < 0) | (place >= samples.shape[-1])
    index = np.clip(place, 0, samples.shape[-1] - 1)
    if samples.ndim == 3:
        index, outside = index[:, np.newaxis], outside[:, np.newaxis]
    aligned = np.where(outside, np.nan, np.take_along_axis(chosen, index, axis=-1))
    present = ~np.isnan(aligned)
    n = present.sum(axis=0)
    mean = np.where(present, aligned, 0.0).sum(axis=0) / np.where(n > 0, n, np.nan)
    square = np.where(present, (aligned - mean) ** 2, 0.0).sum(axis=0)
    return Average(
        (np.arange(before + after) - before) / rate_hz, mean, np.sqrt(square / np.where(n > 1, n - 1, np.nan)), n, used
    )
