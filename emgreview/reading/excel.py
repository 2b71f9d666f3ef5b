"""Excel workbooks (.xlsx): a sheet with a column a signal and a row a sample, columns by name, the rate told.

After ECMA-376 (Office Open XML), read by openpyxl. A sheet is loaded whole. A column "time" holds seconds, is no
signal, and is held against ``rate_hz``. Numbers alone stand in the columns that are kept; an empty cell is an error.

    EXCEL       the format
"""

import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand, whole
from emgreview.errors import FormatError, ParameterError, UnknownNameError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.arrays import demand_rate, demand_times_fit, short_list
from emgreview.reading.columns import chosen_columns, distinct, is_time
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal
from emgreview.reading.head_of_table import columns_seen
from emgreview.reading.optional import door, load

MOST_UNPACKED = 1 << 29
"""Bytes of a workbook's parts at most: a million rows of ten numbers (our own choice)."""
DENSEST = 200
"""How many times larger than packed a workbook may be; honest ones are 5 to 20 times (our own choice)."""
MOST_COLUMNS = 4096
MOST_ROWS = 1 << 20
"""Rows of a sheet, as the format has it."""


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """What a person says of a workbook.

    Parameters
    ----------
    sheet : str or None
        The sheet that holds the samples; needless where there is one alone.
    header : int, default 1
        Rows before the numbers.
    names : int, default 1
        Which of them, counted from 1, names the columns.
    """

    sheet: str | None = None
    header: int = 1
    names: int = 1

    def __post_init__(self) -> None:
        demand(self.sheet is None or isinstance(self.sheet, str), "sheet", self.sheet, "the name of a sheet, or None")
        whole("header", self.header, least=1, most=1000)
        whole("names", self.names, least=1, most=self.header)


@dataclass(frozen=True, eq=False, slots=True)
class _Loaded:
    x: NDArray[np.float64]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.x[signal, start:stop]


def read_excel(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: SheetLayout | None = None
) -> Contents:
    """Contents of a sheet whose first row names its columns. Raises FormatError, RateError, ParameterError,
    UnknownNameError."""
    rate = demand_rate(path, rate_hz, "states no sampling rate", "rate_hz")
    with _workbook(path) as book:
        layout = layout or SheetLayout()
        rows = _rows(path, _sheet(path, book, layout))
        names = _names(path, [next(rows, ()) for _ in range(layout.header)][layout.names - 1], layout.names)
        names, twice = distinct(path, names, columns)
        kept = chosen_columns(path, columns, names)
        places = [place for place, _ in kept]
        numbers: list[list[float]] = []
        empty: list[int] = []
        for count, row in enumerate(rows, start=layout.header + 1):
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
    return _contents(path, kept, np.array(numbers, np.float64).T, rate, twice)


def look_excel(path: Path) -> Seen:
    """Sheets, and the names of their columns."""
    facts, widths = [], {}
    above: dict[str, tuple[int, int]] = {}
    heads: dict[str, list[tuple[Any, ...]]] = {}
    with _workbook(path) as book:
        for name in book.sheetnames[:20]:
            sheet = book[name]
            if not hasattr(sheet, "iter_rows"):
                continue
            rows = [row for _, row in zip(range(60), _rows(path, sheet), strict=False)]
            header, place = above[name] = _above(rows)
            heads[name] = rows
            first = [cell for cell in (rows[place - 1] if rows else ()) if cell is not None]
            widths[name] = [str(cell).strip() for cell in first]
            facts.append(f"sheet {name!r}: {short_list([repr(cell) for cell in first])}")
            if header > 1:
                facts.append(f"its numbers begin in row {header + 1}, and row {place} is taken for the names")
    full = [name for name, names in widths.items() if names]
    if not full:
        return Seen(tuple(facts), refused="no sheet holds anything")
    asks = {"rate_hz": "the sampling rate", "unit": "in what the samples count, such as 'mV'"}
    if len(widths) > 1:
        asks["sheet"] = f"which sheet holds the samples: {short_list(full)}"
        return Seen(tuple(facts), asks=asks | {"columns": "the names of the columns to keep, 'time' for times"})
    header, place = above[full[0]]
    layout = {"header": header, "names": place} if header > 1 else {}
    rate, unit, columns, more, open_ = columns_seen(path, heads[full[0]][:header], place, heads[full[0]][header:])
    return Seen((*facts, *more), rate, unit, columns, layout, open_)


def _above(rows: Sequence[tuple[Any, ...]]) -> tuple[int, int]:
    """How many rows stand before the numbers, and which of them, from 1, names the columns: the one with most texts."""
    counts = [sum(isinstance(cell, int | float) and not isinstance(cell, bool) for cell in row) for row in rows]
    header = next((at for at, n in enumerate(counts) if at and 2 * n > max(counts)), 1)
    texts = [sum(isinstance(cell, str) and bool(cell.strip()) for cell in row) for row in rows[:header]]
    return header, 1 + (max(range(len(texts)), key=lambda at: texts[at]) if texts else 0)


@contextmanager
def _workbook(path: Path, formulas: bool = False) -> Iterator[Any]:
    openpyxl = load("openpyxl", f"{path.name} (Excel)", "excel")
    demand_plain(path)
    with (
        door(path, "a workbook", "allowed: .xlsx as spreadsheets save it; open it in one and save it again"),
        open_plain(path) as stream,
    ):
        _demand_modest(path, stream)
        book = openpyxl.load_workbook(stream, read_only=True, data_only=not formulas, keep_links=False)
        try:
            yield book
        finally:
            book.close()


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


def _names(path: Path, first: tuple[Any, ...], number: int) -> list[str]:
    if not any(isinstance(cell, str) for cell in first):
        shown = short_list([repr(cell) for cell in first if cell is not None], 6)
        raise FormatError(
            f"{path.name}: row {number} holds {shown}, and no name; allowed: the names of the columns; say header=, "
            "the number of rows before the numbers, and names=, which of them names the columns: er.look(path) "
            "proposes both."
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


def _contents(
    path: Path, kept: list[tuple[int, str]], x: NDArray[np.float64], rate_hz: float, notes: Sequence[str]
) -> Contents:
    for row, (place, label) in enumerate(kept):
        if is_time(label):
            demand_times_fit(path, x[row], rate_hz, place)
    signals = [row for row, (_, label) in enumerate(kept) if not is_time(label)]
    return Contents(
        path=path,
        signals=tuple(Signal(kept[row][1], "", rate_hz, x.shape[1]) for row in signals),
        samples=_Loaded(x[signals]),
        notes=tuple(notes),
        chosen=True,
    )


EXCEL = Reader(
    "Excel workbook", (".xlsx",), read_excel, describes_itself=False, layout=SheetLayout, look=look_excel,
    needs=("openpyxl",), extra="excel",
)  # fmt: skip
