"""Two muscles at once: how much of their activity is common, and which starts first.

Arrays are (..., samples): envelopes of the two, over the same stretch. Missing is NaN.

    common_area             %COCON: common area over mean area of two envelopes
    moment_coactivation     the same of two moments of force
    Order, onset_order      the difference of two onsets, with its own interval
    ORDER_CAUTION           where that interval does not hold, with figures
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import SignalError

FloatArray = NDArray[np.floating]
Rule = Literal["samples", "trapezoid", "lines"]
RULES: tuple[Rule, ...] = ("samples", "trapezoid", "lines")

ORDER_CAUTION = (
    "The order of two onsets is safest between rises that are alike. A gentle rise is found late, by 6 to 20 ms where "
    "it takes 100 ms, by 40 ms or more where it begins as a cube, and a fast one is not; the interval allows for it, "
    "the difference itself does not. The 90 % interval held the true difference in 94 % or more of 400 simulated "
    "trials at 15 to 35 dB between rises of 5 and 100 ms (a line, half a cosine, a cube), in 87 % or more between 5 ms "
    "and a cube of 200 ms, and in 93 % or more between alike rises. "
    "Where one channel rises faster, a small difference is no order. Nor is it where a small first part of a response "
    "lies in the noise of one channel and, being stronger, not in that of the other: no method sees it there."
)
"""What is said wherever an order of two onsets is named; measured by ``tests/benchmarks/bench_order.py``."""


def common_area(a: ArrayLike, b: ArrayLike, *, rule: Rule) -> FloatArray:
    """%COCON = 2 · common area / (area A + area B), in per cent: (..., samples) to (...).

    Winter, Biomechanics and Motor Control of Human Movement, 4th ed., eq. 6.13. ``a`` and ``b`` are envelopes in
    comparable units, usually each normalised to its own reference: the index changes with the gain of one of them.
    Values below 0, which a filter may leave, count as 0.

    The index depends on how areas are integrated, so the rule must be named and reported: "samples" sums samples, and
    min(a, b); "trapezoid" integrates straight lines through a, b and min(a, b) at the samples; "lines" is the exact
    area under both straight-line courses, crossings between samples included. They differ in coarse curves and agree in
    densely sampled ones. NaN where a sample is missing or both are 0 throughout.
    """
    demand(rule in RULES, "rule", rule, ", ".join(map(repr, RULES)))
    a, b = _alike(a, b)
    if rule == "samples":
        common, area = np.minimum(a, b).sum(axis=-1), (a + b).sum(axis=-1)
    else:
        common, area = np.trapezoid(np.minimum(a, b), axis=-1), np.trapezoid(a + b, axis=-1)
    if rule == "lines":
        d = a - b
        before, after = d[..., :-1], d[..., 1:]
        crossing = before * after < 0
        total = np.abs(before) + np.abs(after)
        gap = np.abs(before * after) / np.where(crossing, 2 * total, 1.0)
        common = common + np.where(crossing, gap, 0.0).sum(axis=-1)
    return 200.0 * common / np.where(area > 0, area, np.nan)


def moment_coactivation(antagonist: ArrayLike, agonist: ArrayLike) -> FloatArray:
    """%COCON = 2 · antagonist moment / (agonist + antagonist moment), in per cent (Winter, eq. 6.12)."""
    against, along = np.abs(checks.samples(antagonist)), np.abs(checks.samples(agonist))
    total = against + along
    return 200.0 * against / np.where(total > 0, total, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """Onset of B minus onset of A, with its interval, (trials,), in seconds.

    ``first`` is "A" or "B" where the interval leaves 0 out, "not told apart" where it holds 0, "" where an onset or an
    interval is missing. ``caution`` says where interval and order do not hold (:data:`ORDER_CAUTION`).
    """

    difference_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    first: NDArray[np.str_]
    caution: str = ORDER_CAUTION


def onset_order(
    a_s: ArrayLike,
    b_s: ArrayLike,
    *,
    a_interval_s: tuple[ArrayLike, ArrayLike],
    b_interval_s: tuple[ArrayLike, ArrayLike],
) -> Order:
    """Which of two channels starts first in each trial, as far as the onsets' own intervals can tell.

    ``a_s`` and ``b_s`` are onsets (trials,); intervals (low, high) of one coverage, which the difference's interval
    inherits: with d = b - a, from d - sqrt((b - b_low)² + (a_high - a)²) to d + sqrt((b_high - b)² + (a - a_low)²)
    (recovery of variances from the two intervals: Zou & Donner 2008, Stat Med 27:1693-1702; from memory). It holds
    where the two errors are independent. Channels that hear the same muscle are not, and then an equal onset says
    nothing (see ``crosstalk``). Nor does it hold between a fast and a gentle rise: their errors are not about zero
    (:data:`ORDER_CAUTION`, with figures).
    """
    a, a_low, a_high, b, b_low, b_high = np.broadcast_arrays(
        *(np.asarray(part, dtype=np.float64) for part in (a_s, *a_interval_s, b_s, *b_interval_s))
    )
    for name, low, at, high in (("A", a_low, a, a_high), ("B", b_low, b, b_high)):
        if ((low > at) | (high < at)).any():
            raise SignalError(
                f"an onset of {name} lies outside its interval; allowed: low ≤ onset ≤ high; give the interval of that "
                "onset, not of another one."
            )
    d = b - a
    low, high = d - np.hypot(b - b_low, a_high - a), d + np.hypot(b_high - b, a - a_low)
    first = np.select([np.isnan(low) | np.isnan(high), low > 0, high < 0], ["", "A", "B"], "not told apart")
    return Order(d, low, high, first)


def _alike(a: ArrayLike, b: ArrayLike) -> tuple[FloatArray, FloatArray]:
    first, second = checks.samples(a), checks.samples(b)
    if first.shape != second.shape or first.ndim == 0 or first.shape[-1] < 2:
        raise SignalError(
            f"arrays of shape {first.shape} and {second.shape} came; both must be (..., samples), alike, with 2 "
            "samples or more; give the same stretch of both channels."
        )
    return np.maximum(first, 0.0), np.maximum(second, 0.0)
