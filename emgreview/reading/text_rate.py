"""The column of times of a text file that is looked at, and the rate that follows from it.

TIMES_IN    words for units of time, and what they mean
rises       whether numbers of a column rise
dates_in    the orders of day, month and year in which a column holds dates
rate_in     the rate to propose
"""

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from emgreview.reading.dates import WORDS, moments_of, orders_of
from emgreview.reading.text_faults import short
from emgreview.reading.text_table import Table

TIMES_IN = {
    "s": "s", "sec": "s", "second": "s", "seconds": "s", "secs": "s", "ms": "ms", "msec": "ms", "milliseconds": "ms",
    "us": "us", "µs": "us", "μs": "us", "usec": "us",
}  # fmt: skip
_RATE = re.compile(
    r"(?:sampl\w*[ _]*(?:rate|freq\w*)|rate|freq\w*|\bfs\b|abtast\w*)"
    r"[^\d\n]{0,24}?(\d+(?:[.,]\d+)?)\s*(k?)(?:hz|s/s|sps)?",
    re.IGNORECASE,
)


def _values(table: Table, place: int) -> Any:
    import pandas as pd  # heavy: only text files need it

    texts = [row[place].replace(",", ".") if table.form.decimal == "," else row[place] for row in table.rows]
    return pd.to_numeric(pd.Series(texts), errors="coerce").to_numpy(np.float64)


def rises(table: Table, place: int, even: bool = False, mostly: bool = False) -> bool:
    steps = np.diff(_values(table, place))
    steps = steps[np.isfinite(steps)]
    falls = float(np.mean(steps < 0)) if len(steps) > 1 else 1.0
    if falls > (0.02 if mostly else 0) or not np.any(steps > 0):
        return False
    return not even or float(np.ptp(steps)) < 0.5 * float(np.median(steps))


def dates_in(table: Table, place: int) -> list[str]:
    """In which orders a column holds dates that do not go back."""
    return orders_of([row[place] for row in table.rows[:200]])


def rate_in(
    table: Table,
    time: int | None,
    columns: Any,
    units: Sequence[str],
    header: Sequence[str],
    layout: dict[str, Any],
    facts: list[str],
    asks: dict[str, str],
) -> float | None:
    """The sampling rate to propose, from the column of times or the lines before the numbers."""
    stated = None
    for line in header:
        if (found := _RATE.search(line)) and float(found[1].replace(",", ".")) > 0:
            stated = float(found[1].replace(",", ".")) * (1000 if found[2] else 1)
            facts.append(f"a line before the numbers reads {short(line.strip())}: {stated:g} Hz")
            break
    if time is None:
        if stated is None:
            asks["rate_hz"] = "neither a column of times nor a line says it; give that of the recording device"
        else:
            asks["rate_hz"] = "confirm that this is the sampling rate"
        return stated
    if not table.numeric[time]:
        seconds, unit = _of_dates(table, time, facts, asks)
    else:
        unit = TIMES_IN.get(units[time].lower(), "")
        seconds = _values(table, time)
        if not unit:
            unit = _likely_unit(seconds, stated)
            asks["time_unit"] = (
                f"the column of times does not say it; in steps of {_step(seconds):g} it is taken as {unit!r}"
            )
        seconds = seconds / {"s": 1, "ms": 1000, "us": 1_000_000}[unit]
    layout["time_unit"] = unit
    if not np.isfinite(seconds).all():
        facts.append(f"column {time + 1} does not hold such a time in every line")
        return None
    if gap := _gap(seconds):
        facts.append(gap)
        return None
    step = _step(seconds)
    rate = _round_rate(seconds, step)
    off = seconds - np.arange(len(seconds)) / rate
    off = np.abs(off - np.median(off))
    facts.append(f"times run from {seconds[0]:g} s in steps of {1000 * step:.6g} ms: {rate:g} Hz")
    if off.max() > 0.5 / rate + _grain(seconds) / 2 + 1e-9:
        layout["jitter_s"] = float(f"{off.max() * 1.5:.2g}")
        asks["jitter_s"] = (
            f"times lie up to {1000 * off.max():.3g} ms from even steps: say how far they may, or find out whether "
            "samples are missing"
        )
    if stated is not None and abs(stated - rate) > 1e-3 * stated:
        asks["rate_hz"] = f"the times say {rate:g} Hz, the line before the numbers {stated:g} Hz; say which is right"
    return rate


def _of_dates(table: Table, time: int, facts: list[str], asks: dict[str, str]) -> tuple[Any, str]:
    """Seconds since the first moment, NaN where one is none, and the order of day, month and year, "?" where it may be
    either."""
    orders = dates_in(table, time)
    texts = [row[time] for row in table.rows]
    at = moments_of(texts, orders[0])
    facts.append(
        f"column {time + 1} holds {WORDS[orders[0]].partition(', such')[0]} and times of day: {short(texts[0])}"
    )
    if len(orders) == 1:
        return (at - at.iloc[0]).dt.total_seconds().to_numpy(), orders[0]
    facts[-1] = f"column {time + 1} holds dates and times of day: {short(texts[0])}"
    asks["time_unit"] = f"day, month and year may stand in either order in {short(texts[0])}: " + ", or ".join(
        f"{order!r} ({WORDS[order].partition(', such')[0]})" for order in orders
    )
    return (at - at.iloc[0]).dt.total_seconds().to_numpy(), "?"


def _gap(seconds: Any) -> str:
    """A sentence on the first step that is no jitter but a hole, or a fall back; "" where there is none."""
    steps = np.diff(seconds)
    step = float(np.median(steps))
    if step <= 0:
        return ""
    calm = np.abs(steps - step) < 0.25 * step + 2 * _grain(seconds)
    bad = np.flatnonzero(~calm)
    if not len(bad) or len(bad) > 0.02 * len(steps):  # many are a clock that jitters
        return ""
    place = int(bad[0])
    return (
        f"between the {place + 1:,}th and the next line of numbers the times go from {seconds[place]:g} to "
        f"{seconds[place + 1]:g} s, else in steps of {step:g} s: samples are missing or the clock was set; split the "
        "file there, or say rate_hz and leave the column of times out"
    )


def _step(values: Any) -> float:
    steps = np.diff(values)
    return float(np.median(steps[np.isfinite(steps)]))


def _grain(seconds: Any) -> float:
    """One unit of the last decimal in which times are written."""
    return 10.0 ** -next((d for d in range(10) if np.allclose(np.round(seconds, d), seconds, rtol=0, atol=1e-12)), 10)


def _round_rate(seconds: Any, step: float) -> float:
    """The rate by the median step, or by all of them where they lie nearer to even ones so, as rounded and jittering
    times do; a whole number, or one in a hundredth, where that fits as well."""
    ways = [(len(seconds) - 1) / float(seconds[-1] - seconds[0]), *([1 / step] if step > 0 else [])]

    def off(rate: float) -> float:
        left = seconds - np.arange(len(seconds)) / rate
        return float(np.max(np.abs(left - np.median(left))))

    steps = np.diff(seconds)
    steady = step > 0 and float(np.mean(np.abs(steps - step) < 0.01 * step)) > 0.98
    rate = 1 / step if steady else min(ways, key=off)
    for digits in (0, 1, 2):
        near = round(rate, digits)
        if near > 0 and abs(near - rate) * len(seconds) / rate < 1.0 and abs(near - rate) < 2e-3 * rate:
            return float(near)
    return float(f"{rate:.8g}")


def _likely_unit(values: Any, stated: float | None) -> str:
    """Seconds, milliseconds or microseconds: what fits the stated rate, else what gives 100 to 30,000 Hz."""
    step = max(_step(values), 1e-12)
    for unit, scale in (("s", 1.0), ("ms", 1e3), ("us", 1e6)):
        rate = scale / step
        if (stated and abs(rate - stated) < 0.05 * stated) or (not stated and 100 <= rate <= 30_000):
            return unit
    return "s"
