"""What a terminal and a notebook show of a result: a heading, short tables with units, sentences.

Sheet       one short table under a heading, cells as text
Prose       the same where cells are sentences: a table in a notebook, lines under each first cell in a terminal
Shown       a class whose objects are shown as sheets and sentences, in a terminal and in a notebook alike
"""

import html
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from emgreview.legible import legible

WIDE = 110
"""Letters of a line of prose in a terminal, at most."""

MOST_ROWS = 20
"""A sheet shows so many rows, and says how many more there are."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """``rows`` of cells under ``columns``, whose names hold the units; ``title`` may be empty. The first column is
    aligned to the left, the others to the right."""

    title: str
    columns: tuple[str, ...]
    rows: Sequence[Sequence[str]]

    @property
    def more(self) -> str:
        """How many rows are not shown, in words, or ""."""
        return f"and {len(self.rows) - MOST_ROWS} more rows" if len(self.rows) > MOST_ROWS else ""

    def text(self) -> str:
        """Aligned columns for a terminal."""
        table = [[legible(cell) for cell in row] for row in (self.columns, *self.rows[:MOST_ROWS])]
        widths = [max(_width(row[place]) for row in table) for place in range(len(self.columns))]
        lines = [
            "  ".join(
                cell + " " * (width - _width(cell)) if place == 0 else " " * (width - _width(cell)) + cell
                for place, (cell, width) in enumerate(zip(row, widths, strict=True))
            ).rstrip()
            for row in table
        ]
        return "\n".join(filter(None, [legible(self.title), *lines, self.more]))

    def html(self) -> str:
        """A table for a notebook."""
        head = "".join(f"<th>{_html(name)}</th>" for name in self.columns)
        body = "".join(
            "<tr>"
            + "".join(
                f"<th scope='row' style='text-align:left'>{_html(cell)}</th>"
                if place == 0
                else f"<td>{_html(cell)}</td>"
                for place, cell in enumerate(row)
            )
            + "</tr>"
            for row in self.rows[:MOST_ROWS]
        )
        caption = f"<caption style='text-align:left'>{_html(self.title)}</caption>" if self.title else ""
        more = f"<p>{_html(self.more)}</p>" if self.more else ""
        return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"


@dataclass(frozen=True, slots=True)
class Prose(Sheet):
    """A sheet whose cells are sentences, all of its rows shown. In a terminal a first cell stands over its other cells,
    the third and later ones with the name of their column, and is not repeated in the rows that follow; empty cells are
    left out."""

    def text(self) -> str:
        """Lines for a terminal, broken at WIDE letters."""
        lines, before = [legible(self.title)] if self.title else [], None
        for head, *cells in self.rows:
            lines += [legible(head)] if head != before else []
            for name, cell in zip(("", *self.columns[2:]), cells, strict=True):
                words = legible(f"{name}: {cell}" if name else cell)
                lines += textwrap.wrap(words, WIDE, initial_indent=" " * 4, subsequent_indent=" " * 6) if cell else []
            before = head
        return "\n".join(lines)

    def html(self) -> str:
        """A table for a notebook, all cells aligned to the left."""
        left = "style='text-align:left;vertical-align:top;white-space:normal'"
        head = "".join(f"<th {left}>{_html(name)}</th>" for name in self.columns)
        body = "".join(
            f"<tr><th scope='row' {left}>{_html(first)}</th>"
            + "".join(f"<td {left}>{_html(cell)}</td>" for cell in cells)
            + "</tr>"
            for first, *cells in self.rows
        )
        caption = f"<caption {left}>{_html(self.title)}</caption>" if self.title else ""
        return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


class Shown:
    """Shown as what ``_parts`` yields: sheets, and sentences as text."""

    __slots__ = ()

    def _parts(self) -> Iterable[Sheet | str]:
        raise NotImplementedError

    def __repr__(self) -> str:
        return "\n".join(part.text() if isinstance(part, Sheet) else legible(part) for part in self._parts())

    def _repr_html_(self) -> str:
        return "".join(part.html() if isinstance(part, Sheet) else f"<p>{_html(part)}</p>" for part in self._parts())


def _html(text: str) -> str:
    return html.escape(legible(text))


def _width(cell: str) -> int:
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in cell
    )


def number(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, "n/a" where it is missing."""
    return "n/a" if value != value else f"{value:.{digits}g}"


def percent(share: float) -> str:
    """A share, 0 to 1, in per cent to two significant digits; "n/a" where it is missing."""
    if share != share:
        return "n/a"
    value = 100 * share
    return f"{value:.0f}" if value == 0 or value >= 9.95 else f"{value:.2g}"
