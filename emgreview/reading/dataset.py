"""Many recordings: a BIDS dataset, or a plain folder. Opened one at a time, when asked for.

data = read_dataset(folder)
data.name, len(data.recordings), data.recordings.names
for rec in data.recordings: ...          data.recordings["sub-01_task-reach"], data.recordings[0]
data.participants                        rows of participants.tsv
data.problems()                          what each recording that cannot be read has to say
"""

import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import overload

from emgreview.errors import EmgreviewError, FormatError, ReadError, SignalWarning, UnknownNameError
from emgreview.model import Recording
from emgreview.reading.assembly import Unit
from emgreview.reading.bids import read_json, read_table
from emgreview.reading.files import read
from emgreview.reading.registry import known_extensions, reader_for


@dataclass(frozen=True, eq=False)
class Recordings(Sequence[Recording]):
    """The recordings of a dataset in order of their names, each opened anew whenever it is taken; nothing is kept."""

    files: Mapping[str, Path]
    rate_hz: float | None = None
    unit: Unit = None
    columns: Sequence[str | None] | None = None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.files)

    def __len__(self) -> int:
        return len(self.files)

    def __iter__(self) -> Iterator[Recording]:
        return (self[name] for name in self.names)

    @overload
    def __getitem__(self, key: int | str) -> Recording: ...
    @overload
    def __getitem__(self, key: slice) -> "Recordings": ...
    def __getitem__(self, key: int | str | slice) -> "Recording | Recordings":
        """By place, by name, or, for a slice, a shorter sequence that opens nothing."""
        if isinstance(key, slice):
            chosen = {name: self.files[name] for name in self.names[key]}
            return Recordings(chosen, self.rate_hz, self.unit, self.columns)
        name = self.names[key] if isinstance(key, int) else key
        if name not in self.files:
            raise UnknownNameError("recording", name, self.names)
        path = self.files[name]
        if reader_for(path).describes_itself:
            return read(path, unit=self.unit)
        return read(path, rate_hz=self.rate_hz, unit=self.unit, columns=self.columns)


@dataclass(frozen=True, eq=False)
class Dataset:
    """A folder of recordings.

    ``participants`` are the rows of participants.tsv as text ("n/a" where missing), () without one; ``description`` is
    dataset_description.json, {} without one; ``left_out`` names the files of a plain folder that were not taken for
    recordings.
    """

    name: str
    folder: Path
    recordings: Recordings
    participants: tuple[Mapping[str, str], ...] = ()
    description: Mapping[str, object] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()

    def problems(self) -> dict[str, str]:
        """Name to sentence, of every recording that cannot be read or is read with a warning. Opens each one once."""
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
) -> Dataset:
    """The recordings of a folder, none of them opened yet.

    With ``dataset_description.json`` it is a BIDS dataset: its recordings are ``sub-*/[ses-*/]emg/*_emg.edf`` or
    ``.bdf``, called by their file names without ``_emg``. Without one it is a plain folder: its recordings are the
    files directly in it that can be read, called by their names without extension; text files are taken only if
    ``columns`` is given, since all of them must then look alike. ``rate_hz`` and ``columns`` go to text files
    alone, ``unit`` to every file: see :func:`read`.

    Raises ReadError where the folder does not exist or holds no recording, FormatError where its description or
    participants.tsv is malformed, or where two files would have the same name.
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = "is a file; use read() for one file" if folder.exists() else "does not exist; give an existing folder"
        raise ReadError(f"{folder} {what}; read_dataset() takes a folder of recordings.")
    if (folder / "dataset_description.json").is_file():
        return _bids(folder, unit)
    files: list[Path] = []
    left_out: list[Path] = []
    for file in sorted(file for file in folder.iterdir() if file.is_file() and not file.name.startswith(".")):
        known = file.suffix.lower() in known_extensions()
        taken = known and (columns is not None or reader_for(file).describes_itself)
        (files if taken else left_out).append(file)
    if not files:
        text = [file.name for file in left_out if file.suffix.lower() in known_extensions()]
        advice = (
            f"{len(text)} text files ({text[0]} …) are taken only with rate_hz, unit and columns given"
            if text
            else f"allowed: {', '.join(known_extensions())}, or a BIDS dataset (dataset_description.json); give the "
            "folder that holds the files directly"
        )
        raise ReadError(f"{folder} holds no recording; {advice}.")
    by_name: dict[str, Path] = {}
    for file in files:
        if file.stem in by_name:
            raise FormatError(
                f"{by_name[file.stem].name} and {file.name} would both be called {file.stem!r}; names must differ, "
                "because "
                "decisions are stored by them; rename or move one."
            )
        by_name[file.stem] = file
    return Dataset(
        name=folder.absolute().name,
        folder=folder,
        recordings=Recordings(by_name, rate_hz, unit, columns),
        left_out=tuple(file.name for file in left_out),
    )


def _bids(folder: Path, unit: Unit) -> Dataset:
    description = read_json(folder / "dataset_description.json")
    files = sorted(
        file
        for pattern in ("sub-*/emg/*_emg.*", "sub-*/ses-*/emg/*_emg.*")
        for file in folder.glob(pattern)
        if file.suffix in (".edf", ".bdf")
    )
    if not files:
        raise ReadError(
            f"{folder} is a BIDS dataset without surface EMG; it must hold sub-*/[ses-*/]emg/*_emg.edf or .bdf; give "
            "the "
            "dataset that does, or use read() for single files of other kinds."
        )
    by_name = {file.stem.removesuffix("_emg"): file for file in files}
    if len(by_name) < len(files):
        twice = [file.name for file in files if by_name[file.stem.removesuffix("_emg")] != file]
        raise FormatError(
            f"{twice[0]} has the name of another recording in {folder.name}, but for its extension; names must differ; "
            "remove one of the two."
        )
    table = folder / "participants.tsv"
    return Dataset(
        name=str(description.get("Name") or folder.absolute().name),
        folder=folder,
        recordings=Recordings(by_name, unit=unit),
        participants=tuple(read_table(table)) if table.is_file() else (),
        description=description,
    )
