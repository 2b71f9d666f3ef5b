"""A point of the logs: what one reviewer had decided by then, over all of that reviewer's logs.

A point is the name of a sealed version; a command's number (an int: the ``counter`` of its line); the SHA-256 of a
line, or its first 8 digits or more; or "now".

    find_point      a point, and what the logs say up to it
    take_until      the events of a log up to a head
    Point           where it is
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.events import Event
from emgreview.annotations.files import demand_review_folder
from emgreview.annotations.log import read_log
from emgreview.annotations.versions import read_sealed, sealed_names
from emgreview.errors import LogBrokenError, LogError, ParameterError, UnknownNameError

NOW = "now"


@dataclass(frozen=True)
class Point:
    """A moment of one reviewer's logs. ``lines`` holds how many lines of each log, by path; ``replay`` what they add up
    to; ``facts`` what they say of each recording, its rate and methods among them; ``notes`` the events about the
    review itself; ``values`` what stands, where that is more than what this reviewer decided."""

    name: str
    reviewer: str
    lines: dict[str, int] = field(default_factory=dict)
    replay: states.Replay = field(default_factory=states.Replay)
    facts: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: list[Event] = field(default_factory=list)
    values: Mapping[states.Key, Any] | None = None

    @property
    def blind(self) -> bool:
        """Whether the review is blind: what is written last of any recording was, and none has been unblinded."""
        facts = self.facts.values()
        return any(one["blind"] for one in facts) and not any(one.get("unblinded") for one in facts)

    @property
    def standing(self) -> Mapping[states.Key, Any]:
        return self.replay.values if self.values is None else self.values

    def value(self, key: states.Key) -> Any:
        value = self.standing.get(key)
        return states.DEFAULTS.get(key[3]) if value is None else value

    def take(self, event: Event) -> None:
        self.replay.read(event)
        facts = self.facts.setdefault(str(event.subject["recording"]), {"participant": event.subject["participant"]})
        facts["blind"] = event.blind
        if event.field == "blind":
            facts["unblinded"] = True
        if event.field == "log":
            self.notes.append(event)
        if event.field in ("log", "method"):
            facts.update(event.new)


def find_point(folder: Path, name: str | int = NOW, reviewer: str | None = None) -> Point:
    """A point; ``reviewer`` says whose logs are meant where it does not.

    Raises UnknownNameError (no such version or reviewer), ParameterError (no such line, or whose logs is not clear),
    LogError (a log is broken, or is not the one that was sealed).
    """
    demand_review_folder(folder)
    logs = {path.relative_to(folder).as_posix(): path for path in sorted((folder / "logs").rglob("*_reviewer-*.jsonl"))}
    if name in sealed_names(folder):
        description, _ = read_sealed(folder, str(name))
        return _sealed_point(folder, str(name), description, logs)
    if isinstance(name, str) and re.fullmatch(r"[0-9a-fA-F]{8,64}", name):
        reviewer, counter = _find(logs, name.lower())
        return _point_at(f"line {name[:8]}", reviewer, counter, logs)
    if not isinstance(name, str | int) or isinstance(name, bool):
        raise ParameterError(
            f"a point of the logs came as {name!r}; allowed: the name of a sealed version "
            f"({', '.join(sealed_names(folder)) or 'none yet'}), the number of a command as a whole number, the "
            f"SHA-256 of a line, or {NOW!r}; give one of them."
        )
    number = type(name) is int or (isinstance(name, str) and name.isdigit())
    if not number and name != NOW:
        raise UnknownNameError(
            "version or point of the logs", name, [*sealed_names(folder), NOW, "a number", "a SHA-256"]
        )
    reviewer = _reviewer(logs, reviewer)
    return _point_at(str(name), reviewer, None if name == NOW else int(name), logs)


def _sealed_point(folder: Path, name: str, description: Mapping[str, Any], logs: Mapping[str, Path]) -> Point:
    point = Point(name, description["reviewer"])
    for where, head in description["logs"].items():
        if not where.endswith(f"_reviewer-{point.reviewer}.jsonl"):
            continue
        if where not in logs:
            raise LogError(f"version {name!r} rests on {where}, which is not there; restore it from a copy.")
        take_until(logs[where], head, point.take)
        point.lines[where] = head["lines"]
    return point


def take_until(path: Path, head: Mapping[str, Any], take: Any) -> bytes:
    """Hand over the events up to the head that a version names, and return their bytes. Raises LogError unless the log
    holds just that head."""
    found: list[Event] = []
    content = read_log(path, found.append)
    count = head["lines"]
    heads = [event.prev for event in found[1:]] + [content.head]
    if not 0 < count <= len(found) or heads[count - 1] != head["sha256"]:
        why = content.problem or "the log was cut short or written anew since"
        raise LogError(
            f"line {count} of {path.name} is not the one that was sealed: {why}; restore it from a copy; see verify."
        )
    for event in found[:count]:
        take(event)
    return b"".join(line + b"\n" for line in content.lines[:count])


def _point_at(name: str, reviewer: str, counter: int | None, logs: Mapping[str, Path]) -> Point:
    point = Point(name, reviewer)
    for where, path in logs.items():
        if not where.endswith(f"_reviewer-{reviewer}.jsonl"):
            continue
        taken = 0

        def take(event: Event) -> None:
            nonlocal taken
            if counter is None or event.counter <= counter:
                point.take(event)
                taken += 1

        content = read_log(path, take)
        if content.problem:
            raise LogBrokenError(content.problem)
        point.lines[where] = taken
    return point


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
