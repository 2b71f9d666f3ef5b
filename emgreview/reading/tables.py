"""Tables with a column a signal and a row a sample, in Excel (.xlsx) and Parquet: columns by name, the rate told.

After ECMA-376 (Office Open XML), read by openpyxl, and the specification of Apache Parquet, read by pyarrow. A sheet is
loaded whole; Parquet is read by its row groups, one at a time. A column "time" holds seconds, is no signal, and is
held against ``rate_hz``. Numbers alone stand in the columns that are kept; an empty cell is an error, null a missing
sample.

    EXCEL, PARQUET      the formats
"""

import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand
from emgreview.errors import EmgreviewError, FormatError, ParameterError, ReadError, UnknownNameError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.arrays import demand_rate, demand_times_fit, short_list
from emgreview.reading.columns import chosen_columns, is_time
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal
from emgreview.reading.optional import load

MOST_UNPACKED = 1 << 29
"""Bytes of a workbook's parts at most: a million rows of ten numbers (our own choice)."""
DENSEST = 200
"""How many times larger than packed a workbook may be; honest ones are 5 to 20 times (our own choice)."""
MOST_COLUMNS = 4096
MOST_ROWS = 1 << 20
"""Rows of a sheet, as the format has it."""
MOST_GROUP = 1 << 30
"""Bytes of the kept columns of a row group at most (our own choice)."""
ROWS_A_BYTE = 100
"""Rows that a byte of a file may stand for at most; of a signal it is a few (our own choice)."""


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """What a person says of a workbook.

    Parameters
    ----------
    sheet : str or None
        The sheet that holds the samples; needless where there is one alone.
    """

    sheet: str | None = None

    def __post_init__(self) -> None:
        demand(self.sheet is None or isinstance(self.sheet, str), "sheet", self.sheet, "the name of a sheet, or None")


@dataclass(frozen=True, eq=False, slots=True)
class _Loaded:
    x: NDArray[np.float64]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.x[signal, start:stop]


# Excel ------------------------------------------------------------------------------------------------------------


def read_excel(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: SheetLayout | None = None
) -> Contents:
    """Contents of a sheet whose first row names its columns. Raises FormatError, RateError, ParameterError,
    UnknownNameError."""
    rate = demand_rate(path, rate_hz, "states no sampling rate", "rate_hz")
    with _workbook(path) as book:
        rows = _rows(path, _sheet(path, book, layout or SheetLayout()))
        names = _names(path, next(rows, ()))
        kept = chosen_columns(path, columns, names)
        places = [place for place, _ in kept]
        numbers: list[list[float]] = []
        empty: list[int] = []
        for count, row in enumerate(rows, start=2):
            if not any(cell is not None for cell in row):
                empty.append(count)
                continue
            if empty:
                _demand_no_formula(path, places, empty[0], names, layout)
                raise FormatError(
                    f"{path.name}: {len(empty)} empty rows stand before row {count}; allowed: a row of numbers for "
                    "each sample; take them out."
                )
            numbers.append([_cell(path, row, place, count, names, layout) for place in places])
    if empty:
        _demand_no_formula(path, places, empty[0], names, layout)
    if not numbers:
        raise FormatError(f"{path.name} holds no row of numbers below its names; give the file that does.")
    return _contents(path, kept, np.array(numbers, np.float64).T, rate)


def look_excel(path: Path) -> Seen:
    """Sheets, and the names of their columns."""
    facts, widths = [], {}
    with _workbook(path) as book:
        for name in book.sheetnames[:20]:
            sheet = book[name]
            if not hasattr(sheet, "iter_rows"):
                continue
            first = [cell for cell in next(_rows(path, sheet), ()) if cell is not None]
            widths[name] = [str(cell) for cell in first]
            facts.append(f"sheet {name!r}: {short_list([repr(cell) for cell in first])}")
    full = [name for name, names in widths.items() if names]
    if not full:
        return Seen(tuple(facts), refused="no sheet holds anything")
    asks = {"rate_hz": "the sampling rate", "unit": "in what the samples count, such as 'mV'"}
    if len(widths) > 1:
        asks["sheet"] = f"which sheet holds the samples: {short_list(full)}"
        return Seen(tuple(facts), asks=asks | {"columns": "the names of the columns to keep, 'time' for times"})
    asks["columns"] = "confirm the columns; one of times is called 'time' here, one to leave out None"
    return Seen(tuple(facts), columns={name: name for name in widths[full[0]]}, asks=asks)


@contextmanager
def _workbook(path: Path, formulas: bool = False) -> Iterator[Any]:
    openpyxl = load("openpyxl", f"{path.name} (Excel)", "excel")
    demand_plain(path)
    try:
        with open_plain(path) as stream:
            _demand_modest(path, stream)
            book = openpyxl.load_workbook(stream, read_only=True, data_only=not formulas, keep_links=False)
            try:
                yield book
            finally:
                book.close()
    except EmgreviewError:
        raise
    except Exception as why:  # the door to the library, which raises what XML and zip libraries do, too
        words = " ".join(str(why).split())[:120]
        raise FormatError(
            f"{path.name} cannot be read as a workbook ({type(why).__name__}: {words}); allowed: .xlsx as spreadsheets "
            "save it; open it in one and save it again."
        ) from why


def _demand_modest(path: Path, stream: Any) -> None:
    """FormatError where a workbook unpacks to far more than it is, or its texts could."""
    with zipfile.ZipFile(stream) as parts:
        infos = parts.infolist()
        unpacked, packed = sum(one.file_size for one in infos), demand_plain(path).st_size
        if unpacked > MOST_UNPACKED or unpacked > DENSEST * packed + (1 << 20):
            raise FormatError(
                f"{path.name} is {packed} bytes long and unpacks to {unpacked}; allowed: {MOST_UNPACKED}, and "
                f"{DENSEST} times its length; give the numbers as Parquet or text."
            )
        for one in infos:
            with parts.open(one) as part:
                if b"<!DOCTYPE" in part.read(4096):
                    raise FormatError(f"{path.name} defines words of its own in {one.filename}; save it again.")


def _sheet(path: Path, book: Any, layout: SheetLayout) -> Any:
    names = [name for name in book.sheetnames if hasattr(book[name], "iter_rows")]
    if layout.sheet is None and len(names) != 1:
        raise ParameterError(
            f"{path.name} has {len(names)} sheets ({short_list(names)}), and sheet is missing; give sheet='…', the one "
            "that holds the samples."
        )
    if layout.sheet is not None and layout.sheet not in names:
        raise UnknownNameError("sheet", layout.sheet, names, where=path.name)
    return book[layout.sheet or names[0]]


def _rows(path: Path, sheet: Any) -> Iterator[tuple[Any, ...]]:
    sheet.reset_dimensions()  # what the file says of its size may be anything
    for count, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if count > MOST_ROWS or len(row) > MOST_COLUMNS:
            raise FormatError(
                f"{path.name} has a cell in row {count}, column {len(row)}; allowed: {MOST_ROWS} rows and "
                f"{MOST_COLUMNS} columns; give the numbers as Parquet or text."
            )
        yield row


def _names(path: Path, first: tuple[Any, ...]) -> list[str]:
    if not any(isinstance(cell, str) for cell in first):
        shown = short_list([repr(cell) for cell in first if cell is not None], 6)
        raise FormatError(
            f"{path.name}: the first row holds {shown}, and no name; allowed: the names of the columns; add a row of "
            "them."
        )
    return ["" if cell is None else str(cell).strip() for cell in first]


def _cell(
    path: Path, row: tuple[Any, ...], place: int, count: int, names: list[str], layout: SheetLayout | None
) -> float:
    came = row[place] if place < len(row) else None
    if isinstance(came, int | float) and not isinstance(came, bool):
        value = float(came) if abs(came) < 1e300 else np.inf
        if np.isfinite(value):
            return value
    shown = repr(came) if len(repr(came)) < 40 else f"{repr(came)[:37]}…"
    if came is None:
        formula = _formula(path, place, count, layout)
        shown = f"the formula {formula[:40]!r} without its value" if formula else "nothing"
    todo = "open it in a spreadsheet and save it there" if came is None and "formula" in shown else "correct the cell"
    raise FormatError(
        f"{path.name}: row {count} of column {names[place]!r} holds {shown}; allowed: a finite number; {todo}, or "
        "leave the column out."
    )


def _demand_no_formula(path: Path, places: list[int], count: int, names: list[str], layout: SheetLayout | None) -> None:
    """FormatError where a row looks empty for want of the values of its formulas."""
    if any(_formula(path, place, count, layout) for place in places[:1]):
        _cell(path, (), places[0], count, names, layout)


def _formula(path: Path, place: int, count: int, layout: SheetLayout | None) -> str:
    with _workbook(path, formulas=True) as book:
        for number, row in enumerate(_rows(path, _sheet(path, book, layout or SheetLayout())), start=1):
            if number == count:
                return str(row[place]) if place < len(row) and row[place] is not None else ""
    return ""


def _contents(path: Path, kept: list[tuple[int, str]], x: NDArray[np.float64], rate_hz: float) -> Contents:
    for row, (place, label) in enumerate(kept):
        if is_time(label):
            demand_times_fit(path, x[row], rate_hz, place)
    signals = [row for row, (_, label) in enumerate(kept) if not is_time(label)]
    return Contents(
        path=path,
        signals=tuple(Signal(kept[row][1], "", rate_hz, x.shape[1]) for row in signals),
        samples=_Loaded(x[signals]),
        chosen=True,
    )


# Parquet ----------------------------------------------------------------------------------------------------------


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
    facts = (f"{ends[-1]} rows in {len(ends)} row groups", *(f"{name}: {types[name]}" for name in list(fields)[:40]))
    asks = {
        "rate_hz": "the sampling rate",
        "columns": "confirm the columns; one of times is called 'time' here, one to leave out None",
        "unit": "in what the samples count, such as 'mV'",
    }
    fit = {name: name for name, why in fields.items() if not why}
    return Seen(facts, columns=fit, asks=asks, refused="" if fit else "no column holds numbers")


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
    try:
        with open_plain(path) as stream, parquet.ParquetFile(stream) as file:
            yield file
    except EmgreviewError:
        raise
    except Exception as why:  # the door to the library
        words = " ".join(str(why).split())[:120]
        raise FormatError(
            f"{path.name} cannot be read as Parquet ({type(why).__name__}: {words}); the file is damaged or of another "
            "kind: copy or save it again."
        ) from why


EXCEL = Reader(
    "Excel workbook", (".xlsx",), read_excel, describes_itself=False, layout=SheetLayout, look=look_excel,
    needs=("openpyxl",), extra="excel",
)  # fmt: skip
PARQUET = Reader(
    "Parquet", (".parquet",), read_parquet, describes_itself=False, layout=ParquetLayout, look=look_parquet,
    needs=("pyarrow.parquet",), extra="parquet",
)  # fmt: skip
