"""A column of times, held against the sampling rate: rounding of text is allowed, missing samples are not.

demand_rate_fits    RateError where the times are not those of that rate
coarse_words        a sentence where they are written too coarsely to show a missing sample
jitter_words        a sentence where they jitter, and that was told of
seconds_of          times in a unit, or as dates, to seconds
TIME_UNITS          the units
"""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, RateError
from emgreview.model import FloatArray
from emgreview.reading.dates import DATES, WORDS, moments_of

TIME_UNITS = {"s": 1, "ms": 1_000, "us": 1_000_000}
"""How many make a second."""


def seconds_of(path: Path, values: FloatArray | Sequence[str], unit: str, *, first_line: int = 1) -> FloatArray:
    """Times in seconds; dates in seconds since the first one. Raises FormatError for what is no date."""
    if unit in TIME_UNITS:
        times = np.asarray(values, dtype=np.float64)
        return times / TIME_UNITS[unit]
    texts = [str(value) for value in values]
    at = moments_of(texts, unit)
    if at.isna().any():
        line = int(np.flatnonzero(at.isna())[0])
        raise FormatError(
            f"{path.name}: line {line + first_line} has the time {texts[line][:40]!r}; allowed with "
            f"time_unit={unit!r}: {WORDS[unit]}, all of one form; say another time_unit "
            f"({', '.join(map(repr, DATES))}), or leave the column out."
        )
    seconds: FloatArray = (at - at.iloc[0]).dt.total_seconds().to_numpy(np.float64)
    return seconds


def demand_rate_fits(
    path: Path, time_s: FloatArray, rate_hz: float, place: int, *, first_line: int = 1, jitter_s: float = 0.0
) -> None:
    """RateError where the time column is no sample number / rate, rounded as its text is; see :func:`_runs`. With
    ``jitter_s`` a time may lie so far from there. ``first_line`` is the line of the first sample in the file."""
    unit_s = _unit_s(time_s)
    good = _runs(time_s, rate_hz, unit_s)
    if jitter_s and not good.all():  # all lines by one rule: half of them by each would let a hole pass between
        good = _near(time_s, rate_hz, jitter_s)
    bad = np.flatnonzero(~good)
    if len(bad):
        line = int(bad[0])
        steps = np.diff(time_s)
        step = float(np.mean(steps)) if unit_s * rate_hz > 1 else float(np.median(steps))
        rising = (steps > 0) | ((steps == 0) & (unit_s * rate_hz > 1) & (time_s[-1] > time_s[0]))
        if not np.all(rising):
            back = int(np.flatnonzero(~rising)[0]) + 1
            raise RateError(
                f"{path.name}: column {place + 1} was named 'time', and does not rise: line {back + first_line} has "
                f"{time_s[back]:g} after {time_s[back - 1]:g}; a time column holds seconds that rise in equal steps; "
                "this is no time column, or another column is: correct the order of columns=."
            )
        if math.isclose(step * rate_hz, 1000, rel_tol=0.01):
            raise RateError(
                f"{path.name}: the time column runs in steps of {step:g}, which fits rate_hz={rate_hz:g} in "
                "milliseconds; it must hold seconds; say time_unit='ms' if that is so, or leave it out: None for it in "
                "columns=."
            )
        raise RateError(
            f"{path.name}: line {line + first_line} has the time {time_s[line]:g} s, but with rate_hz={rate_hz:g} it "
            f"should be {time_s[0] + line / rate_hz:g} s; the time column must run in equal steps of 1/rate_hz (its "
            f"{'mean' if unit_s * rate_hz > 1 else 'median'} step is {step:g} s"
            + (f", {1 / step:g} Hz" if step > 0 else "")
            + "); correct rate_hz, or split the file where samples are missing; where the clock jitters, jitter_s= "
            f"says how far a time may lie from there (here {float(np.max(np.abs(_off(time_s, rate_hz)))):.4g} s at "
            "most)."
        )


def _unit_s(time_s: FloatArray) -> float:
    """One unit of the last decimal of the times, 1e-10 at least."""
    return 10.0 ** -next((d for d in range(10) if np.array_equal(np.round(time_s, d), time_s)), 10)


def _off(time_s: FloatArray, rate_hz: float) -> FloatArray:
    """How far each time lies from sample number / rate, the median of all as it may be: (lines,)."""
    left = time_s - np.arange(len(time_s)) / rate_hz
    off: FloatArray = left - np.median(left)
    return off


def _near(time_s: FloatArray, rate_hz: float, jitter_s: float) -> NDArray[np.bool_]:
    """Whether each time lies near where it should, within the jitter that was told of, and none before the last."""
    if not jitter_s:
        return np.zeros(len(time_s), bool)
    near: NDArray[np.bool_] = (np.abs(_off(time_s, rate_hz)) <= jitter_s) & np.r_[True, np.diff(time_s) > 0]
    return near


def jitter_words(time_s: FloatArray, rate_hz: float, jitter_s: float) -> list[str]:
    """A sentence on the jitter that was let pass."""
    if not jitter_s:
        return []
    off = np.abs(_off(time_s, rate_hz))
    late = int(np.count_nonzero(off > 0.5 / rate_hz))
    return [
        f"The time column jitters: {late} of {len(off)} samples lie further than half a sample ({500 / rate_hz:.3g} "
        f"ms) from even steps of {1000 / rate_hz:.4g} ms, the furthest by {1000 * float(off.max()):.3g} ms; "
        f"jitter_s={jitter_s:g} allows it, and the samples were taken as evenly spaced; up to "
        f"{math.floor(2 * jitter_s * rate_hz)} samples missing in a row would not show."
    ]


def _runs(time_s: FloatArray, rate_hz: float, unit_s: float) -> NDArray[np.bool_]:
    """Whether times run as sample number / rate does, up to each line: (lines,).

    Where a sample lasts more than two units of the last decimal, a time may be off by half a sample and half a unit,
    for clocks that jitter: one sample missing is more. Of coarser text nothing but its rounding is allowed: there must
    be a start that every line is within half a unit of, less its sample number / rate. That start is the first time as
    written, a whole number of samples where that is not 0, or any that leaves room on both sides. Every sample that is
    missing or doubled moves the later lines by one sample, and with them, within the samples that one unit holds, the
    span of what is left, out of a unit; but where times lie on half units, one may move it to just a unit.
    """
    left = time_s - np.arange(len(time_s)) / rate_hz
    noise_s = 1e-6 * unit_s + 8 * np.finfo(np.float64).eps * float(np.nanmax(np.abs(time_s), initial=0.0))
    if 2 * unit_s * rate_hz < 1:
        near: NDArray[np.bool_] = np.abs(left - left[0]) <= 0.5 / rate_hz + unit_s / 2 + noise_s
        return near
    low = np.maximum.accumulate(left) - unit_s / 2 - noise_s
    high = np.minimum.accumulate(left) + unit_s / 2 + noise_s
    as_written = (low <= left[0]) & (left[0] <= high)
    at_sample = (left[0] != 0) & (np.floor(high * rate_hz) / rate_hz >= low)
    good: NDArray[np.bool_] = as_written | at_sample | (high - low > 4 * noise_s)
    return good


def coarse_words(time_s: FloatArray, rate_hz: float) -> list[str]:
    """A sentence on a time column whose text is too coarse to show every missing sample."""
    held = (unit_s := _unit_s(time_s)) * rate_hz
    if held <= 1 + 1e-6:
        return []
    return [
        f"The time column is written in steps of {unit_s:g} s, which hold {held:g} samples: one sample that is missing "
        f"or doubled may not show in it, and among the first or last {2 * math.ceil(held)} lines up to "
        f"{math.ceil(held)}; write it with more decimals to be sure."
    ]
