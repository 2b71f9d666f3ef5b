"""The figures to reach, judged on the rows of a report: reached, or not by how much and where.

Every cell counts: those of the grid and the troubles, and in figures of their own other sampling rates, shapes of rise,
and trials that do not share the method's assumptions. Shares are judged with their 95 % binomial interval (Wilson): a
cell meets a target that its interval touches. How many cells meet it by the bare share is said beside that. With few
trials that interval touches everything, so a cell with fewer than :func:`least_trials` is not judged; the fewest trials
of the cells are said.

The comparators are "threshold" and "energy": the two rules in most common use (common practice, no source), which stand
for what a lab would have without the default method. A count against the best of all methods shown stands beside.

Figure     one of them
judge      all of them
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from emgreview.bench.plan import COMPARATORS, HIGH_HZ
from emgreview.bench.recipes import TROUBLE_DB, WAYS
from emgreview.bench.score import shortest_side_ms, wilson

Row = dict[str, Any]

QUIET_THAT_COUNT = ("noise", "mains 50 Hz", "mains 60 Hz", "tonic", "heart", "knock", "real rest")
QUIET_BESIDE = ("real rest, none left out by a method", "restless gain", "restless single units")
LEAST_TRIALS, LEAST_BESIDE, LEAST_HIGH = 250, 125, 60
"""Fewest trials of a cell that is judged: in the grid, troubles and rests; in the other parts; at high rates."""

STRONG_DB = 40
"""Above this level the figures for strong activity hold."""
STRONG_ERROR_MS = 1.5
BESIDE = ("shape", "other", "filter")


def least_trials(row: Row) -> int:
    """Fewest trials for this cell to be judged."""
    if row.get("rate_hz", 0.0) >= HIGH_HZ and "trouble" not in row:
        return LEAST_HIGH
    return LEAST_BESIDE if row.get("beside") or any(name in row for name in BESIDE) else LEAST_TRIALS


@dataclass(frozen=True, slots=True)
class Figure:
    """``name`` and ``target`` in words; ``worst`` the number furthest beyond it, and where.

    Of ``cells``, ``met`` meet the target, ``met_outright`` without the help of an interval. ``fewest`` is the least
    number of trials in one of them; where a cell has too few it is not ``judged``, and then not ``reached`` either.
    ``missed`` names the cells that do not meet it, the furthest first.
    """

    name: str
    target: str
    reached: bool
    worst: str
    met: int
    met_outright: int
    cells: int
    judged: bool = True
    fewest: int = 0
    missed: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """In words."""
        return (
            ("reached" if self.reached else "NOT reached")
            if self.judged
            else f"not judged: {self.fewest} trials are too few"
        )


def where(row: Row) -> str:
    """The cell of a row in words."""
    if "trouble" in row:
        return str(row["trouble"])
    if "due" in row:
        return f"rest: {row['rest']}, {'no burst' if math.isinf(row['snr_db']) else str(row['snr_db']) + ' dB'}"
    if "rest" in row:
        return str(row["rest"])
    name = next(str(row[key]) for key in ("kind", "shape", "other", "filter") if key in row)
    rate = f"{row['rate_hz']:g} Hz " if row.get("beside") or "filter" in row else ""
    return f"{name} {rate}{row['snr_db']:g} dB {row['rise_ms']} ms"


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
    judged = all(row["trials"] >= least_trials(row) for row, *_ in values)
    worst = f"{value:.3g}{unit} ({where(row)})"
    far = sorted((v for v in values if not v[-1] <= 1e-9), key=lambda v: -math.inf if math.isnan(v[-1]) else -v[-1])
    return Figure(
        name,
        target,
        judged and met == len(values),
        worst,
        met,
        outright_met,
        len(values),
        judged,
        min(row["trials"] for row, *_ in values),
        tuple(f"{where(row)}: {value:.3g}{unit}" for row, value, *_ in far),
    )


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


def _sides(rows: Iterable[Row]) -> Found:
    """Shorter side of the narrowest interval against 1 ms or a sample."""
    for row in rows:
        least = shortest_side_ms(row["rate_hz"])
        short = math.inf if math.isnan(row["narrowest_ms"]) else least - row["narrowest_ms"]
        yield row, row["narrowest_ms"], short, short


def _errors(rows: Iterable[Row]) -> Found:
    """Median error of strong activity against 1.5 ms or a sample."""
    for row in rows:
        beyond = row["median_ms"] - max(STRONG_ERROR_MS, 1e3 / row["rate_hz"])
        yield row, row["median_ms"], beyond, beyond


def _strong(rows: Iterable[Row], words: str, *, numbers: bool = True) -> list[Figure]:
    """The figures for activity above 40 dB."""
    rows = [row for row in rows if _level_db(row) > STRONG_DB]
    above = f"above {STRONG_DB} dB{words}"
    found = [_judged(f"90 % interval holds the onset, {above}", "85 % or more", _lower(rows), " %")]
    if numbers:
        found += [
            _judged(f"median error {above}", "at most 1.5 ms or a sample", _errors(rows), " ms"),
            _judged(f"interval to each side, {above}", "at least 1 ms or a sample", _sides(rows), " ms"),
        ]
    return found


def _lower(rows: Iterable[Row]) -> Found:
    return _between(rows, "covered", 85, math.inf)


def judge(tables: Mapping[str, Sequence[Row]]) -> list[Figure]:
    """All figures that the rows of a report allow, by the name of their table, for the method "ramp"."""
    cells, troubles, rates = (tables.get(name, ()) for name in ("cells", "troubles", "rates"))
    by_cell: dict[tuple[Any, ...], dict[str, Row]] = {}
    for row in cells:
        by_cell.setdefault((row["kind"], row["snr_db"], row["rise_ms"]), {})[row["method"]] = row
    by_trouble: dict[str, dict[str, Row]] = {}
    for row in troubles:
        by_trouble.setdefault(row["trouble"], {})[row["method"]] = row
    compared = [*by_cell.values(), *by_trouble.values()]
    out: list[Figure] = []
    if compared and all({"ramp", *COMPARATORS} <= set(rows) for rows in compared):
        out += _compared(compared, by_cell)
        out += _beside(compared, rates, tables)
    quiet = [row for row in tables.get("quiet", ()) if row["method"] == "ramp"]
    if out and quiet:
        usual, more = ([row for row in quiet if row["rest"] in names] for names in (QUIET_THAT_COUNT, QUIET_BESIDE))
        words = "false onsets on trials without activity"
        out += [_judged(words, "at most 1 %", _at_most(usual, "false", 1), " %")]
        out += [_judged(f"{words}, restless or nothing left out", "at most 1 %", _at_most(more, "false", 1), " %")]
    untrusted = tables.get("untrusted", ())
    if out and untrusted:
        own = "(our own figure)"
        said, wrong = _at_least(untrusted, "due_word", 95), _at_most(untrusted, "wrong", 5)
        out += [_judged(f"rests are called by their word {own}", "95 % or more", said, " %")]
        out += [_judged(f"wrong answers on such rests {own}", "at most 5 %", wrong, " %")]
    return out


def _compared(
    compared: Sequence[Mapping[str, Row]], by_cell: Mapping[tuple[Any, ...], Mapping[str, Row]]
) -> list[Figure]:
    """Grid and troubles against other methods, and the default's own figures there."""
    every = [rows["ramp"] for rows in compared]
    weak, low, strong = (
        [r for r in every if least <= _level_db(r) < most] for least, most in ((0, 5), (5, 10), (10, 999))
    )
    upto = [row for row in every if _level_db(row) <= STRONG_DB]

    def best(rows: Mapping[str, Row], names: Iterable[str]) -> float:
        return float(min(rows[name]["median_ms"] for name in names))

    def against(words: str, short: str, names: Sequence[str]) -> list[Figure]:
        pairs = [(rows["ramp"], best(rows, names)) for rows in compared]
        ratio = ((r, r["median_ms"] / b, r["median_ms"] / b - 0.5) for r, b in pairs if b > 8)
        worse = ((r, r["median_ms"] - b, r["median_ms"] - b - 1) for r, b in pairs)
        half = f"median error against {words}, where theirs exceeds 8 ms"
        return [
            _judged(half, "at most 0.5 of it", _numbers(ratio), " ×"),
            _judged(f"never worse than {short}", "by at most 1 ms", _numbers(worse), " ms"),
        ]

    def moves(strong_db: int) -> Iterable[tuple[Row, float, float]]:
        for (kind, snr_db, rise_ms), rows in by_cell.items():
            other = by_cell.get((kind, strong_db, rise_ms))
            if snr_db == 10 and 20 <= rise_ms <= 80 and other is not None:
                moved = rows["ramp"]["bias_ms"] - other["ramp"]["bias_ms"]
                yield rows["ramp"], moved, abs(moved) - 5

    late = ((r, r["offset_median_ms"], r["offset_median_ms"] - 15) for r in every if _level_db(r) == 15)
    shown = [name for name in compared[0] if name not in ("ramp", "oracle")]
    two = " and ".join(COMPARATORS)
    out = against(f"the better of {two}", "the better of the two", COMPARATORS)
    if len(shown) > len(COMPARATORS):
        out += against(f"the best of all {len(shown)} methods shown", "the best of all shown", shown)
    return [
        *out,
        *(
            _judged(f"bias at 10 dB minus at {db} dB, rises of 20 to 80 ms", "within ±5 ms", _numbers(moves(db)), " ms")
            for db in (30, 60)
        ),
        _judged("misses at 10 dB and above", "at most 2 %", _at_most(strong, "missed", 2), " %"),
        _judged("misses at 5 dB", "at most 5 %", _at_most(low, "missed", 5), " %"),
        _judged("misses at 3 dB", "at most 5 %", _at_most(weak, "missed", 5), " %"),
        _judged("onsets more than 100 ms early", "at most 1 %", _at_most(every, "early", 1), " %"),
        _judged(
            f"90 % interval holds the onset, up to {STRONG_DB} dB",
            "85 to 98 %",
            _between(upto, "covered", 85, 98),
            " %",
        ),
        _judged(
            f"90 % interval holds the onset, up to {STRONG_DB} dB, lower side alone", "85 % or more", _lower(upto), " %"
        ),
        *_strong(every, ""),
        _judged("offsets at 15 dB, median error", "at most 15 ms", _numbers(late), " ms"),
        _judged("90 % interval holds the offset", "85 to 98 %", _between(every, "offset_covered", 85, 98), " %"),
        _judged(
            "90 % interval holds the offset, lower side alone",
            "85 % or more",
            _between(every, "offset_covered", 85, math.inf),
            " %",
        ),
    ]


def _beside(
    compared: Sequence[Mapping[str, Row]], rates: Sequence[Row], tables: Mapping[str, Sequence[Row]]
) -> list[Figure]:
    """Other sampling rates, shapes, others and filters."""
    by_rate: dict[tuple[Any, ...], dict[str, Row]] = {}
    for row in rates:
        cell = (row["kind"], row["rate_hz"], row["snr_db"], row["rise_ms"])
        by_rate.setdefault(cell, {})[row["method"]] = row | {"beside": True}
    out: list[Figure] = []
    words = "90 % interval holds the onset"
    if by_rate:
        mine = [rows["ramp"] for rows in by_rate.values()]
        upto = [row for row in mine if _level_db(row) <= STRONG_DB]
        worse = (
            (rows["ramp"], by, by - max(1.0, 1e3 / rows["ramp"]["rate_hz"]))
            for rows in by_rate.values()
            for by in (rows["ramp"]["median_ms"] - min(rows[name]["median_ms"] for name in COMPARATORS),)
        )
        out += [_judged(f"{words}, up to {STRONG_DB} dB, other rates", "85 % or more", _lower(upto), " %")]
        out += _strong(mine, ", other rates")
        target = "by at most 1 ms or a sample"
        out += [_judged("never worse than the better of the two, other rates", target, _numbers(worse), " ms")]
    for name, said in (("shapes", "each shape of rise"), ("others", "other units, restless rests")):
        mine = [row for row in tables.get(name, ()) if row["method"] == "ramp"]
        if mine:
            out += [_judged(f"{words}, {said}", "85 % or more", _lower(mine), " %")]
    for name in WAYS:
        mine = [row for row in tables.get("filters", ()) if row["filter"] == name]
        if mine:
            out += [_judged(f"{words}, sharp splices, {name}", "85 % or more", _lower(mine), " %")]
    return out
