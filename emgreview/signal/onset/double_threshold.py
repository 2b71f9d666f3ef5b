"""Double threshold on the whitened signal.

Bonato, D'Alessio and Knaflitz 1998 (IEEE Trans Biomed Eng 45:287-299). With e white and of variance 1 in the rest,

    z_i = e_(2i-1)^2 + e_(2i)^2        over pairs that do not overlap, so that successive z are independent
    P(z > zeta) = exp(-zeta / 2)       in the rest: the first threshold
    P_fa = sum_(k = r0..m) C(m, k) p^k (1 - p)^(m - k),   p = exp(-zeta / 2)

A moment is active where at least ``r0`` of ``m`` successive z exceed zeta: the second threshold. zeta follows from the
``false_alarm`` P_fa of one window. Stretches closer than ``merge_s`` are one; those shorter than ``shortest_s`` do not
count. The onset is the first z above zeta of the first stretch, the offset its last one.

m = 5 and at least 30 ms are usual (from memory); P_fa 0.01 of a window leaves about 1 % false onsets in 1.6 s of noise.
Departures: see :mod:`~emgreview.signal.onset.whitening`; windows slide by one pair. A threshold gives neither interval
nor presence nor rise: those are NaN.

    DoubleThresholdParameters, find_double_threshold     the method
    false_alarm, first_threshold                         P_fa of a threshold zeta, and the reverse
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from emgreview import checks
from emgreview.checks import check_ranges, in_order
from emgreview.signal.onset.common import Array, Batch, burst_level_db, first_run, nothing
from emgreview.signal.onset.whitening import residual


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubleThresholdParameters:
    """``r0`` of ``m`` pairs, whole numbers; P_fa of one window; times in seconds (``memory_s``: the whitening's)."""

    m: int = 5
    r0: int = 1
    false_alarm: float = 0.01
    shortest_s: float = 0.03
    merge_s: float = 0.01
    memory_s: float = 0.008

    def __post_init__(self) -> None:
        checks.whole("m", self.m, least=1, most=1000)
        checks.whole("r0", self.r0, least=1)
        in_order(self, "r0", "m")
        check_ranges(self, {"shortest_s": (0, 1), "merge_s": (0, 10)})
        check_ranges(self, {"false_alarm": (0, 0.999), "memory_s": (0, 0.1)})


def false_alarm(zeta: float, m: int, r0: int) -> float:
    """P_fa: the chance that a window of rest has at least r0 of m values above zeta (an incomplete beta function)."""
    return float(special.betainc(r0, m - r0 + 1, np.exp(-zeta / 2)))


def first_threshold(p_fa: float, m: int, r0: int) -> float:
    """zeta whose P_fa is ``p_fa``."""
    return float(-2 * np.log(special.betaincinv(r0, m - r0 + 1, p_fa)))


def find_double_threshold(batch: Batch, p: DoubleThresholdParameters) -> dict[str, Array]:
    e = residual(batch.x, batch.rest, batch.rate_hz, p.memory_s)[:, batch.search]
    pairs = e.shape[1] // 2
    z = np.square(e[:, : 2 * pairs]).reshape(len(e), pairs, 2).sum(axis=2)
    above = z > first_threshold(p.false_alarm, p.m, p.r0)
    count = np.cumsum(np.pad(above, ((0, 0), (1, p.m))), axis=1, dtype=np.int32)
    active = count[:, p.m :] - count[:, : -p.m] >= p.r0
    active = active[:, :pairs]

    pair_s = 2 / batch.rate_hz
    first, last = first_run(active, p.shortest_s / pair_s, p.merge_s / pair_s)
    there = first >= 0
    place = np.arange(pairs)
    onset = (above & (place >= first[:, None])).argmax(axis=1)
    end = pairs - 1 - (above & (place <= last[:, None]))[:, ::-1].argmax(axis=1)
    ended = there & (last < pairs - 1 - round(p.merge_s / pair_s))

    found = nothing(len(batch))
    start = batch.search.start
    found["onset_s"] = np.where(there, (start + 2 * onset) / batch.rate_hz, np.nan)
    found["offset_s"] = np.where(ended, (start + 2 * end + 1) / batch.rate_hz, np.nan)
    begin, stop = np.where(there, start + 2 * onset, 0), np.where(there, start + 2 * end + 2, 0)
    found["level_db"] = burst_level_db(batch.x**2, begin, stop)
    return found
