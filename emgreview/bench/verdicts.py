"""The figures to reach, judged on the rows of a report: reached, or not by how much and where.

Figure     one of them
judge      all of them
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

Row = dict[str, Any]

COMPARATORS = ("threshold", "energy")
QUIET_THAT_COUNT = ("noise", "mains", "tonic", "heart", "knock", "real rest")


@dataclass(frozen=True, slots=True)
class Figure:
    """``name`` and ``target`` in words; ``worst`` the number that decides, and where; ``cells`` how many met it."""

    name: str
    target: str
    reached: bool
    worst: str
    met: int
    cells: int


def where(row: Row) -> str:
    if "trouble" in row:
        return str(row["trouble"])
    return str(row["rest"]) if "rest" in row else f"{row['kind']} {row['snr_db']} dB {row['rise_ms']} ms"


def _judged(name: str, target: str, found: Iterable[tuple[Row, float, float]], unit: str) -> Figure:
    """``found`` holds rows, their value, and by how much it lies beyond the target (at most 0: met)."""
    values = [(row, value, math.inf if math.isnan(beyond) else beyond) for row, value, beyond in found]
    met = sum(beyond <= 1e-9 for _, _, beyond in values)
    if not values:
        return Figure(name, target, False, "not measured", 0, 0)
    row, value, _ = max(values, key=lambda one: one[2])
    return Figure(name, target, met == len(values), f"{value:.3g}{unit} ({where(row)})", met, len(values))


def judge(cells: Sequence[Row], troubles: Sequence[Row], quiet: Sequence[Row]) -> list[Figure]:
    """All figures that the rows allow, for the method "ramp"."""
    by_cell: dict[tuple[Any, ...], dict[str, Row]] = {}
    for row in cells:
        by_cell.setdefault((row["kind"], row["snr_db"], row["rise_ms"]), {})[row["method"]] = row
    if not all("ramp" in rows and set(COMPARATORS) <= set(rows) for rows in by_cell.values()):
        return []
    pairs = [(rows["ramp"], min(rows[name]["median_ms"] for name in COMPARATORS)) for rows in by_cell.values()]
    ours = [row for row, _ in pairs]
    every = [*ours, *(row for row in troubles if row["method"] == "ramp")]
    rests = [row for row in quiet if row["method"] == "ramp" and row["rest"] in QUIET_THAT_COUNT]
    weak, strong = ([row for row in ours if (row["snr_db"] < 10) == low] for low in (True, False))

    def moves() -> Iterable[tuple[Row, float, float]]:
        for (kind, snr_db, rise_ms), rows in by_cell.items():
            other = by_cell.get((kind, 30, rise_ms))
            if snr_db == 10 and 20 <= rise_ms <= 80 and other is not None:
                moved = rows["ramp"]["bias_ms"] - other["ramp"]["bias_ms"]
                yield rows["ramp"], moved, abs(moved) - 5

    def covered(rows: Sequence[Row], name: str) -> Iterable[tuple[Row, float, float]]:
        return ((row, row[name], max(85 - row[name], row[name] - 98)) for row in rows)

    hard = [(row, best) for row, best in pairs if best > 8]
    ratio = ((row, row["median_ms"] / best, row["median_ms"] / best - 0.5) for row, best in hard)
    worse = ((row, row["median_ms"] - best, row["median_ms"] - best - 1) for row, best in pairs)
    return [
        _judged(
            "median error against the better comparator, where theirs exceeds 8 ms", "at most 0.5 of it", ratio, " ×"
        ),
        _judged("never worse than the better comparator", "by at most 1 ms", worse, " ms"),
        _judged("bias at 10 dB minus bias at 30 dB, rises of 20 to 80 ms", "within ±5 ms", moves(), " ms"),
        _judged(
            "false onsets on trials without activity",
            "at most 1 %",
            ((r, r["false"], r["false"] - 1) for r in rests),
            " %",
        ),
        _judged("misses at 10 dB and above", "at most 2 %", ((r, r["missed"], r["missed"] - 2) for r in strong), " %"),
        _judged("misses at 5 dB", "at most 5 %", ((r, r["missed"], r["missed"] - 5) for r in weak), " %"),
        _judged("onsets more than 100 ms early", "at most 1 %", ((r, r["early"], r["early"] - 1) for r in every), " %"),
        _judged("90 % interval holds the onset", "85 to 98 %", covered(every, "covered"), " %"),
        _judged(
            "of these, the lower side alone",
            "85 % or more",
            ((r, r["covered"], 85 - r["covered"]) for r in every),
            " %",
        ),
        _judged(
            "offsets at 15 dB, median error",
            "at most 15 ms",
            ((r, r["offset_median_ms"], r["offset_median_ms"] - 15) for r in ours if r["snr_db"] == 15),
            " ms",
        ),
        _judged("90 % interval holds the offset", "85 to 98 %", covered(ours, "offset_covered"), " %"),
    ]
