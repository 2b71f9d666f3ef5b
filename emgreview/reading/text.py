"""Delimited text: one line a sample, one column a signal, bare numbers with a decimal point and nothing else.

Such a file says neither rate nor unit nor names, so the caller must: ``rate_hz``, ``unit``, and ``columns``, the
labels in the order of the columns. A column that is None is left out. A column called "time" holds seconds: it is
no signal, but is held against ``rate_hz``. The separator (comma, semicolon, tab or spaces) is taken from the first
line where it leaves no doubt. ``nan`` is a missing sample. The file is loaded whole: text cannot be sliced.

    read(path, rate_hz=..., columns=...)    Contents of one file
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ParameterError, RateError, UnitError
from emgreview.model import FloatArray
from emgreview.plain_files import open_plain, read_text
from emgreview.reading.contents import Contents, Reader, Signal

TIME = "time"
"""The column name that means seconds, in any case."""

LEFT_OUT_SIGNS = frozenset({"-", "–", "—", "_"})
"""What stands in a shell, or on paper, for a column to leave out, and is no name of a channel."""

MOST_BYTES = 1 << 30
"""Bytes of a text file at most: it is loaded whole, in several times its size (our own choice)."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|nan", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", None: "spaces"}
_COLUMNS_ARE = " (one label for each column in order, None for one to leave out, time for seconds)"
_COMMA_ADVICE = (
    "a decimal comma? Numbers need a decimal point: export again with decimal points, "
    "or replace the decimal commas in a copy."
)


SLOWEST_HZ = 50.0
"""A told rate below this is that of no EMG, which has little below 10 Hz and most of it above 50 (our own choice)."""

_TOO_SLOW = (
    "The rate was told as {:g} Hz, at which no EMG can be recorded: perhaps it was meant in kHz, or the time column is "
    "in milliseconds, not in seconds."
)


@dataclass(frozen=True, eq=False, slots=True)
class _Columns:
    """Numbers of a text file in memory, (signals, samples)."""

    x: FloatArray

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.x[signal, start:stop]


def read(path: Path, *, rate_hz: float | None = None, columns: Sequence[str | None] | None = None) -> Contents:
    """Contents of a text file. Every fault names its line, what stands there, and what is allowed.

    Raises RateError (rate missing, or not that of the time column), ParameterError (columns missing or unfit),
    FormatError (header line, ragged line, decimal comma, anything but a number).
    """
    demand_told(path, rate_hz, "told elsewhere", columns)
    if rate_hz is None or not (math.isfinite(rate_hz) and rate_hz > 0):
        raise RateError(
            f"{path.name} is text, which states no sampling rate, and rate_hz came as {rate_hz!r}; allowed: a number "
            "above "
            "0; give rate_hz as the recording device states it."
        )
    labels = _labels(path, columns)
    lines = _lines(path)
    x = _numbers(path, lines, len(labels))
    coarse: list[str] = []
    for place, label in enumerate(labels):
        if label is not None and label.casefold() == TIME:
            _demand_rate_fits(path, x[:, place], rate_hz, place)
            coarse += _coarse_words(x[:, place], rate_hz)
    kept = [place for place, label in enumerate(labels) if label is not None and label.casefold() != TIME]
    return Contents(
        path=path,
        signals=tuple(Signal(str(labels[place]), "", rate_hz, len(lines)) for place in kept),
        samples=_Columns(np.ascontiguousarray(x[:, kept].T)),
        notes=(*coarse, *(() if rate_hz >= SLOWEST_HZ else (_TOO_SLOW.format(rate_hz),))),
    )


def demand_told(path: Path, rate_hz: object, unit: object, columns: Any) -> None:
    """RateError, UnitError or ParameterError, the first of what is missing, that names all that is."""
    needed = {
        "rate_hz": (rate_hz, "rate_hz=2000", RateError),
        "unit": (unit, "unit='mV'", UnitError),
        "columns": (columns, "columns=['time', 'biceps', None]", ParameterError),
    }
    if not (missing := [name for name, (value, *_) in needed.items() if value is None]) or missing == ["unit"]:
        return  # a unit alone is asked for where it is known which channels need one
    ways = [needed[name][1] for name in missing]
    kind = needed[missing[0]][2]
    header = f" Its first line reads {first}." if "columns" in missing and (first := _header(path)) else ""
    raise kind(
        f"{path.name} is text, which states no rate, unit or names itself: {_and(missing)} "
        f"{'is' if len(missing) == 1 else 'are'} missing; give {_and(ways)}, with the values of the recording device"
        f"{_COLUMNS_ARE if 'columns' in missing else ''}.{header}"
    )


def _labels_in(line: str) -> list[str]:
    """The words of a header line."""
    sign = next((sign for sign in ";\t," if sign in line), None)
    return [word.strip(" \"'") for word in line.split(sign)]


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _header(path: Path) -> str:
    """The first line as a message shows it, "" where there is none that can be read."""
    try:
        with open_plain(path) as stream:
            return _short(stream.readline(800).decode("utf-8-sig")[:200].strip())
    except (OSError, UnicodeDecodeError):
        return ""


def _labels(path: Path, columns: Sequence[str | None] | None) -> list[str | None]:
    allowed = (
        "a list with one label for each column in order, None for a column to leave out, 'time' for seconds, "
        "such as columns=['time', 'biceps', None]"
    )
    if columns is None:
        raise ParameterError(f"{path.name} is text, which names no channels, and columns is missing; give {allowed}.")
    labels = [] if isinstance(columns, str) else list(columns)
    if any(isinstance(label, str) and label.strip() in LEFT_OUT_SIGNS for label in labels):
        raise ParameterError(
            f"columns came as {columns!r}; a sign alone names no channel: a column to leave out is None; give "
            f"{allowed}."
        )
    signals = [label for label in labels if label is not None and str(label).casefold() != TIME]
    if not signals or not all(isinstance(label, str) and label.strip() for label in signals):
        raise ParameterError(f"columns came as {columns!r}; it must name at least one signal; give {allowed}.")
    return labels


def _lines(path: Path) -> list[str]:
    lines = read_text(path, MOST_BYTES).split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise FormatError(f"{path.name} holds no line with numbers; give one line a sample: export the file again.")
    return lines


def _numbers(path: Path, lines: list[str], n_columns: int) -> FloatArray:
    """All numbers, (lines, columns)."""
    separator = _separator(path, lines[0])
    try:
        x = np.loadtxt(lines, delimiter=separator, comments=None, ndmin=2)
    except ValueError:
        x = np.empty((0, 0))
    if x.shape != (len(lines), n_columns) or np.isinf(x).any():
        _raise_first_fault(path, lines, separator, n_columns)
    return x


def _separator(path: Path, line: str) -> str | None:
    """What separates the columns, judged by the first line; None means spaces."""
    line = line.strip()
    tokens = re.split(r"[;,\t ]+", line)
    if not any(_NUMBER.fullmatch(token) for token in tokens):
        raise FormatError(
            f"{path.name}: line 1 reads {_short(line)} and holds no number: a header line? Every line must hold "
            "numbers "
            f"alone; remove the line in a copy, and give its words as columns={_labels_in(line)}."
        )
    found = [sign for sign in ";\t," if sign in line]
    if found == [","]:
        spaced = [part.strip() for part in line.split(",")]
        if not any(" " in part for part in spaced):
            return ","
        found.append(" ")
    if len(found) > 1:
        names = " and ".join({" ": "spaces", **_SEPARATORS}[sign] for sign in found)
        advice = _COMMA_ADVICE if "," in found else "use one separator throughout."
        raise FormatError(
            f"{path.name}: line 1 reads {_short(line)} and holds both {names}, so the separator is in doubt; "
            "allowed: one of "
            f"comma, semicolon, tab, spaces; {advice}"
        )
    return found[0] if found else None


def _raise_first_fault(path: Path, lines: list[str], separator: str | None, n_columns: int) -> None:
    name = _SEPARATORS[separator]
    for number, line in enumerate(lines, start=1):
        cells = [cell.strip() for cell in line.split(separator)]
        where = f"{path.name}: line {number} reads {_short(line)}"
        if not line.strip():
            raise FormatError(
                f"{path.name}: line {number} is empty; every line must hold {n_columns} numbers; remove it."
            )
        for place, cell in enumerate(cells, start=1):
            if _NUMBER.fullmatch(cell):
                continue
            if _DECIMAL_COMMA.fullmatch(cell):
                raise FormatError(f"{where}; column {place} holds {cell!r}: {_COMMA_ADVICE}")
            if not cell:
                raise FormatError(
                    f"{where}; column {place} is empty; allowed: a number, or nan for a missing sample; fill it."
                )
            header = " A header line? Save a copy without it, and name the columns." if number == 1 else ""
            raise FormatError(
                f"{where}; column {place} holds {cell!r}; allowed: a finite number such as -0.5 or 1e-3, or nan for "
                "a missing "
                f"sample; correct the line.{header}"
            )
        if len(cells) != n_columns:
            comma = (
                f" Twice as many as named: {_COMMA_ADVICE}" if separator == "," and len(cells) == 2 * n_columns else ""
            )
            raise FormatError(
                f"{where} and holds {len(cells)} numbers (separator: {name}), but columns= names {n_columns}; every "
                "line must "
                "hold one number for each column, None in columns= leaves one out; correct the line or "
                f"columns=.{comma}"
            )
    raise FormatError(f"{path.name} cannot be read as {n_columns} columns of numbers; export it again.")


def _demand_rate_fits(path: Path, time_s: FloatArray, rate_hz: float, place: int) -> None:
    """RateError where the time column is no sample number / rate, rounded as its text is; see :func:`_runs`."""
    unit_s = _unit_s(time_s)
    bad = np.flatnonzero(~_runs(time_s, rate_hz, unit_s))
    if len(bad):
        line = int(bad[0])
        steps = np.diff(time_s)
        step = float(np.mean(steps)) if unit_s * rate_hz > 1 else float(np.median(steps))
        rising = (steps > 0) | ((steps == 0) & (unit_s * rate_hz > 1) & (time_s[-1] > time_s[0]))
        if not np.all(rising):
            back = int(np.flatnonzero(~rising)[0]) + 1
            raise RateError(
                f"{path.name}: column {place + 1} was named 'time', and does not rise: line {back + 1} has "
                f"{time_s[back]:g} after {time_s[back - 1]:g}; a time column holds seconds that rise in equal steps; "
                "this is no time column, or another column is: correct the order of columns=."
            )
        if math.isclose(step * rate_hz, 1000, rel_tol=0.01):
            raise RateError(
                f"{path.name}: the time column runs in steps of {step:g}, which fits rate_hz={rate_hz:g} in "
                "milliseconds; it must hold seconds; divide it by 1000 in a copy, or leave it out: None for it in "
                "columns=."
            )
        raise RateError(
            f"{path.name}: line {line + 1} has the time {time_s[line]:g} s, but with rate_hz={rate_hz:g} it should be "
            f"{time_s[0] + line / rate_hz:g} s; the time column must run in equal steps of 1/rate_hz (its "
            f"{'mean' if unit_s * rate_hz > 1 else 'median'} step is {step:g} s"
            + (f", {1 / step:g} Hz" if step > 0 else "")
            + "); correct rate_hz, or split the file where samples are missing."
        )


def _unit_s(time_s: FloatArray) -> float:
    """One unit of the last decimal of the times, 1e-10 at least."""
    return 10.0 ** -next((d for d in range(10) if np.array_equal(np.round(time_s, d), time_s)), 10)


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


def _coarse_words(time_s: FloatArray, rate_hz: float) -> list[str]:
    """A sentence on a time column whose text is too coarse to show every missing sample."""
    held = (unit_s := _unit_s(time_s)) * rate_hz
    if held <= 1 + 1e-6:
        return []
    return [
        f"The time column is written in steps of {unit_s:g} s, which hold {held:g} samples: one sample that is missing "
        f"or doubled may not show in it, and among the first or last {2 * math.ceil(held)} lines up to "
        f"{math.ceil(held)}; write it with more decimals to be sure."
    ]


def _short(line: str) -> str:
    return repr(line if len(line) <= 60 else line[:57] + "…")


READER = Reader("delimited text", (".csv", ".txt", ".tsv"), read, describes_itself=False)
