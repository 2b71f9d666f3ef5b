"""The texts beside a recording in a dataset after the Brain Imaging Data Structure (BIDS 1.11, EMG).

A recording is ``sub-*/[ses-*/]emg/*_emg.edf`` or ``.bdf`` below a folder with ``dataset_description.json``; or the same
with ``eeg`` or ``ieeg`` instead of ``emg``, for the EMG channels in it. Its sidecars follow the inheritance principle:
a file applies where its entities are among the recording's, anywhere from the root down to the recording's own folder.
JSON is merged key by key, more specific values last; of tables only the most specific applies. ``n/a`` means missing.

    find_sidecars(path)                 everything that applies to one recording; empty outside a dataset
    recording_name(path)                what a recording is called
    read_table(path)                    a TSV table as a list of rows, text by column
    entities_of(path)                   {"sub": "01", "task": "reach"}
"""

import difflib
import itertools
import math
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from emgreview import plain_files
from emgreview.errors import FormatError, ReadError
from emgreview.model import Channel
from emgreview.reading.units import CHANNEL_TYPES

ALONE = "kinds and units are those of the file alone, and no channel is known to be bad"

DATATYPES = ("emg", "eeg", "ieeg")
"""Folders of a dataset, and suffixes of its recordings, that may hold EMG channels in EDF or BDF."""

_MOST_CELLS = 5_000_000
"""Cells of a table at most: a million events in five columns (our own choice)."""

_FILE = re.compile(r"sub-[a-zA-Z0-9+]+(_[a-z]+-[a-zA-Z0-9+]+)*_(emg|eeg|ieeg)\.([eE][dD][fF]|[bB][dD][fF])")


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One row of channels.tsv. "" and None where the table has ``n/a`` or no such column."""

    kind: str = ""
    units: str = ""
    over: str = ""
    low_cutoff_hz: float | None = None
    high_cutoff_hz: float | None = None
    rate_hz: float | None = None
    status: str = ""
    status_description: str = ""

    def described(self, channel: Channel) -> Channel:
        """The channel with what the row says of it; what the row leaves out stays as the file has it."""
        return replace(
            channel,
            over=self.over,
            low_cutoff_hz=channel.low_cutoff_hz if self.low_cutoff_hz is None else self.low_cutoff_hz,
            high_cutoff_hz=channel.high_cutoff_hz if self.high_cutoff_hz is None else self.high_cutoff_hz,
            status="bad" if self.status == "bad" else "good",
            status_description=self.status_description,
        )


@dataclass(frozen=True)
class Sidecars:
    """What a dataset says of one recording; all empty for a file outside a dataset.

    ``datatype`` is "emg", "eeg" or "ieeg"; ``notes`` are sentences on what could not be looked up.
    """

    name: str = ""
    datatype: str = "emg"
    notes: tuple[str, ...] = ()
    entities: Mapping[str, str] = field(default_factory=dict)
    metadata: Mapping[str, object] = field(default_factory=dict)
    channels: Path | None = None
    events: Path | None = None

    @cached_property
    def _rows(self) -> Mapping[str, ChannelRow]:
        return {} if self.channels is None else _read_channels(self.channels)

    def row(self, label: str) -> ChannelRow | None:
        """The row of channels.tsv for a channel; a label of 16 characters may be the start of a longer name."""
        if label in self._rows:
            return self._rows[label]
        longer = [name for name in self._rows if len(label) == 16 and name.startswith(label)]
        return self._rows[longer[0]] if len(longer) == 1 else None

    @property
    def lists_emg(self) -> bool | None:
        """Whether channels.tsv has a channel of type EMG; None where there is no table or a row without a type."""
        kinds = {row.kind for row in self._rows.values()}
        return True if "EMG" in kinds else None if not kinds or "" in kinds else False

    def demand_rows_match(self, labels: Sequence[str], recording: str) -> tuple[list[str], list[str]]:
        """Every row of type EMG, or of none, must name a channel of the file. Sentences on channels without a row; and
        on rows without a channel, which are passed over."""
        if self.channels is None:
            return [f"There is no channels.tsv for {recording}: {ALONE}."] if self.name and not self.notes else [], []
        strange = [name for name in self._rows if name not in labels and name[:16] not in labels]
        for name in strange:
            if self._rows[name].kind in ("", "EMG"):
                alike = {label.casefold(): label for label in labels}
                close = [alike[found] for found in difflib.get_close_matches(name.casefold(), alike, n=1)]
                raise FormatError(
                    f"{self.channels.name} describes a channel {name!r} that {recording} does not have; it has: "
                    f"{', '.join(labels)}; names must be those of the file (of its first 16 characters)"
                    + (f", perhaps {close[0]!r}; " if close else "; ")
                    + "correct the table or the file's labels."
                )
        bare = [label for label in labels if self.row(label) is None]
        if bare == list(labels) and not self._rows:
            return [f"{self.channels.name} has no row: {ALONE}."], []
        return (
            [f"{self.channels.name} has no row for {', '.join(bare)}: described by the file alone."] if bare else [],
            [
                f"{self.channels.name} describes channels that {recording} does not have, and those rows are passed "
                f"over: {', '.join(strange)}."
            ]
            if strange
            else [],
        )

    @property
    def mains_hz(self) -> float | None:
        return self._metadata_number("PowerLineFrequency")

    @property
    def duration_s(self) -> float | None:
        """RecordingDuration, where it is a number."""
        value = self.metadata.get("RecordingDuration")
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    @property
    def rate_hz(self) -> float | None:
        return self._metadata_number("SamplingFrequency")

    def _metadata_number(self, key: str) -> float | None:
        value = self.metadata.get(key)
        if value is None or value == "n/a":
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
            raise FormatError(
                f"the {self.datatype}.json of {self.name} has {key} {value!r}; allowed: a number above 0, or 'n/a'; "
                "correct it."
            )
        return float(value)


def find_sidecars(path: Path) -> Sidecars:
    """The sidecars of one recording; empty where the file lies in no dataset, and with a note where it is not named as
    BIDS names it.

    Raises FormatError where one is malformed or two apply equally, ReadError where emg.json (eeg.json, ieeg.json) says
    that the recording is not continuous.
    """
    root = dataset_root(path)
    if root is None:
        return Sidecars()
    datatype = path.absolute().parent.name
    if not named_as_bids_wants(path):
        folders = path.absolute().relative_to(root).parts[:-2]
        return Sidecars(
            name=recording_name(path),
            datatype=datatype,
            entities={key: value for key, dash, value in (part.partition("-") for part in folders) if dash},
            notes=(
                f"{path.name} is not named as BIDS names recordings in a folder {datatype!r} "
                f"(sub-01_task-reach_{datatype}.edf, labels of letters and digits), so its sidecars were not looked "
                "for: kinds, markers and mains are those of the file alone; rename it.",
            ),
        )
    entities = entities_of(path)
    metadata: dict[str, object] = {}
    for sidecar in applicable(path, root, datatype, ".json"):
        metadata |= read_json(sidecar)
    if str(metadata.get("RecordingType")).casefold() in ("discontinuous", "epoched"):
        raise ReadError(
            f"the {datatype}.json of {path.name} says RecordingType {metadata['RecordingType']!r}; only 'continuous' "
            "recordings can be read, because filters and windows would run across the gaps; give the continuous "
            "recording."
        )
    channels = applicable(path, root, "channels", ".tsv")
    events = applicable(path, root, "events", ".tsv")
    return Sidecars(
        name=recording_name(path),
        datatype=datatype,
        entities=entities,
        metadata=metadata,
        channels=channels[-1] if channels else None,
        events=events[-1] if events else None,
    )


def named_as_bids_wants(path: Path) -> bool:
    """Whether a recording's file has a name by which its sidecars can be found."""
    return _FILE.fullmatch(path.name) is not None and path.stem.rpartition("_")[2] == path.absolute().parent.name


def recording_name(path: Path) -> str:
    """The file name without extension and without ``_emg``; ``_eeg`` and ``_ieeg`` stay, so that recordings made side
    by side have names of their own."""
    return path.stem.removesuffix("_emg")


def dataset_root(path: Path) -> Path | None:
    """The folder with dataset_description.json above ``sub-*/[ses-*/]emg/<file>`` (eeg, ieeg likewise), or None."""
    folder = path.absolute().parent
    if folder.name not in DATATYPES:
        return None
    root = folder.parent.parent
    if folder.parent.name.startswith("ses-"):
        root = root.parent
    return root if os.path.lexists(root / "dataset_description.json") else None


def entities_of(path: Path) -> dict[str, str]:
    """Entities of a BIDS file name, short names as in the file: {"sub": "01", "task": "reach", "run": "2"}."""
    pairs = (part.partition("-") for part in path.name.split(".")[0].split("_"))
    return {key: value for key, dash, value in pairs if dash}


def applicable(path: Path, root: Path, suffix: str, extension: str) -> list[Path]:
    """Sidecars that apply to a recording, most general first: by folder from the root down, then by entities."""
    entities = entities_of(path).items()
    folders = [root, *(root / part for part in _parents_below(path, root))]
    found = []
    for folder in folders:
        here = [
            file
            for file in plain_files.inside(folder)
            if file.suffix == extension
            if file.stem.rpartition("_")[2] == suffix and entities_of(file).items() <= entities
        ]
        here.sort(key=lambda file: (len(entities_of(file)), file.name))
        for one, other in itertools.pairwise(here):
            if len(entities_of(one)) == len(entities_of(other)):
                raise FormatError(
                    f"both {one.name} and {other.name} in {folder.name} apply to {path.name}; only one file of a kind "
                    "may apply at a level; merge them, or make one more specific."
                )
        found += here
    return found


def _parents_below(path: Path, root: Path) -> list[Path]:
    relative = path.absolute().parent.relative_to(root)
    return [*reversed(relative.parents[:-1]), relative]


def read_json(path: Path) -> dict[str, object]:
    """The object in a JSON file; numbers that are none, such as NaN, come as text, since most are never asked for."""
    value = plain_files.read_json(path, odd_numbers_as_text=True)
    if not isinstance(value, dict):
        raise FormatError(f"{path.name} holds a {type(value).__name__}; a sidecar must be a JSON object; correct it.")
    return value


def read_table(path: Path) -> list[dict[str, str]]:
    """Rows of a TSV file by column; ``n/a`` is kept as text. Raises FormatError naming the line of a ragged row."""
    text = plain_files.read_text(path, plain_files.TABLE)
    if (n_cells := text.count("\t") + text.count("\n")) > _MOST_CELLS:
        raise FormatError(
            f"{path.name} holds {n_cells} cells; a table beside a recording may hold {_MOST_CELLS}; give the right one."
        )
    lines = text.split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise FormatError(
            f"{path.name} is empty; a TSV table has at least a line of column names; add it or remove the file."
        )
    names = [name.strip() for name in lines[0].split("\t")]
    if len(names) == 1 and (parted := re.search("[,;]", names[0])):
        raise FormatError(
            f"{path.name}: line 1 holds no tab, and {parted[0]!r} between names ({names[0][:60]}); the cells of a TSV "
            "table are parted by tabs; save it again so."
        )
    if len(set(names)) < len(names):
        raise FormatError(f"{path.name}: line 1 names a column twice: {names}; column names must differ; rename one.")
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        cells = [cell.strip() for cell in line.split("\t")]
        if len(cells) != len(names):
            raise FormatError(
                f"{path.name}: line {number} has {len(cells)} cells, the header {len(names)} ({', '.join(names)}); "
                "every row has one cell a column, separated by tabs, 'n/a' where a value is missing; correct the line."
            )
        rows.append(dict(zip(names, cells, strict=True)))
    return rows


def _read_channels(path: Path) -> dict[str, ChannelRow]:
    rows: dict[str, ChannelRow] = {}
    for number, cells in enumerate(read_table(path), start=2):
        given = {name: text for name, text in cells.items() if text not in ("n/a", "")}
        name, kind, status = given.get("name"), given.get("type", ""), given.get("status", "")
        if name is None:
            raise FormatError(
                f"{path.name}: line {number} names no channel; the column 'name' is required in every row; add it."
            )
        if name in rows:
            raise FormatError(
                f"{path.name}: line {number} describes {name!r} a second time; names must differ; remove one."
            )
        if kind and kind not in CHANNEL_TYPES:
            raise FormatError(
                f"{path.name}: line {number} has type {kind!r} for {name!r}; allowed, in upper case: "
                f"{', '.join(sorted(CHANNEL_TYPES))}; correct it."
            )
        if status not in ("", "good", "bad"):
            raise FormatError(
                f"{path.name}: line {number} has status {status!r} for {name!r}; allowed: good, bad, n/a; correct it."
            )
        rows[name] = ChannelRow(
            kind=kind,
            units=given.get("units", ""),
            over=given.get("target_muscle", ""),
            low_cutoff_hz=_number(path, number, given, "low_cutoff"),
            high_cutoff_hz=_number(path, number, given, "high_cutoff"),
            rate_hz=_number(path, number, given, "sampling_frequency"),
            status=status,
            status_description=given.get("status_description", ""),
        )
    return rows


def _number(path: Path, line: int, cells: Mapping[str, str], column: str) -> float | None:
    if column not in cells:
        return None
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", cells[column]) and math.isfinite(float(cells[column])):
        return float(cells[column])
    raise FormatError(
        f"{path.name}: line {line} has {column} {cells[column]!r}; allowed: a number with a decimal point, or n/a; "
        "correct it."
    )
