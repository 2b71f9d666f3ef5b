"""What a text file holds, judged by pieces of it, and the arguments that read it.

The head of the file is read, a piece of its middle and one of its end. The numbers begin where lines with the same
number of cells go on to the end of the head; of the lines before them one may name the columns and one their units.
Whatever is taken from looks is told, and what looks do not tell is asked for.

    look(path)      Seen
"""

import re
import shlex
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from emgreview.reading.columns import distinct
from emgreview.reading.contents import Seen
from emgreview.reading.text_faults import LineForm, short
from emgreview.reading.text_lines import pieces_of
from emgreview.reading.text_rate import TIMES_IN, dates_in, rate_in, rises
from emgreview.reading.text_table import Table, fits, tables_in, worth
from emgreview.reading.units import CODES, TIMES, label_and_unit, plain_unit, unit_of

_MIXED = re.compile(r"^[+-]?\d+[.,]\d+$")
_DATE_FORM = re.compile(r"(?=.*[ymdh]{2}.*[.:/-])[ymdhsf.:/, T-]+", re.IGNORECASE)
"""What stands for the unit of a column of dates: dd.mm.yyyy hh:mm:ss."""


def look(path: Path) -> Seen:
    """What a text file holds, and how it is read. Raises ReadError, FormatError where it is no text."""
    head, more, times, encoding, facts = pieces_of(path)
    lines = head.splitlines()
    if not any(line.strip() for line in lines):
        return Seen((*facts, "no line holds anything"), refused="it is empty; export the file again")
    tables = tables_in(lines)
    if not tables:
        return Seen(
            (*facts, f"{len(lines)} lines, the first {short(lines[0])}"),
            refused="no lines of numbers in columns were found at its head; give a table of one line a sample",
        )
    best = max(tables, key=worth)
    layout: dict[str, Any] = {"encoding": encoding} if encoding else {}
    asks: dict[str, str] = {}
    facts += _numbers_in_words(best, more, times)
    doubt = _decimal_doubt(tables, best)
    if best.odd is not None:
        facts.append(
            f"line {best.odd + 1} does not look like those around it: {short(lines[best.odd])}; reading refuses it "
            "until it is mended in a copy, or what it holds is told: missing=[…], comment=…"
        )
    elif _whole_above_fractions(best):
        facts.append(
            f"the first line of numbers, {short(lines[best.start])}, holds whole numbers alone, unlike the others"
        )
        asks["header"] = f"if that line names the columns, say header={best.start + 1}, names={best.start + 1}"
    if best.start:
        layout["header"] = best.start
        facts.append(f"{best.start} line{'s' * (best.start > 1)} before the numbers, the first {short(lines[0])}")
    names, units = _names(lines[: best.start], best, layout)
    keys, twice = distinct(path, names or ())
    facts += twice
    if best.form.separator is None:
        layout["separator"] = "blanks"
    else:
        layout["separator"] = {"\t": "tab"}.get(best.form.separator, best.form.separator)
    if best.form.decimal == ",":
        layout["decimal"] = ","
    if best.form.comment:
        layout["comment"] = best.form.comment
    _writing(best, layout, facts)
    if doubt:
        layout["decimal"] = "?"
        asks["decimal"] = doubt
    gaps = dict(best.gaps)
    if gaps:
        layout["missing"] = list(gaps)
        few = ", ".join(f"{gap or 'an empty cell'!r} {n}" for gap, n in gaps.items())
        facts.append(f"cells that hold no number: {few}; proposed as missing samples")
        asks["missing"] = f"confirm that these cells are missing samples (in a shell {in_a_shell(gaps)})"
    facts += _codes_in_words(best)
    time, columns, unit = _columns(best, names, keys, units, facts, asks)
    if not any(one and place != time for place, one in enumerate(best.numeric)):
        mixed = any(_MIXED.search(cell) for row in best.rows[:50] for cell in row)
        return Seen(
            tuple(facts),
            refused="no column of numbers stands beside the times"
            + (": some numbers have decimal points, others commas; export it with one of them" if mixed else ""),
        )
    rate = rate_in(best, time, columns, units, lines[: best.start], layout, facts, asks)
    if rate is None and time is not None:
        return Seen(tuple(facts), None, unit, columns, layout, asks, refused=facts[-1])
    return Seen(tuple(facts), rate, unit, columns, layout, asks)


def in_a_shell(tokens: Iterable[str]) -> str:
    """The options that say what stands for a missing sample, an empty cell too."""
    return " ".join(f"--missing {shlex.quote(token)}" for token in tokens)


# Words on it ---------------------------------------------------------------------------------------------------------


def _writing(table: Table, layout: dict[str, Any], facts: list[str]) -> None:
    """Marks of thousands, and exponents as Fortran writes them, where cells have them."""
    form = table.form
    cells = [cell for row in table.rows for cell, one in zip(row, table.numeric, strict=True) if one]
    if form.thousands is not None:
        layout["thousands"] = form.thousands
        example = next((cell for cell in cells if form.thousands in cell), "")
        facts.append(f"{form.thousands!r} marks thousands, as in {short(example)}")
    if example := next((cell for cell in cells if "d" in cell.lower()), ""):
        layout["exponent"] = "D"
        facts.append(f"exponents stand behind a D, as Fortran writes them: {short(example)}")


def _whole_above_fractions(table: Table) -> bool:
    """Whether the first line holds whole numbers alone, and every other one fractions, as below a line of names."""
    sign = table.form.decimal
    first, *others = [[cell for cell, one in zip(row, table.numeric, strict=True) if one] for row in table.rows[:200]]
    return (
        len(first) > 1
        and not any(sign in cell for cell in first)
        and all(any(sign in c for c in row) for row in others)
    )


def _decimal_doubt(tables: Sequence[Table], best: Table) -> str:
    """Words where commas may separate columns as well as stand before decimals; else ""."""
    first = ",".join(best.rows[0])
    other = [
        table
        for table in tables
        if table.form.comment == best.form.comment
        and table.form.decimal != best.form.decimal
        and len(table.rows) == len(best.rows)
        and all(table.numeric)
    ]
    both = {best.form.separator, *(table.form.separator for table in other)}
    if "," in both and other and best.form.separator in (",", None):
        n = len(other[0].numeric)
        return (
            f"commas stand in every line ({short(first)}): they may separate {len(best.numeric)} columns, or stand "
            f"before the decimals of {n}; say decimal=',' (and separator='blanks') in the second case"
        )
    return ""


def _numbers_in_words(table: Table, more: Sequence[str], times: float) -> list[str]:
    apart = {";": "semicolons", "\t": "tabs", ",": "commas", None: "blanks"}[table.form.separator]
    counted, about = round(len(table.rows) * times), "about " if more else ""
    words = [
        f"{about}{counted:,} lines of {len(table.numeric)} columns, {apart} between them, decimal "
        f"{'commas' if table.form.decimal == ',' else 'points'}"
    ]
    odd = [
        line
        for piece in more
        for line in piece.split("\n")
        if (cells := table.form.cells(line))
        and (
            len(cells) != len(table.numeric)
            or not all(fits(c, table.form) for c, n in zip(cells, table.numeric, strict=True) if n)
        )
    ]
    if odd:
        words.append(f"later lines look otherwise, the first of them {short(odd[0])}")
    return words


def _codes_in_words(table: Table) -> list[str]:
    cells = Counter(row[place] for row in table.rows for place, one in enumerate(table.numeric) if one)
    codes = {cell: n for cell, n in cells.items() if n > 1 and CODES.fullmatch(cell)}
    return [
        f"{code} stands in {n} cells: where it means a missing sample, add it to missing" for code, n in codes.items()
    ]


# Names, units, rate --------------------------------------------------------------------------------------------------


def _names(header: Sequence[str], table: Table, layout: dict[str, Any]) -> tuple[list[str] | None, list[str]]:
    """Names of the columns and the words of their units ("" where none), from the lines before the numbers."""
    n = len(table.numeric)
    form = LineForm(table.form.separator, ".", table.form.comment or None)
    names: list[str] | None = None
    units = [""] * n
    for place in range(len(header) - 1, -1, -1):
        line = header[place]
        bare = line.lstrip().lstrip("#%!").strip() if line.lstrip()[:1] in ("#", "%", "!") else line
        cells = [cell.strip(" '\"") for cell in form.cells(bare)]
        if len(cells) != n or not any(cells):
            continue
        said = [cell.strip("[]() ") for cell in cells]
        if all(not c or plain_unit(c) or c.lower() in TIMES_IN or _DATE_FORM.fullmatch(c) for c in said) and any(said):
            said = ["" if _DATE_FORM.fullmatch(cell) else cell for cell in said]
            units = said
            continue
        if any(table.form.number.fullmatch(cell) for cell in cells):
            continue
        alike = len({cell for cell in cells if cell}) < sum(map(bool, cells))
        if not alike or names is None:  # a line that names each column otherwise goes before one nearer to the numbers
            names = cells
            layout["names"] = place + 1
        if not alike:
            break
    return names, units


def _columns(
    table: Table, names: list[str] | None, keys: list[str], units: list[str], facts: list[str], asks: dict[str, str]
) -> tuple[int | None, Any, Any]:
    """Place of the time column, the columns and the units to propose; ``keys`` are the names, told apart."""
    labels, told = [], list(units)
    for place in range(len(table.numeric)):
        label = names[place] if names else ""
        label, inner = label_and_unit(label, TIMES_IN)
        told[place] = told[place] or inner
        labels.append(label)
    labels = distinct(Path(), labels)[0]
    time = next(
        (
            place
            for place, one in enumerate(table.numeric)
            if one and labels[place].lower() in TIMES and rises(table, place, mostly=True)
        ),
        next((p for p in range(len(labels)) if not table.numeric[p] and dates_in(table, p)), None),
    )
    if time is None and not names and table.numeric[0] and len(table.numeric) > 1 and rises(table, 0, even=True):
        time = 0
        facts.append("column 1 rises in even steps: taken as times")
    if words := [str(place + 1) for place, one in enumerate(table.numeric) if not one and place != time]:
        facts.append(f"column{'s' * (len(words) > 1)} {', '.join(words)} of words or of nothing: left out")
    if time is not None:
        units[time] = told[time]
    if names is None:
        asks["columns"] = (
            f"nothing names its {len(table.numeric)} columns; name them in order, None for one to leave out"
        )
        columns: Any = [
            "time" if place == time else (f"column {place + 1}" if one else None)
            for place, one in enumerate(table.numeric)
        ]
        asks["unit"] = "the file does not say it: V, mV, uV, nV, or arbitrary"
        return time, columns, None
    columns = {}
    for place, (name, label) in enumerate(zip(keys, labels, strict=True)):
        if place == time:
            columns[name] = "time"
        elif table.numeric[place] and name:
            columns[name] = label
    if nameless := [str(place + 1) for place, name in enumerate(names) if not name and table.numeric[place]]:
        facts.append(f"column {', '.join(nameless)} has no name, and is left out")
    signals = {labels[place]: told[place] for place, name in enumerate(keys) if columns.get(name) not in (None, "time")}
    return time, columns, unit_of(signals, asks)
