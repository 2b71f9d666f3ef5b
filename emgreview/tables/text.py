"""Tables as tab-separated text that loses nothing and that no spreadsheet takes for anything but text; and back.

UTF-8, one header line, rows ended by one line feed, no quoting. Numbers in the shortest form that reads back the same;
missing is ``n/a``. How a text stands in a cell, :mod:`emgreview.cells` says.

    to_tsv, from_tsv    the whole table
"""

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from emgreview.cells import GUARD, MISSING, guard, unguard
from emgreview.errors import FormatError
from emgreview.tables.decisions import DTYPES

HOW: Mapping[str, str] = {
    "missing": MISSING,
    "guard": GUARD,
    "rule": "take one leading apostrophe off a text; what then begins with a quotation mark is a JSON string",
}
"""What a version's description says of its text."""


def to_tsv(table: pd.DataFrame) -> bytes:
    """A table as tab-separated text."""
    lines = ["\t".join(guard(str(name)) for name in table.columns)]
    lines += ["\t".join(map(_cell, row)) for row in table.astype(object).itertuples(index=False, name=None)]
    return ("\n".join(lines) + "\n").encode()


def from_tsv(content: bytes, types: Mapping[str, str], *, guarded: bool = True) -> pd.DataFrame:
    """The table in tab-separated text; ``types`` as in COLUMNS. ``guarded`` False: cells stand for themselves.

    Raises FormatError where the text is no table of such columns.
    """
    try:
        return _from_tsv(content, types, guarded)
    except (KeyError, IndexError, ValueError, OverflowError, TypeError) as why:
        raise FormatError(f"the text is no table of the columns that it should have ({str(why)[:200]})") from why


def _from_tsv(content: bytes, types: Mapping[str, str], guarded: bool) -> pd.DataFrame:
    head, *lines = content.decode().removesuffix("\n").split("\n")
    text = unguard if guarded else str
    names = [text(name) for name in head.split("\t")]
    rows = [line.split("\t") for line in lines]
    columns = {}
    for index, name in enumerate(names):
        kind = types.get(name, "text")
        parsers: dict[str, Callable[[str], Any]] = {
            "number": float,
            "whole": int,
            "truth": lambda cell: cell == "true",
            "text": text,
        }
        cells: list[Any] = [None if row[index] == MISSING else parsers[kind](row[index]) for row in rows]
        columns[name] = pd.Series(cells, dtype="object").astype(DTYPES[kind])  # type: ignore[call-overload]
    return pd.DataFrame(columns, columns=names)


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or value != value:
        return MISSING
    if isinstance(value, bool):
        return "true" if value else "false"
    return guard(value) if isinstance(value, str) else repr(value) if isinstance(value, float) else str(value)
