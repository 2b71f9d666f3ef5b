"""What changed between two points of a review, in words and as a table.

The point of a reviewer who settles what two others disagree on holds what stands in the end: what those two agree on,
from their logs as the third log names them, and what was settled.

diff            compare two versions, commands, lines, or a version with now
Difference      the words, the table, the points
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from emgreview.annotations.differences import Change, compare, in_words, old_and_new
from emgreview.annotations.points import NOW, Point, find_point
from emgreview.checks import review_folder
from emgreview.cohort.marks import read_logs
from emgreview.cohort.merging import merge
from emgreview.cohort.settling import ADJUDICATE, rounded_in, since

TYPES = dict.fromkeys(Change._fields, "string") | {"moved_ms": "float64", "counter": "Int64"}


@dataclass(frozen=True, eq=False)
class Difference:
    """What changed. ``words`` are short sentences; ``table`` has one row a change: recording, trial, channel, burst,
    what, old, new (in words; of marks, samples of the recording), moved_ms, counter of the command; ``old`` and ``new``
    say which reviewer's logs were read up to which line."""

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
    first, second = (
        _in_the_end(review_folder(folder), find_point(review_folder(folder), point, reviewer)) for point in (old, new)
    )
    changes = compare(first, second)
    rows = []
    for change in changes:
        before, after = old_and_new(change)
        rows.append(change._replace(old=before, new=after))
    table = pd.DataFrame(rows, columns=list(Change._fields)).astype(TYPES)
    ends = [{"point": point.name, "reviewer": point.reviewer, "lines": point.lines} for point in (first, second)]
    return Difference(in_words(changes), table, *ends)


def _in_the_end(folder: Path, point: Point) -> Point:
    """A point with what stands in the end, where it is one of a reviewer who settles."""
    notes = sorted((note for note in point.notes if note.operation == ADJUDICATE), key=lambda note: note.counter)
    if not notes:
        return point
    plan = notes[-1].new
    one, two = (read_logs(folder, side["reviewer"], side["heads"]) for side in (plan["first"], plan["second"]))
    merged = merge(one, two, within_s=plan["within_s"], rounded=rounded_in(plan))
    own = point.ledger
    standing = merged.standing(own.values, own.counter, since(notes, merged.sides))
    opened = {None, *point.facts}  # what the table of this reviewer holds
    values = {key: value for key, value in standing.items() if key[0] in opened}
    lines = {where: head["lines"] for where, head in merged.heads.items()} | dict(point.lines)
    return dataclasses.replace(point, settled=values, lines=lines)
