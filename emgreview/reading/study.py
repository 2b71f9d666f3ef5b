"""A folder of a lab's own files as a study: one small text file beside them says what they hold
(:mod:`study_description`).

Whatever is not said is not assumed: read_study() refuses and says what is missing. A recording whose cues are not as
many as the rows of its table is refused with a proposal, and read once a person has confirmed one, in the description.

    read_study      the Dataset that a description makes
    open_data       the study, folder or file at a path
"""

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from emgreview.checks import kind
from emgreview.errors import MarkerError, ParameterError, ReadError, tell
from emgreview.model import Recording
from emgreview.plain_files import inside, is_folder
from emgreview.reading.dataset import Dataset, Recordings, read_dataset, with_beside
from emgreview.reading.files import read
from emgreview.reading.registry import known_extensions
from emgreview.reading.settled import listed
from emgreview.reading.study_description import Study, load
from emgreview.reading.study_people import people_of
from emgreview.reading.study_trials import rows_of_nobody

SUFFIX = ".toml"
"""Ends the name of a description."""


@dataclass(frozen=True, eq=False)
class StudyRecordings(Recordings):
    """The recordings of a study, each read as its description says whenever it is taken."""

    study: Study | None = None

    def entities_of(self, name: str) -> Mapping[str, str]:
        assert self.study is not None
        return self.study.entities(self.study.files[name][0][1])

    def files_of(self, name: str) -> tuple[Path, ...]:
        assert self.study is not None
        return tuple(path for path, _ in self.study.files[name])

    def __getitem__(self, key: Any) -> Any:
        assert self.study is not None
        if isinstance(key, slice):
            return replace(self, files={name: self.files[name] for name in self.names[key]})
        if isinstance(key, int) and -len(self) <= key < len(self):
            key = self.names[key]
        if isinstance(key, str) and key in self.files:
            return self.beside.on(self.study.recording(key))
        return super().__getitem__(key)


def read_study(path: str | Path) -> Dataset:
    r"""The recordings of a folder of a lab's own files, as a description beside them says.

    Parameters
    ----------
    path : str or Path
        The description, a TOML file; :func:`emgreview.write_study` writes one.

    Returns
    -------
    Dataset
        As :func:`emgreview.read_dataset` gives it: each recording is opened when it is taken,
        with its participant, channels, cues and the columns of its table of trials.

    Raises
    ------
    ReadError
        There is no such file, or no file fits its pattern.
    FormatError
        The description is malformed, or names of files can be read in two ways.
    ParameterError, UnknownNameError
        A line of it is not allowed, or not known.

    Warns
    -----
    SignalWarning
        Files beside those of the pattern that could be recordings, and participants that the
        table does not have.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for who in ("01", "02"):
    ...         rows = "".join(f"{n % 7},{5 * (n % 1000 < 20)}\n" for n in range(4000))
    ...         _ = Path(folder, f"P{who}_press.csv").write_text(rows)
    ...     study = er.write_study(
    ...         Path(folder) / "study.toml",
    ...         files={"pattern": "P{participant}_{task}.csv", "rate_hz": 1000,
    ...                "unit": {"FCR": "mV", "key": "V"}, "columns": ["FCR", "key"]},
    ...         cues={"label": "go", "channel": "key", "level": 2.5, "hold_off_s": 0.5},
    ...     )
    ...     data = er.read_study(study)
    ...     rec = data.recordings["sub-01_task-press"]
    >>> data.recordings.names, rec.entities, len(rec.markers)
    (('sub-01_task-press', 'sub-02_task-press'), {'sub': '01', 'task': 'press'}, 3)
    """
    study = load(path)
    if not study.files:
        near = [file.name for file in inside(study.folder) if not is_folder(file)]
        raise ReadError(
            f"no file below {study.folder} fits the pattern {_texts(study)}; beside the description lie "
            f"{listed(near)}; correct the pattern."
        )
    people, loud = people_of(study)
    used = {path for parts in study.files.values() for path, _ in parts}
    suffixes = {path.suffix.lower() for path in used}
    beside = sorted(
        file.relative_to(study.folder).as_posix()
        for place in {path.parent for path in used}
        for file in inside(place)
        if not is_folder(file) and file.suffix.lower() in suffixes & set(known_extensions()) and file not in used
    )
    tables = {str(study.participants.get("table", ""))}
    for name in study.files if study.trials else ():
        with suppress(MarkerError):  # reading the recording says it
            assert study.trials is not None
            tables.add(study.trials.file(study.folder, study.said(name)).relative_to(study.folder).as_posix())
    loud += _without_a_file(study)
    if study.tables is not None and study.tables.of_columns:
        loud += rows_of_nobody(study.tables, study.folder, [study.said(name) for name in study.files])
    elif study.trials is not None and len(study.files) > 1 and len(tables) == 1 + bool(study.participants):
        loud.append(f"One table of trials, {study.trials.pattern.text}, is used for all {len(study.files)} recordings.")
    if spare := [name for name in beside if name not in tables]:
        loud.append(f"Files that do not fit the pattern {_texts(study)} are left out: {listed(spare)}.")
    notes = []
    if not any("participant" in pattern.words for pattern in study.patterns):
        notes.append(
            "The pattern of its files does not say who was recorded: participants are missing from every table, and "
            "each recording is scaled on its own; put {participant} into the pattern where the names say it."
        )
    data = Dataset(
        name=study.name,
        folder=study.folder,
        recordings=StudyRecordings({name: parts[0][0] for name, parts in study.files.items()}, study=study),
        participants=people,
        description={"Name": study.name},
        left_out=tuple(spare),
        notes=(*loud, *notes),
    )
    data, of_beside = with_beside(data)
    for sentence in (*loud, *of_beside):
        tell(f"{data.name}: {sentence}")
    return data


def _texts(study: Study) -> str:
    return " or ".join(repr(pattern.text) for pattern in study.patterns)


def _without_a_file(study: Study) -> list[str]:
    """Sentences on recordings that lack files of a pattern whose files lie beside those of another elsewhere."""
    of = {name: {study.found[path][0] for path, _ in parts} for name, parts in study.files.items()}
    told = []
    for place, pattern in enumerate(study.patterns):
        beside = set().union(*(places for places in of.values() if place in places and len(places) > 1))
        if bare := [name for name, places in of.items() if places < beside and place not in places]:
            told.append(f"No file of the pattern {pattern.text!r} belongs to {listed(bare)}.")
    return told


def open_data(path: str | Path, **how: Any) -> Dataset | Recording:
    """What lies at a path: a study by its description, a folder of recordings, or one recording.

    Parameters
    ----------
    path : str or Path
        A description, as :func:`emgreview.read_study` reads it; a folder, as
        :func:`emgreview.read_dataset` does; or one file, as :func:`emgreview.read` does.
    **how
        As for :func:`emgreview.read`, of a folder or a file.

    Returns
    -------
    Dataset or Recording
        :func:`emgreview.cut_all` takes either.

    Raises
    ------
    ParameterError
        ``path`` is no path, or more was said of a description, which says it itself.
    EmgreviewError
        As for those three functions.

    Warns
    -----
    SignalWarning
        As those three do.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     data = er.open_data(er.write_demo(folder, participants=1, trials=1))
    ...     data.recordings.names
    ('sub-01_task-turnhandle',)
    """
    kind("path", path, (str, os.PathLike), "the path of a description (.toml), of a folder, or of a file")
    path = Path(path)
    if is_folder(path):
        return read_dataset(path, **how)
    if path.suffix.lower() != SUFFIX:
        return read(path, **how)
    if given := [name for name, value in how.items() if value is not None]:
        raise ParameterError(
            f"{', '.join(given)} came beside {path.name}, the description of a study, which says it itself; correct it "
            "there, below [files]."
        )
    return read_study(path)
