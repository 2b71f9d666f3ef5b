"""Many recordings: a BIDS dataset, or a plain folder. Opened one at a time, when asked for.

data = read_dataset(folder)
data.name, len(data.recordings), data.recordings.names
data.notes                               what was left out, and what such a folder does not say
for rec in data.recordings: ...          data.recordings["sub-01_task-reach"], data.recordings[0]
data.participants                        rows of participants.tsv
data.problems()                          what each recording that cannot be read has to say

Over 400 lines with what its public names say of themselves.
"""

import contextlib
import dataclasses
import os
import warnings
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, overload

from emgreview.checks import kind
from emgreview.errors import (
    EmgreviewError,
    FormatError,
    ParameterError,
    ReadError,
    SignalWarning,
    UnknownNameError,
    tell,
)
from emgreview.model import Recording
from emgreview.plain_files import below, found_at, inside, is_folder
from emgreview.reading.beside import Beside, beside, goes_with_recordings, is_anything_beside
from emgreview.reading.bids import (
    DATATYPES,
    entities_of,
    find_sidecars,
    named_as_bids_wants,
    read_json,
    read_table,
    recording_name,
)
from emgreview.reading.contents import Reader
from emgreview.reading.edf import read_header
from emgreview.reading.files import meant, read
from emgreview.reading.registry import known_extensions, reader_for
from emgreview.reading.settled import Unit, demand_kinds, listed
from emgreview.reading.text import READER as TEXT
from emgreview.reading.units import names_emg
from emgreview.unnamed import LEFT_OUT

NAMELESS = (
    "A plain folder does not say who was recorded, when, or under which condition: participants are missing from every "
    "table, none can be excluded or sampled as a person, a blind review hides recordings alone, and each is scaled on "
    "its own. A BIDS dataset says it (dataset_description.json, sub-01/emg/sub-01_task-reach_emg.edf)."
)

_BESIDE = frozenset((
    ".json", ".tsv", ".gz", ".md", ".rst", ".txt", ".pdf", ".docx", ".odt", ".xlsx", ".html", ".xml", ".yaml", ".yml",
    ".toml", ".py", ".ipynb", ".m", ".r", ".log", ".zip", ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".svg", "",
))  # fmt: skip
"""Extensions of what lies beside recordings and is none."""
_READ_ME = ("readme", "license", "licence", "changes", "notes", "participants", "citation")


class _NoSuchPlaceError(UnknownNameError, IndexError):
    """No recording has that place; an IndexError too, which sequences end by."""


@dataclass(frozen=True, eq=False)
class Recordings(Sequence[Recording]):
    """The recordings of a dataset in order of their names, each opened anew whenever it is taken; nothing is kept.

    A loop goes on after a recording that cannot be read: a SignalWarning names it and says why, and the loop has one
    recording less, so take names from the recordings themselves. It raises ReadError only where none can be read; taken
    by name or place, a recording raises its own error. ``rate_of_text``: the rate is that of the text files among them.
    """

    files: Mapping[str, Path]
    rate_hz: float | None = None
    unit: Unit = None
    columns: Sequence[str | None] | None = None
    rate_of_text: bool = False
    layout: Mapping[str, Any] = field(default_factory=dict)
    beside: Beside = field(default_factory=Beside)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.files)

    def __len__(self) -> int:
        return len(self.files)

    def entities_of(self, name: str) -> Mapping[str, str]:
        """What the dataset says of a recording, without opening it: "sub", "ses", "task", "run" …"""
        return find_sidecars(self.files[name]).entities

    def files_of(self, name: str) -> tuple[Path, ...]:
        """Every file that a recording is made of."""
        return (self.files[name],)

    def __contains__(self, name: object) -> bool:
        """Whether a recording has that name, or is one of that name."""
        return (name.name if isinstance(name, Recording) else name) in self.files

    def __iter__(self) -> Iterator[Recording]:
        return self._those_that_can_be_read(self.names)

    def __reversed__(self) -> Iterator[Recording]:
        return self._those_that_can_be_read(self.names[::-1])

    def _those_that_can_be_read(self, names: Iterable[str]) -> Iterator[Recording]:
        unread: list[str] = []
        any_read = False
        for name in names:
            rec = None
            try:
                rec = self[name]
                any_read = True
            except EmgreviewError as error:
                unread.append(f"{name} cannot be read{LEFT_OUT}{error}")
            while any_read and unread:
                tell(unread.pop(0))
            if rec is not None:
                yield rec
        if unread:
            raise ReadError(f"none of {len(self)} recordings can be read. {' '.join(unread[:3])}")

    @overload
    def __getitem__(self, key: int | str) -> Recording: ...
    @overload
    def __getitem__(self, key: slice) -> "Recordings": ...
    def __getitem__(self, key: int | str | slice) -> "Recording | Recordings":
        """By place, by name, or, for a slice, a shorter sequence that opens nothing."""
        if isinstance(key, slice):
            chosen = {name: self.files[name] for name in self.names[key]}
            return dataclasses.replace(self, files=chosen)
        if isinstance(key, int) and not -len(self) <= key < len(self):
            raise _NoSuchPlaceError("recording", key, self.names, f"{len(self)} recordings, with places from 0")
        name = self.names[key] if isinstance(key, int) else key
        if name not in self.files:
            raise UnknownNameError("recording", name, self.names)
        path = self.files[name]
        reader = reader_for(path)
        rate_hz = None if self.rate_of_text and reader.describes_itself else self.rate_hz
        layout = {} if reader.describes_itself and not _takes(reader, self.layout) else self.layout
        return self.beside.on(read(path, rate_hz=rate_hz, unit=self.unit, columns=self.columns, **layout))


def _takes(reader: Reader, layout: Mapping[str, Any]) -> bool:
    """Whether all of what is said of files may be said of those of a format."""
    return reader.layout is not None and set(layout) <= {one.name for one in fields(reader.layout)}


@dataclass(frozen=True, eq=False, repr=False)
class Dataset:
    """A folder of recordings; :func:`emgreview.read_dataset` returns it.

    Attributes
    ----------
    name : str
        Name of the dataset, or of the folder.
    folder : Path
        The folder.
    recordings : Recordings
        A sequence, by place or name; each recording is opened anew whenever it is taken.
    participants : tuple of mapping
        The rows of participants.tsv as text ("n/a" where missing), () without one.
    description : mapping
        dataset_description.json, {} without one.
    left_out : tuple of str
        The files that were not taken for recordings: in a plain folder all others, in a BIDS
        dataset those that may hold EMG.
    notes : tuple of str
        What was left out and why, and what such a folder does not say.
    """

    name: str
    folder: Path
    recordings: Recordings
    participants: tuple[Mapping[str, str], ...] = ()
    description: Mapping[str, object] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        names = listed(self.recordings.names)
        return "\n".join([f"{self.name}: {len(self.recordings)} recordings ({names})", *(f"  {n}" for n in self.notes)])

    def problems(self) -> dict[str, str]:
        """What is wrong with the recordings. Opens each one once.

        Returns
        -------
        dict of str to str
            Name to sentence, of every recording that cannot be read or is read with a warning.
        """
        found: dict[str, str] = {}
        for name in self.recordings.names:
            with warnings.catch_warnings(record=True) as caught:
                warnings.simplefilter("always", SignalWarning)
                try:
                    _ = self.recordings[name]
                except EmgreviewError as error:
                    found[name] = str(error)
            if name not in found and caught:
                found[name] = " ".join(str(warning.message) for warning in caught)
        return found


def read_dataset(
    folder: str | Path,
    *,
    rate_hz: float | None = None,
    unit: Unit = None,
    columns: Sequence[str | None] | None = None,
    **layout: Any,
) -> Dataset:
    """The recordings of a folder, none of them opened yet.

    Parameters
    ----------
    folder : str or Path
        A BIDS dataset, or a plain folder of files.
    rate_hz : float or None
        Sampling rate of text files. It goes to them alone where there are any, and else
        confirms what the files state, as for :func:`read`.
    unit : str, mapping of str to str, or None
        As for :func:`read`, for every file.
    columns : sequence of str or None
        As for :func:`read`, for every file.
    **layout
        What else :func:`read` takes, for every file of a plain folder to whose format it
        applies. Where files differ, describe the folder: :func:`write_study`.

    Returns
    -------
    Dataset
        Its ``recordings`` in order of their names.

    Raises
    ------
    ReadError
        The folder does not exist or holds no recording.
    FormatError
        Its description or participants.tsv is malformed, or two files would have the same
        name.
    ParameterError
        ``folder`` is no path, or a layout came for a BIDS dataset, or for no file's format.

    Warns
    -----
    SignalWarning
        Files that may be recordings and are left out, sidecars that belong to no recording,
        and a participants.tsv that does not go with the recordings; ``notes`` say so too.

    Notes
    -----
    Where ``contractions.json`` lies in the folder, recordings have its cards
    (:meth:`ChannelCards.on`).

    With ``dataset_description.json`` it is a BIDS dataset: its recordings are
    ``sub-*/[ses-*/]emg/*_emg.edf`` or ``.bdf``, called by their file names without ``_emg``;
    and ``eeg/*_eeg`` and ``ieeg/*_ieeg`` likewise where their channels.tsv lists EMG (or,
    without a table, a channel is called so), called by their whole names. Without a
    description it is a plain folder: its recordings are the files directly in it that can be
    read, called by their names without extension; text files are taken only if ``rate_hz``
    and ``columns``, or a layout, are given, since all of them must then look alike.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     data = er.read_dataset(er.write_demo(folder, participants=2, trials=1))
    ...     data.recordings.names
    ('sub-01_task-turnhandle', 'sub-02_task-turnhandle')
    """
    kind("folder", folder, (str, os.PathLike), "the path of a folder of recordings")
    demand_kinds(rate_hz, unit, columns)
    folder = Path(folder)
    if not is_folder(folder):
        what = (
            "is a file; use read() for one file"
            if found_at(folder) is not None
            else f"does not exist{meant(folder)}; give an existing folder"
        )
        raise ReadError(f"{folder} {what}; read_dataset() takes a folder of recordings.")
    bids = is_dataset(folder)
    try:
        if bids and layout:
            raise ParameterError(
                f"{', '.join(layout)} came for {folder}, a BIDS dataset, whose files say it themselves; leave it out."
            )
        data, loud = _bids(folder, rate_hz, unit, columns) if bids else _plain(folder, rate_hz, unit, columns, layout)
    except EmgreviewError:
        raise
    except OSError as why:
        raise ReadError(
            f"{folder} cannot be looked through ({why.strerror or why}: {why.filename}); its folders must be open to "
            "you for reading; see to that."
        ) from why
    data, of_beside = with_beside(data)
    for sentence in (*loud, *of_beside):
        tell(f"{data.name}: {sentence}")
    return data


def is_dataset(folder: Path) -> bool:
    """Whether a folder says that it is a BIDS dataset."""
    return os.path.lexists(folder / "dataset_description.json")


def with_beside(data: Dataset) -> tuple[Dataset, list[str]]:
    """A dataset whose recordings have what lies beside them, and sentences on what of that is of nobody."""
    if not is_anything_beside(data.folder):
        return data, []
    recs = data.recordings
    said: list[Mapping[str, str]] = []
    for name in recs.names:
        with contextlib.suppress(EmgreviewError):  # it cannot be read, and says so where it is taken
            said.append(recs.entities_of(name))
    found, told = beside(data.folder, [(one.get("sub", ""), one.get("ses", "")) for one in said])
    recs = dataclasses.replace(recs, beside=found)
    return dataclasses.replace(data, recordings=recs, notes=(*data.notes, *told)), told


def _plain(
    folder: Path,
    rate_hz: float | None,
    unit: Unit,
    columns: Sequence[str | None] | None,
    layout: Mapping[str, Any],
) -> tuple[Dataset, list[str]]:
    """A plain folder, and those of its notes that ask for a warning."""
    files: list[Path] = []
    left_out: list[Path] = []
    known = known_extensions()
    for file in inside(folder):
        if is_folder(file) or file.name.startswith(".") or goes_with_recordings(file):
            continue
        taken = file.suffix.lower() in known and (
            (columns is not None and rate_hz is not None)
            or (layout and _takes(reader_for(file), layout))
            or reader_for(file).describes_itself
        )
        (files if taken else left_out).append(file)
    text = [file.name for file in left_out if file.suffix.lower() in known]
    deeper = [
        inner.name
        for inner in inside(folder)
        if is_folder(inner) and not inner.name.startswith(".") and _holds_recordings(inner)
    ]
    if not files:
        hold = f" (its sub-folders {listed(deeper)} hold some)" if deeper else ""
        advice = (
            f"{len(text)} text files ({text[0]} …) are taken only with rate_hz, unit and columns given, and what else "
            "er.look says of one of them; or describe the folder, once: er.write_study, in a shell emgreview study"
            if text
            else f"allowed: {', '.join(known)}, or a BIDS dataset (dataset_description.json); give the "
            f"folder that holds the files directly{hold}"
        )
        if people := sorted({file.relative_to(folder).parts[0] for file in _signal_files(folder)}):
            advice = (
                f"its sub-folders ({listed(people)}) hold some, as in a BIDS dataset, and dataset_description.json is "
                'missing; add that file ({"Name": "my study", "BIDSVersion": "1.10.0"} is enough), or give a folder '
                "that holds the files directly"
            )
        raise ReadError(f"{folder} holds no recording; {advice}.")
    if layout and not any(_takes(reader_for(file), layout) for file in files):
        raise ParameterError(
            f"{', '.join(layout)} came, and no file of {folder} is of a format that takes it; correct the names, or "
            "leave them out: er.look(path) proposes what one takes."
        )
    by_name: dict[str, Path] = {}
    for file in files:
        if file.stem in by_name:
            raise FormatError(
                f"{by_name[file.stem].name} and {file.name} would both be called {file.stem!r}; names must differ, "
                "because decisions are stored by them; rename or move one."
            )
        by_name[file.stem] = file
    perhaps = [name for name in text if not name.lower().startswith(_READ_ME)]
    unknown = [file.name for file in left_out if file.suffix.lower() not in {*known, *_BESIDE}]
    loud = []
    if perhaps:
        bare = "Text files" if {reader_for(folder / name) for name in perhaps} == {TEXT} else "Files of bare numbers"
        loud.append(f"{bare} are left out, as they are unless rate_hz, unit and columns are given: {listed(perhaps)}.")
    if unknown:
        loud.append(f"Files that no reader knows are left out: {listed(unknown)}; known: {', '.join(known)}.")
    if deeper:
        loud.append(f"Recordings in sub-folders are left out: {listed(deeper)}; give each such folder by itself.")
    rest = [file.name for file in left_out if file.name not in {*perhaps, *unknown}]
    data = Dataset(
        name=folder.absolute().name,
        folder=folder,
        recordings=Recordings(
            by_name, rate_hz, unit, columns, any(not reader_for(one).describes_itself for one in files), layout
        ),
        left_out=tuple(file.name for file in left_out),
        notes=(*loud, *([f"Not taken for recordings: {listed(rest)}."] if rest else []), NAMELESS),
    )
    return data, loud


def _holds_recordings(folder: Path) -> bool:
    """Only to be told: one that may not be looked at, as "lost+found", keeps nobody from the others."""
    known = known_extensions()
    with suppress(ReadError):
        return any(
            file.suffix.lower() in known and reader_for(file).describes_itself
            for file in inside(folder)
            if not is_folder(file)
        )
    return False


def _bids(
    folder: Path, rate_hz: float | None, unit: Unit, columns: Sequence[str | None] | None
) -> tuple[Dataset, list[str]]:
    """A BIDS dataset, and those of its notes that ask for a warning."""
    description = read_json(folder / "dataset_description.json")
    files: list[Path] = []
    silent: list[str] = []
    left_out: list[str] = []
    for file in _signal_files(folder):
        datatype, where = _datatype(folder, file), file.relative_to(folder).as_posix()
        named = file.stem.rpartition("_")[2] == datatype and file.parent.name == datatype
        if not named or file.suffix.lower() not in (".edf", ".bdf"):
            if datatype == "emg" or _holds_emg(file):
                left_out.append(where)
        elif datatype == "emg" or _holds_emg(file):
            files.append(file)
        else:
            silent.append(where)
    if not files:
        said = f"; its files {listed(left_out)} are not of that form" if left_out else ""
        said += f"; {listed(silent)} list no channel of type EMG" if silent else ""
        raise ReadError(
            f"{folder} is a BIDS dataset without surface EMG{said}; it must hold sub-*/[ses-*/]emg/*_emg.edf or .bdf, "
            "or eeg/*_eeg or ieeg/*_ieeg of that kind with channels of type EMG in their channels.tsv; give the "
            "dataset that does, or use read() for single files of other kinds."
        )
    by_name = {recording_name(file): file for file in files}
    if len(by_name) < len(files):
        twice = [file.name for file in files if by_name[recording_name(file)] != file]
        raise FormatError(
            f"{twice[0]} has the name of another recording in {folder.name}, but for its extension; names must differ; "
            "remove one of the two."
        )
    table = folder / "participants.tsv"
    participants = tuple(read_table(table)) if os.path.lexists(table) else ()
    loud = []
    if left_out:
        loud.append(
            f"Files that may hold EMG are left out: {listed(left_out)}; recordings are _emg.edf and _emg.bdf directly "
            "in folders 'emg' (_eeg and _ieeg likewise); export or rename them."
        )
    notes = []
    if silent:
        notes.append(f"Without a channel of type EMG, and left out: {listed(silent)}.")
    people = {path.relative_to(folder).parts[0] for path in files}
    known = {row.get("participant_id", "") for row in participants}
    if bare := sorted(
        {*known, *(part.name for part in inside(folder) if part.name.startswith("sub-") and is_folder(part))}
        - people
        - {"", "n/a"}
    ):
        notes.append(f"There is no EMG recording of {listed(bare)}.")
    if participants and "participant_id" not in participants[0]:
        loud.append(
            f"participants.tsv has no column 'participant_id', only {', '.join(participants[0])}: whose its rows are "
            "is not known."
        )
    elif participants and (strange := sorted(people - known)):
        loud.append(f"participants.tsv has no row for {listed(strange)}.")
    counts = Counter(row.get("participant_id", "n/a") for row in participants)
    if twice := sorted(who for who, n in counts.items() if n > 1 and who != "n/a"):
        loud.append(f"participants.tsv has more than one row for {listed(twice)}.")
    if strays := _strays(folder, files):
        loud.append(
            f"Sidecars that belong to no recording by their names are left out: {listed(strays)}; every label in the "
            "name must be the recording's own, upper and lower case too (run-1 is not run-01)."
        )
    data = Dataset(
        name=str(description.get("Name") or folder.absolute().name),
        folder=folder,
        recordings=Recordings(by_name, rate_hz, unit, columns),
        participants=participants,
        description=description,
        left_out=(*left_out, *silent),
        notes=(*loud, *notes),
    )
    return data, loud


def _signal_files(folder: Path) -> list[Path]:
    """Files in the folders of EMG, EEG and iEEG that may hold signals, one for each name where several make one."""
    people = [part for part in inside(folder) if part.name.startswith("sub-")]
    parts = [*people, *(part for person in people for part in inside(person) if part.name.startswith("ses-"))]
    places = [place for part in parts for place in inside(part) if place.name in DATATYPES]
    found: dict[Path, Path] = {}
    # links to nothing and pipes, too: opening them tells what they are, and passing over them would tell nothing
    for file in sorted(file for place in places for file in below(place) if not is_folder(file)):
        own = file.suffix.lower() in (".edf", ".bdf")
        named = file.stem.rpartition("_")[2] in DATATYPES and file.suffix != ".json"
        if not file.name.startswith(".") and (own or named or file.suffix.lower() not in _BESIDE):
            key = file if own else file.with_suffix("")
            found.setdefault(key, file)
    return sorted(found.values())


def _strays(folder: Path, files: Sequence[Path]) -> list[str]:
    """Tables and JSON in the folders of recordings that apply to no file there; of a recording that is misnamed its own
    note says so."""
    found = []
    for place in sorted(
        {file.parent for file in files} - {file.parent for file in files if not named_as_bids_wants(file)}
    ):
        beside = [entities_of(file).items() for file in inside(place) if file.suffix.lower() not in (".tsv", ".json")]
        found += [
            file.relative_to(folder).as_posix()
            for file in inside(place)
            if file.suffix in (".tsv", ".json")
            and file.stem.rpartition("_")[2] in ("events", "channels", place.name)
            and not any(entities_of(file).items() <= entities for entities in beside)
        ]
    return found


def _datatype(folder: Path, file: Path) -> str:
    return next(part for part in file.relative_to(folder).parts[1:] if part in DATATYPES)


def _holds_emg(file: Path) -> bool:
    """Whether a file of EEG or iEEG holds EMG, by its table, or else by the labels of its channels. A file that cannot
    be judged counts as one that does: it says what is wrong when it is opened."""
    try:
        own = file.suffix.lower() in (".edf", ".bdf")
        tabled = find_sidecars(file if own else file.with_suffix(".edf")).lists_emg
        if tabled is not None or not own:
            return bool(tabled)
        return any(names_emg(signal["label"]) for signal in read_header(file).signals)
    except (EmgreviewError, OSError):
        return True
