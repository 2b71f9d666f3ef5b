"""Who was withdrawn from a review: a person says in a log whose logs are gone for good, and why; all that rests on them
goes on without, and says so.

Unlike a log that was lost, one that was withdrawn is missed by nobody: neither opening, nor comparing, settling or
sealing asks for it again. Versions sealed before stay what they are. See :mod:`withdrawing` for how it is done.

    Withdrawal      what one such line says
    withdrawals     those that the logs of a folder keep, in order
    withdrawn       by the place of a log, who withdrew it
    refuse          LogError where a recording of somebody who was withdrawn is opened
    demand_gone     LogError where a log that was withdrawn stands there again
    told_of         what is told where a count is without them
    told_of_version what is told of a version that was sealed with them
    events_in       the events of the bytes of a log with one operation
"""

import stat
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import Event, decode, digest_of, to_event
from emgreview.annotations.files import MOST_LOG
from emgreview.annotations.places import logs_in, recording_in
from emgreview.errors import LogError
from emgreview.plain_files import found_at, read_small

WITHDRAW = "withdraw"
"""The operation by which a person withdraws logs."""


class Withdrawal(NamedTuple):
    """What a line says: by whom and when, why, of which participant (None: of recordings alone) and recordings, the
    heads of the logs by their places, and the sealed versions that were removed, too."""

    reviewer: str
    time: str
    reason: str
    participant: str | None
    recordings: tuple[str, ...]
    logs: Mapping[str, Mapping[str, Any]]
    versions: tuple[str, ...] = ()

    @property
    def stated(self) -> dict[str, Any]:
        """The same as it stands in a line."""
        found = {"participant": self.participant, "recordings": list(self.recordings), "logs": dict(self.logs)}
        return found | ({"versions": list(self.versions)} if self.versions else {})

    @property
    def whom(self) -> str:
        """Who or what was withdrawn, in words."""
        if self.participant is not None:
            return f"participant {self.participant!r}"
        names = ", ".join(map(repr, self.recordings[:3])) + (" …" if len(self.recordings) > 3 else "")
        return f"recording{'s' * (len(self.recordings) > 1)} {names}"

    @property
    def said(self) -> str:
        """By whom, when and why."""
        return f"reviewer {self.reviewer!r} on {self.time}: {self.reason}"

    def concerns(self, where: str, participant: str | None) -> bool:
        """Whether a log at this place, of this participant, is about what was withdrawn."""
        if participant is not None and participant == self.participant:
            return True
        place = _about(where)
        return any(place == _about(one) for one in self.logs)


def events_in(content: bytes, operation: str) -> Iterator[Event]:
    """The events of a log with an operation; lines that are none, or are not as they were written, are passed over."""
    sign = f'"operation":"{operation}"'.encode()
    if sign not in content:
        return
    for line in content.split(b"\n")[:-1]:
        if sign in line:
            with suppress(LogError):
                found, whole, _ = decode(line)
                if whole and found.get("operation") == operation and not misfit(found):
                    yield to_event(found)


def withdrawals(folder: Path) -> list[Withdrawal]:
    """What the logs of a folder say, in order of time; the same word in several logs counts once."""
    found: dict[str, Withdrawal] = {}
    for path in logs_in(folder):
        try:
            events = list(events_in(read_small(path, MOST_LOG), WITHDRAW))
        except OSError:
            continue
        for event in sorted(events, key=lambda event: event.seq):
            new = event.new["withdrawn"]
            one = Withdrawal(
                event.reviewer,
                event.time,
                str(event.reason),
                new["participant"],
                tuple(new["recordings"]),
                {where: head for where, head in new["logs"].items() if _is_of(where, new)},
                tuple(new.get("versions", ())),
            )
            known = found.setdefault(digest_of(new), one)
            if one.time < known.time:
                found[digest_of(new)] = one
    return sorted(found.values(), key=lambda one: one.time)


def withdrawn(folder: Path) -> dict[str, Withdrawal]:
    """By the place of a log, who withdrew it."""
    return {where: one for one in withdrawals(folder) for where in one.logs}


def refuse(known: Iterable[Withdrawal], recording: str, where: str, participant: str | None) -> None:
    """LogError where a recording of somebody who was withdrawn is opened."""
    for one in known:
        if one.concerns(where, participant):
            raise LogError(
                f"recording {recording!r} is of {one.whom}, withdrawn from this review ({one.said}); nothing of it is "
                "kept or decided here; leave it out of what is opened."
            )


def demand_gone(folder: Path, wanted: Callable[[str], bool] = lambda where: True) -> None:
    """LogError where a log that was withdrawn stands there again."""
    for where, one in withdrawn(folder).items():
        if wanted(where) and (found := found_at(folder / where)) is not None and stat.S_ISREG(found.st_mode):
            raise LogError(f"{returned(where, one)}.")


def returned(where: str, one: Withdrawal) -> str:
    """That a log which was withdrawn stands there again, and what to do."""
    whom = repr(one.participant) if one.participant is not None else f"recordings={list(one.recordings)!r}"
    return (
        f"{where} was withdrawn ({one.said}), and stands there again, as a copy or a synchronised folder brings it "
        f"back; remove it: er.withdraw(folder, {whom}, …) does"
    )


def told_of(known: Iterable[Withdrawal], wanted: Callable[[str], bool] = lambda where: True) -> tuple[str, ...]:
    """A sentence each, of those of which some log is ``wanted``, by its place."""
    return tuple(
        f"Without {one.whom}, withdrawn from the review with {count} log{'s' * (count != 1)} ({one.said}). What was "
        "counted before that (versions, draws, what acceptance in bulk is worth) still has what was decided there."
        for one in known
        if (count := sum(map(wanted, one.logs)))
    )


def told_of_version(name: str, logs: Mapping[str, Any], known: Iterable[Withdrawal]) -> tuple[str, ...]:
    """A sentence for each withdrawal of logs that a version rests on."""
    return tuple(
        f"version {name!r} was sealed with {count} log{'s' * (count != 1)} of {one.whom}, withdrawn since "
        f"({one.said}): what it says of {'them' if len(one.recordings) > 1 else 'it'} stays in it, and cannot be "
        "rebuilt; leave that out, or seal anew"
        for one in known
        if (count := sum(where in logs for where in one.logs))
    )


def _is_of(where: str, new: Mapping[str, Any]) -> bool:
    """Whether a log can be of whom a line withdraws: it takes nobody else's along, whoever wrote it."""
    if new["participant"] is None:
        return recording_in(PurePosixPath(where).name) in new["recordings"]
    return PurePosixPath(where).parent.name in ("logs", f"sub-{new['participant']}")


def _about(where: str) -> tuple[str, str | None]:
    """The folder of a log and its recording."""
    path = PurePosixPath(where)
    return path.parent.as_posix(), recording_in(path.name)
