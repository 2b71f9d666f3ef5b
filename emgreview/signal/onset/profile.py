"""Profile likelihood of one change in scale.

With f = x^2 (Gaussian) or |x| (Laplace) over n samples from the start of the rest to the peak of the activity, the
change c minimises

    c ln m0 + (n - c) ln m1,   m0 = mean f before c, m1 = mean f from c on

which is the Gaussian profile likelihood c ln s0^2 + (n - c) ln s1^2, or half of the Laplace one, whose scale is mean
|x|. Selvan et al. 2018 (IEEE Trans Neural Syst Rehabil Eng 26:1279-1291, read as an abstract): Teager-Kaiser energy
with the Laplace distribution needs no tuning; that is the default here.

Departures: the stretch ends at the peak of the power in ``peak_s``, since activity that ends again is no single change;
c lies within the search; activity counts where the mean power from c to the peak is ``least_db`` over the rest, since a
change is always found; the offset is the same in mirror image, from the peak to the end of the search. No interval,
presence or rise is given: those are NaN.

    ProfileParameters, find_profile     the method
    change                              c
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from emgreview import checks
from emgreview.checks import check_ranges
from emgreview.errors import UnknownNameError
from emgreview.signal.measures import teager_kaiser
from emgreview.signal.onset.common import Array, Batch, Places, burst_level_db, nothing

DISTRIBUTIONS = ("gaussian", "laplace")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileParameters:
    """``distribution`` "gaussian" or "laplace"; ``energy`` takes the Teager-Kaiser energy first; seconds and dB."""

    distribution: str = "laplace"
    energy: bool = True
    peak_s: float = 0.1
    shortest_s: float = 0.02
    least_db: float = 4.0

    def __post_init__(self) -> None:
        if self.distribution not in DISTRIBUTIONS:
            raise UnknownNameError("distribution", self.distribution, DISTRIBUTIONS)
        checks.truth("energy", self.energy)
        check_ranges(self, {"peak_s": (0.005, 1), "shortest_s": (0.001, 1), "least_db": (0, 100)})


def find_profile(batch: Batch, p: ProfileParameters) -> dict[str, Array]:
    x = teager_kaiser(batch.x) if p.energy else batch.x
    f = np.abs(x) if p.distribution == "laplace" else np.square(x)
    search = batch.search
    smooth = ndimage.uniform_filter1d(batch.x**2, max(1, round(p.peak_s * batch.rate_hz)), axis=1)
    peak: Places = search.start + smooth[:, search].argmax(axis=1)
    shortest = max(1, round(p.shortest_s * batch.rate_hz))
    n = f.shape[1]
    onset = change(f, batch.rest.start, search.start, peak + 1, shortest)
    offset = n - change(f[:, ::-1], n - search.stop, n - search.stop, n - peak, shortest)

    found = nothing(len(batch))
    level = burst_level_db(batch.x**2, onset, np.maximum(peak + 1, onset + shortest).clip(max=n))
    there = level >= p.least_db
    found["onset_s"] = np.where(there, onset / batch.rate_hz, np.nan)
    found["offset_s"] = np.where(there & (offset < search.stop - shortest), (offset - 1) / batch.rate_hz, np.nan)
    found["level_db"] = np.where(there, burst_level_db(batch.x**2, onset, np.maximum(offset, onset + 1)), np.nan)
    return found


def change(f: Array, start: int, earliest: int, stop: Places, shortest: int) -> Places:
    """c of each row of ``f``, over columns start to ``stop`` (rows,), at least ``shortest`` after the one and before
    the other and not before ``earliest``."""
    total = np.cumsum(np.pad(f[:, start:], ((0, 0), (1, 0))), axis=1)
    n = (stop - start)[:, None]
    c = np.arange(total.shape[1])
    whole = np.take_along_axis(total, n, axis=1)
    tiny = 1e-12 * np.maximum(whole, 1e-300)
    before = np.maximum(total, tiny) / np.maximum(c, 1)
    after = np.maximum(whole - total, tiny) / np.maximum(n - c, 1)
    cost = c * np.log(before) + (n - c) * np.log(after)
    first = np.maximum(shortest, earliest - start)
    allowed = (c >= first) & (c <= n - shortest)
    best = np.where(allowed, cost, np.inf).argmin(axis=1)
    return start + np.where(allowed.any(axis=1), best, first)
