"""The check of a whole review folder, and how to go on where a log is broken.

verify          every log and every version of a folder
way_on          how to go on where a log is broken
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emgreview.annotations.events import Event
from emgreview.annotations.known_heads import Head, accepted, elsewhere
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import is_place, logs_in, strays, twins, twins_told
from emgreview.annotations.versions import read_sealed, sealed_names
from emgreview.annotations.withdrawals import returned, told_of, withdrawals
from emgreview.checks import review_folder
from emgreview.errors import LogError, ReadError, VersionError
from emgreview.legible import one_line
from emgreview.plain_files import found_at, is_folder


@dataclass(frozen=True, slots=True)
class Verified:
    """What :func:`emgreview.verify` found.

    Attributes
    ----------
    ok : bool
        Whether nothing is wrong.
    events : int
        Good lines of all logs.
    logs, versions : int
        How many logs and sealed versions there are.
    problems : tuple of str
        What is wrong, one sentence each.
    notes : tuple of str
        What a person has said of missing lines, and of people who were withdrawn, one
        sentence each: nothing is wrong, and what rests on those lines cannot be replayed.
    """

    ok: bool
    events: int
    logs: int
    versions: int
    problems: tuple[str, ...]
    notes: tuple[str, ...] = ()


def way_on(folder: Path, path: Path, good: int, problem: str) -> str:
    """How to go on where a log is broken after some good lines, in a sentence; "" where the problem says it itself."""
    if "CR LF" in problem:
        return ""
    if good == 0:
        return "None of its lines is good; restore it from a copy."
    rests = {}
    for name in sealed_names(folder):
        try:
            head = read_sealed(folder, name).description["logs"].get(path.relative_to(folder).as_posix())
        except (VersionError, KeyError, TypeError, AttributeError):
            continue
        if head and 0 < head["lines"] <= good:
            rests[head["lines"]] = name
    sealed = f", which hold all that sealed version {rests[max(rests)]!r} rests on," if rests else ""
    return (
        f"Without a copy, go on from its good lines: close the review, rename it to {path.name}.broken, and save the "
        f"first {good} lines of that{sealed} as {path.name} (head -n {good}); what came after them has to be decided "
        "again."
    )


def verify(folder: str | Path) -> Verified:
    """Check a review folder: every line of every log, every sealed version, and every head of a
    log that a version or a third log names.

    Changes nothing, and never raises for what it finds.

    Parameters
    ----------
    folder : str or Path
        The review folder, which holds "logs".

    Returns
    -------
    Verified
        Each finding is a sentence in ``problems``.

    Raises
    ------
    ParameterError
        ``folder`` is no path.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...     er.verify(folder).ok
    True
    """
    try:
        return _verified(review_folder(folder))
    except ReadError as why:  # what cannot be looked at could hold anything
        return Verified(False, 0, 0, 0, (one_line(str(why)),))


def _verified(folder: Path) -> Verified:
    problems: list[str] = []
    heads: dict[str, list[str]] = {}
    events = 0
    named: list[tuple[str, Mapping[str, Mapping[str, Any]]]] = []
    gone_on: dict[tuple[str, int, str], Event] = {}
    notes: list[str] = []
    sealed: list[tuple[str, Event]] = []
    for path in logs_in(folder):
        where = path.relative_to(folder).as_posix()
        found: list[Event] = []
        try:
            content = read_log(path, found.append)
        except (LogError, OSError) as why:
            problems.append(f"{where}: {why}")
            continue
        events += len(content.lines)
        heads[where] = [event.prev for event in found[1:]] + [content.head]
        if content.problem:
            problems.append(f"{content.problem} {way_on(folder, path, len(content.lines), content.problem)}".rstrip())
        elif content.torn:
            problems.append(
                f"{where} ends in an unfinished line; opening the review for writing moves it beside the log."
            )
        elif not content.lines:
            problems.append(f"{where} is empty; it never held a decision; remove it.")
        for event in found:
            if event.operation == "adjudicate":
                named += [
                    (f"line {event.seq + 1} of {where} was written", event.new[side]["heads"])
                    for side in ("first", "second")
                ]
            elif event.operation == "seal":
                sealed.append((where, event))
        gone_on |= accepted(found, where)
    problems += [twins_told(folder, alike) for alike in twins(logs_in(folder))]
    problems += [
        f"{path.relative_to(folder).as_posix()} is passed over: a log stands in 'logs' or 'logs/sub-XX', under the "
        "name RECORDING_reviewer-CODE.jsonl; a copy belongs outside the review folder; move it."
        for path in strays(folder)
    ]
    versions = sealed_names(folder)
    for version in versions:
        try:
            read = read_sealed(folder, version)
        except VersionError as why:
            problems.append(str(why))
            continue
        named.append((f"version {version!r} was sealed", read.description.get("logs", {})))
        notes += filter(None, (read.unvouched, *read.gone))
        digest = read.sha256
        if others := {
            where for where, event in sealed if event.new["version"] == version and event.new["sha256"] != digest
        }:
            problems.append(
                f"version {version!r} has SHA-256 {digest}, and {', '.join(sorted(others))} says that another was "
                "sealed; it was written anew since; restore it from a copy."
            )
    known = withdrawals(folder)
    removed = {version: one for one in known for version in one.versions}
    gone = problems if is_folder(folder / "versions") or removed else notes  # logs alone are whole without
    for version in sorted({event.new["version"] for _, event in sealed} - set(versions)):
        if version in removed:
            notes.append(f"version {version!r} was removed with {removed[version].whom} ({removed[version].said}).")
        else:
            gone.append(f"version {version!r} was sealed, as the logs say, and is not there; put it back from a copy.")
    notes += told_of(known)
    withdrew = {where: one for one in known for where in one.logs}
    problems += [f"{returned(where, one)}." for where, one in withdrew.items() if where in heads]
    for when, rests in named:
        for where, head in rests.items():
            if not head["lines"]:  # of an empty log: nothing rests on it
                continue
            if where in withdrew:  # said already
                continue
            lines, rests_on = heads.get(where), Head(when, where, head["lines"], head["sha256"])
            if said := gone_on.get((where, head["lines"], head["sha256"])):
                notes.append(
                    f"{when} when {where} held a line {head['lines']} that it lacks; reviewer {said.reviewer!r} went "
                    f"on from it on {said.time}: {said.reason}"
                )
            elif lines is None and elsewhere(rests_on, heads):
                notes.append(f"{when} when {where} was there; a log of that name in another place holds what it held.")
            elif lines is None and not is_place(where):
                notes.append(f"{when} when {where} was there, which an earlier package took for a log, and none is.")
            elif lines is None:
                problems.append(f"{when} when {where} was there, which is missing or unreadable.")
            elif not 0 < head["lines"] <= len(lines) or lines[head["lines"] - 1] != head["sha256"]:
                problems.append(
                    f"{when} when line {head['lines']} of {where} was another; the log was cut short or written anew "
                    "since."
                )
    if not is_folder(folder):
        what = "is a file" if found_at(folder) is not None else "does not exist"
        problems.append(f"{folder} {what}; a review is a folder that holds 'logs'; give the one in which it was made.")
    elif not heads and not problems:
        problems.append(f"no annotation log was found under {folder}; give the folder that holds 'logs'.")
    wrong, noted = (tuple(map(one_line, part)) for part in (problems, notes))  # names in them may be a stranger's
    return Verified(not wrong, events, len(heads), len(versions), wrong, noted)
