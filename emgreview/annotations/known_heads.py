"""What a review folder knows of its logs beside the logs themselves: a log that was cut back, emptied, removed or
written anew is noticed where a sealed version, or the log of a third reviewer, names a line that it held.

To go on from such a log, as after a backup was restored, is a person's decision, and a line of the log that keeps it. A
log that stood twice, in two places, is missed until such a line says so, unless the other one holds all that is known
of it. Nobody misses what was withdrawn (:mod:`withdrawals`). A version that cannot be read, or names what no log is
called, names nothing: it is set apart, and told.

    Head            a line that a log is known to have held
    known_heads     those that versions and other logs name
    lost            those of them that a log does not hold
    elsewhere       whether a log of the same name, in another place, holds one
    cut_back        what a person is told of a log, and how to go on
    accepted        what was decided of lost lines so far
    demand_whole_logs   refuse to compare or settle what lacks lines
    told_of_logs        what is told of logs that are not open
    told_of_folder      what is told of what nobody reads: versions set apart, copies, those withdrawn
"""

import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

from emgreview.annotations.events import Event, decode
from emgreview.annotations.files import MOST_LOG
from emgreview.annotations.places import is_place, logs_in, strays
from emgreview.annotations.versions import descriptions
from emgreview.annotations.withdrawals import Withdrawal, demand_gone, events_in, told_of, withdrawals
from emgreview.errors import LogError
from emgreview.plain_files import read_small

GO_ON = "go on after loss"
"""The operation by which a person goes on from a log that lacks lines."""


class Head(NamedTuple):
    """Line number ``lines``, counted from 1, of the log ``where`` had this SHA-256; ``by`` says who names it."""

    by: str
    where: str
    lines: int
    sha256: str


def known_heads(
    folder: Path, wanted: Callable[[str], bool], gone: Collection[str] | None = None, *, all_logs: bool = False
) -> list[Head]:
    """The heads of some logs, by their places in the folder, that sealed versions and adjudications name, but for those
    ``gone``, which were withdrawn. Read are the versions and the logs that are not ``wanted`` (with ``all_logs`` these,
    too); what cannot be read names nothing: ``verify`` tells it."""
    gone = {where for one in withdrawals(folder) for where in one.logs} if gone is None else gone

    def missed(where: str) -> bool:
        return wanted(where) and where not in gone and is_place(where)

    found = []
    for name, description, _ in descriptions(folder):
        if description is not None:
            found += _heads(f"version {name!r}", description["logs"], missed)
    for path in logs_in(folder):
        where = path.relative_to(folder).as_posix()
        if wanted(where) and not all_logs:
            continue
        try:
            lines = read_small(path, MOST_LOG).split(b"\n")
        except OSError:
            continue
        for line in lines:
            if b'"operation":"adjudicate"' in line:
                found += _of_adjudication(where, line, missed)
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


def elsewhere(head: Head, others: Mapping[str, list[str]]) -> bool:
    """Whether a log of the same name, in another place, holds a head, as where it was moved, or stood twice."""
    name = PurePosixPath(head.where).name
    return any(
        where != head.where and PurePosixPath(where).name == name and not lost([head], {head.where: digests})
        for where, digests in others.items()
    )


def demand_whole_logs(folder: Path, reviewer: str) -> None:
    """LogError where a log of a reviewer lacks lines that are known, unless the reviewer went on from it, or where one
    that was withdrawn stands there again."""
    demand_gone(folder, by(reviewer))
    for words in told_of_logs(folder, known_heads(folder, by(reviewer))):
        raise LogError(f"{words}. Reviewer {reviewer!r} does so on opening the review.")


def by(reviewer: str) -> Callable[[str], bool]:
    """Whether a log, by its place in the folder, is of a reviewer."""
    return lambda where: where.endswith(f"_reviewer-{reviewer}.jsonl")


def told_of_logs(folder: Path, heads: Sequence[Head]) -> Iterator[str]:
    """What a person is told of each log, as the file is, that lacks some of these lines and from which nobody went
    on."""
    there = {path.relative_to(folder).as_posix(): path for path in logs_in(folder)}
    for where in sorted({head.where for head in heads}):
        name = PurePosixPath(where).name
        alike = {one: _lines(path) for one, path in there.items() if path.name == name}
        digests = {one: [hashlib.sha256(line).hexdigest() for line in lines] for one, lines in alike.items()}
        went_on: set[tuple[str, int, str]] = set()
        for one, lines in alike.items():
            went_on |= set(accepted(events_in(b"\n".join([*lines, b""]), GO_ON), one))
        own = [head for head in heads if head.where == where and head[1:] not in went_on]
        if gone := [head for head in lost(own, digests) if not elsewhere(head, digests)]:
            lines = alike.get(where, [])
            twin = next((one for one in alike if one != where), "") if not lines else ""
            yield cut_back(where, gone, len(lines), _time(lines[-1]) if lines else "", twin)


def told_of_folder(
    folder: Path, known: Sequence[Withdrawal], *, names: bool = True, reviewers: Sequence[str] | None = None
) -> tuple[str, ...]:
    """What is told, briefly, of what nobody reads: of all reviewers, or only of those named; ``names`` False for who
    must not know who is in the review."""
    of_these = [by(one) for one in reviewers or ()]
    wanted = (lambda where: any(one(where) for one in of_these)) if reviewers else (lambda where: True)
    told = list(told_of(known, wanted)) if names else [told_unnamed(len(known))]
    for name, description, why in descriptions(folder):
        if description is None:
            said = f": {why.rstrip('.')}" if names else ""
            told.append(f"Version {name!r} is set apart, and no log is held against it{said}; verify tells more.")
    if copies := [path for path in strays(folder) if reviewers is None or wanted(path.name)]:
        first = f" ({copies[0].relative_to(folder).as_posix()} the first)" if names else ""
        told.append(
            f"{len(copies)} file{'s' * (len(copies) != 1)} below 'logs' that end as logs do are passed over{first}; "
            "verify names each; a copy belongs outside the review folder."
        )
    return tuple(filter(None, told))


def told_unnamed(count: int) -> str:
    """That people were withdrawn, for who must not know who."""
    return f"Withdrawn from this review, without a name here: {count}; somebody else may ask verify." if count else ""


def _lines(path: Path) -> list[bytes]:
    """The lines of a log; none where it is gone, or nothing that can be read."""
    try:
        return read_small(path, MOST_LOG).split(b"\n")[:-1]
    except OSError:
        return []


def _time(line: bytes) -> str:
    try:
        return str(decode(line)[0].get("time"))
    except LogError:
        return "a time that cannot be read"


def accepted(events: Iterable[Event], where: str) -> dict[tuple[str, int, str], Event]:
    """The lost lines, by log, number and SHA-256, from which the log at a place says that a person went on, with the
    event. A line names a log where it is another: one that stood twice."""
    return {
        (line.get("log", where), line["lines"], line["sha256"]): event
        for event in events
        if event.operation == GO_ON
        for line in event.new["lost"]
    }


def cut_back(where: str, gone: Iterable[Head], held: int, last: str, twin: str = "") -> str:
    """That a log lacks lines, since when, and how to go on. ``held``: how many it holds, the last of ``last``;
    ``twin``: where another log of the same reviewer and recording stands."""
    gone = sorted(gone, key=lambda head: head.lines)
    furthest, name = gone[-1], PurePosixPath(where).name
    others = len({head.by for head in gone}) - 1
    also = f" ({others} more rest on lost lines, too)" if others else ""
    if held == 0 and twin:
        return (
            f"{where} is gone, where a second log of this reviewer on this recording stood beside {twin}: "
            f"{furthest.by} rests on its line {furthest.lines}{also}. Put it back; or, where it was moved out because "
            "one of the two stands, go on without it by log_restored='why' on opening that recording: the log keeps "
            "these words"
        )
    if held == 0:
        now = "and nothing is there now"
    elif furthest.lines > held:
        now = f"and it ends with line {held} of {last} now: what was decided after that is not in it"
    else:
        now = "and that line is another now: the log was written anew"
    left = "; where the person withdrew, or the recording left the study, er.withdraw says so" if held == 0 else ""
    return (
        f"{name} was cut back, emptied or exchanged: {furthest.by} rests on its line {furthest.lines}, {now}{also}. "
        "Put a newer copy of the file back; or, where this is a backup that was restored, go on from it by "
        f"log_restored='why': the log keeps these words{left}"
    )
