"""What a review folder knows of its logs beside the logs themselves: a log that was cut back, emptied, removed or
written anew is noticed where a sealed version, or the log of a third reviewer, names a line that it held.

To go on from such a log, as after a backup was restored, is a person's decision, and a line of the log that keeps it.

    Head            a line that a log is known to have held
    known_heads     those that versions and other logs name
    lost            those of them that a log does not hold
    cut_back        what a person is told of a log, and how to go on
    accepted        what was decided of lost lines so far
    demand_whole_logs   refuse to compare or settle what lacks lines
    told_of_logs        what is told of logs that are not open
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import Event, decode, to_event
from emgreview.annotations.files import MOST_LOG
from emgreview.annotations.places import logs_in
from emgreview.annotations.versions import DESCRIPTION, sealed_names
from emgreview.errors import LogError
from emgreview.plain_files import read_json, read_small

GO_ON = "go on after loss"
"""The operation by which a person goes on from a log that lacks lines."""


class Head(NamedTuple):
    """Line number ``lines``, counted from 1, of the log ``where`` had this SHA-256; ``by`` says who names it."""

    by: str
    where: str
    lines: int
    sha256: str


def known_heads(folder: Path, wanted: Callable[[str], bool]) -> list[Head]:
    """The heads of some logs, by their places in the folder, that sealed versions and adjudications name. What cannot
    be read names nothing: ``verify`` tells it."""
    found = []
    for name in sealed_names(folder):
        try:
            description = read_json(folder / "versions" / name / DESCRIPTION)
        except OSError:
            continue
        if isinstance(description, Mapping):
            found += _heads(f"version {name!r}", description.get("logs"), wanted)
    for path in logs_in(folder):
        where = path.relative_to(folder).as_posix()
        if wanted(where):
            continue
        try:
            lines = read_small(path, MOST_LOG).split(b"\n")
        except OSError:
            continue
        for line in lines:
            if b'"operation":"adjudicate"' in line:
                found += _of_adjudication(where, line, wanted)
    return found


def _of_adjudication(where: str, line: bytes, wanted: Callable[[str], bool]) -> list[Head]:
    with suppress(LogError, AttributeError, TypeError, KeyError):
        event, whole, _ = decode(line)
        if whole and event.get("operation") == "adjudicate":
            by = f"line {event['seq'] + 1} of {where}"
            return [head for side in ("first", "second") for head in _heads(by, event["new"][side]["heads"], wanted)]
    return []


def _heads(by: str, logs: Any, wanted: Callable[[str], bool]) -> list[Head]:
    """Those that are well formed, of the logs that are wanted."""
    if not isinstance(logs, Mapping):
        return []
    return [
        Head(by, where, head["lines"], head["sha256"])
        for where, head in logs.items()
        if wanted(where)
        and isinstance(head, Mapping)
        and type(head.get("lines")) is int
        and head["lines"] > 0  # of an empty log: the first versions named it, and nothing rests on it
        and isinstance(head.get("sha256"), str)
    ]


def lost(heads: Iterable[Head], digests: Mapping[str, list[str]]) -> list[Head]:
    """The heads that a log does not hold. ``digests``: by log, the SHA-256 of every line, in order."""
    gone = []
    for head in heads:
        held = digests.get(head.where, [])
        if not 0 < head.lines <= len(held) or held[head.lines - 1] != head.sha256:
            gone.append(head)
    return gone


def demand_whole_logs(folder: Path, reviewer: str) -> None:
    """LogError where a log of a reviewer lacks lines that are known, unless the reviewer went on from it."""
    for words in told_of_logs(folder, known_heads(folder, by(reviewer))):
        raise LogError(f"{words}. Reviewer {reviewer!r} does so on opening the review.")


def by(reviewer: str) -> Callable[[str], bool]:
    """Whether a log, by its place in the folder, is of a reviewer."""
    return lambda where: where.endswith(f"_reviewer-{reviewer}.jsonl")


def told_of_logs(folder: Path, heads: Sequence[Head]) -> Iterator[str]:
    """What a person is told of each log, as the file is, that lacks some of these lines and from which nobody went
    on."""
    for where in sorted({head.where for head in heads}):
        path = folder / where
        try:
            lines = read_small(path, MOST_LOG).split(b"\n")[:-1]
        except OSError:  # gone, or nothing that can be read: none of its lines is there
            lines = []
        digests = {where: [hashlib.sha256(line).hexdigest() for line in lines]}
        went_on = accepted(_events(lines, GO_ON))
        own = [head for head in heads if head.where == where and (head.lines, head.sha256) not in went_on]
        if gone := lost(own, digests):
            yield cut_back(path.name, gone, len(lines), _time(lines[-1]) if lines else "")


def _time(line: bytes) -> str:
    try:
        return str(decode(line)[0].get("time"))
    except LogError:
        return "a time that cannot be read"


def _events(lines: Iterable[bytes], operation: str) -> Iterator[Event]:
    """The events of some lines of a log with an operation; lines that are none are passed over."""
    for line in lines:
        if f'"operation":"{operation}"'.encode() in line:
            with suppress(LogError):
                found, whole, _ = decode(line)
                if whole and found.get("operation") == operation and not misfit(found):
                    yield to_event(found)


def accepted(events: Iterable[Event]) -> dict[tuple[int, str], Event]:
    """The lost lines, by number and SHA-256, from which a log says that a person went on, with the event."""
    return {
        (line["lines"], line["sha256"]): event
        for event in events
        if event.operation == GO_ON
        for line in event.new["lost"]
    }


def cut_back(name: str, gone: Iterable[Head], held: int, last: str) -> str:
    """That a log lacks lines, since when, and how to go on. ``held``: how many it holds, the last of ``last``."""
    gone = sorted(gone, key=lambda head: head.lines)
    furthest = gone[-1]
    if held == 0:
        now = "and nothing is there now"
    elif furthest.lines > held:
        now = f"and it ends with line {held} of {last} now: what was decided after that is not in it"
    else:
        now = "and that line is another now: the log was written anew"
    others = len({head.by for head in gone}) - 1
    also = f" ({others} more rest on lost lines, too)" if others else ""
    return (
        f"{name} was cut back, emptied or exchanged: {furthest.by} rests on its line {furthest.lines}, {now}{also}. "
        "Put a newer copy of the file back; or, where this is a backup that was restored, go on from it by "
        "log_restored='why': the log keeps these words"
    )
