"""What changed between two points of a review, in words and as a table.

diff            compare two versions, commands, lines, or a version with now
Difference      the words, the table, the points
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from emgreview.annotations.differences import NOW, Change, compare_points, in_words

TYPES = dict.fromkeys(Change._fields, "string") | {"moved_ms": "float64", "counter": "Int64"}


@dataclass(frozen=True, eq=False)
class Difference:
    """What changed. ``words`` are short sentences; ``table`` has one row a change: recording, trial, channel, burst,
    what, old, new (samples of the recording, or words), moved_ms, counter of the command; ``old`` and ``new`` say which
    reviewer's logs were read up to which line."""

    words: tuple[str, ...]
    table: pd.DataFrame
    old: Mapping[str, Any]
    new: Mapping[str, Any]

    def __str__(self) -> str:
        """One sentence: "12 onsets moved, median -7 ms; 3 newly unusable: clipped"."""
        return "; ".join(self.words) or "nothing changed"


def diff(folder: str | Path, old: str | int, new: str | int = NOW, *, reviewer: str | None = None) -> Difference:
    """What a reviewer's decisions changed from one point to another; needs no recordings.

    A point is the name of a sealed version, a command's number (int), the SHA-256 of a line of a log or its first 8
    digits or more, or "now". ``reviewer`` says whose logs are meant where a point does not. What the method proposes
    where nobody has decided is not compared; marks moved before anybody accepted them count from where the method had
    put them.

    Raises UnknownNameError (no such version, point or reviewer), ParameterError (whose logs is not clear), LogError.
    """
    first, second, changes = compare_points(Path(folder), old, new, reviewer=reviewer)
    rows = [change._replace(old=_text(change.old), new=_text(change.new)) for change in changes]
    table = pd.DataFrame(rows, columns=list(Change._fields)).astype(TYPES)
    ends = [{"point": point.name, "reviewer": point.reviewer, "lines": point.lines} for point in (first, second)]
    return Difference(in_words(changes), table, *ends)


def _text(value: Any) -> str | None:
    return value if value is None or isinstance(value, str) else json.dumps(value, ensure_ascii=False, sort_keys=True)
