"""Sealed versions, and the check of a whole review folder.

    <folder>/versions/<name>/decisions.tsv      one row a burst or channel-trial, text as it is
    <folder>/versions/<name>/decisions.json     what the columns mean, and what the table rests on: its SHA-256, the
                                                head of every log, processing, detection, package versions

A version is written in a folder of another name, flushed, renamed, and its parent flushed: it is there whole or not at
all, and is never written again. Its digest is the SHA-256 of ``decisions.json``, which holds that of the table.
Anchoring that digest elsewhere (a paper, version control) also protects against whole logs being forged or cut short.

    demand_decided  refuse to seal where nothing was decided
    seal_version    write one
    sealed_names    the names there are
    read_sealed     its description and the bytes of its table, checked
    way_on          how to go on where a log is broken
    verify          every log and every version of a folder
"""

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emgreview.annotations.description import misfit
from emgreview.annotations.events import Event, check_name
from emgreview.annotations.files import MOST_LOG, FileSystem, demand_review_folder
from emgreview.annotations.log import read_log
from emgreview.checks import review_folder
from emgreview.errors import DecisionError, LogError, VersionError
from emgreview.plain_files import read_json, read_small

TABLE, DESCRIPTION = "decisions.tsv", "decisions.json"


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed version: what sealing returns.

    Attributes
    ----------
    name : str
        Its name.
    path : Path
        Its folder.
    sha256 : str
        The SHA-256 to quote, of ``decisions.json``, which holds that of the table.
    """

    name: str
    path: Path
    sha256: str


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
    """

    ok: bool
    events: int
    logs: int
    versions: int
    problems: tuple[str, ...]


def demand_decided(decides: bool, reviewer: str, folder: Path) -> None:
    """Raise DecisionError unless any decision of a reviewer stands."""
    if not decides:
        raise DecisionError(
            f"reviewer {reviewer!r} has decided nothing in {folder} so far, or has taken it all back; a version holds "
            "decisions; nothing was sealed; review first, or seal what another reviewer decided."
        )


def seal_version(
    folder: Path, name: str, table: bytes, description: Mapping[str, Any], files: FileSystem | None = None
) -> Sealed:
    """Write a version. ``description`` gains the table's digest and the heads of all logs.

    Raises VersionError if the name is taken, or it cannot be written; LogError if a log is broken.
    """
    files = files or FileSystem()
    target = folder / "versions" / check_name("version name", name)
    if target.exists():
        raise VersionError(
            f"version {name!r} exists already in {folder.name}; sealed versions never change; choose another name."
        )
    heads = {}
    for path in sorted((folder / "logs").rglob("*.jsonl")):
        content = read_log(
            path, lambda event: None, files
        )  # an unfinished last line, of another reviewer, never counted
        if content.problem:
            raise LogError(f"nothing was sealed: {content.problem}")
        heads[path.relative_to(folder).as_posix()] = {"lines": len(content.lines), "sha256": content.head}
    whole = {
        **description,
        "name": name,
        "table": {"file": TABLE, "sha256": hashlib.sha256(table).hexdigest()},
        "logs": heads,
    }
    text = (json.dumps(whole, indent=2, ensure_ascii=False, sort_keys=True, allow_nan=False) + "\n").encode()
    making = target.with_name(f".{name}.unfinished")
    try:
        if making.exists():
            shutil.rmtree(making)
        files.make_dirs(making)
        files.new_file(making / TABLE, table)
        files.new_file(making / DESCRIPTION, text)
        files.fsync_dir(making)
        files.replace(making, target)
        files.fsync_dir(target.parent)
    except OSError as why:
        raise VersionError(
            f"version {name!r} could not be written ({why.strerror or why}); see to the disk, and seal under another "
            "name if that one is now taken."
        ) from why
    return Sealed(name, target, hashlib.sha256(text).hexdigest())


def sealed_names(folder: Path) -> tuple[str, ...]:
    """The names of all sealed versions, sorted."""
    versions = folder / "versions"
    return tuple(sorted(path.name for path in versions.glob("[!.]*") if path.is_dir())) if versions.is_dir() else ()


def read_sealed(folder: Path, name: str, expect: str | None = None) -> tuple[dict[str, Any], bytes]:
    """The description and the table of a version. Raises VersionError unless every digest fits."""
    versions, there = folder / "versions", sealed_names(folder)
    if name not in there:
        if not (folder / "versions").is_dir():
            demand_review_folder(folder)
        raise VersionError(
            f"no version {name!r} in {folder.name}; there are: {', '.join(there) or 'none'}; check the name."
        )
    try:
        text = read_small(versions / name / DESCRIPTION)
        table = read_small(versions / name / TABLE, MOST_LOG)
        description = read_json(text, name=DESCRIPTION)
    except OSError as why:
        raise VersionError(f"version {name!r} cannot be read ({why}); restore its folder from a copy.") from None
    if why_not := misfit(description):
        raise VersionError(f"version {name!r} cannot be read ({why_not}); restore its folder from a copy.")
    wanted = description["table"]["sha256"]
    digest = hashlib.sha256(text).hexdigest()
    if expect is not None and digest != expect.lower():
        raise VersionError(
            f"version {name!r} has SHA-256 {digest}, but {expect} was expected; it is not the version that was quoted; "
            "restore it from a copy, or check the number."
        )
    if (came := hashlib.sha256(table).hexdigest()) != wanted:
        raise VersionError(
            f"the table of version {name!r} has SHA-256 {came}, but {wanted} was sealed; it was changed after sealing; "
            "restore it from a copy."
        )
    return description, table


def way_on(folder: Path, path: Path, good: int) -> str:
    """How to go on where a log is broken after some good lines, in a sentence."""
    if good == 0:
        return "None of its lines is good; restore it from a copy."
    rests = {}
    for name in sealed_names(folder):
        try:
            head = read_sealed(folder, name)[0]["logs"].get(path.relative_to(folder).as_posix())
        except (VersionError, KeyError, TypeError, AttributeError):
            continue
        if head and head["lines"] <= good:
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
    folder = review_folder(folder)
    problems: list[str] = []
    heads: dict[str, list[str]] = {}
    events = 0
    named: list[tuple[str, Mapping[str, Mapping[str, Any]]]] = []
    sealed: list[tuple[str, Event]] = []
    for path in sorted((folder / "logs").rglob("*.jsonl")):
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
            problems.append(f"{content.problem} {way_on(folder, path, len(content.lines))}")
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
        for code in sorted({event.reviewer for event in found}):
            if not path.stem.endswith(f"_reviewer-{code}"):
                problems.append(f"{where} holds decisions of reviewer {code!r}, which its name does not say.")
    versions = sealed_names(folder)
    for version in versions:
        try:
            description, _ = read_sealed(folder, version)
        except VersionError as why:
            problems.append(str(why))
            continue
        named.append((f"version {version!r} was sealed", description.get("logs", {})))
        digest = hashlib.sha256(read_small(folder / "versions" / version / DESCRIPTION)).hexdigest()
        if others := {
            where for where, event in sealed if event.new["version"] == version and event.new["sha256"] != digest
        }:
            problems.append(
                f"version {version!r} has SHA-256 {digest}, and {', '.join(sorted(others))} says that another was "
                "sealed; it was written anew since; restore it from a copy."
            )
    for when, rests in named:
        for where, head in rests.items():
            lines = heads.get(where)
            if lines is None:
                problems.append(f"{when} when {where} was there, which is missing or unreadable.")
            elif not 0 < head["lines"] <= len(lines) or lines[head["lines"] - 1] != head["sha256"]:
                problems.append(
                    f"{when} when line {head['lines']} of {where} was another; the log was cut short or written anew "
                    "since."
                )
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "does not exist"
        problems.append(f"{folder} {what}; a review is a folder that holds 'logs'; give the one in which it was made.")
    elif not heads and not problems:
        problems.append(f"no annotation log was found under {folder}; give the folder that holds 'logs'.")
    return Verified(not problems, events, len(heads), len(versions), tuple(problems))
