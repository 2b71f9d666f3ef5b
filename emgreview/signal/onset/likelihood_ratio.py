"""Approximated generalised likelihood ratio on the whitened signal.

Staude and Wolf 1999 (Med Eng Phys 21:449-467), Staude et al. 2001 (EURASIP J Adv Signal Process 2001:67-81), both read
as abstracts. With e white and of variance 1 in the rest, a window of L samples and s^2 its mean e^2,

    g = (L / 2) (s^2 - 1 - ln s^2),   counted where s^2 > 1

is the log-likelihood ratio of the window having a variance of its own. Windows with 10 g / ln 10 >= ``alarm_db``, that
is 10 log10 of the ratio itself, are active. From the end of the first one, the onset is the j that maximises the same
ratio over j to that end (a step):

    j* = argmax_j (N_j / 2) (s_j^2 - 1 - ln s_j^2),   N_j samples from j on, s_j^2 their mean e^2

``window_s`` 0.1 and g = 15 (65 dB) are those found best for reaching movements in a study read as an abstract (Krabben
et al.). Departures: see :mod:`~emgreview.signal.onset.whitening`; a step, no ramp; j reaches back two windows; the
offset is the same in mirror image from the last active window before ``merge_s`` without one. No interval, presence
or rise is given: those are NaN.

    LikelihoodRatioParameters, find_likelihood_ratio     the method
"""

from dataclasses import dataclass

import numpy as np

from emgreview.checks import check_ranges
from emgreview.signal.onset.common import Array, Batch, Places, burst_level_db, first_run, nothing
from emgreview.signal.onset.quiet import DB_PER_LN
from emgreview.signal.onset.whitening import residual

FEWEST_S = 0.004
"""No change is sought closer than this to the end of the window."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodRatioParameters:
    """Times in seconds (``memory_s``: the whitening's); ``alarm_db`` is 10 log10 of a ratio of likelihoods."""

    window_s: float = 0.1
    alarm_db: float = 15.0 * DB_PER_LN
    merge_s: float = 0.1
    memory_s: float = 0.008

    def __post_init__(self) -> None:
        check_ranges(self, {"window_s": (0.005, 1), "alarm_db": (0, 1e6), "merge_s": (0, 10), "memory_s": (0, 0.1)})


def ratio(total: Array, n: Array | int) -> Array:
    """(n / 2) (s^2 - 1 - ln s^2) of ``n`` samples whose squares sum to ``total``, 0 where s^2 <= 1."""
    s2 = np.maximum(total / n, 1.0)
    return n / 2 * (s2 - 1 - np.log(s2))


def find_likelihood_ratio(batch: Batch, p: LikelihoodRatioParameters) -> dict[str, Array]:
    e2 = np.square(residual(batch.x, batch.rest, batch.rate_hz, p.memory_s))
    length = max(2, round(p.window_s * batch.rate_hz))
    found = nothing(len(batch))
    search = batch.search
    if search.stop - search.start <= length:
        return found
    total = np.cumsum(np.pad(e2, ((0, 0), (1, 0))), axis=1)
    inside = total[:, search.start : search.stop + 1]
    active = ratio(inside[:, length:] - inside[:, :-length], length) >= p.alarm_db / DB_PER_LN
    first, last = first_run(active, 1, p.merge_s * batch.rate_hz)
    there = first >= 0
    ended = there & (last < active.shape[1] - 1 - round(p.merge_s * batch.rate_hz))

    onset = step_before(total, search.start + first + length, search.start, length, batch.rate_hz)
    mirrored = np.cumsum(np.pad(e2[:, ::-1], ((0, 0), (1, 0))), axis=1)
    n = e2.shape[1]
    offset = n - step_before(mirrored, n - (search.start + last), n - search.stop, length, batch.rate_hz)

    found["onset_s"] = np.where(there, onset / batch.rate_hz, np.nan)
    found["offset_s"] = np.where(ended, (offset - 1) / batch.rate_hz, np.nan)
    stop = np.where(there, np.where(ended, np.maximum(offset, onset + 1), search.stop), 0)
    found["level_db"] = burst_level_db(batch.x**2, np.where(there, onset, 0), stop)
    return found


def step_before(total: Array, end: Places, earliest: int, length: int, rate_hz: float) -> Places:
    """j* of each row, at most two windows before ``end`` and not before ``earliest``; ``total`` is a running sum."""
    fewest = max(1, round(FEWEST_S * rate_hz))
    j = end[:, None] - np.arange(fewest, 2 * length)
    rows = np.arange(len(total))[:, None]
    at = np.clip(j, 0, total.shape[1] - 1)
    g = ratio(total[rows, np.clip(end, 0, total.shape[1] - 1)[:, None]] - total[rows, at], end[:, None] - j)
    return j[rows[:, 0], np.where(j >= earliest, g, -1.0).argmax(axis=1)]
