"""Cells of tables that people open in a spreadsheet or an editor: no text is taken for anything but text.

A text that could be begins with an apostrophe:

    '=SUM(A1)       text that begins, after blanks, with = + - @, their full-width forms, or an apostrophe; or is n/a
    '"a\\tb"         text that begins with a quotation mark, or holds control characters, line breaks, or marks that
                    turn the direction of writing: as a JSON string, all but ASCII escaped

A reader takes one leading apostrophe off, and reads what then begins with a quotation mark as JSON. Every table that is
written for people goes through here; but for those of the demo study, whose form the dataset's standard decides.

    guard, unguard      one text
    tab_separated       rows as the dataset's standard has them, unguarded
"""

import json
import unicodedata
from collections.abc import Iterable, Sequence

MISSING, GUARD = "n/a", "'"
FORMULA_STARTERS = "=+-@＝＋－＠" + GUARD
TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""The characters of Unicode's bidirectional algorithm that can show a line in another order than it is stored."""


def guard(text: str) -> str:
    """A text as it stands in a cell."""
    if text.startswith('"') or any(map(_unsafe, text)):
        return GUARD + json.dumps(text)
    return GUARD + text if text == MISSING or text.lstrip().startswith(tuple(FORMULA_STARTERS)) else text


def unguard(cell: str) -> str:
    """The text that stands in a cell. Raises ValueError for one that guard never writes."""
    if not cell.startswith(GUARD):
        return cell
    text = cell.removeprefix(GUARD)
    return str(json.loads(text)) if text.startswith('"') else text


def tab_separated(names: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Tab-separated text of BIDS: an empty cell is n/a, and no cell has a tab or a line break."""
    lines = [names, *rows]
    return "".join("\t".join(" ".join(str(cell).split()) or MISSING for cell in line) + "\n" for line in lines)


def _unsafe(letter: str) -> bool:
    return letter in TURNING or unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp")
