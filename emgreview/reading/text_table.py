"""Where in the lines of a text file the numbers stand, and how: separator, decimals, comments, what is missing.

Table           lines of numbers, all with as many cells
tables_in       every way in which the lines that end a text are one
worth           what is chosen among them by
"""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from emgreview.reading.text_faults import LineForm
from emgreview.reading.text_numbers import THOUSANDS

_FEWEST = 3
"""Lines of numbers that make a table."""
GAPS = ("", "NA", "N/A", "n/a", "na", "NaN", "null", "NULL", "None", "-", "--", "?", ".", "#N/A", "ND")
"""Texts that often stand for a missing sample (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Table:
    """Where and how the numbers stand: ``start`` is the first line of them in the head; ``odd`` the first one after it
    that is none, though lines before it are."""

    form: LineForm
    start: int
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    gaps: Mapping[str, int]
    odd: int | None = None


def tables_in(lines: Sequence[str]) -> list[Table]:
    """Every way in which the lines that end a text are a table."""
    return [found for form in _forms(lines) if (found := _table(lines, form)) is not None]


def _evidence(mark: str, decimal: str) -> re.Pattern[str]:
    """Numbers in which a sign marks thousands and can be no decimal sign: with decimals behind, or twice."""
    sign, point = re.escape(mark), re.escape(decimal)
    groups = rf"(?<![\d{sign}:])\d{{1,3}}(?:{sign}\d{{3}})"
    if mark in ".,":
        return re.compile(rf"{groups}+{point}\d|{groups}{{2,}}(?![\d{sign}])")
    return re.compile(rf"{groups}+(?![\d{sign}])")


_EVIDENCE = {
    (mark, decimal): _evidence(mark, decimal)
    for mark in THOUSANDS
    for decimal in (".", ",")
    if mark not in (decimal, " ")
}
_QUOTED = re.compile(r'"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?"')
_FORTRAN = re.compile(r"\d[.,]?\d*[dD][+-]?\d")


def _forms(lines: Sequence[str]) -> list[LineForm]:
    comments = [None, *(sign for sign in "#%!" if any(line.lstrip().startswith(sign) for line in lines))]
    text = "\n".join(lines)
    exponent = "D" if _FORTRAN.search(text) else "E"
    marks = [pair for pair, found in _EVIDENCE.items() if found.search(text)]
    quoted = bool(_QUOTED.search(text))
    forms = []
    for comment in comments:
        for separator in (";", "\t", ",", None):
            for decimal in (".", ","):
                if separator == decimal:
                    continue
                forms.append(LineForm(separator, decimal, comment, GAPS, None, exponent))
                for thousands, beside in marks:
                    apart = thousands != separator and not (separator is None and thousands.isspace())
                    if beside == decimal and (apart or (thousands == "," and quoted)):
                        forms.append(LineForm(separator, decimal, comment, GAPS, thousands, exponent))
    return forms


def _table(lines: Sequence[str], form: LineForm) -> Table | None:
    """The longest run of lines that ends the head, all with as many cells as the last, numbers in the same places."""
    rows: list[tuple[str, ...]] = []
    start = len(lines)
    numeric: list[bool] = []
    for place in range(len(lines) - 1, -1, -1):
        line = lines[place]
        if not line.strip():
            if rows:
                break
            continue
        cells = form.cells(line)
        if not cells:  # a comment among the numbers
            continue
        plain = [bool(form.number.fullmatch(cell)) for cell in cells]
        if not rows:
            numeric = [False] * len(cells)
        known = sum(numeric)
        good = [one or cell in GAPS for one, cell in zip(plain, cells, strict=True)]
        if len(cells) != len(numeric) or (known and sum(map(bool, np.array(good) & np.array(numeric))) < known):
            break
        if not any(plain) and not all(cell in GAPS for cell in cells):
            break
        numeric = [was or one for was, one in zip(numeric, plain, strict=True)]
        rows.append(tuple(cells))
        start = place
    rows.reverse()
    if len(rows) < _FEWEST or not any(numeric):
        return None
    words = [
        column for column in range(len(numeric)) if numeric[column] and not all(fits(row[column], form) for row in rows)
    ]
    numeric = [one and column not in words for column, one in enumerate(numeric)]
    if not any(numeric):
        return None
    gaps = Counter(
        row[column]
        for row in rows
        for column, one in enumerate(numeric)
        if one and row[column] in GAPS and not form.number.fullmatch(row[column])
    )
    alike = [place for place in range(start) if _is_row(lines[place], form, numeric)]
    odd = next((place for place in range(alike[0], start) if place not in alike), None) if alike else None
    return Table(form, start if odd is None else alike[0], tuple(rows), tuple(numeric), gaps, odd)


def _is_row(line: str, form: LineForm, numeric: Sequence[bool]) -> bool:
    """Whether a line holds numbers where the table does."""
    cells = form.cells(line)
    pattern = form.number
    return len(cells) == len(numeric) and all(
        pattern.fullmatch(cell) for cell, one in zip(cells, numeric, strict=True) if one
    )


def fits(cell: str, form: LineForm) -> bool:
    return cell in GAPS or bool(form.number.fullmatch(cell))


def worth(table: Table) -> tuple[float, ...]:
    """More lines of numbers first; then columns of numbers; then fewer words and gaps; then what is more usual."""
    share = sum(table.numeric) / len(table.numeric)
    filled = 1 - sum(table.gaps.values()) / max(len(table.rows) * sum(table.numeric), 1)
    form = table.form
    usual = table.odd is None, form.thousands is None, form.comment is None, form.separator is not None
    return (
        round(np.log2(len(table.rows)), 0), share > 0.3, share * filled, sum(table.numeric), *map(float, usual),
        float(form.decimal == "."),
    )  # fmt: skip
