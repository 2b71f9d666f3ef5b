"""Who was recorded, in which task: the entities of each recording, and the days by which dates are shifted.

entities_for(names, ...)    the entities of every recording; what nobody said is asked for by name
stem(entities)              sub-01_task-reach_run-1
shifts_for(days, ...)       whole days for each participant
"""

import re
import secrets
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

from emgreview.errors import ParameterError

ORDER = ("sub", "ses", "task", "acq", "run", "recording")
"""Entities of an EMG recording, in the order in which BIDS writes them."""

NEWEST = date(1925, 12, 31)
"""BIDS recommends that shifted dates are of 1925 or earlier, so that nobody takes them for real ones."""

Entities = Mapping[str, str]


def entities_for(
    known: Mapping[str, Entities], people: Mapping[str, Entities] | None, task: object = None
) -> dict[str, dict[str, str]]:
    """Entities by the name of a recording: those that its name has, and those that ``people`` says, which win; ``task``
    for those of which neither says it."""
    label = re.sub(r"[^A-Za-z0-9]", "", task) if isinstance(task, str) else ""
    people = {} if people is None else people
    if not isinstance(people, Mapping) or not all(isinstance(one, Mapping) for one in people.values()):
        raise ParameterError(
            f"people came as a {type(people).__name__}; allowed: a mapping of names of recordings to entities; give "
            "people={'p01': {'sub': '01', 'task': 'press'}}."
        )
    if strange := [name for name in people if name not in known]:
        raise ParameterError(
            f"people names {_few(strange)}, and no recording is called so; there are: {_few(list(known))}; correct the "
            "names."
        )
    found: dict[str, dict[str, str]] = {}
    lacking: dict[str, list[str]] = {}
    for name, own in known.items():
        given = {**own, **{str(key): str(value) for key, value in people.get(name, {}).items() if value != ""}}
        given = ({"task": label} if label else {}) | {k: value.removeprefix(f"{k}-") for k, value in given.items()}
        for key, value in given.items():
            _check(name, key, value)
        for key in ("sub", "task"):
            if key not in given:
                lacking.setdefault(key, []).append(name)
        found[name] = {key: given[key] for key in ORDER if key in given}
    if lacking:
        words = "; ".join(f"{key} of {_few(names)}" for key, names in lacking.items())
        for_all = "one task for all is said by said={'TaskName': 'press'}; " if "task" in lacking else ""
        raise ParameterError(
            f"people does not say {words}; every recording needs sub, a code for the participant, and task, and "
            f"neither is guessed; {for_all}give people={{'" + next(iter(lacking.values()))[0] + "': {'sub': '01', "
            "'task': 'press', 'run': '1'}, …}."
        )
    by_stem: dict[str, list[str]] = {}
    for name, entities in found.items():
        by_stem.setdefault(stem(entities), []).append(name)
    if twice := next((names for names in by_stem.values() if len(names) > 1), None):
        raise ParameterError(
            f"recordings {_few(twice)} would both be called {stem(found[twice[0]])}; names must differ; say in people "
            "which run each is: {'run': '1'}, {'run': '2'}."
        )
    return found


def stem(entities: Entities) -> str:
    """The name of a recording."""
    return "_".join(f"{key}-{entities[key]}" for key in ORDER if key in entities)


def _check(name: str, key: str, value: str) -> None:
    if key not in ORDER:
        raise ParameterError(
            f"recording {name!r} has the entity {key!r}; BIDS allows of EMG: {', '.join(ORDER)}; leave it out, or give "
            "people for that recording, with 'recording' or 'acq' in its place."
        )
    form = r"\d+" if key == "run" else r"[A-Za-z0-9]+"
    if re.fullmatch(form, value) is None:
        allowed = "a whole number" if key == "run" else "letters a to z and digits"
        raise ParameterError(
            f"{key} of recording {name!r} came as {value!r}; allowed: {allowed}, nothing else; correct it in people."
        )


def shifts_for(
    days: Mapping[str, Sequence[datetime]], shift_days: int | Mapping[str, int] | None, scrub: bool
) -> dict[str, int]:
    """By participant, the whole days that are taken off every date; 0 keeps the dates. Drawn where nobody says, so that
    the newest date of each falls into 1900 to 1924."""
    if not (shift_days is None or _whole(shift_days) or isinstance(shift_days, Mapping)):
        raise ParameterError(
            f"shift_days came as {shift_days!r}; allowed: whole days to go back, 0 to keep dates, a mapping of "
            "participants to days, or None to draw them; give shift_days={'01': 40000}."
        )
    found = {}
    for sub, moments in days.items():
        newest = max(moments).date()
        told = shift_days.get(sub) if isinstance(shift_days, Mapping) else shift_days
        if told is None:
            told = 0 if not scrub or newest <= NEWEST else _drawn(newest)
        elif not _whole(told) or told < 0:
            raise ParameterError(
                f"shift_days of {sub!r} came as {told!r}; allowed: whole days from 0, by which dates go back; "
                "correct it."
            )
        elif told and newest - timedelta(days=told) > NEWEST:
            raise ParameterError(
                f"shift_days of {sub!r} came as {told}, and leaves dates after 1925, which would be taken for real "
                f"ones; allowed: 0 to keep dates, or {(newest - NEWEST).days} and more; correct it."
            )
        found[sub] = told
    return found


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _drawn(newest: date) -> int:
    first = date(1900, 1, 1)
    return (newest - first).days - secrets.randbelow((date(1924, 12, 31) - first).days)


def _few(names: Sequence[str]) -> str:
    return ", ".join(map(repr, names[:6])) + (f" … ({len(names)} in all)" if len(names) > 6 else "")
