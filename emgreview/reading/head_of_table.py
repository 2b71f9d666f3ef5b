"""What the head of a table (Excel, Parquet) tells of its columns: names, units beside or below them, and the rate by
times.

columns_seen    what is proposed, what is seen, and what a person must say
"""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from emgreview.reading.columns import distinct
from emgreview.reading.text_rate import TIMES_IN
from emgreview.reading.units import TIMES, label_and_unit, plain_unit, unit_of

_PER_S = {"s": 1.0, "ms": 1e3, "us": 1e6}


def columns_seen(
    path: Path, above: Sequence[tuple[Any, ...]], names_at: int, rows: Sequence[tuple[Any, ...]]
) -> tuple[float | None, Any, dict[str, str | None], list[str], dict[str, str]]:
    """Rate, unit and columns to propose, facts, and what is asked for; ``above``: the rows before the numbers, of which
    the one at ``names_at``, from 1, has the names; ``rows``: the first ones of numbers."""
    given = above[names_at - 1] if above else ()
    places = [at for at, cell in enumerate(given) if cell is not None]
    keys, facts = distinct(path, [str(given[at]).strip() for at in places])
    below = next((found for row in above[names_at:] if (found := _units(row, places))), [""] * len(places))
    asks: dict[str, str] = {}
    columns: dict[str, str | None] = {}
    signals, rate, time = {}, None, ""
    for key, at, unit in zip(keys, places, below, strict=True):
        label, inner = label_and_unit(key, TIMES_IN)
        unit = unit or inner
        step = _step(rows, at) if label.lower() in TIMES and not time else None
        if step is None:
            columns[key], signals[label] = label, unit
            continue
        time, per_s = key, _PER_S.get(TIMES_IN.get(unit.lower(), ""))
        columns[key] = "time" if per_s in (None, 1.0) else None
        if per_s is None:
            asks["rate_hz"] = f"the sampling rate; {key!r} rises by {step:g}: {1 / step:g} Hz if these are seconds"
        else:
            rate = float(f"{per_s / step:.9g}")
            facts = [*facts, f"{key!r} rises in steps of {step:g} {unit}: {rate:g} Hz"]
    if rate is None:
        asks.setdefault("rate_hz", "the sampling rate")
    unit_proposed = unit_of(signals, asks)
    if asks or len(set(columns.values())) < len(columns):
        asks["columns"] = "confirm the columns; one of times is called 'time' here, one to leave out None"
    return rate, unit_proposed, columns, facts, asks


def _units(row: tuple[Any, ...], places: Sequence[int]) -> list[str]:
    """The words of a row below the names, where all of them are units; else none."""
    cells = ["" if at >= len(row) or row[at] is None else str(row[at]).strip("[]() ") for at in places]
    fit = all(not cell or plain_unit(cell) or cell.lower() in TIMES_IN for cell in cells)
    return cells if fit and any(cells) else []


def _step(rows: Sequence[tuple[Any, ...]], at: int) -> float | None:
    """By how much a column rises from row to row, where it does evenly."""
    cells = [row[at] if at < len(row) else None for row in rows]
    values = [float(cell) for cell in cells if isinstance(cell, int | float) and not isinstance(cell, bool)]
    if len(values) < 3 or len(values) < len(cells):
        return None
    steps = [after - before for before, after in pairwise(values)]
    mean = (values[-1] - values[0]) / len(steps)
    return float(f"{mean:.9g}") if mean > 0 and max(abs(one - mean) for one in steps) < 1e-3 * mean else None
