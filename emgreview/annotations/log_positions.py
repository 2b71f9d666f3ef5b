"""A point of the logs: what one reviewer had decided by then, over all of that reviewer's logs.

A point is the name of a sealed version; a command's number (an int: the ``counter`` of its line); the SHA-256 of a
line, or its first 8 digits or more; or "now".

    find_position    a point, and what the logs say up to it
    LogPosition      where it is
"""

import re
from collections.abc import Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.description import demand_whole
from emgreview.annotations.events import Event
from emgreview.annotations.files import demand_review_folder
from emgreview.annotations.ledger import Key, Ledger, carried, read_ledger
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import demand_no_twins, is_place, logs_in
from emgreview.annotations.versions import read_sealed, sealed_names
from emgreview.annotations.withdrawals import withdrawn
from emgreview.checks import refusal
from emgreview.errors import LogError, ParameterError, UnknownNameError

NOW = "now"


@dataclass(frozen=True)
class LogPosition:
    """A moment of one reviewer's logs. ``ledger`` is what they add up to; ``lines`` holds how many lines of each log,
    by path; ``settled`` what stands, where that is more than what this reviewer decided, ``told`` what is to be
    known of a version: that nothing says whether it is as it was sealed, and whose logs were withdrawn since;
    ``carried`` what was carried over from these after it was sealed, and stood when it was."""

    name: str
    reviewer: str
    ledger: Ledger
    lines: Mapping[str, int]
    settled: Mapping[Key, Any] | None = None
    told: tuple[str, ...] = ()
    carried: tuple[Event, ...] = ()

    @property
    def blind(self) -> bool:
        """Whether the review is blind: what is written last of any recording was, and none has been unblinded."""
        return any(said.blind for said in self.ledger.said.values()) and not self.ledger.unblinded

    @cached_property
    def facts(self) -> Mapping[str, Mapping[str, Any]]:
        """What the logs say of each recording, its rate and methods among it."""
        return {name: said.facts for name, said in self.ledger.said.items()}

    @property
    def notes(self) -> list[Event]:
        """The events about the review itself, in order."""
        return self.ledger.notes

    @property
    def decides(self) -> bool:
        """Whether any decision stands, of the two reviewers too where this one settled what they disputed."""
        settled = self.settled is not None and any(value is not None for value in self.settled.values())
        return settled or self.ledger.decides

    @cached_property
    def values(self) -> Mapping[Key, Any]:
        """The values that stand."""
        return self.ledger.values if self.settled is None else self.settled

    def value(self, key: Key) -> Any:
        value = self.values.get(key)
        return states.DEFAULTS.get(key.field) if value is None else value


def find_position(folder: Path, name: str | int = NOW, reviewer: str | None = None) -> LogPosition:
    """A point; ``reviewer`` says whose logs are meant where it does not.

    Raises UnknownNameError (no such version or reviewer), ParameterError (no such line, or whose logs is not clear),
    LogError (a log is broken, or is not the one that was sealed).
    """
    demand_review_folder(folder)
    logs = {path.relative_to(folder).as_posix(): path for path in logs_in(folder)}
    if name in sealed_names(folder):
        read = read_sealed(folder, str(name))
        return replace(_sealed_point(folder, str(name), read.whole, logs), told=read.notes)
    if isinstance(name, str) and re.fullmatch(r"[0-9a-fA-F]{8,64}", name):
        reviewer, counter = _find(logs, name.lower())
        return _point_at(f"line {name[:8]}", reviewer, counter, logs)
    if not isinstance(name, str | int) or isinstance(name, bool):
        raise refusal(
            "a point of the logs",
            name,
            f"the name of a sealed version ({', '.join(sealed_names(folder)) or 'none yet'}), the number of a command "
            f"as a whole number, the SHA-256 of a line, or {NOW!r}",
            "give one of them",
        )
    number = type(name) is int or (isinstance(name, str) and name.isdigit())
    if not number and name != NOW:
        raise UnknownNameError(
            "version or point of the logs", name, [*sealed_names(folder), NOW, "a number", "a SHA-256"]
        )
    reviewer = _reviewer(logs, reviewer)
    demand_no_twins(folder, reviewer)
    return _point_at(str(name), reviewer, None if name == NOW else int(name), logs)


def _sealed_point(folder: Path, name: str, description: Mapping[str, Any], logs: Mapping[str, Path]) -> LogPosition:
    demand_whole(description, name, ("reviewer",))
    reviewer = description["reviewer"]
    gone = {*withdrawn(folder)}
    heads = _own_heads(description["logs"], reviewer, {*logs}, gone)
    if lost := [where for where in heads if where not in logs]:
        raise LogError(f"version {name!r} rests on {lost[0]}, which is not there; restore it from a copy.")
    ledger = read_ledger({where: logs[where] for where in heads}, heads=heads)
    kept: tuple[Event, ...] = ()
    if any(where in gone and _is_of(where, reviewer) for where in description["logs"]):
        kept = _carried_before(name, logs, reviewer, {note.counter for note in ledger.notes})
        ledger.notes += kept
        ledger.settle()
    return LogPosition(name, reviewer, ledger, {where: head["lines"] for where, head in heads.items()}, carried=kept)


def _carried_before(name: str, logs: Mapping[str, Path], reviewer: str, known: Set[int]) -> tuple[Event, ...]:
    """What stood in a reviewer's withdrawn logs of the review as a whole when a version was sealed, but for what is
    ``known``: it was carried over later, each with its number, and sealing has numbers of its own. Raises LogError
    where what was to be settled is among it and no log says when the version was sealed."""
    found: list[Event] = []
    for where, path in logs.items():
        if _is_of(where, reviewer) and (problem := read_log(path, found.append).problem):
            raise LogError(f"what was carried over into {where} cannot be told: {problem}")
    notes = {(note.counter, note.operation): note for event in found for note in carried(event)}
    sealed = [event.counter for event in found if event.operation == "seal" and event.new["version"] == name]
    if not sealed and any(operation == "adjudicate" for _, operation in notes):
        raise LogError(
            f"version {name!r} cannot be rebuilt: between whom was settled stood in a log that was withdrawn, and no "
            "log that stays says when it was sealed; its table is what it is; seal anew."
        )
    before = min(sealed, default=0)
    return tuple(note for at, note in sorted(notes.items()) if at[0] < before and at[0] not in known)


def _own_heads(
    named: Mapping[str, Mapping[str, Any]], reviewer: str, there: Set[str], gone: Set[str]
) -> dict[str, Mapping[str, Any]]:
    """The heads of a reviewer's logs that a version rests on: not those that were withdrawn, nor a copy that is gone,
    in a place where no log stands, or beside the log itself: no review opened two of one recording."""
    own = {where: head for where, head in named.items() if _is_of(where, reviewer) and head["lines"]}
    standing = {Path(where).name for where in own if where in there}
    return {
        where: head
        for where, head in own.items()
        if where not in gone and (where in there or (is_place(where) and Path(where).name not in standing))
    }


def _point_at(name: str, reviewer: str, counter: int | None, logs: Mapping[str, Path]) -> LogPosition:
    ledger = read_ledger({where: path for where, path in logs.items() if _is_of(where, reviewer)}, until=counter)
    return LogPosition(name, reviewer, ledger, {where: head["lines"] for where, head in ledger.heads.items()})


def _is_of(where: str, reviewer: str) -> bool:
    return where.endswith(f"_reviewer-{reviewer}.jsonl")


def _find(logs: Mapping[str, Path], digest: str) -> tuple[str, int]:
    """Reviewer and counter of the line with this digest: its own, or that of its stored bytes."""
    found: set[tuple[str, int]] = set()
    for path in logs.values():
        before: tuple[str, int] | None = None

        def look(event: Event) -> None:
            nonlocal before
            if before and event.prev.startswith(digest):
                found.add(before)
            before = (event.reviewer, event.counter)
            if event.digest.startswith(digest):
                found.add(before)

        content = read_log(path, look)
        if before and content.head.startswith(digest):
            found.add(before)
    if len(found) != 1:
        how = f"{len(found)} lines of the logs have" if found else "no line of the logs has"
        raise ParameterError(f"{how} a SHA-256 that begins with {digest}; give one that exists, with more digits.")
    return found.pop()


def _reviewer(logs: Mapping[str, Path], reviewer: str | None) -> str:
    codes = sorted({path.stem.rpartition("_reviewer-")[2] for path in logs.values()})
    if reviewer is None and len(codes) == 1:
        return codes[0]
    if reviewer is None and codes:
        raise ParameterError(f"there are logs of reviewers {', '.join(codes)}; say whose with reviewer=...")
    if reviewer not in codes:
        raise UnknownNameError("reviewer with a log here", reviewer, codes)
    return str(reviewer)
