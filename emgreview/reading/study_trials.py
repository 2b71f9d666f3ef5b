"""The table of trials that the stimulus program wrote: one row a cue, in order; its columns become those of the cues.

As many rows as cues are put together in their order, and where the table has times, every interval is held against
that of the cues. Other numbers are never put together by themselves: an alignment by the intervals is proposed, and a
person confirms it, in the study's description, with a reason.

    TrialTables     what a description says of such tables
    read_rows       the rows of a table as text
    rows_of         a recording with the columns of its rows
    proposal        rows and cues of a recording, and the alignment that is proposed
"""

import csv
import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from emgreview.checks import demand, kind
from emgreview.errors import FormatError, MarkerError, ParameterError, UnknownNameError
from emgreview.model import Marker, Recording
from emgreview.plain_files import TABLE, read_small
from emgreview.reading.alignment import Alignment, intervals_apart, propose_alignment
from emgreview.reading.patterns import ENTITIES, Pattern
from emgreview.reading.text_lines import encoding_of
from emgreview.reading.time_column import TIME_UNITS
from emgreview.reading.units import CODES

_RESERVED = ("onset_s", "offset_s", "trial", "channel", "recording", "participant")


@dataclass(frozen=True)
class TrialTables:
    """``columns``: those that are taken, None for all; ``time``: the one with times, in ``time_unit``, or "".

    ``missing``: what stands for nothing known. ``of_columns``: by word of the pattern the column that says it too, of a
    table that holds rows of several recordings; ``known``: what names of files say by these words; ``before``: what
    stands before them there.
    """

    pattern: Pattern
    columns: tuple[str, ...] | None
    time: str
    time_unit: str
    encoding: str | None = None
    missing: frozenset[str] = frozenset()
    of_columns: Mapping[str, str] = field(default_factory=dict)
    known: Mapping[str, frozenset[str]] = field(default_factory=dict)
    before: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, path: Path, said: Mapping[str, Any], patterns: Sequence[Pattern] = ()) -> "TrialTables":
        """What a description says below [trials]."""
        kind(f"table below [trials] of {path.name}", said.get("table"), str, "a pattern, as that of the files")
        columns = said.get("columns")
        if columns is not None:
            demand(
                isinstance(columns, list) and all(isinstance(c, str) for c in columns),
                "columns",
                columns,
                "a list of names",
            )
        unit = said.get("time_unit", "s")
        demand(unit in TIME_UNITS, "time_unit below [trials]", unit, ", ".join(map(repr, TIME_UNITS)))
        time = said.get("time", "")
        kind("time below [trials]", time, str, "the name of the column with times")
        encoding = said.get("encoding")
        kind("encoding below [trials]", encoding, (str, type(None)), "a name that Python knows, such as 'cp1252'")
        missing = said.get("missing", [])
        good = isinstance(missing, list) and all(isinstance(one, str) for one in missing)
        demand(good, "missing below [trials]", missing, 'a list of texts, such as ["-999"]')
        of_columns = {word: said[word] for word in ENTITIES if word in said}
        for word, column in of_columns.items():
            kind(f"{word} below [trials] of {path.name}", column, str, "the name of the column that says it")
            if not any(word in pattern.words for pattern in patterns):
                raise ParameterError(
                    f"{path.name}: {word} = {column!r} came below [trials], and the pattern of the files does not say "
                    f"it; put {{{word}}} into the pattern, or take the line out."
                )
        return cls(
            Pattern(said["table"]),
            None if columns is None else tuple(columns),
            time,
            unit,
            encoding,
            frozenset(missing),
            of_columns,
        )

    def told(self, cell: str) -> str:
        """A cell as a detail of a cue has it."""
        return "n/a" if cell in self.missing or not cell else cell

    def places(self, path: Path, rows: Sequence[Mapping[str, str]], said: Mapping[str, str]) -> tuple[list[int], str]:
        """Places of the rows of a recording, all where no column tells them apart, and a sentence on numbers that are
        written otherwise ("1" for "01")."""
        kept, words = list(range(len(rows))), []
        for word, column in self.of_columns.items():
            if word not in said:
                continue
            if rows and column not in rows[0]:
                raise UnknownNameError("column", column, rows[0], where=path.name)
            wanted = said[word]
            if not any(row[column] == wanted for row in rows):
                known, before = self.known.get(word, frozenset()), self.before.get(word, "")
                alike = {row[column] for row in rows if written_alike(row[column], wanted, before)} - known
                if len(alike) == 1:
                    (other,) = alike
                    words.append(f"{word} {other!r} of {path.name} was taken for {wanted!r}")
                    wanted = other
            kept = [place for place in kept if rows[place][column] == wanted]
        return kept, f"{'; '.join(words)}." if words else ""

    def file(self, folder: Path, said: Mapping[str, str]) -> Path:
        """The table of a recording whose name says so. Raises MarkerError where there is none, or more than one."""
        wanted = Pattern(self.pattern.fill(said))
        found = [
            path
            for path, more in wanted.files(folder)
            if all(said.get(key, value) == value for key, value in more.items())
        ]
        if len(found) != 1:
            what = f"{len(found)} files fit" if found else "no file fits"
            raise MarkerError(
                f"{what} {wanted.text!r}, the table of trials; put it there, or correct table below [trials] of the "
                "study's description."
            )
        return found[0]


def read_rows(path: Path, encoding: str | None = None) -> list[dict[str, str]]:
    """The rows of a table with a line of names, as text; commas, semicolons or tabs apart. ``encoding`` None: UTF-8, or
    what a byte order mark says. Raises ReadError, FormatError."""
    content = read_small(path, TABLE)
    try:
        text = content.decode(encoding or encoding_of(content[:4])).replace("\r\n", "\n").replace("\r", "\n")
    except (UnicodeDecodeError, LookupError) as why:
        raise FormatError(
            f"{path.name} is not text in {encoding or 'UTF-8'} ({why}); say its encoding beside the "
            'table in the description: encoding = "cp1252", for example (in a shell --encoding cp1252), or save it '
            "again as UTF-8."
        ) from None
    first = text.partition("\n")[0]
    sign = max(";\t,", key=first.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=sign))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    if not rows:
        raise FormatError(
            f"{path.name} holds no line; a table has a line of names and one line a row; export it again."
        )
    names = [name.strip() for name in rows[0]]
    if len(set(names)) < len(names) or not all(names):
        raise FormatError(
            f"{path.name}: its first line names the columns {', '.join(map(repr, names))}; each needs a name of its "
            "own; correct it."
        )
    for place, row in enumerate(rows[1:], start=2):
        if len(row) != len(names):
            raise FormatError(
                f"{path.name}: row {place} has {len(row)} cells, and the first line names {len(names)} columns; "
                "correct it."
            )
    return [dict(zip(names, (cell.strip() for cell in row), strict=True)) for row in rows[1:]]


@dataclass(frozen=True)
class Proposal:
    """Cues of a recording and rows of its table, and how they may belong together."""

    recording: str
    table: str
    cues: tuple[Marker, ...]
    rows: tuple[Mapping[str, str], ...]
    times: tuple[float, ...] | None
    alignment: Alignment | None
    digest: str
    note: str = ""

    @property
    def words(self) -> str:
        """What is proposed, for a person."""
        head = f"{len(self.cues)} cues and {len(self.rows)} rows of {self.table}"
        if self.times is None:
            return f"{head}, and no column of times by which they could be put together (time = below [trials])"
        if self.alignment is None:
            return f"{head}, and no alignment by their intervals stands out"
        found = self.alignment
        paired = len(found.rows) - len(found.cues_without)
        words = [f"{head}: {paired} belong together by their intervals, to {1000 * found.worst_s:.0f} ms"]
        if found.rows_without:
            words.append(f"rows without a cue: {_places(found.rows_without)}")
        if found.cues_without:
            words.append(f"cues without a row: {_places(found.cues_without)}")
        return "; ".join(words)


def _places(places: Sequence[int]) -> str:
    """Places from 1, as people count, the first of many."""
    shown = ", ".join(str(place + 1) for place in places[:8])
    return f"{shown} … ({len(places)} in all)" if len(places) > 8 else shown


def proposal(
    rec: Recording, tables: TrialTables, folder: Path, said: Mapping[str, str], is_cue: Callable[[str], bool]
) -> Proposal:
    """The cues and rows of a recording, and the alignment that their intervals propose."""
    path = tables.file(folder, said)
    every = read_rows(path, tables.encoding)
    kept, note = tables.places(path, every, said)
    if every and not kept:
        columns = tables.of_columns.items()
        words = ", ".join(f"{word} {said[word]!r} (column {column!r})" for word, column in columns if word in said)
        raise MarkerError(
            f"no row of {path.name} is of {rec.name}, with {words}; correct the table, or the columns below [trials] "
            "of the study's description."
        )
    rows = [every[place] for place in kept]
    cues = tuple(marker for marker in rec.markers if is_cue(marker.label))
    times = _times(path, rows, tables)
    at = [marker.sample / rec.rate_hz for marker in cues]
    told = json.dumps([[marker.sample for marker in cues], rows], sort_keys=True, ensure_ascii=False)
    found = None if times is None else propose_alignment(at, times)
    return Proposal(
        rec.name,
        path.relative_to(folder).as_posix(),
        cues,
        tuple(rows),
        None if times is None else tuple(times),
        found,
        hashlib.sha256(told.encode()).hexdigest(),
        note,
    )


def written_alike(cell: str, wanted: str, before: str = "") -> bool:
    """Whether a cell of a table says what the name of a file says, in another way: with fewer zeros, as BIDS has it, or
    with what stands ``before`` it in the names of the files."""
    bare = [cell] + [cell[len(sign) :] for sign in ("sub-", before) if sign and cell.startswith(sign)]
    return any(one == wanted or _same_number(one, wanted) for one in bare)


def _same_number(one: str, other: str) -> bool:
    digits = all(text.isascii() and text.isdecimal() for text in (one, other))
    return digits and one.lstrip("0") == other.lstrip("0")


def rows_of_nobody(tables: TrialTables, folder: Path, every: Sequence[Mapping[str, str]]) -> list[str]:
    """Sentences on rows of tables of several recordings that belong to none."""
    told = []
    by_table: dict[Path, list[Mapping[str, str]]] = {}
    for said in every:
        with suppress(MarkerError):  # reading the recording says it
            by_table.setdefault(tables.file(folder, said), []).append(said)
    for path, several in by_table.items():
        rows = read_rows(path, tables.encoding)
        taken = {place for said in several for place in tables.places(path, rows, said)[0]}
        if spare := [place for place in range(len(rows)) if place not in taken]:
            first = ", ".join(f"{column} {rows[spare[0]][column]!r}" for column in tables.of_columns.values())
            told.append(
                f"{len(spare)} rows of {path.name} belong to no recording, the first of them row {spare[0] + 1} "
                f"({first})."
            )
    return told


def _times(path: Path, rows: Sequence[Mapping[str, str]], tables: TrialTables) -> list[float] | None:
    if not tables.time:
        return None
    if rows and tables.time not in rows[0]:
        raise UnknownNameError("column", tables.time, rows[0], where=path.name)
    found = []
    for place, row in enumerate(rows, start=2):
        cell = row[tables.time].replace(",", ".")
        if cell.lower() in ("", "n/a", "na", "nan"):
            found.append(float("nan"))
            continue
        try:
            found.append(float(cell) / TIME_UNITS[tables.time_unit])
        except ValueError:
            raise FormatError(
                f"{path.name}: row {place} has the time {row[tables.time]!r}; allowed: a number, or n/a; correct it."
            ) from None
    return found


def rows_of(
    rec: Recording,
    tables: TrialTables,
    folder: Path,
    said: Mapping[str, str],
    is_cue: Callable[[str], bool],
    confirmed: Mapping[str, Any] | None,
) -> Recording:
    """The recording with the columns of its rows as details of its cues.

    Raises MarkerError where cues and rows are not as many, or their intervals differ, and nobody has confirmed how they
    belong together.
    """
    found = proposal(rec, tables, folder, said, is_cue)
    notes = [*([found.note] if found.note else []), *_left_out(found, tables)]
    if confirmed is not None:
        if confirmed.get("digest") != found.digest:
            raise MarkerError(
                f"how the cues and rows of {rec.name} belong together was confirmed for others: cues or {found.table} "
                f"have changed since ({found.words}); look at them, and confirm it anew."
            )
        rows = [int(row) - 1 if row else None for row in confirmed["rows"]]
        notes.append(
            f"Cues and rows of {found.table} were put together as was confirmed on "
            f"{confirmed.get('on', 'an unknown day')}: {confirmed.get('reason', '')}"
        )
        if spare := [place for place in range(len(found.rows)) if place not in rows]:
            notes.append(f"Rows of {found.table} without a cue: {_places(spare)}.")
        if bare := [place for place, row in enumerate(rows) if row is None]:
            notes.append(f"Cues without a row of {found.table}: {_places(bare)}; nothing of it is known there.")
    elif len(found.cues) != len(found.rows):
        raise MarkerError(
            f"{rec.name} has {found.words}. Nothing is put together silently: look at them, and confirm it with "
            "confirm_alignment, or correct the cues or the table."
        )
    else:
        rows = list(range(len(found.rows)))
        at = [marker.sample / rec.rate_hz for marker in found.cues]
        timeless = 0 if found.times is None else sum(time != time for time in found.times)
        if found.times is None or timeless or (len(at) > 2 and not intervals_apart(at[1:], found.times[:-1])):
            why = "their intervals are too regular to tell"
            why = f"{timeless} rows have no time" if timeless else why if found.times is not None else "it has no times"
            notes.append(
                f"Cues and rows of {found.table} are as many ({len(rows)}) and were put together in their order: "
                f"{why}, so that one missing on each side would not show."
            )
        if found.times is not None and (apart := intervals_apart(at, found.times)):
            place, by_cues, by_rows = apart
            raise MarkerError(
                f"{rec.name} has as many cues as {found.table} has rows ({len(rows)}), but cue {place + 1} comes "
                f"{by_cues:.3f} s after the one before it, and by the table {by_rows:.3f} s: some are missing on both "
                f"sides. {found.words}. Look at them, and confirm it with confirm_alignment."
            )
    columns = _columns(found, tables)
    notes += _codes_among(found, tables, columns)
    details = {
        cue.sample: {} if row is None else {name: tables.told(found.rows[row][name]) for name in columns}
        for cue, row in zip(found.cues, rows, strict=True)
    }
    markers = [
        replace(marker, details={**marker.details, **details[marker.sample]})
        if is_cue(marker.label) and marker.sample in details
        else marker
        for marker in rec.markers
    ]
    return replace(rec.with_markers(markers), notes=(*rec.notes, *notes))


def _columns(found: Proposal, tables: TrialTables) -> list[str]:
    there = [name for name in (found.rows[0] if found.rows else ()) if name not in tables.of_columns.values()]
    if tables.columns is not None:
        for name in tables.columns:
            if found.rows and name not in found.rows[0]:
                raise UnknownNameError("column", name, found.rows[0], where=found.table)
        if taken := [name for name in tables.columns if name in _RESERVED]:
            raise ParameterError(
                f"columns below [trials] names {taken[0]!r}, which is a column of every table of decisions; take it "
                "out, or rename it in the table."
            )
        return list(tables.columns)
    return [name for name in there if name not in _RESERVED]


def _codes_among(found: Proposal, tables: TrialTables, columns: Sequence[str]) -> list[str]:
    """A sentence on numbers of columns that often stand for one that is missing, and that nobody said are."""
    codes = {
        name: codes
        for name in columns
        if (codes := sorted({row[name] for row in found.rows if CODES.fullmatch(row[name])} - tables.missing))
    }
    return [
        f"{', '.join(told)} stands in column {name!r} of {found.table}: where it means that nothing is known, say so: "
        f"missing = {json.dumps(told)} below [trials]; else it is a number like any other."
        for name, told in codes.items()
    ]


def _left_out(found: Proposal, tables: TrialTables) -> list[str]:
    """A sentence on columns that have the name of one of every table of decisions, where all columns are taken."""
    taken = [
        repr(name) for name in (found.rows[0] if found.rows and tables.columns is None else ()) if name in _RESERVED
    ]
    return [
        f"Column {name} of {found.table} is not taken, as every table of decisions has one of that name; rename it "
        "there if it is wanted."
        for name in taken
        if name[1:-1] not in tables.of_columns.values()
    ]
