"""Time stamps of a regular stream, laid on straight lines: one, or several where samples are missing between them.

Stamps jitter: a line through all of them is nearer to when samples were taken. But a line through a place where samples
are missing hides the hole, and moves every marker near it. So a place is sought where stamps jump and stay apart.

    straight    the stamps on their lines, and where each line begins
    GAP_S, GAP_SAMPLES      the jump from which on a recording is in pieces
"""

import numpy as np
from numpy.typing import NDArray

GAP_S, GAP_SAMPLES = 1.0, 500
"""A step of both and more is a gap (that of the library that reads the file)."""
_LEAST = 3
"""Samples that must be missing to be seen (our own choice)."""
_WINDOW = 100
"""Samples before and after a jump that show whether stamps stay apart (our own choice)."""
_MOST = 5000
"""Jumps that are looked at, the longest (our own choice)."""


def gaps(stamps: NDArray[np.float64], rate_hz: float) -> NDArray[np.intp]:
    """The last sample before each gap."""
    steps = np.abs(np.diff(stamps))
    return np.flatnonzero(steps > max(GAP_S, GAP_SAMPLES / rate_hz))


def straight(stamps: NDArray[np.float64], rate_hz: float) -> tuple[NDArray[np.float64], list[int]]:
    """The stamps on straight lines, and the first sample of each line."""
    begins = [0, *(int(one) + 1 for one in _holes(stamps, 1 / rate_hz))]
    made = np.empty_like(stamps)
    for begin, end in zip(begins, [*begins[1:], len(stamps)], strict=True):
        made[begin:end] = _line(stamps[begin:end], 1 / rate_hz)
    return made, begins


def _line(stamps: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """The straight line nearest to stamps."""
    n = np.arange(len(stamps)) - (len(stamps) - 1) / 2
    mean = float(np.mean(stamps))
    slope = float(n @ (stamps - mean) / (n @ n)) if len(stamps) > 1 else step_s
    return np.asarray(mean + slope * n, np.float64)


def _holes(stamps: NDArray[np.float64], step_s: float) -> list[int]:
    """The last sample before each jump after which stamps stay as far apart as it says."""
    steps = np.diff(stamps)
    jumps = np.flatnonzero(steps > (_LEAST + 1) * step_s)
    left = stamps - np.arange(len(stamps)) * step_s
    found: list[int] = []
    for at in jumps[np.argsort(-steps[jumps], kind="stable")][:_MOST]:  # the longest first: they end others' windows
        begin = max([at + 1 - _WINDOW, 0, *(one + 1 for one in found if one < at)])
        end = min([at + 1 + _WINDOW, *(one + 1 for one in found if one > at)])
        before, after = left[begin : at + 1], left[at + 1 : end]
        apart = float(np.median(after) - np.median(before))
        spread = max(float(np.subtract(*np.percentile(one, [90, 10]))) for one in (before, after))
        if apart > max(_LEAST * step_s, 0.5 * (steps[at] - step_s), spread):
            found.append(int(at))
    return sorted(found)
