"""Numbers as texts write them: decimal points or commas, marks of thousands, exponents with E or, as Fortran's, with D.

A mark of thousands is one only before every three digits, "1.234,56" and never "1.2,3"; between columns that the same
sign separates, only within quotation marks. What is no such number stays as it is, and is no number then.

    number_pattern      what one number looks like
    THOUSANDS           the signs that may mark thousands
    Plainly             a text in which numbers are written plainly: no marks of thousands, exponents with E
"""

import re
from functools import cache
from typing import Protocol

THOUSANDS = (".", ",", "'", "\u2019", " ", "\u00a0", "\u202f")
"""A point, a comma, two apostrophes, a blank, one that does not break, and a narrow one."""


@cache
def number_pattern(decimal: str, thousands: str | None = None, exponent: str = "E") -> re.Pattern[str]:
    """A finite number, or "nan"."""
    point, sign = re.escape(decimal), "[eE]" if exponent == "E" else "[eEdD]"
    whole = r"\d+" if thousands is None else rf"(?:\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+|\d+)"
    return re.compile(rf"[+-]?({whole}{point}?\d*|{point}\d+)({sign}[+-]?\d+)?|nan", re.IGNORECASE)


class _Text(Protocol):
    def read(self, size: int = -1, /) -> str: ...


class Plainly:
    """A text, read as one whose numbers are written plainly; ``separator`` is that of its columns, None for blanks."""

    def __init__(self, text: _Text, separator: str | None, decimal: str, thousands: str | None, exponent: str) -> None:
        self._text, self._rest, self._ready = text, "", ""
        self._marks = None if thousands is None else _marks(thousands, decimal, thousands == separator)
        self._thousands = thousands or ""
        self._exponent = re.compile(r"(?<=[\d.,])[dD](?=[+-]?\d)") if exponent == "D" else None

    def read(self, size: int = -1) -> str:
        """So many signs at most, fewer only at the end."""
        while size < 0 or len(self._ready) < size:
            piece = self._text.read(1 << 20)
            whole, end, rest = (self._rest + piece).rpartition("\n") if piece else (self._rest, "", "")
            self._ready += self._plain(whole) + end
            self._rest = rest
            if not piece:
                break
        cut = len(self._ready) if size < 0 else size
        out, self._ready = self._ready[:cut], self._ready[cut:]
        return out

    def __iter__(self) -> "Plainly":
        return self

    def __next__(self) -> str:
        raise StopIteration

    def _plain(self, text: str) -> str:
        if self._marks is not None:
            text = self._marks.sub(lambda found: found[0].replace(self._thousands, ""), text)
        return text if self._exponent is None else self._exponent.sub("e", text)


def _marks(sign: str, decimal: str, quoted: bool) -> re.Pattern[str]:
    """Numbers with marks of thousands, alone in their cells."""
    number = rf"[+-]?\d{{1,3}}(?:{re.escape(sign)}\d{{3}})+"
    if quoted:
        return re.compile(rf'(?<="){number}(?=(?:\.\d*)?(?:[eEdD][+-]?\d+)?")')
    around = re.escape(f"{sign}{decimal}:")
    return re.compile(rf"(?<![\d{around}]){number}(?![\d:]|{re.escape(sign)})")
