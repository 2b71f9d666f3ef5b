"""Onsets of channels that are no EMG: force, angle, acceleration, key travel.

They serve as an independent check of a muscle's onset. Two ways, both after a moving mean over ``smooth_s``:

    level      d(t) = |y(t)|, how far the channel lies from its rest: force, angle, key travel
    change     d(t) = |y(t + c/2) - y(t - c/2)|, how fast it changes over c = ``change_s``: acceleration, or a force or
               angle that drifts in its rest

theta = ``k`` SD of the rest (of y, or of its change) about the rest's mean. The first stretch of at least
``shortest_s`` with d > theta is the movement, stretches closer than ``merge_s`` being one; from its first sample the
onset goes back to the last sample at which d was within ``back`` SD, which takes most of the delay out of a threshold.
The offset is the last sample above theta. Thresholds in SDs with a step back are common practice, no source. A moving
mean looks half of ``smooth_s`` ahead. No interval, presence or rise is given: those are NaN; so is the level.

A rest that gives one value throughout, as a digitised key does, has no SD: then any departure of ``shortest_s`` counts.
Give the channel as it was recorded, or low-passed, never band-passed: its rest may have any offset. All units do.

    LevelParameters, find_level       the first way
    ChangeParameters, find_change     the second
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from emgreview.checks import check_ranges
from emgreview.signal.onset.common import Array, Batch, first_run, nothing

LIMITS = {"k": (0, 1000), "back": (0, 1000), "smooth_s": (0, 1), "shortest_s": (0, 10), "merge_s": (0, 10)}


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelParameters:
    """``k`` and ``back`` in SDs of the rest; times in seconds."""

    k: float = 5.0
    back: float = 2.0
    smooth_s: float = 0.005
    shortest_s: float = 0.02
    merge_s: float = 0.1

    def __post_init__(self) -> None:
        check_ranges(self, LIMITS)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeParameters(LevelParameters):
    """The same, and ``change_s``, over which a change is taken."""

    change_s: float = 0.01

    def __post_init__(self) -> None:
        check_ranges(self, {**LIMITS, "change_s": (0, 1)})


def find_level(batch: Batch, p: LevelParameters) -> dict[str, Array]:
    return departures(batch, smoothed(batch, p), p)


def find_change(batch: Batch, p: ChangeParameters) -> dict[str, Array]:
    y = smoothed(batch, p)
    half = max(1, round(p.change_s * batch.rate_hz / 2))
    padded = np.pad(y, ((0, 0), (half, half)), mode="edge")
    return departures(batch, padded[:, 2 * half :] - padded[:, : -2 * half], p)


def smoothed(batch: Batch, p: LevelParameters) -> Array:
    return ndimage.uniform_filter1d(batch.x, max(1, round(p.smooth_s * batch.rate_hz)), axis=1)


def departures(batch: Batch, y: Array, p: LevelParameters) -> dict[str, Array]:
    """Onset and offset where ``y`` (trials, samples) leaves and regains its rest."""
    rest = y[:, batch.rest]
    spread = np.maximum(rest.std(axis=1, keepdims=True), 1e-9)
    d = np.abs(y - rest.mean(axis=1, keepdims=True)) / spread
    above = d[:, batch.search] > p.k
    first, last = first_run(above, p.shortest_s * batch.rate_hz, p.merge_s * batch.rate_hz)
    there = first >= 0
    place = np.arange(d.shape[1])
    start = batch.search.start
    calm = (d <= p.back) & (place < (start + first)[:, None])
    onset = d.shape[1] - calm[:, ::-1].argmax(axis=1)
    onset = np.where(calm.any(axis=1), np.maximum(onset, start), start)
    ended = there & (last < above.shape[1] - 1 - round(p.merge_s * batch.rate_hz))

    found = nothing(len(batch))
    found["onset_s"] = np.where(there, onset / batch.rate_hz, np.nan)
    found["offset_s"] = np.where(ended, (start + last) / batch.rate_hz, np.nan)
    return found
