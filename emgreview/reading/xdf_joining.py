"""Streams of one rate that were recorded beside each other, joined where their time stamps agree.

Taken       a stream with its samples, or several joined
joined      one of several
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import RateError


@dataclass(frozen=True, eq=False, slots=True)
class Taken:
    """Samples (samples, channels) with time stamps on the common clock, in seconds."""

    name: str
    x: NDArray
    stamps: NDArray[np.float64]
    rate_hz: float
    labels: list[str]
    units: list[str]
    notes: list[str]


def joined(path: Path, taken: Sequence[Taken]) -> Taken:
    """The stretch that all have, sample beside sample, by the clock of the first.

    Raises RateError where they do not overlap, or their samples lie further than half a sample from each other.
    """
    first = taken[0]
    step = float(first.stamps[-1] - first.stamps[0]) / (len(first.stamps) - 1)
    ahead = [round(float(one.stamps[0] - first.stamps[0]) / step) for one in taken]
    begin = max(ahead)
    end = min(at + len(one.stamps) for at, one in zip(ahead, taken, strict=True))
    if end - begin < 2:
        raise RateError(
            f"the streams {', '.join(repr(one.name) for one in taken)} of {path.name} have no stretch in common; read "
            "each by itself: stream='…'."
        )
    notes = list(first.notes)
    for at, one in zip(ahead[1:], taken[1:], strict=True):
        apart = np.abs(one.stamps[begin - at : end - at] - first.stamps[begin:end])
        furthest = float(apart.max())
        if furthest > 0.5001 * step:
            raise RateError(
                f"{path.name}: samples of {one.name!r} lie up to {1000 * furthest:.3g} ms from those of "
                f"{first.name!r}, and {1000 * step / 2:.3g} ms, half a sample, are allowed: their clocks drift; read "
                "each by itself: stream='…'."
            )
        notes += one.notes
        notes.append(
            f"{one.name!r} of {path.name} was joined to {first.name!r}, each sample to the nearest one, which lies up "
            f"to {1000 * furthest:.3g} ms from it."
        )
    for at, one in zip(ahead, taken, strict=True):
        before, after = begin - at, at + len(one.stamps) - end
        if before or after:
            notes.append(
                f"The first {before * step:.3g} s and the last {after * step:.3g} s of {one.name!r} are left out: "
                "another stream does not have them."
            )
    every = [label for one in taken for label in one.labels]
    labels = [
        f"{one.name} {label}" if every.count(label) > one.labels.count(label) else label
        for one in taken
        for label in one.labels
    ]
    x = np.concatenate([one.x[begin - at : end - at] for at, one in zip(ahead, taken, strict=True)], axis=1)
    units = [unit for one in taken for unit in one.units]
    return Taken(first.name, x, first.stamps[begin:end], first.rate_hz, labels, units, notes)
