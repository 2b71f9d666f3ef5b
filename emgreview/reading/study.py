"""A folder of a lab's own files as a study: one small text file beside them says what they hold.

The description is TOML, version 1.0::

    name = "Key press at a tone"

    [files]
    pattern = "P{participant}_{task}_run{run}.csv"     # from the description's own folder
    rate_hz = 2000                                     # what read() is told of each: also unit, columns, and the rest
    unit = "mV"

    [channels."FCR"]                                   # by label
    muscle = "flexor carpi radialis"

    [cues]
    label = "go"                                       # markers of the files, or found in a channel:
    channel = "trigger"
    level = 2.5
    hold_off_s = 0.5
    expect = 40

    [participants]
    table = "people.csv"
    code = "id"                                        # its column that says what {participant} says

    [trials]
    table = "behaviour/P{participant}_run{run}.csv"    # one row a cue, in order: its columns become those of the cues
    time = "t_cue"                                     # seconds on its own clock: to hold cues and rows together

Whatever is not said is not assumed: read_study() refuses and says what is missing. A recording whose cues are not as
many as the rows of its table is refused with a proposal, and read once a person has confirmed one, in the description.

    read_study      the Dataset that a description makes
    open_data       the study, folder or file at a path
    Study           a description, checked

Over 400 lines with what its public names say of themselves.
"""

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from emgreview.checks import demand, kind, number, refusal, whole
from emgreview.errors import FormatError, MarkerError, ParameterError, ReadError, UnknownNameError, tell
from emgreview.model import Recording
from emgreview.plain_files import read_toml
from emgreview.reading.cues import with_cues
from emgreview.reading.dataset import Dataset, Recordings, read_dataset
from emgreview.reading.files import read
from emgreview.reading.joining import join_parts
from emgreview.reading.patterns import CONDITION, ENTITIES, PARTS, Pattern, label_of, name_of
from emgreview.reading.registry import known_extensions
from emgreview.reading.settled import listed
from emgreview.reading.study_people import people_of
from emgreview.reading.study_trials import TrialTables, rows_of

EXPECTS = "and the description expects"
"""Stands in a note of a recording with another number of cues."""
LEFT_OUT = "-"
"""Stands in a list of columns for one to leave out."""
SUFFIX = ".toml"
"""Ends the name of a description."""

_TABLES: Mapping[str, frozenset[str]] = {
    "channels": frozenset(),
    "cues": frozenset(("label", "channel", "level", "edge", "hold_off_s", "codes", "mask", "expect")),
    "participants": frozenset(("table", "code", "encoding")),
    "trials": frozenset(("table", "columns", "time", "time_unit", "encoding", "aligned")),
}
_OF_CHANNEL = frozenset(("muscle", "kind", "delay_ms"))


@dataclass(frozen=True)
class Study:
    """A description as it stands in its file, checked.

    ``how``: the arguments of :func:`emgreview.read` for each file.
    """

    path: Path
    name: str
    pattern: Pattern
    how: Mapping[str, Any]
    channels: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    cues: Mapping[str, Any] = field(default_factory=dict)
    participants: Mapping[str, str] = field(default_factory=dict)
    trials: TrialTables | None = None
    aligned: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        return self.path.parent

    @cached_property
    def files(self) -> dict[str, list[tuple[Path, dict[str, str]]]]:
        """By name of the recording: its files, with what their names say."""
        found: dict[str, list[tuple[Path, dict[str, str]]]] = {}
        for path, said in self.pattern.files(self.folder):
            found.setdefault(name_of(self.entities(said), path.stem), []).append((path, said))
        for name, parts in found.items():
            if len(parts) > 1 and not set(PARTS) & set(self.pattern.words):
                raise FormatError(
                    f"{parts[0][0].name} and {parts[1][0].name} would both be called {name!r}; put what tells them "
                    "apart "
                    "into the pattern: {run}, or {part} for files that follow one another, {side} for files of other "
                    "channels."
                )
            if len({tuple((k, v) for k, v in said.items() if k not in PARTS) for _, said in parts}) > 1:
                raise FormatError(
                    f"{parts[0][0].name} and {parts[-1][0].name} would both be called {name!r}: names of recordings "
                    "hold letters and digits alone, and no condition; put what tells them apart into the pattern as "
                    "{run} or {task}, or rename one of them."
                )
        return dict(sorted(found.items()))

    def entities(self, said: Mapping[str, str]) -> dict[str, str]:
        """What a file's name says, as entities. Raises FormatError for letters that no name of an entity holds."""
        for word in ENTITIES:
            if lost := "".join(sign for sign in said.get(word, "") if sign.isalnum() and not sign.isascii()):
                raise FormatError(
                    f"a file's name says {word} {said[word]!r}, and entities hold the letters a to z and digits "
                    f"alone, so {lost!r} would be lost; rename the file."
                )
        return {key: label for word, key in ENTITIES.items() if word in said and (label := label_of(said[word]))}

    def recording(self, name: str) -> Recording:
        """One recording, with its cues and what the table of trials says of them."""
        parts = self.files[name]
        said = parts[0][1]
        rec = join_parts([(self._read(path), said) for path, said in parts], name)
        rec = replace(rec, name=name, entities=self.entities(said))
        rec = self._described(rec)
        if "channel" in self.cues:
            how = {key: self.cues[key] for key in ("level", "edge", "hold_off_s", "codes", "mask") if key in self.cues}
            rec = with_cues(rec, self.cues["channel"], label=self.label, **how)
        n_cues = sum(self.cue_of(marker.label) for marker in rec.markers)
        if self.cues.get("expect", n_cues) != n_cues:
            words = f"{n_cues} cues {self.label!r} were found, {EXPECTS} {self.cues['expect']}."
            tell(f"{name}: {words}")
            rec = replace(rec, notes=(*rec.notes, words))
        if CONDITION in said:
            rec = rec.with_markers([replace(m, details={CONDITION: said[CONDITION], **m.details}) for m in rec.markers])
        if self.trials is not None:
            rec = rows_of(rec, self.trials, self.folder, said, self.cue_of, self.aligned.get(name))
        return rec

    def _read(self, path: Path) -> Recording:
        """One file, its channel of cues as none of a muscle: a level is in the unit that the file has."""
        kinds = {label: said["kind"] for label, said in self.channels.items() if "kind" in said}
        if "channel" in self.cues:
            kinds.setdefault(self.cues["channel"], "TRIG")
        if set(PARTS) & set(self.pattern.words):  # not every file has every channel
            there = read(path, **self.how).labels
            kinds = {label: one for label, one in kinds.items() if label in there}
        return read(path, **self.how, kinds=kinds or None)

    @property
    def label(self) -> str:
        return str(self.cues.get("label", "cue"))

    def cue_of(self, label: str) -> bool:
        """Whether a marker is a cue: of codes, any of them."""
        return label == self.label or (bool(self.cues.get("codes")) and label.startswith(f"{self.label} "))

    def _described(self, rec: Recording) -> Recording:
        for label in self.channels:
            if label not in rec.labels:
                raise UnknownNameError("channel (of the description)", label, rec.labels, where=rec.name)
        made = []
        for channel in rec.channels:
            said = self.channels.get(channel.label, {})
            new = {"over": said["muscle"]} if "muscle" in said else {}
            new |= {"delay_s": said["delay_ms"] / 1000} if "delay_ms" in said else {}
            made.append(replace(channel, **new) if new else channel)
        return replace(rec, channels=tuple(made))


@dataclass(frozen=True, eq=False)
class StudyRecordings(Recordings):
    """The recordings of a study, each read as its description says whenever it is taken."""

    study: Study | None = None

    def entities_of(self, name: str) -> Mapping[str, str]:
        assert self.study is not None
        return self.study.entities(self.study.files[name][0][1])

    def __getitem__(self, key: Any) -> Any:
        assert self.study is not None
        if isinstance(key, slice):
            return StudyRecordings({name: self.files[name] for name in self.names[key]}, study=self.study)
        if isinstance(key, str) and key in self.files:
            return self.study.recording(key)
        if isinstance(key, int) and -len(self) <= key < len(self):
            return self.study.recording(self.names[key])
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
        near = sorted(file.name for file in study.folder.iterdir() if file.is_file())
        raise ReadError(
            f"no file below {study.folder} fits the pattern {study.pattern.text!r}; beside the description lie "
            f"{listed(near)}; correct the pattern."
        )
    people, loud = people_of(study)
    used = {path for parts in study.files.values() for path, _ in parts}
    suffixes = {path.suffix.lower() for path in used}
    beside = sorted(
        file.relative_to(study.folder).as_posix()
        for place in {path.parent for path in used}
        for file in place.iterdir()
        if file.is_file() and file.suffix.lower() in suffixes & set(known_extensions()) and file not in used
    )
    tables = {str(study.participants.get("table", ""))}
    for parts in study.files.values() if study.trials else ():
        with suppress(MarkerError):  # reading the recording says it
            assert study.trials is not None
            tables.add(study.trials.file(study.folder, parts[0][1]).relative_to(study.folder).as_posix())
    if study.trials is not None and len(study.files) > 1 and len(tables) == 1 + bool(study.participants):
        loud.append(f"One table of trials, {study.trials.pattern.text}, is used for all {len(study.files)} recordings.")
    if spare := [name for name in beside if name not in tables]:
        loud.append(f"Files that do not fit the pattern {study.pattern.text!r} are left out: {listed(spare)}.")
    notes = []
    if "participant" not in study.pattern.words:
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
    for sentence in loud:
        tell(f"{data.name}: {sentence}")
    return data


def load(path: str | Path) -> Study:
    """A description, checked. Raises as :func:`read_study`."""
    kind("path", path, (str, os.PathLike), "the path of a description, a TOML file")
    path = Path(path)
    said = read_toml(path)
    return study_of(said, path)


def study_of(said: Mapping[str, Any], path: Path) -> Study:
    """The study that a table of TOML describes. Raises ParameterError and UnknownNameError, which name the line."""
    for key in said:
        if key not in ("name", "files", *_TABLES):
            raise UnknownNameError("part of a description", key, ["name", "files", *_TABLES], where=path.name)
    for key in ("files", *_TABLES):
        kind(f"[{key}] of {path.name}", said.get(key, {}), dict, "a table: [files] and lines of name = value below it")
    files = dict(said.get("files", {}))
    if not isinstance(files.get("pattern"), str):
        raise ParameterError(
            f"{path.name} lacks the pattern of its files; give it below [files]: pattern = "
            '"P{participant}_{task}_run{run}.csv", from the folder of the description.'
        )
    if open_ := [name for name, value in files.items() if _asked(value)]:
        raise ParameterError(f"{path.name}: {', '.join(open_)} below [files] still holds '?'; say what is right there.")
    pattern = Pattern(files.pop("pattern"))
    if isinstance(files.get("columns"), list):
        files["columns"] = [None if label == LEFT_OUT else label for label in files["columns"]]
    for key, allowed in _TABLES.items():
        for name in said.get(key, {}) if allowed else ():
            if name not in allowed:
                raise UnknownNameError(f"line below [{key}]", name, sorted(allowed), where=path.name)
    channels = {label: dict(one) for label, one in said.get("channels", {}).items() if _is_table(path, label, one)}
    return Study(
        path=path,
        name=str(said.get("name", path.absolute().parent.name)),
        pattern=pattern,
        how=files,
        channels=channels,
        cues=_cues(path, dict(said.get("cues", {}))),
        participants={key: str(value) for key, value in said.get("participants", {}).items()},
        trials=TrialTables.of(path, said["trials"]) if said.get("trials") else None,
        aligned={str(one.get("recording")): one for one in said.get("trials", {}).get("aligned", [])},
    )


def _asked(value: Any) -> bool:
    return value == "?" or (isinstance(value, Mapping) and "?" in value.values())


def _is_table(path: Path, label: str, one: Any) -> bool:
    where = f'[channels."{label}"]'
    kind(f"{where} of {path.name}", one, dict, f"a table: {where} and lines below it")
    for name, value in one.items():
        if name not in _OF_CHANNEL:
            raise UnknownNameError(f"line below {where}", name, sorted(_OF_CHANNEL), where=path.name)
        if name == "delay_ms":
            number(f"delay_ms of {label}", value, least=-1000, most=1000, unit="ms")
        else:
            kind(f"{name} of {label}", value, str, "a text")
    return True


def _cues(path: Path, said: dict[str, Any]) -> dict[str, Any]:
    if "expect" in said:
        whole("expect", said["expect"], least=1)
    for name in ("label", "channel"):
        if name in said:
            kind(f"{name} below [cues] of {path.name}", said[name], str, "a text")
            demand(said[name].strip(), f"{name} below [cues]", said[name], "a text that is not empty")
    for name in ("level", "hold_off_s"):
        if name in said:
            number(f"{name} below [cues]", said[name])
    found = {"level", "edge", "hold_off_s", "codes", "mask"} & set(said)
    if found and "channel" not in said:
        raise ParameterError(
            f"{path.name}: {', '.join(sorted(found))} came below [cues] without a channel; name the channel that holds "
            "the pulses, or leave them out where the files hold markers."
        )
    if "channel" in said and "hold_off_s" not in said:
        raise refusal("hold_off_s below [cues]", None, "seconds, a little less than the shortest time between two cues")
    if "channel" in said and "label" not in said:
        said["label"] = "cue"
    return said


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
    if path.is_dir():
        return read_dataset(path, **how)
    if path.suffix.lower() != SUFFIX:
        return read(path, **how)
    if given := [name for name, value in how.items() if value is not None]:
        raise ParameterError(
            f"{', '.join(given)} came beside {path.name}, the description of a study, which says it itself; correct it "
            "there, below [files]."
        )
    return read_study(path)
