"""The figures to reach, judged on the rows of a report: reached, or not by how much and where.

Every cell counts: those of the grid and the troubles. Shares are judged with their 95 % binomial interval (Wilson): a
cell meets a target that its interval touches. How many cells meet it by the bare share is said beside that. With few
trials that interval touches everything, so cells below :data:`LEAST_TRIALS` are not judged.

Figure     one of them
judge      all of them
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from emgreview.bench.recipes import TROUBLE_DB
from emgreview.bench.score import wilson

Row = dict[str, Any]

COMPARATORS = ("threshold", "energy")
QUIET_THAT_COUNT = ("noise", "mains 50 Hz", "mains 60 Hz", "tonic", "heart", "knock", "real rest")
LEAST_TRIALS = 500


@dataclass(frozen=True, slots=True)
class Figure:
    """``name`` and ``target`` in words; ``worst`` the number furthest beyond it, and where.

    Of ``cells``, ``met`` meet the target, ``met_outright`` without the help of an interval. With fewer than 500
    trials in one of them it is not ``judged``, and then not ``reached`` either.
    """

    name: str
    target: str
    reached: bool
    worst: str
    met: int
    met_outright: int
    cells: int
    judged: bool = True

    @property
    def state(self) -> str:
        """In words."""
        return ("reached" if self.reached else "NOT reached") if self.judged else "not judged: too few trials"


def where(row: Row) -> str:
    if "trouble" in row:
        return str(row["trouble"])
    if "due" in row:
        return f"rest: {row['rest']}, {'no burst' if math.isinf(row['snr_db']) else str(row['snr_db']) + ' dB'}"
    return str(row["rest"]) if "rest" in row else f"{row['kind']} {row['snr_db']} dB {row['rise_ms']} ms"


Found = Iterable[tuple[Row, float, float, float]]
"""Rows, their value, by how much it lies beyond the target (at most 0: met), and its interval likewise."""


def _judged(name: str, target: str, found: Found, unit: str) -> Figure:
    values = list(found)
    if not values:
        return Figure(name, target, False, "not measured", 0, 0, 0)
    outright = [math.inf if math.isnan(beyond) else beyond for _, _, beyond, _ in values]
    met = sum(beyond <= 1e-9 for *_, beyond in values)
    row, value, *_ = values[outright.index(max(outright))]
    outright_met = sum(beyond <= 1e-9 for beyond in outright)
    judged = all(row["trials"] >= LEAST_TRIALS for row, *_ in values)
    worst = f"{value:.3g}{unit} ({where(row)})"
    return Figure(name, target, judged and met == len(values), worst, met, outright_met, len(values), judged)


def _numbers(rows: Iterable[tuple[Row, float, float]]) -> Found:
    """Values without an interval."""
    return ((row, value, beyond, beyond) for row, value, beyond in rows)


def _at_most(rows: Iterable[Row], name: str, limit: float) -> Found:
    for row in rows:
        low, _ = wilson(round(row[name] * row["trials"] / 100), row["trials"])
        yield row, row[name], row[name] - limit, 100 * low - limit


def _at_least(rows: Iterable[Row], name: str, limit: float) -> Found:
    for row in rows:
        _, high = wilson(round(row[name] * row["trials"] / 100), row["trials"])
        yield row, row[name], limit - row[name], limit - 100 * high


def _level_db(row: Row) -> float:
    return float(row.get("snr_db", TROUBLE_DB))


def _between(rows: Iterable[Row], name: str, low: float, high: float) -> Found:
    for row in rows:
        share, least, most = row[name], row[f"{name}_low"], row[f"{name}_high"]
        yield row, share, max(low - share, share - high), max(low - most, least - high)


def judge(
    cells: Sequence[Row], troubles: Sequence[Row], quiet: Sequence[Row], untrusted: Sequence[Row] = ()
) -> list[Figure]:
    """All figures that the rows allow, for the method "ramp"."""
    by_cell: dict[tuple[Any, ...], dict[str, Row]] = {}
    for row in cells:
        by_cell.setdefault((row["kind"], row["snr_db"], row["rise_ms"]), {})[row["method"]] = row
    by_trouble: dict[str, dict[str, Row]] = {}
    for row in troubles:
        by_trouble.setdefault(row["trouble"], {})[row["method"]] = row
    compared = [*by_cell.values(), *by_trouble.values()]
    if not all("ramp" in rows and set(COMPARATORS) <= set(rows) for rows in compared):
        return []
    pairs = [(rows["ramp"], min(rows[name]["median_ms"] for name in COMPARATORS)) for rows in compared]
    every = [row for row, _ in pairs]
    rests = [row for row in quiet if row["method"] == "ramp" and row["rest"] in QUIET_THAT_COUNT]
    weak, strong = ([row for row in every if (_level_db(row) < 10) == low] for low in (True, False))

    def moves() -> Iterable[tuple[Row, float, float]]:
        for (kind, snr_db, rise_ms), rows in by_cell.items():
            other = by_cell.get((kind, 30, rise_ms))
            if snr_db == 10 and 20 <= rise_ms <= 80 and other is not None:
                moved = rows["ramp"]["bias_ms"] - other["ramp"]["bias_ms"]
                yield rows["ramp"], moved, abs(moved) - 5

    hard = [(row, best) for row, best in pairs if best > 8]
    ratio = ((row, row["median_ms"] / best, row["median_ms"] / best - 0.5) for row, best in hard)
    worse = ((row, row["median_ms"] - best, row["median_ms"] - best - 1) for row, best in pairs)
    late = ((r, r["offset_median_ms"], r["offset_median_ms"] - 15) for r in every if _level_db(r) == 15)
    half = "median error against the better comparator, where theirs exceeds 8 ms"
    return [
        _judged(half, "at most 0.5 of it", _numbers(ratio), " ×"),
        _judged("never worse than the better comparator", "by at most 1 ms", _numbers(worse), " ms"),
        _judged("bias at 10 dB minus at 30 dB, rises of 20 to 80 ms", "within ±5 ms", _numbers(moves()), " ms"),
        _judged("false onsets on trials without activity", "at most 1 %", _at_most(rests, "false", 1), " %"),
        _judged("misses at 10 dB and above", "at most 2 %", _at_most(strong, "missed", 2), " %"),
        _judged("misses at 5 dB", "at most 5 %", _at_most(weak, "missed", 5), " %"),
        _judged("onsets more than 100 ms early", "at most 1 %", _at_most(every, "early", 1), " %"),
        _judged("90 % interval holds the onset", "85 to 98 %", _between(every, "covered", 85, 98), " %"),
        _judged("the same, lower side alone", "85 % or more", _between(every, "covered", 85, math.inf), " %"),
        _judged("offsets at 15 dB, median error", "at most 15 ms", _numbers(late), " ms"),
        _judged("90 % interval holds the offset", "85 to 98 %", _between(every, "offset_covered", 85, 98), " %"),
        _judged("the same, lower side alone", "85 % or more", _between(every, "offset_covered", 85, math.inf), " %"),
        _judged(
            "rests are called by their word (our own figure)",
            "95 % or more",
            _at_least(untrusted, "due_word", 95),
            " %",
        ),
        _judged("wrong answers on such rests (our own figure)", "at most 5 %", _at_most(untrusted, "wrong", 5), " %"),
    ]
