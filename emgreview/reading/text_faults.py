"""What is wrong with a line of numbers: which line, what stands there, what is allowed, what to do.

LineForm        what a line of numbers must look like
separator_of    what separates the columns, judged by one line
name_fault      FormatError for the first line that does not fit; nothing where all do
"""

import csv
import re
from collections.abc import Iterator, Set
from dataclasses import dataclass
from pathlib import Path

from emgreview.errors import FormatError
from emgreview.reading.text_numbers import number_pattern

_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", None: "spaces"}
_COMMA_ADVICE = (
    "a decimal comma? Numbers need a decimal point: say decimal=',' where the columns are not separated by commas, or "
    "export again with decimal points."
)
_FORTRAN = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)[dD][+-]?\d+")
_MARKED = re.compile(
    r"[+-]?\d{1,3}(?:([.,])\d{3}(?:\1\d{3})*(?!\1)[.,]\d*|([.,])\d{3}(?:\2\d{3})+|(['\u2019\u00a0\u202f ])\d{3}.*)"
)
"""A number with marks of thousands that can be no decimal sign."""
_LOOK = "er.look(path) proposes how to read it"


@dataclass(frozen=True, slots=True)
class LineForm:
    """``separator`` None means blanks; ``missing`` are the texts of a missing sample, beside "nan"; ``thousands`` and
    ``exponent`` say how numbers are written (:mod:`text_numbers`)."""

    separator: str | None
    decimal: str = "."
    comment: str | None = None
    missing: tuple[str, ...] = ()
    thousands: str | None = None
    exponent: str = "E"

    @property
    def number(self) -> re.Pattern[str]:
        """What a number looks like, or "nan"."""
        return number_pattern(self.decimal, self.thousands, self.exponent)

    def cells(self, line: str) -> list[str]:
        """The cells of a line, comments and quotation marks taken away."""
        if self.comment is not None:
            line = line.partition(self.comment)[0]
            if not line.strip():
                return []
        if self.separator is None:
            return line.split()
        if '"' in line:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=self.separator), [])]
        return [cell.strip() for cell in line.split(self.separator)]

    def words(self, line: str) -> list[str]:
        """The cells of a line of names; a comment sign before them is passed over."""
        bare = line.lstrip().removeprefix(self.comment or "").strip()
        return [cell.strip(" '\"") for cell in LineForm(self.separator).cells(bare)]

    def is_number(self, cell: str) -> bool:
        """Whether a cell holds a finite number, or stands for a missing sample."""
        return bool(self.number.fullmatch(cell)) or cell in self.missing


def separator_of(path: Path, line: str, line_number: int, decimal: str) -> str | None:
    """What separates the columns, judged by the first line of numbers; None means spaces."""
    line = line.strip(" ")
    tokens = re.split(r"[;,\t ]+" if decimal == "." else r"[;\t ]+", line)
    if not any(number_pattern(decimal).fullmatch(token.strip('"')) for token in tokens):
        raise FormatError(
            f"{path.name}: line {line_number} reads {short(line)} and holds no number: a header line? Say how many "
            f"lines stand before the numbers (header=1) and which names the columns (names=1): {_LOOK}; or remove the "
            f"line in a copy, and give its words as columns={LineForm(_apart(line)).words(line)}."
        )
    found = [sign for sign in (";\t," if decimal == "." else ";\t") if sign in line]
    if found == [","]:
        spaced = [part.strip() for part in line.split(",")]
        if not any(" " in part for part in spaced):
            return ","
        found.append(" ")
    if len(found) > 1:
        names = " and ".join({" ": "spaces", **_NAMES}[sign] for sign in found)
        advice = _COMMA_ADVICE if "," in found else "use one separator throughout, or say it: separator=';'."
        raise FormatError(
            f"{path.name}: line {line_number} reads {short(line)} and holds both {names}, so the separator is in "
            f"doubt; allowed: one of comma, semicolon, tab, spaces; {advice}"
        )
    return found[0] if found else None


def _apart(line: str) -> str | None:
    return next((sign for sign in ";\t," if sign in line), None)


def name_fault(
    path: Path,
    lines: Iterator[str],
    form: LineForm,
    n_columns: int,
    wanted: Set[int],
    before: int,
    *,
    skip: int = 0,
    whole: bool = False,
) -> None:
    """FormatError for the first line that does not fit. ``before``: lines that stand before these in the file;
    ``skip``: how many of these are good; ``whole``: that not all cells are there is all that is looked for."""
    name = _NAMES[form.separator]
    for number, line in enumerate(lines, start=before + 1):
        if number <= before + skip:
            continue
        cells = form.cells(line)
        where = f"{path.name}: line {number} reads {short(line)}"
        if not line.strip():
            raise FormatError(
                f"{path.name}: line {number} is empty; every line must hold {n_columns} numbers; remove it."
            )
        if not cells:  # a comment
            continue
        for place, cell in enumerate(cells, start=1):
            if whole or form.is_number(cell) or (len(cells) == n_columns and place - 1 not in wanted):
                continue
            if form.exponent == "E" and _FORTRAN.fullmatch(cell):
                raise FormatError(f"{where}; column {place} holds {cell!r}: say exponent='D' where D means E there.")
            if form.thousands is None and (marked := _MARKED.fullmatch(cell)):
                mark = marked[1] or marked[2] or marked[3]
                raise FormatError(
                    f"{where}; column {place} holds {cell!r}: where {mark!r} marks thousands, say thousands={mark!r}, "
                    f"with separator= and decimal=; {_LOOK}."
                )
            if form.decimal == "." and _DECIMAL_COMMA.fullmatch(cell):
                raise FormatError(f"{where}; column {place} holds {cell!r}: {_COMMA_ADVICE}")
            if not cell:
                raise FormatError(
                    f"{where}; column {place} is empty; allowed: a number, or nan for a missing sample; fill it, or "
                    "say missing=[''] where empty cells are missing samples."
                )
            header = f" A header line? {_LOOK}." if number == 1 else ""
            raise FormatError(
                f"{where}; column {place} holds {cell[:40]!r}; allowed: a finite number such as -0{form.decimal}5 or "
                f"1e-3, or nan for a missing sample; correct the line, say missing=[{cell[:40]!r}] where that is a "
                f"missing sample, or leave the column out.{header}"
            )
        if len(cells) != n_columns:
            comma = (
                f" Twice as many as named: {_COMMA_ADVICE}"
                if form.separator == "," and len(cells) == 2 * n_columns
                else ""
            )
            raise FormatError(
                f"{where} and holds {len(cells)} numbers (separator: {name}), but columns= names {n_columns}; every "
                "line must hold one number for each column, None in columns= leaves one out; correct the line or "
                f"columns=.{comma}"
            )


def short(line: str) -> str:
    """A line as a message shows it."""
    return repr(line if len(line) <= 60 else line[:57] + "…")
