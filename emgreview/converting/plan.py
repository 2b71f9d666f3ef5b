"""What is settled before anything is written: who, what is said, what is removed, by how many days dates move.

prepared(data, ...)     a plan; what is missing is asked for by name
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from emgreview.checks import kind
from emgreview.converting import tables
from emgreview.converting.origins import Origin, origin_of
from emgreview.converting.people import entities_for, shifts_for
from emgreview.converting.rules import Rules, check_keep
from emgreview.converting.traces import each, others_of, people_rows, words_in
from emgreview.errors import EmgreviewError, ParameterError
from emgreview.model import Recording
from emgreview.reading import Dataset


@dataclass(frozen=True)
class Plan:
    """``olds`` are the old codes of participants by their new ones; ``failed`` are recordings with malformed files."""

    origins: Mapping[str, Origin]
    entities: Mapping[str, Mapping[str, str]]
    olds: Mapping[str, str]
    said: Mapping[str, object]
    labels: Mapping[str, str]
    rules: Rules
    shifts: Mapping[str, int]
    failed: Mapping[str, str]
    count: int


def prepared(
    data: Dataset | Recording | Iterable[Recording],
    people: Mapping[str, Mapping[str, str]] | None,
    said: Mapping[str, object] | None,
    labels: Mapping[str, str] | None,
    keep: Collection[str],
    scrub: bool,
    shift_days: int | Mapping[str, int] | None,
) -> Plan:
    """Check what was given against what the sources say. Raises ParameterError."""
    kind("scrub", scrub, bool, "True or False")
    files: dict[str, Path | None]
    if isinstance(data, Dataset):
        files = dict(data.recordings.files)
        known = {name: data.recordings.entities_of(name) for name in data.recordings.names}
    else:
        several = [(name, rec) for name, rec in each(data) if isinstance(rec, Recording)]
        recordings = dict(several)
        if len(recordings) < len(several):
            twice = next(name for name, n in Counter(name for name, _ in several).items() if n > 1)
            raise ParameterError(
                f"several recordings of data are called {twice!r}; names must differ, because people and the report go "
                "by them; rename one with dataclasses.replace(rec, name=…)."
            )
        files = {name: rec.source.file for name, rec in recordings.items()}
        known = {name: rec.entities for name, rec in recordings.items()}
    if not files:
        raise ParameterError("data holds no recording; allowed: one or more; give what read() returned.")
    entities = entities_for(known, people, said.get("TaskName") if isinstance(said, Mapping) else None)
    origins, failed, others = {}, {}, list[Origin]()
    for name, path in files.items():
        try:
            origins[name] = origin_of(name, path)
            others += others_of(data, name)
        except EmgreviewError as why:
            origins[name], failed[name] = Origin(name, path), str(why)
    every = [*origins.values(), *others]
    rules = Rules(scrub, check_keep(keep), words_in(every, people_rows(data)) if scrub else frozenset())
    for name, own in entities.items():
        if told := next((key for key, value in own.items() if rules.names_a_person(value)), None):
            raise ParameterError(
                f"{told} of recording {name!r} holds a word that the source has for a person's name; codes must not "
                f"name anybody; give another in people, or keep=[{own[told]!r}] where it is none."
            )
    olds: dict[str, str] = {}
    for name in files:
        new, old = f"sub-{entities[name]['sub']}", f"sub-{known[name].get('sub', entities[name]['sub'])}"
        if olds.setdefault(new, old) != old:
            raise ParameterError(
                f"people gives the code {new!r} to two participants of the source; each needs one of its own; correct "
                "it."
            )
    days: dict[str, list[datetime]] = {}
    for name, origin in origins.items():
        if origin.day is not None:
            days.setdefault(entities[name]["sub"], []).append(origin.day)
    shifts = shifts_for(days, shift_days, scrub)
    given = tables.said_of([one for name, one in origins.items() if name not in failed], said)
    return Plan(origins, entities, olds, given, dict(labels or {}), rules, shifts, failed, len(files))
