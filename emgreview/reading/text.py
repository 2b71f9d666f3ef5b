"""Delimited text: one line a sample, one column a signal, numbers in it; what stands before them, and how, is said.

Such a file says neither rate nor unit, so the caller must: ``rate_hz``, ``unit``, and ``columns``, the labels in the
order of the columns, or by their names in the file where a line of it names them. A column that is None is left out,
words in it too. A column called "time" holds times: it is no signal, but is held against ``rate_hz``. The separator
(comma, semicolon, tab or blanks) is taken from the first line of numbers where it leaves no doubt. ``nan`` is a missing
sample. Everything else that may differ is said in a :class:`TextLayout`; :mod:`emgreview.reading.text_look` proposes
one. The parser is that of pandas, whose numbers are exact; every fault names its line (:mod:`text_faults`). The file is
read in pieces, its samples are kept in memory: text cannot be sliced.

    TextLayout                              what is said of the looks of a file
    read(path, rate_hz=..., columns=...)    Contents of one file
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand, number, refusal, whole
from emgreview.errors import FormatError, ParameterError, RateError, UnitError
from emgreview.model import FloatArray
from emgreview.plain_files import open_plain
from emgreview.reading.columns import chosen_columns, distinct, is_time
from emgreview.reading.contents import Columns, Contents, Reader, Signal
from emgreview.reading.dates import DATES
from emgreview.reading.text_faults import LineForm, name_fault, separator_of
from emgreview.reading.text_lines import first_line, line_of, lines_after_header, text_of
from emgreview.reading.text_look import look
from emgreview.reading.text_numbers import THOUSANDS, Plainly
from emgreview.reading.time_column import TIME_UNITS, coarse_words, demand_rate_fits, jitter_words, seconds_of

SLOWEST_HZ = 50.0
"""A told rate below this is that of no EMG, which has little below 10 Hz and most of it above 50 (our own choice)."""

_LINES = 1 << 17
"""Lines that are parsed at once."""

_TOO_SLOW = (
    "The rate was told as {:g} Hz, at which no EMG can be recorded: perhaps it was meant in kHz, or the time column is "
    "in milliseconds, not in seconds."
)
_SEPARATORS = {",": ",", ";": ";", "tab": "\t", "\t": "\t", "blanks": None}


@dataclass(frozen=True, slots=True)
class TextLayout:
    """How a text file is laid out; each field is an argument of :func:`emgreview.read`.

    Attributes
    ----------
    header : int, default 0
        Lines before the numbers.
    names : int or None
        Which of them, counted from 1, names the columns.
    separator : {",", ";", "tab", "blanks"} or None
        What stands between columns; None: taken from the first line of numbers.
    decimal : {".", ","}, default "."
        What stands before the decimals.
    comment : str or None
        A sign that begins a comment, which lasts to the end of its line.
    missing : sequence of str
        What stands for a missing sample, beside "nan": "NA", "-999", "" for an empty cell.
    thousands : str or None
        What marks thousands, as "." does in 1.234,56 (a point, a comma, an apostrophe, a blank);
        goes with ``separator``.
    exponent : {"E", "D"}, default "E"
        "D": exponents are written with D too, as Fortran does (1.5D-03).
    time_unit : {"s", "ms", "us", "iso", "dmy", "mdy", "ymd"}, default "s"
        Unit of the column "time"; "iso": dates and times as ISO 8601 writes them; "dmy",
        "mdy", "ymd": dates whose day, month and year stand in that order, and times of day.
    jitter_s : float, default 0
        How far a time may lie from even steps, in seconds.
    encoding : str or None
        None: UTF-8, or what a byte order mark says.
    """

    header: int = 0
    names: int | None = None
    separator: str | None = None
    decimal: str = "."
    comment: str | None = None
    missing: Sequence[str] = ()
    thousands: str | None = None
    exponent: str = "E"
    time_unit: str = "s"
    jitter_s: float = 0.0
    encoding: str | None = None

    def __post_init__(self) -> None:
        whole("header", self.header, least=0, most=10_000)
        if self.names is not None:
            demand(self.header > 0, "names", self.names, "None without header, the number of lines before the numbers")
            whole("names", self.names, least=1, most=self.header)
        if self.separator is not None:
            choices = [sign for sign in _SEPARATORS if sign != "\t"]
            demand(self.separator in _SEPARATORS, "separator", self.separator, ", ".join(map(repr, choices)))
        demand(self.decimal in (".", ","), "decimal", self.decimal, "'.', ','")
        demand(self.decimal != self.separator, "decimal", self.decimal, "another sign than the separator's")
        if self.comment is not None:
            good = isinstance(self.comment, str) and len(self.comment) == 1 and not self.comment.isalnum()
            demand(good and self.comment not in " .,;+-\t", "comment", self.comment, "one sign, such as '#' or '%'")
        good = not isinstance(self.missing, str) and all(isinstance(one, str) for one in self.missing)
        demand(good, "missing", self.missing, "a list of texts, such as ['NA', '-999']; '' for an empty cell")
        if self.thousands is not None:
            demand(self.thousands in THOUSANDS, "thousands", self.thousands, ", ".join(map(repr, THOUSANDS)))
            demand(self.thousands != self.decimal, "thousands", self.thousands, "another sign than the decimals'")
            apart = self.separator is not None and not (self.separator == "blanks" and self.thousands.isspace())
            demand(apart, "thousands", self.thousands, "None without separator, which must be told beside it")
        demand(self.exponent in ("E", "D"), "exponent", self.exponent, "'E', 'D'")
        units = (*TIME_UNITS, *DATES)
        demand(self.time_unit in units, "time_unit", self.time_unit, ", ".join(map(repr, units)))
        number("jitter_s", self.jitter_s, least=0, most=1.0, unit="s")
        if self.encoding is not None:
            try:
                "".encode(self.encoding)
            except (LookupError, TypeError):
                raise refusal(
                    "encoding", self.encoding, "a name that Python knows, such as 'utf-16' or 'cp1252'"
                ) from None

    def form(self, separator: str | None) -> LineForm:
        """What a line of numbers must look like."""
        return LineForm(separator, self.decimal, self.comment, tuple(self.missing), self.thousands, self.exponent)


@dataclass(frozen=True, eq=False, slots=True)
class _Columns:
    """Numbers of a text file in memory, (signals, samples)."""

    x: FloatArray

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.x[signal, start:stop]


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: TextLayout | None = None
) -> Contents:
    """Contents of a text file. Every fault names its line, what stands there, and what is allowed.

    Raises RateError (rate missing, or not that of the time column), ParameterError (columns missing or unfit),
    UnknownNameError (a column that the file does not have), FormatError (header line, ragged line, decimal comma,
    anything but a number).
    """
    layout = layout or TextLayout()
    demand_told(path, rate_hz, "told elsewhere", columns, layout)
    if rate_hz is None or not (math.isfinite(rate_hz) and rate_hz > 0):
        raise RateError(
            f"{path.name} is text, which states no sampling rate, and rate_hz came as {rate_hz!r}; allowed: a number "
            "above 0; give rate_hz as the recording device states it."
        )
    with text_of(path, layout) as stream:
        head = [line_of(path, stream) for _ in range(layout.header)]
        first = first_line(path, stream, layout)
    separator = (
        separator_of(path, first, layout.header + 1, layout.decimal)
        if layout.separator is None
        else _SEPARATORS[layout.separator]
    )
    form = layout.form(separator)
    names, twice = (None, []) if layout.names is None else distinct(path, form.words(head[layout.names - 1]), columns)
    chosen = chosen_columns(path, columns, names)
    n_columns = max(len(form.cells(first)), 1) if names is None else None
    if names is None and columns is not None and len(columns) != n_columns:
        name_fault(
            path, lines_after_header(path, layout), form, len(columns), {place for place, _ in chosen}, layout.header
        )
    width = n_columns or len(form.cells(first))
    if late := [label for place, label in chosen if place >= width]:
        raise FormatError(
            f"{path.name}: line {layout.names} names {len(names or ())} columns, and line {layout.header + 1} holds "
            f"{width}; the column for {late[0]!r} is not there; look at the file: er.look(path)."
        )
    x, times = _numbers(path, layout, form, width, chosen)
    time = next((place for place, label in chosen if is_time(label)), None)
    notes = [*twice]
    if time is not None:
        begins = layout.header + 1
        time_s = seconds_of(path, times, layout.time_unit, first_line=begins)
        demand_rate_fits(path, time_s, rate_hz, time, first_line=begins, jitter_s=layout.jitter_s)
        notes += [*coarse_words(time_s, rate_hz), *jitter_words(time_s, rate_hz, layout.jitter_s)]
    kept = [label for _, label in chosen if not is_time(label)]
    notes += _times_by_another_name(path, kept, x, rate_hz)
    if isinstance(columns, Mapping) or names is not None:
        used = {place for place, _ in chosen}
        spare = [name or f"column {place + 1}" for place, name in enumerate(names or ()) if place not in used]
        if spare:
            notes.append(f"Columns of {path.name} that are left out: {', '.join(spare)}.")
    return Contents(
        path=path,
        signals=tuple(Signal(label, "", rate_hz, x.shape[1]) for label in kept),
        samples=_Columns(x),
        notes=(*notes, *(() if rate_hz >= SLOWEST_HZ else (_TOO_SLOW.format(rate_hz),))),
        chosen=True,
    )


def _times_by_another_name(path: Path, labels: Sequence[str], x: FloatArray, rate_hz: float) -> list[str]:
    """Sentences on signals that rise in even steps all along, as times do and no signal of a person does."""
    found = []
    for label, values in zip(labels, x, strict=True):
        steps = np.diff(values)
        if (
            len(steps) > 10
            and steps[0] > 0
            and np.all(steps > 0)
            and float(np.ptp(steps)) < 0.5 * float(np.median(steps))
        ):
            found.append(
                f"Column {label!r} of {path.name} rises in even steps from line to line, as times do: call it 'time' "
                "in columns= to have it held against rate_hz, or None to leave it out."
            )
    return found


def demand_told(path: Path, rate_hz: object, unit: object, columns: Any, layout: TextLayout) -> None:
    """RateError, UnitError or ParameterError, the first of what is missing, that names all that is."""
    needed = {
        "rate_hz": (rate_hz, "rate_hz=2000", RateError),
        "unit": (unit, "unit='mV'", UnitError),
        "columns": (columns if layout.names is None else "named", "columns=['time', 'biceps', None]", ParameterError),
    }
    if not (missing := [name for name, (value, *_) in needed.items() if value is None]) or missing == ["unit"]:
        return  # a unit alone is asked for where it is known which channels need one
    ways = [needed[name][1] for name in missing]
    kind = needed[missing[0]][2]
    header = f" Its first line reads {first}." if "columns" in missing and (first := _header(path)) else ""
    meant = " (one label for each column in order, None for one to leave out, time for seconds)"
    raise kind(
        f"{path.name} is text, which states no rate, unit or names itself: {_and(missing)} "
        f"{'is' if len(missing) == 1 else 'are'} missing; give {_and(ways)}, with the values of the recording device"
        f"{meant if 'columns' in missing else ''}; er.look(path) says what the file holds.{header}"
    )


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _header(path: Path) -> str:
    """The first line as a message shows it, "" where there is none that can be read."""
    try:
        with open_plain(path) as stream:
            line = stream.readline(800).decode("utf-8-sig")[:200].strip()
            return repr(line if len(line) <= 60 else line[:57] + "…")
    except (OSError, UnicodeDecodeError):
        return ""


def _numbers(
    path: Path, layout: TextLayout, form: LineForm, n_columns: int, chosen: Sequence[tuple[int, str]]
) -> tuple[FloatArray, Any]:
    """The signals, (signals, samples), and the times as they stand there: numbers, or texts of dates."""
    import pandas as pd  # heavy: only text files need it

    exact = tuple(map(int, pd.__version__.split(".")[:2])) >= (3, 1)  # from then on every number is read so
    places = [place for place, label in chosen if not is_time(label)]
    time = next((place for place, label in chosen if is_time(label)), None)
    dates = time is not None and layout.time_unit in DATES
    wanted = {place for place, _ in chosen}
    words = set(range(n_columns)) - wanted
    options: dict[str, Any] = {
        "sep": r"\s+" if form.separator is None else form.separator,
        "header": None,
        "dtype": {place: str if dates and place == time else np.float64 for place in wanted}
        | dict.fromkeys(words, str),
        "decimal": layout.decimal,
        "comment": layout.comment,
        "na_values": {place: [*_NAN, *layout.missing] for place in wanted},
        "keep_default_na": False,
        "skip_blank_lines": False,
        "chunksize": _LINES,
        "engine": "c",
        **({} if exact else {"float_precision": "round_trip"}),
    }
    if words:
        options["usecols"] = sorted(wanted)
    parts: list[FloatArray] = []
    times: list[Any] = []
    rows = 0
    try:
        with text_of(path, layout) as text:
            for _ in range(layout.header):
                line_of(path, text)
            stream: Any = text
            if layout.thousands is not None or layout.exponent != "E":
                stream = Plainly(text, form.separator, form.decimal, layout.thousands, layout.exponent)
            for piece in pd.read_csv(stream, **options):
                block = piece[places].to_numpy(np.float64).T
                if np.isinf(block).any():
                    raise ValueError("a number without end")
                parts.append(np.ascontiguousarray(block))
                if time is not None:
                    times.append(piece[time].to_numpy())
                rows += len(piece)
        if not rows:
            raise ValueError("no numbers")
        if "" in layout.missing or words:
            _demand_all_cells(path, layout, form, n_columns, wanted)
    except (ValueError, pd.errors.ParserError, pd.errors.EmptyDataError, OverflowError, IndexError) as why:
        if isinstance(why, FormatError | ParameterError):
            raise
        name_fault(path, lines_after_header(path, layout), form, n_columns, wanted, layout.header, skip=rows)
        name_fault(path, lines_after_header(path, layout), form, n_columns, wanted, layout.header)
        raise FormatError(
            f"{path.name} cannot be read as {n_columns} columns of numbers ({str(why).strip()[:120]}); look at the "
            "file: er.look(path)."
        ) from None
    return np.concatenate(parts, axis=1), (np.concatenate(times) if times else np.empty(0))


_NAN = ("nan", "NaN", "NAN", "Nan")


def _demand_all_cells(path: Path, layout: TextLayout, form: LineForm, n_columns: int, wanted: set[int]) -> None:
    """Where an empty cell may stand, or columns are passed over, a line that ends too early, or too late, would read as
    one of another sample: each line must have every cell."""
    before, rest = layout.header, ""
    with text_of(path, layout) as stream:
        for _ in range(layout.header):
            line_of(path, stream)
        while True:
            piece = stream.read(1 << 22)
            block, _, rest = (rest + piece).rpartition("\n") if piece else (rest, "", "")
            lines = block.split("\n") if block else []
            for place in _odd(block, form.separator, n_columns):
                name_fault(path, iter([lines[place]]), form, n_columns, wanted, before + place, whole=True)
            before += len(lines)
            if not piece:
                return


def _odd(block: str, separator: str | None, n_columns: int) -> NDArray[np.intp]:
    """Places of the lines that do not hold just one separator between columns."""
    if not block:
        return np.empty(0, np.intp)
    if separator is None:
        return np.arange(block.count("\n") + 1)
    signs = np.frombuffer(f"{block}\n".encode(), np.uint8)
    ends = np.flatnonzero(signs == ord("\n"))
    counts = np.add.reduceat(signs == ord(separator), np.r_[0, ends[:-1] + 1], dtype=np.int64)
    return np.flatnonzero(counts != n_columns - 1)


READER = Reader("delimited text", (".csv", ".txt", ".tsv"), read, describes_itself=False, layout=TextLayout, look=look)
