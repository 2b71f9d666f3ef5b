"""The description of a study, read and checked, and the recordings that it makes of a lab's own files.

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

Several recordings may share one table of trials: ``participant = "subject"`` below [trials] names its column that says
what {participant} says. Files that are read in another way have ``[[files.also]]``: a pattern, and how they are read;
those of a recording that fit several patterns lie side by side.

    Study       a description, checked
    load        that of a file
    study_of    that of a table of TOML
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from emgreview.checks import demand, kind, number, refusal, whole
from emgreview.errors import FormatError, ParameterError, UnknownNameError, tell
from emgreview.model import Recording
from emgreview.plain_files import read_toml
from emgreview.reading.cues import with_cues
from emgreview.reading.files import read_of
from emgreview.reading.joining import join_parts
from emgreview.reading.patterns import CONDITION, ENTITIES, PARTS, Pattern, label_of, name_of
from emgreview.reading.study_trials import TrialTables, rows_of

EXPECTS = "and the description expects"
"""Stands in a note of a recording with another number of cues."""
MARKER = "marker"
"""The column of cues that says what the file calls each, where markers of several labels are cues."""
ANSWERS = {"rate_hz": "rate", "columns": "labels"}
"""By argument, the one that says it by a name in the file instead."""
LEFT_OUT = "-"
"""Stands in a list of columns for one to leave out."""

_TABLES: Mapping[str, frozenset[str]] = {
    "channels": frozenset(),
    "cues": frozenset(("label", "markers", "channel", "level", "edge", "hold_off_s", "codes", "mask", "expect")),
    "participants": frozenset(("table", "code", "encoding")),
    "trials": frozenset(("table", "columns", "time", "time_unit", "encoding", "missing", "aligned", *ENTITIES)),
}
_OF_CHANNEL = frozenset(("muscle", "kind", "delay_ms"))


@dataclass(frozen=True)
class Study:
    """A description as it stands in its file, checked.

    ``how``: the arguments of :func:`emgreview.read` for each file; ``also``: further patterns, each with its own.
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
    also: tuple[tuple[Pattern, Mapping[str, Any]], ...] = ()

    @property
    def patterns(self) -> tuple[Pattern, ...]:
        return (self.pattern, *(pattern for pattern, _ in self.also))

    @cached_property
    def found(self) -> dict[Path, tuple[int, dict[str, str]]]:
        """By file: which pattern it fits, and what its name says. Raises FormatError where it fits two."""
        found: dict[Path, tuple[int, dict[str, str]]] = {}
        for place, pattern in enumerate(self.patterns):
            for path, said in pattern.files(self.folder):
                if path in found:
                    raise FormatError(
                        f"{path.name} fits two patterns of {self.path.name}, {self.patterns[found[path][0]].text!r} "
                        f"and {pattern.text!r}, so how it is read cannot be told; make one of them fit fewer files."
                    )
                found[path] = place, said
        return found

    @property
    def folder(self) -> Path:
        return self.path.parent

    @cached_property
    def files(self) -> dict[str, list[tuple[Path, dict[str, str]]]]:
        """By name of the recording: its files, with what their names say."""
        found: dict[str, list[tuple[Path, dict[str, str]]]] = {}
        for path, (_, said) in self.found.items():
            found.setdefault(name_of(self.entities(said), path.stem), []).append((path, said))
        for name, parts in found.items():
            places = [self.found[path][0] for path, _ in parts]
            for place, pattern in enumerate(self.patterns):
                if places.count(place) > 1 and not set(PARTS) & set(pattern.words):
                    first, second = [path.name for path, _ in parts if self.found[path][0] == place][:2]
                    raise FormatError(
                        f"{first} and {second} would both be called {name!r}; put what tells them apart into the "
                        "pattern: {run}, or {part} for files that follow one another, {side} for files of other "
                        "channels."
                    )
            for word in ENTITIES | {CONDITION: ""}:
                if len({said[word] for _, said in parts if word in said}) > 1:
                    raise FormatError(
                        f"{parts[0][0].name} and {parts[-1][0].name} would both be called {name!r}: names of "
                        "recordings hold letters and digits alone, and no condition; put what tells them apart into "
                        "the pattern as {run} or {task}, or rename one of them."
                    )
        return dict(sorted(found.items()))

    def said(self, name: str) -> dict[str, str]:
        """What the names of a recording's files say."""
        return {word: text for _, said in reversed(self.files[name]) for word, text in said.items()}

    @cached_property
    def tables(self) -> TrialTables | None:
        """The tables of trials, which know what the names of all files say."""
        words = self.trials.of_columns if self.trials is not None else ()
        known = {word: frozenset(said[word] for _, said in self.found.values() if word in said) for word in words}
        before = {word: self.before(word) for word in words}
        return None if self.trials is None else replace(self.trials, known=known, before=before)

    def before(self, word: str) -> str:
        """The letters that stand right before a word in the names of the files: "P" in "P{participant}.csv"."""
        return next((pattern.before(word) for pattern in self.patterns if word in pattern.words), "")

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
        parts, said = self.files[name], self.said(name)
        rec = join_parts([(self._read(path), said) for path, said in parts], name)
        rec = replace(rec, name=name, entities=self.entities(said))
        rec = self._described(rec)
        if "channel" in self.cues:
            how = {key: self.cues[key] for key in ("level", "edge", "hold_off_s", "codes", "mask") if key in self.cues}
            rec = with_cues(rec, self.cues["channel"], label=self.label, **how)
        rec = self._together(rec)
        n_cues = sum(self.cue_of(marker.label) for marker in rec.markers)
        if self.cues.get("expect", n_cues) != n_cues:
            words = f"{n_cues} cues {self.label!r} were found, {EXPECTS} {self.cues['expect']}."
            tell(f"{name}: {words}")
            rec = replace(rec, notes=(*rec.notes, words))
        if CONDITION in said:
            rec = rec.with_markers([replace(m, details={CONDITION: said[CONDITION], **m.details}) for m in rec.markers])
        if self.tables is not None:
            rec = rows_of(rec, self.tables, self.folder, said, self.cue_of, self.aligned.get(name))
        return rec

    def _read(self, path: Path) -> Recording:
        """One file, its channel of cues as none of a muscle: a level is in the unit that the file has."""
        kinds = {label: said["kind"] for label, said in self.channels.items() if "kind" in said}
        if "channel" in self.cues:
            kinds.setdefault(self.cues["channel"], "TRIG")
        how = (self.how, *(how for _, how in self.also))[self.found[path][0]]
        parted = bool(self.also or set(PARTS) & set(self.pattern.words))  # then not every file has every channel
        return read_of(path, **how, kinds=kinds or None, of_some=parted)

    @property
    def label(self) -> str:
        return str(self.cues.get("label", "cue"))

    def cue_of(self, label: str) -> bool:
        """Whether a marker is a cue: of codes, any of them."""
        return label == self.label or (bool(self.cues.get("codes")) and label.startswith(f"{self.label} "))

    def _together(self, rec: Recording) -> Recording:
        """Markers of several labels under that of the cues, each with what the file calls it as its column "marker"."""
        wanted = self.cues.get("markers")
        if wanted is None:
            return rec
        there = {marker.label for marker in rec.markers}
        if not there & set(wanted):
            raise UnknownNameError("marker", wanted[0], sorted(there), where=rec.name)
        if lacking := [label for label in wanted if label not in there]:
            words = f"There is no marker {', '.join(map(repr, lacking))}, which the description names as a cue."
            rec = replace(rec, notes=(*rec.notes, words))
        return rec.with_markers(
            [
                replace(marker, label=self.label, details={**marker.details, MARKER: marker.label})
                if marker.label in wanted
                else marker
                for marker in rec.markers
            ]
        )

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
    several = files.pop("also", [])
    good = isinstance(several, list) and all(isinstance(one, Mapping) for one in several)
    demand(good, f"also below [files] of {path.name}", several, "tables: [[files.also]] and lines below each")
    pattern, how = _files(path, files, "[files]")
    also = tuple(_files(path, dict(one), "[[files.also]]") for one in several)
    for key, allowed in _TABLES.items():
        for name in said.get(key, {}) if allowed else ():
            if name not in allowed:
                raise UnknownNameError(f"line below [{key}]", name, sorted(allowed), where=path.name)
    channels = {label: dict(one) for label, one in said.get("channels", {}).items() if _is_table(path, label, one)}
    return Study(
        path=path,
        name=str(said.get("name", path.absolute().parent.name)),
        pattern=pattern,
        how=how,
        also=also,
        channels=channels,
        cues=_cues(path, dict(said.get("cues", {}))),
        participants={key: str(value) for key, value in said.get("participants", {}).items()},
        trials=TrialTables.of(path, said["trials"], (pattern, *(one for one, _ in also)))
        if said.get("trials")
        else None,
        aligned={str(one.get("recording")): one for one in said.get("trials", {}).get("aligned", [])},
    )


def without_answered(files: Mapping[str, Any]) -> dict[str, Any]:
    """What is said of files, without a "?" that another argument answers."""
    return {name: value for name, value in files.items() if not (value == "?" and ANSWERS.get(name) in files)}


def _files(path: Path, files: dict[str, Any], where: str) -> tuple[Pattern, dict[str, Any]]:
    """A pattern, and how the files that fit it are read."""
    if not isinstance(files.get("pattern"), str):
        raise ParameterError(
            f"{path.name} lacks the pattern of its files below {where}; give it there: pattern = "
            '"P{participant}_{task}_run{run}.csv", from the folder of the description.'
        )
    files = without_answered(files)
    if open_ := [name for name, value in files.items() if _asked(value)]:
        raise ParameterError(f"{path.name}: {', '.join(open_)} below {where} still holds '?'; say what is right there.")
    pattern = Pattern(files.pop("pattern"))
    if isinstance(files.get("columns"), list):
        files["columns"] = [None if label == LEFT_OUT else label for label in files["columns"]]
    return pattern, files


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
    if "markers" in said:
        good = isinstance(said["markers"], list) and all(
            isinstance(one, str) and one.strip() for one in said["markers"]
        )
        demand(good and said["markers"], f"markers below [cues] of {path.name}", said["markers"], "a list of labels")
        if "channel" in said:
            raise ParameterError(
                f"{path.name}: markers and channel came below [cues]; allowed: one of them: markers of the files, or "
                "those that are found in a channel; take the other out."
            )
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
    if {"channel", "markers"} & set(said) and "label" not in said:
        said["label"] = "cue"
    return said
