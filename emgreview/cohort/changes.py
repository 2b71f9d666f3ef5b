"""What changed between two points of a review, in words and as a table.

The point of a reviewer who settles what two others disagree on holds what stands in the end: what those two agree on,
from their logs as the third log names them, and what was settled.

diff            compare two versions, commands, lines, or a version with now
Difference      the words, the table, the points
"""

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from emgreview.annotations.differences import Change, compare, in_words, old_and_new
from emgreview.annotations.log_positions import NOW, LogPosition, find_position
from emgreview.checks import review_folder
from emgreview.cohort.marks import read_logs
from emgreview.cohort.merging import merge
from emgreview.cohort.settling import ADJUDICATE, rounded_in, since
from emgreview.errors import tell
from emgreview.legible import legible
from emgreview.showing import Sheet, Shown

TYPES = dict.fromkeys(Change._fields, "string") | {"moved_ms": "float64", "counter": "Int64"}


@dataclass(frozen=True, eq=False, repr=False)
class Difference(Shown):
    """What changed between two points; :func:`emgreview.diff` returns it. ``str()`` says it in
    one sentence.

    Attributes
    ----------
    words : tuple of str
        Short sentences.
    table : DataFrame
        One row a change: recording, trial, channel, burst, what, old, new (in words; of
        marks, samples of the recording), moved_ms, counter of the command.
    old, new : mapping
        Which reviewer's logs were read up to which line.
    """

    words: tuple[str, ...]
    table: pd.DataFrame
    old: Mapping[str, Any]
    new: Mapping[str, Any]

    def __str__(self) -> str:
        """One sentence: "12 onsets moved, median -7 ms; 3 newly unusable: clipped"."""
        return legible("; ".join(self.words)) or "nothing changed"

    def _parts(self) -> Iterator[Sheet | str]:
        yield str(self)
        if len(self.table):
            columns = ("trial", "channel", "burst", "what", "old", "new", "moved (ms)")
            shown = self.table[["trial", "channel", "burst", "what", "old", "new", "moved_ms"]].to_numpy(dtype=object)
            yield Sheet("", columns, [["" if pd.isna(cell) else _cell(cell) for cell in row] for row in shown])


def diff(folder: str | Path, old: str | int, new: str | int = NOW, *, reviewer: str | None = None) -> Difference:
    """What a reviewer's decisions changed from one point to another; needs no recordings.

    Parameters
    ----------
    folder : str or Path
        The review folder.
    old : str or int
        The earlier point: the name of a sealed version, a command's number (int), the
        SHA-256 of a line of a log or its first 8 digits or more, or "now".
    new : str or int, default "now"
        The later point, likewise.
    reviewer : str or None
        Whose logs are meant, where a point does not say.

    Returns
    -------
    Difference
        In words and as a table.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    UnknownNameError
        There is no such version, point or reviewer.
    ParameterError
        Whose logs are meant is not clear, or a point is named by something else.
    LogError
        A log cannot be read.
    VersionError
        A version cannot be read, or was changed.

    Warns
    -----
    SignalWarning
        No log says what was sealed under the name of a version, or logs that it rests on were
        withdrawn since: what these said is in no change.

    Notes
    -----
    What the method proposes where nobody has decided is not compared; marks moved before
    anybody accepted them count from where the method had put them. "newly reviewed" and "no
    longer reviewed" count decisions on activity; a channel whose signal alone was called
    unusable, or no longer, is told as that, and changes the column ``reviewed`` as well.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept(session.where, "prime mover")
    ...         _ = session.seal("v1")
    ...         _ = session.accept(session.where, "antagonist")
    ...     print(er.diff(folder, "v1"))
    1 newly reviewed
    """
    where = review_folder(folder)
    first, second = (_in_the_end(where, find_position(where, point, reviewer)) for point in (old, new))
    for point in (first, second):
        for words in point.told:
            tell(words)
    changes = compare(first, second)
    rows = []
    for change in changes:
        before, after = old_and_new(change)
        rows.append(change._replace(old=before, new=after))
    table = pd.DataFrame(rows, columns=list(Change._fields)).astype(TYPES)
    ends = [{"point": point.name, "reviewer": point.reviewer, "lines": point.lines} for point in (first, second)]
    return Difference(in_words(changes), table, *ends)


def _cell(value: object) -> str:
    return f"{value:+z.1f}" if isinstance(value, float) else str(value)


def _in_the_end(folder: Path, point: LogPosition) -> LogPosition:
    """A point with what stands in the end, where it is one of a reviewer who settles."""
    notes = sorted((note for note in point.notes if note.operation == ADJUDICATE), key=lambda note: note.counter)
    if not notes:
        return point
    plan = notes[-1].new
    one, two = (read_logs(folder, side["reviewer"], side["heads"]) for side in (plan["first"], plan["second"]))
    merged = merge(one, two, within_s=plan["within_s"], rounded=rounded_in(plan))
    own = point.ledger
    settled = merged.settled_values(own.values, own.counter, since(notes, merged.sides))
    opened = {None, *point.facts}  # what the table of this reviewer holds
    values = {key: value for key, value in settled.items() if key[0] in opened}
    lines = {where: head["lines"] for where, head in merged.heads.items()} | dict(point.lines)
    return dataclasses.replace(point, settled=values, lines=lines)
