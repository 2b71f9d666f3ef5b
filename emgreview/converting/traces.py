"""What in a source may say who a person is, with what a conversion makes of it.

identifying(data)       a list for a person to read, values shortened
traces_of(...)          the same of one recording, which a conversion counts
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from emgreview.converting.origins import Origin, origin_of
from emgreview.converting.rules import REMOVED, Rules, names_people, words_of_people
from emgreview.errors import EmgreviewError, ParameterError
from emgreview.model import Recording
from emgreview.reading import Dataset
from emgreview.showing import Sheet, Shown

JUDGE = (
    "A machine cannot judge voices in channels of sound, what a comment or an unusual label tells to those who know, "
    "whether a rare condition, an age, a place or a small sample gives a person away, nor whether a signal itself "
    "does; look at every kept label and column yourself.",
    "Removing names is not the same as making data anonymous: with the key that you keep, and often without it, they "
    "stay personal data. Who may have them is for your consent forms, ethics approval and data protection rules.",
)
"""What is said wherever personal data are listed or removed."""

NAMED = "a general name, unless you give one"
_NO_PEOPLE = ("TaskName", "Institution", "Manufacturer", "Software", "Electrode")
"""Beginnings of fields whose names are no people's."""

_SOUND = re.compile(r"audio|sound|voice|speech|\bmic", re.IGNORECASE)

CODES = "replaced by codes, as you name them"
GONE, BY_X, SHIFTED, LOOK = "removed", "replaced by X", "moved to other days", "kept: look at it"


@dataclass(frozen=True, slots=True)
class Trace:
    """Something that may say who a person is.

    Attributes
    ----------
    where : str
        The recording, or the file of the dataset.
    what : str
        The field, column or label.
    shown : str
        The beginning of the value, and how long it is.
    becomes : str
        What a conversion makes of it.
    """

    where: str
    what: str
    shown: str
    becomes: str


@dataclass(frozen=True, repr=False)
class Identifying(Shown):
    """What may say who a person is; :func:`emgreview.identifying` returns it.

    Attributes
    ----------
    traces : tuple of Trace
        One for each place: ``where``, ``what``, ``shown`` (shortened) and ``becomes``.
    failed : mapping of str to str
        Recordings that could not be read, and why.
    """

    traces: tuple[Trace, ...]
    failed: Mapping[str, str] = field(default_factory=dict)

    def _parts(self) -> Iterator[Sheet | str]:
        rows = [(one.where, one.what, one.shown, one.becomes) for one in self.traces]
        yield Sheet("May say who a person is", ("where", "what", "value, shortened", "convert() with scrub"), rows)
        yield from (f"{name} cannot be read: {words}" for name, words in self.failed.items())
        yield from JUDGE


def identifying(data: Dataset | Recording | Iterable[Recording]) -> Identifying:
    """List what may say who a person is: header fields, names of files, labels, columns, dates.

    Parameters
    ----------
    data : Dataset, Recording or iterable of Recording
        What would be converted.

    Returns
    -------
    Identifying
        Each place with a shortened value, and what :func:`convert` makes of it.

    Raises
    ------
    ParameterError
        ``data`` is none of these.
    ReadError
        A file beside a recording is malformed.

    Notes
    -----
    Fields and columns are judged by their names and by the form of their values. No machine
    sees all: the sentences at the end of the list say what a person has to look at.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     data = er.read_dataset(er.write_demo(folder, participants=1, trials=1))
    ...     found = er.identifying(data)
    >>> [one.what for one in found.traces if one.becomes == "removed"][1:3]
    ['TaskDescription', 'Instructions']
    """
    found: list[Trace] = []
    failed: dict[str, str] = {}
    for name, rec in each(data):
        if isinstance(rec, EmgreviewError):
            failed[name] = str(rec)
            continue
        origin = origin_of(rec.name, rec.source.file)
        others = others_of(data, name)
        rules = Rules(words=words_in([origin, *others], people_rows(data)), codes=origin.codes)
        found += traces_of(rec, origin, rules)
        for one in others:
            found += [Trace(name, f"header: {field}", shortened(text), BY_X) for field, text in one.said.items()]
            found.append(Trace(name, "file name", shortened(one.path.name if one.path else ""), CODES))
    if isinstance(data, Dataset):
        found += traces_in_dataset(data, Rules())
    return Identifying(tuple(found), failed)


def each(data: object) -> Iterator[tuple[str, Recording | EmgreviewError]]:
    """The recordings of what was given, or why one cannot be read, one after the other."""
    if isinstance(data, Dataset):
        for name in data.recordings.names:
            try:
                yield name, data.recordings[name]
            except EmgreviewError as why:
                yield name, why
        return
    several = [data] if isinstance(data, Recording) else data
    if isinstance(several, str | Path | Mapping) or not isinstance(several, Iterable):
        raise ParameterError(
            f"data came as a {type(data).__name__}; allowed: a dataset, a recording, or recordings; give what "
            "read_dataset(folder) or read(path) returns."
        )
    for rec in several:
        if not isinstance(rec, Recording):
            raise ParameterError(
                f"data holds a {type(rec).__name__}; allowed: recordings; give what read(path) returns."
            )
        yield rec.name, rec


def others_of(data: object, name: str) -> list[Origin]:
    """What its files say of a recording that a study makes of several; () of one that is one file."""
    if not isinstance(data, Dataset) or len(files := data.recordings.files_of(name)) < 2:
        return []
    return [origin_of(name, path) for path in files]


def people_rows(data: object) -> tuple[Mapping[str, str], ...]:
    return data.participants if isinstance(data, Dataset) else ()


def words_in(origins: Iterable[Origin], rows: Iterable[Mapping[str, str]]) -> frozenset[str]:
    """Words that name people: of headers, of columns and fields that hold names."""
    texts = []
    for one in origins:
        texts.append(one.said.get("patient identification", ""))
        parts = one.said.get("recording identification", "").split()
        texts += parts[3:4] if parts[:1] == ["Startdate"] and len(parts) >= 5 else []
        fields = {key: str(value) for key, value in one.metadata.items() if names_people(key)}
        texts += [value for key, value in fields.items() if not key.startswith(_NO_PEOPLE)]
    texts += [row[name] for row in rows for name in row if names_people(name) and name != "participant_id"]
    return words_of_people(texts)


def traces_of(rec: Recording, origin: Origin, rules: Rules) -> list[Trace]:
    """What a recording and its own files hold."""
    found = []

    def add(what: str, value: str, becomes: str) -> None:
        found.append(Trace(rec.name, what, shortened(value) if becomes != LOOK else value, becomes))

    if origin.path is not None:
        add("file name", origin.path.name, CODES)
    for name, text in origin.said.items():
        add(f"header: {name}", text, BY_X)
    if origin.day is not None:
        add("date and time", origin.day.isoformat(), SHIFTED)
    if origin.transducers and not {"transducer", "transducers"} & rules.keep:
        add("header: transducer type", "; ".join(origin.transducers), GONE)
    for key, value in origin.metadata.items():
        if not rules.field(key) and value != "n/a":
            add(key, str(value), GONE)
    add("channel labels", ", ".join(rec.labels), LOOK)
    for label in rec.labels:
        if rules.names_a_person(label):
            add("channel label", label, "another label is asked for")
    if sounds := [one.label for one in rec.channels if one.kind == "AUDIO" or _SOUND.search(one.label)]:
        add("channels of sound, which may hold voices", ", ".join(sounds), LOOK)
    if rec.entities.get("sub"):
        add("participant code", rec.entities["sub"], LOOK)
    for channel in rec.channels:
        if channel.status_description and "status_description" not in rules.keep:
            add("status_description", channel.status_description, GONE)
    often = Counter(marker.label for marker in rec.markers)
    kept = [label for label, n in often.items() if rules.label(label, n) == label]
    if kept:
        add("marker labels", ", ".join(kept), LOOK)
    for label, n in often.items():
        if label not in kept:
            becomes = "words removed, moment kept" if rules.label(label, n) == REMOVED else "names in it replaced by X"
            found += [Trace(rec.name, "marker label", shortened(label), becomes)] * n
    for name in dict.fromkeys(name for marker in rec.markers for name in marker.details):
        values = [marker.details[name] for marker in rec.markers if name in marker.details]
        if name != "trial_type" and (why := rules.column(name, values)):
            add(f"column {name} of the events ({why})", values[0], GONE)
    return found


def traces_in_dataset(data: Dataset, rules: Rules) -> list[Trace]:
    """What the files at the top of a dataset hold."""
    found = []
    for name in dict.fromkeys(name for row in data.participants for name in row):
        values = [row.get(name, "n/a") for row in data.participants]
        if name == "participant_id":
            continue
        if why := rules.column(name, values, people=True):
            found.append(Trace("participants.tsv", f"column {name} ({why})", shortened(values[0]), GONE))
        else:
            found.append(Trace("participants.tsv", f"column {name}", "", LOOK))
    for key in data.description:
        if key == "Name" and "Name" not in rules.keep:
            found.append(Trace("dataset_description.json", key, shortened(str(data.description[key])), NAMED))
        if key not in ("Name", "BIDSVersion", "DatasetType", "License", "GeneratedBy") and not rules.field(key):
            found.append(Trace("dataset_description.json", key, shortened(str(data.description[key])), GONE))
    texts = [
        one for one in sorted(data.folder.iterdir()) if one.suffix in ("", ".md", ".rst", ".txt") and one.is_file()
    ]
    found += [Trace(one.name, "text", "", "not copied") for one in texts if not one.name.startswith(".")]
    return found


def shortened(value: str) -> str:
    """The beginning of a value, and how long it is."""
    value = " ".join(value.split())
    start = value[: min(2, len(value) // 4)]
    return f"{start}… ({len(value)} characters)" if value else ""
