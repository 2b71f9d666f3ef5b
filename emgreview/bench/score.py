"""What is said of a method in one cell of the benchmark, and the oracle beside it.

Errors are estimate minus truth, in ms; minus is too early. A missed onset counts as an infinite error in medians and
quantiles of |error|, and is left out of bias and SD.

    score      one row of numbers
    score_rest   what is said where the rest cannot be trusted
    wilson     95 % interval of a share
    oracle     onsets of one who knows the cell's average course of power
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.bench.recipes import CUE_S, Made
from emgreview.model import Onsets
from emgreview.signal.onset.common import level_and_scale, window
from emgreview.signal.onset.posterior import FREEDOM_HZ, quantile
from emgreview.signal.onset.quiet import QuietParameters, excess

Array = NDArray[np.floating]

EARLY_MS = -100.0
ORACLE_TEMPER = 0.9
"""The weight of the likelihood whose median the default method reports: 3 times 0.3."""


def wilson(k: int, n: int) -> tuple[float, float]:
    """95 % interval of the share k of n (Wilson 1927)."""
    if n == 0:
        return math.nan, math.nan
    z = 1.959964
    centre, half = (k / n + z * z / (2 * n)), z * math.sqrt(k / n * (1 - k / n) / n + z * z / (4 * n * n))
    return (centre - half) / (1 + z * z / n), (centre + half) / (1 + z * z / n)


def score(made: Made, found: Onsets) -> dict[str, Any]:
    """Numbers of one method in one cell; times in ms, shares in %, NaN where a method has no such number.

    ``narrowest_ms`` is the shorter side of an interval, from the onset to its nearer end, the shortest of all trials;
    ``narrow`` the share of intervals with a side shorter than 1 ms or a sample.
    """
    error = 1e3 * (found.onset_s - made.onset_s)
    seen = np.isfinite(error)
    size = np.where(seen, np.abs(error), np.inf)
    off = 1e3 * (found.offset_s - made.offset_s)
    ended = np.isfinite(off)
    row: dict[str, Any] = {
        "trials": len(error),
        "median_ms": float(np.median(size)),
        "p90_ms": float(np.quantile(size, 0.9, method="higher")),
        "bias_ms": _middle(error[seen]),
        "sd_ms": float(error[seen].std()) if seen.any() else math.nan,
    }
    row |= {f"within_{limit}_ms": 100 * float(np.mean(size <= limit)) for limit in (10, 20, 50)}
    row |= {"missed": 100 * float(np.mean(~seen)), "early": 100 * float(np.mean(error < EARLY_MS))}
    row["visible_ms"] = float(np.nanmedian(np.where(seen, np.abs(1e3 * (found.onset_s - made.visible_s)), np.inf)))
    row |= _interval(made.onset_s, found.low_s, found.high_s, seen, "")
    sides = 1e3 * np.minimum(found.onset_s - found.low_s, found.high_s - found.onset_s)
    known = sides[np.isfinite(sides)]
    row["narrowest_ms"] = float(known.min()) if known.size else math.nan
    row["narrow"] = 100 * float(np.mean(known < shortest_side_ms(made.rate_hz))) if known.size else math.nan
    row |= {
        "offset_median_ms": float(np.median(np.where(ended, np.abs(off), np.inf))),
        "offset_bias_ms": _middle(off[ended]),
        "offset_missed": 100 * float(np.mean(~ended)),
    }
    return row | _interval(made.offset_s, found.offset_low_s, found.offset_high_s, ended, "offset_")


def shortest_side_ms(rate_hz: float) -> float:
    """1 ms or a sample, whichever is longer, less what rounding may take."""
    return max(1.0, 1e3 / rate_hz) - 1e-6


FAR_MS = 50.0


def score_rest(made: Made, found: Onsets, due: str) -> dict[str, Any]:
    """Shares in % of trials with the word that is due, with another word, with no answer at all (``present`` NaN), and
    with a wrong answer: an onset more than 50 ms from the truth, or where there is none; or, where there is a burst,
    none found and no word said. ``median_ms`` of |error| is that of the onsets found."""
    n = len(found.onset_s)
    error = 1e3 * np.abs(found.onset_s - made.onset_s)
    seen, there = np.isfinite(found.onset_s), np.isfinite(made.onset_s)
    said = found.baseline_note == due
    wrong = seen & ~(error <= FAR_MS) | (there & ~seen & (found.baseline_note == ""))
    shares = {"due_word": said, "other_word": ~said & (found.baseline_note != ""), "no_answer": np.isnan(found.present)}
    shares |= {"found": seen, "wrong": wrong}
    row: dict[str, Any] = {"trials": n, "due": due}
    row |= {name: 100 * float(np.mean(value)) for name, value in shares.items()}
    return row | {"median_ms": _middle(error[seen & there])}


def _middle(values: Array) -> float:
    return float(np.median(values)) if values.size else math.nan


def _interval(truth_s: Array, low_s: Array, high_s: Array, seen: NDArray[np.bool_], prefix: str) -> dict[str, float]:
    seen = seen & np.isfinite(low_s)
    inside = (low_s <= truth_s)[seen] & (truth_s <= high_s)[seen]
    low, high = wilson(int(inside.sum()), inside.size)
    share = float(inside.mean()) if inside.size else math.nan
    return {
        f"{prefix}covered": 100 * share,
        f"{prefix}covered_low": 100 * low,
        f"{prefix}covered_high": 100 * high,
        f"{prefix}width_ms": 1e3 * _middle((high_s - low_s)[seen]),
    }


def oracle(made: Made) -> Array:
    """Onset of each trial, (trials,) seconds, estimated with the cell's average course of power known.

    The course v of the energies y of :mod:`~emgreview.signal.onset.quiet`, relative to the true onset, is averaged over
    the other half of the trials; then l(tau) = -(nu / 2) sum_b [ln v_(b - tau) + y_b / v_(b - tau)] over one common
    stretch, and the median of its posterior. Single trials differ from the average course, so this is a practical
    lower limit and no bound.
    """
    n, samples = made.x.shape
    rest = window("rest_s", made.rest_s, CUE_S, samples, made.rate_hz, 0.1)
    level, scale = level_and_scale(made.x, rest)
    s = excess(
        (made.x - level[:, None]) / scale[:, None], made.rate_hz, rest, slice(rest.stop, samples), QuietParameters()
    )
    bin_s = s.bin / made.rate_hz
    y = s.y.astype(float)
    first, last = round((CUE_S - 0.1) / bin_s), y.shape[1]
    candidates = np.arange(round(CUE_S / bin_s), round((CUE_S + 0.6) / bin_s))
    at = np.round(made.onset_s / bin_s).astype(int)
    before = candidates[-1] - first
    lags = np.arange(-before, last - candidates[0])
    place = at[:, None] + lags
    known = (place >= 0) & (place < last)
    ln_y = np.log(np.maximum(y, 1e-3))
    ln_y -= ln_y[:, s.rest.start * s.block : s.rest.stop * s.block].mean(axis=1, keepdims=True)
    aligned = np.where(known, np.take_along_axis(ln_y, np.clip(place, 0, last - 1), axis=1), 0.0)
    onset_s = np.empty(n)
    for half in (0, 1):
        mine, others = np.arange(n) % 2 == half, np.arange(n) % 2 != half
        v = np.exp(np.maximum(aligned[others].sum(axis=0) / np.maximum(known[others].sum(axis=0), 1), 0.0))
        table = v[np.arange(first, last)[:, None] - candidates + before]
        cost = y[mine, first:] @ (1 / table) + np.log(table).sum(axis=0)
        ln_p = -0.5 * ORACLE_TEMPER * FREEDOM_HZ * bin_s * cost
        mass = np.exp(ln_p - ln_p.max(axis=1, keepdims=True))
        cdf = np.pad(np.cumsum(mass, axis=1), ((0, 0), (1, 0)))
        onset_s[mine] = (candidates[0] + quantile(cdf / cdf[:, -1:], 0.5)) * bin_s
    return onset_s
