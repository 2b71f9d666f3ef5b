"""Apache Parquet (.parquet): columns by name, the rate told, read by row groups.

After the specification of Apache Parquet, read by pyarrow, one row group at a time. A column "time" holds seconds, is
no signal, and is held against ``rate_hz``; null is a missing sample.

    PARQUET     the format
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ReadError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.arrays import demand_rate, demand_times_fit, short_list
from emgreview.reading.columns import chosen_columns, is_time
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal
from emgreview.reading.head_of_table import columns_seen
from emgreview.reading.optional import door, load

MOST_GROUP = 1 << 30
"""Bytes of the kept columns of a row group at most (our own choice)."""
ROWS_A_BYTE = 100
"""Rows that a byte of a file may stand for at most; of a signal it is a few (our own choice)."""


@dataclass(frozen=True, slots=True)
class ParquetLayout:
    """Nothing more can be said of a Parquet file: its columns are chosen, and renamed, by ``columns``."""


@dataclass(frozen=True, eq=False, slots=True)
class _Groups:
    """Columns of a Parquet file, row group by row group; the last one is kept."""

    path: Path
    names: tuple[str, ...]
    ends: tuple[int, ...]
    kept: dict[int, NDArray] = field(default_factory=dict)

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        if stop <= start:
            return np.empty(0)
        parts = []
        for group, end in enumerate(self.ends):
            begin = self.ends[group - 1] if group else 0
            if begin < stop and end > start:
                parts.append(self._group(group)[signal, max(start, begin) - begin : min(stop, end) - begin])
        return np.concatenate(parts)

    def _group(self, group: int) -> NDArray:
        if group not in self.kept:
            with _parquet(self.path) as file:
                table = file.read_row_group(group, columns=list(self.names), use_threads=False)
                rows = self.ends[group] - (self.ends[group - 1] if group else 0)
                columns = [table.column(name).to_numpy() for name in self.names]
                if any(len(one) != rows for one in columns):
                    raise ReadError(
                        f"{self.path.name} is no longer what it was when it was opened; it must stay in place while "
                        "it is in use; restore it, then read it again."
                    )
                same = len({one.dtype for one in columns}) == 1
                self.kept.clear()
                self.kept[group] = np.stack([one if same else one.astype(np.float64) for one in columns])
        return self.kept[group]


def read_parquet(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: ParquetLayout | None = None
) -> Contents:
    """Contents of a Parquet file. Raises FormatError, RateError, ParameterError, UnknownNameError."""
    rate = demand_rate(path, rate_hz, "states no sampling rate", "rate_hz")
    with _parquet(path) as file:
        fields, ends = _described(path, file)
        kept = chosen_columns(path, columns, list(fields))
        names = list(fields)
        for place, _ in kept:
            if fields[names[place]]:
                raise FormatError(
                    f"{path.name}: the column {names[place]!r} is of type {fields[names[place]]}; allowed: whole "
                    "numbers and floats; leave it out by columns=[…], or save it so."
                )
        bytes_a_row = 8 * len(kept)
        if (widest := bytes_a_row * max(np.diff([0, *ends]))) > MOST_GROUP:
            raise FormatError(
                f"{path.name} has a row group that takes {widest} bytes; allowed: {MOST_GROUP}; save it in smaller "
                "row groups, or name fewer columns."
            )
    signals = [(names[place], label) for place, label in kept if not is_time(label)]
    for place, label in kept:
        if is_time(label):
            times = _Groups(path, (names[place],), ends).stored(0, 0, ends[-1])
            demand_times_fit(path, np.asarray(times, np.float64), rate, place)
    return Contents(
        path=path,
        signals=tuple(Signal(label, "", rate, ends[-1]) for _, label in signals),
        samples=_Groups(path, tuple(name for name, _ in signals), ends),
        chosen=True,
    )


def look_parquet(path: Path) -> Seen:
    """Columns with their types."""
    with _parquet(path) as file:
        fields, ends = _described(path, file)
        types = dict(zip(file.schema_arrow.names, map(str, file.schema_arrow.types), strict=True))
        fit = [name for name, why in fields.items() if not why]
        first = next(file.iter_batches(batch_size=60, row_groups=[0], columns=fit)).to_pydict() if fit else {}
    facts = (f"{ends[-1]} rows in {len(ends)} row groups", *(f"{name}: {types[name]}" for name in list(fields)[:40]))
    if not fit:
        return Seen(facts, refused="no column holds numbers")
    rows = list(zip(*(first[name] for name in fit), strict=True))
    rate, unit, columns, more, asks = columns_seen(path, [tuple(fit)], 1, rows)
    return Seen((*facts, *more), rate, unit, columns, asks=asks)


def _described(path: Path, file: Any) -> tuple[dict[str, str], tuple[int, ...]]:
    """Each column, with its type where it holds no plain numbers; and the row at which each row group ends."""
    import pyarrow.types as types

    about, size = file.metadata, demand_plain(path).st_size
    rows = [about.row_group(group).num_rows for group in range(about.num_row_groups)]
    if min(rows, default=0) < 1 or sum(rows) != about.num_rows or sum(rows) > ROWS_A_BYTE * size:
        raise FormatError(
            f"{path.name} announces {about.num_rows} rows in row groups of {short_list(list(map(str, rows)), 6)}, and "
            f"is {size} bytes long; allowed: groups that add up, of one row at least, and {ROWS_A_BYTE} rows a byte at "
            "most; save it again."
        )
    schema = file.schema_arrow
    if len(set(schema.names)) != len(schema.names):
        raise FormatError(f"{path.name} gives two columns one name; allowed: distinct names; save it so.")
    fields = {
        name: "" if types.is_integer(kind) or types.is_floating(kind) else str(kind)
        for name, kind in zip(schema.names, schema.types, strict=True)
    }
    return fields, tuple(int(end) for end in np.cumsum(rows))


@contextmanager
def _parquet(path: Path) -> Iterator[Any]:
    parquet = load("pyarrow.parquet", f"{path.name} (Parquet)", "parquet")
    demand_plain(path)
    with (
        door(path, "Parquet", "the file is damaged or of another kind: copy or save it again"),
        open_plain(path) as stream,
        parquet.ParquetFile(stream) as file,
    ):
        yield file


PARQUET = Reader(
    "Parquet", (".parquet",), read_parquet, describes_itself=False, layout=ParquetLayout, look=look_parquet,
    needs=("pyarrow.parquet",), extra="parquet",
)  # fmt: skip
