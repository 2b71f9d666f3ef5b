"""What test contractions hint at, and do not find: signals that are shared, quiet movements that are not quiet.

quiet_hints     channels that are not quiet in their quiet movement
shared_hints    what arrives is largely the signal of the muscle that is contracted: a warning, never an acquittal
geometric       a geometric mean of what is known
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from emgreview.conditioning import condition
from emgreview.contractions.asked import Asked
from emgreview.contractions.findings import LIMITS, Column
from emgreview.contractions.levels import levels_of, middle
from emgreview.intervals import Estimate
from emgreview.model import FloatArray, Processing, Recording
from emgreview.reading.channel_cards import LEAST_HEARD
from emgreview.signal.crosstalk import LONGEST_LAG_S, NOTEWORTHY, lagged_correlation, shared_words


def geometric(values: FloatArray) -> float:
    """Geometric mean of those that are known and above 0; NaN without any."""
    good = values[np.isfinite(values) & (values > 0)]
    return float(np.exp(np.mean(np.log(good)))) if good.size else math.nan


def quiet_hints(
    recs: Sequence[Recording], asked: Sequence[Asked], how: Processing, labels: Sequence[str], of: Mapping[str, Column]
) -> list[str]:
    """Sentences on channels that are not quiet in their quiet movement."""
    quiet = [one for one in asked if one.kind == "quiet" and one.target in labels]
    found = levels_of(recs, [middle(one) for one in quiet], how)
    hints = []
    for label in dict.fromkeys(one.target for one in quiet):
        rows = [row for row, one in enumerate(quiet) if one.target == label]
        there, column = geometric(found.rms[rows, labels.index(label)]), of[label]
        own = column.rest * 10 ** (column.own_db / 20)
        if own > 0 and there / own >= LIMITS["neighbour"].value:
            hints.append(
                f"In its quiet movement {label} shows {100 * there / own:.0f} % of its own contraction: it hears a "
                "muscle that works there, or works along (co-activation, which is no error)."
            )
    return hints


def shared_hints(
    recs: Sequence[Recording], tests: Sequence[Asked], how: Processing, of: Mapping[str, Column]
) -> list[str]:
    """Warnings where what arrives, LEAST_HEARD or more of the own contraction, is largely the signal of the muscle that
    is contracted: largest abs(R) within ±30 ms, the median over repeats. What is not named is not acquitted."""
    hints = []
    for contracted in of:
        for label, column in of.items():
            if label == contracted or not column.share.get(contracted, Estimate(math.nan)).value >= LEAST_HEARD:
                continue
            found = []
            for one in tests:
                place, start, stop = middle(one)
                rate_hz = recs[place].rate_hz
                if one.target == contracted and stop - start > 2 * LONGEST_LAG_S * rate_hz + 1:
                    x = condition(recs[place], start, stop, channels=[contracted, label], processing=how)[0]
                    both = lagged_correlation(x[0], x[1], rate_hz)
                    found.append((float(both.r2), float(both.lag_s)))
            r2, lag_s = np.nanmedian(found, axis=0) if np.isfinite(found).any() else (math.nan, math.nan)
            if r2 >= NOTEWORTHY:
                hints.append(f"While {contracted} is contracted, {shared_words(contracted, label, r2, lag_s)}")
    return hints
