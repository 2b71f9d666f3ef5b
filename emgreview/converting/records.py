"""Data records that hold a recording: how many samples each has, and the duration that the header states.

A reader divides the one by the other to have the rate, and the duration has eight characters at most. So a duration is
sought that gives the rate exactly, and a number of samples that divides the recording. Where both cannot be had the
last record is filled up, and the sidecar says how many samples were recorded; where no duration gives the rate, the
nearest one is stated, and the sidecar holds the rate itself.

    choose(rate_hz, n_samples, ...)     the records
"""

from dataclasses import dataclass

import numpy as np

MOST_BYTES = 61_440
"""What EDF recommends as the most of a data record (Kemp et al. 1992)."""

_LONGEST_S = 10.0
_ROUNDING = 1e-15
_AS_GOOD = 1e-9
"""Rates that differ by less, as a share, are as good as one another: 4 µs in an hour."""


@dataclass(frozen=True, slots=True)
class Records:
    """``n`` samples a record, ``count`` records of ``duration`` seconds, as the header writes it."""

    n: int
    count: int
    duration: str

    @property
    def rate_hz(self) -> float:
        """The rate that a reader of the header has."""
        return self.n / float(self.duration)

    def filled(self, n_samples: int) -> int:
        """How many samples of the last record were not recorded."""
        return self.n * self.count - n_samples


def choose(rate_hz: float, n_samples: int, *, multiple: int = 1, bytes_a_sample: int = 3) -> Records:
    """Records for so many samples at a rate; ``multiple`` divides the samples of each, ``bytes_a_sample`` is that of
    all channels together."""
    most = max(min(MOST_BYTES // bytes_a_sample, int(_LONGEST_S * rate_hz), max(n_samples, int(rate_hz))), 1)
    n = np.arange(1, most // multiple + 1) * multiple
    if not n.size:
        n = np.array([multiple])
    durations = n / rate_hz
    places = 6 - np.floor(np.log10(np.maximum(durations, 1.0))).astype(int)
    rounded = np.array([round(float(one), int(digits)) for one, digits in zip(durations, places, strict=True)])
    with np.errstate(divide="ignore"):
        off = np.where(rounded > 0, np.abs(n / rounded / rate_hz - 1), np.inf)
    filled = -n_samples % n
    grade = np.where(off <= _ROUNDING, 0, np.where(off <= _AS_GOOD, 1, 2))
    order = np.lexsort((-n, np.where(grade == 2, off, 0.0), filled, grade))
    best = int(order[0])
    if grade[best] == 2:
        best = int(np.lexsort((-n, filled, off))[0])
    duration = f"{rounded[best]:.{places[best]}f}".rstrip("0").rstrip(".")
    return Records(int(n[best]), -(-n_samples // int(n[best])), duration)
