"""What a source says of a recording beyond its samples: header, sidecars, tables, day.

origin_of(...)      all of it
people_of(folder)   what participants.json says of its columns
"""

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from emgreview.errors import EmgreviewError
from emgreview.reading.bids import applicable, dataset_root, find_sidecars, read_json, read_table
from emgreview.reading.edf import READER as EDF
from emgreview.reading.edf import Header, read_header
from emgreview.reading.registry import reader_for

_HEADER = ("patient identification", "recording identification", "start date", "start time")
_NOTHING = re.compile(r"(X|Startdate|01\.01\.85|00\.00\.00|\s)*", re.IGNORECASE)


@dataclass(frozen=True)
class Origin:
    """``header`` are the fields of an EDF or BDF that say whom and when; ``rows`` those of channels.tsv by name."""

    name: str
    path: Path | None = None
    header: Mapping[str, str] = field(default_factory=dict)
    transducers: tuple[str, ...] = ()
    metadata: Mapping[str, object] = field(default_factory=dict)
    rows: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    columns: Mapping[str, object] = field(default_factory=dict)
    day: datetime | None = None

    @property
    def codes(self) -> frozenset[str]:
        """Values that events.json describes, one by one."""
        levels = [one["Levels"] for one in self.columns.values() if isinstance(one, Mapping) and "Levels" in one]
        return frozenset(str(name) for one in levels if isinstance(one, Mapping) for name in one)

    @property
    def said(self) -> dict[str, str]:
        """The fields of the header that say anything."""
        return {name: text for name, text in self.header.items() if _NOTHING.fullmatch(text) is None}


def origin_of(name: str, path: Path | None) -> Origin:
    """What the source of a recording says of it. Raises ReadError where its files are malformed."""
    if path is None:
        return Origin(name)
    header = read_header(path) if reader_for(path) is EDF else None
    texts = {} if header is None else {field: header.texts.get(field, "") for field in _HEADER}
    transducers = () if header is None else tuple(one["transducer type"] for one in header.signals)
    sidecars, root = find_sidecars(path), dataset_root(path)
    rows = {row.get("name", ""): row for row in read_table(sidecars.channels)} if sidecars.channels else {}
    columns: dict[str, object] = {}
    if root is not None and sidecars.name:
        for file in applicable(path, root, "events", ".json"):
            columns |= read_json(file)
    day = None if root is None else _day_in_scans(path, root)
    return Origin(
        name,
        path,
        texts,
        tuple(filter(None, transducers)),
        sidecars.metadata,
        rows,
        columns,
        day or (None if header is None else _day_in_header(header)),
    )


def people_of(folder: Path) -> Mapping[str, object]:
    """What participants.json of a dataset says of the columns; {} without one."""
    path = folder / "participants.json"
    return read_json(path) if os.path.lexists(path) else {}


def _day_in_header(header: Header) -> datetime | None:
    """Start of a recording: the date in four digits where EDF+ has it, else in two, which count from 1985."""
    texts = header.texts
    moment = re.fullmatch(r"(\d\d)\.(\d\d)\.(\d\d)", texts.get("start time", ""))
    clock = [int(part) for part in moment.groups()] if moment else [0, 0, 0]
    long = re.match(r"Startdate (\d\d?)-([A-Za-z]{3})-(\d{4})", texts.get("recording identification", ""))
    short = re.fullmatch(r"(\d\d)\.(\d\d)\.(\d\d)", texts.get("start date", ""))
    try:
        if long:
            return datetime.strptime("-".join(long.groups()), "%d-%b-%Y").replace(
                hour=clock[0], minute=clock[1], second=clock[2]
            )
        if short and short.group() != "01.01.85":
            day, month, year = map(int, short.groups())
            return datetime(year + (1900 if year >= 85 else 2000), month, day, clock[0], clock[1], clock[2])
    except ValueError:
        pass
    return None


def _day_in_scans(path: Path, root: Path) -> datetime | None:
    """The time that a scans.tsv above a recording states of it."""
    for folder in _between(path.absolute().parent, root):
        for table in sorted(folder.glob("*_scans.tsv")):
            try:
                rows: Sequence[Mapping[str, str]] = read_table(table)
            except EmgreviewError:
                continue
            for row in rows:
                if (folder / row.get("filename", "")).absolute() == path.absolute():
                    try:
                        return datetime.fromisoformat(row.get("acq_time", "").rstrip("Z")).replace(tzinfo=None)
                    except ValueError:
                        return None
    return None


def _between(folder: Path, root: Path) -> list[Path]:
    return [one for one in (folder, *folder.parents) if one == root or root in one.parents]
