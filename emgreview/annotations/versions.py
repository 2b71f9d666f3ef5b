"""Sealed versions: decisions as they stood, under a name, that never change.

    <folder>/versions/<name>/decisions.tsv      one row a burst or channel-trial, text as it is
    <folder>/versions/<name>/decisions.json     what the columns mean, and what the table rests on: its SHA-256, the
                                                head of every log, processing, detection, package versions
    <folder>/versions/.lock                     held while one is written

A version is written in a folder of its own name, flushed, renamed, and its parent flushed: it is there whole or not at
all, and is never written again. Its digest is the SHA-256 of ``decisions.json``, which holds that of the table; the
logs of its reviewer keep that digest in a line of their own, and whoever reads a version holds it against them.
Anchoring it elsewhere (a paper, version control) also protects against whole logs being forged or cut short.

    demand_decided  refuse to seal where nothing was decided
    seal_version    write one
    sealed_names    the names there are
    next_version    one that is free
    read_sealed     one, checked: Version
    unfinished, clear_unfinished    what a crash left of one; remove it
    descriptions    what each says of itself, or why it is set apart
    seal_lines      what the logs say was sealed
"""

import hashlib
import json
import secrets
import shutil
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from filelock import FileLock, Timeout

from emgreview.annotations.description import demand_whole, misfit
from emgreview.annotations.events import check_name, decode
from emgreview.annotations.files import MOST_LOG, FileSystem, demand_review_folder
from emgreview.annotations.lock import demand_own_file
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import alike, demand_no_twins, logs_in, strays
from emgreview.annotations.withdrawals import demand_gone, told_of, told_of_version, withdrawals
from emgreview.checks import kind
from emgreview.errors import DecisionError, LogError, VersionError, tell
from emgreview.plain_files import found_at, inside, is_folder, read_json, read_small, real

TABLE, DESCRIPTION = "decisions.tsv", "decisions.json"

UNFINISHED = ".unfinished"
"""How the name of a folder ends in which a version is being written, or was when the machine went down."""

PATIENCE_S = 20.0
"""So long a seal waits for another one to be written."""


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


def demand_decided(decides: bool, reviewer: str, folder: Path) -> None:
    """Raise DecisionError unless any decision of a reviewer stands."""
    if not decides:
        raise DecisionError(
            f"reviewer {reviewer!r} has decided nothing in {folder} so far, or has taken it all back; a version holds "
            "decisions; nothing was sealed; review first, or seal what another reviewer decided."
        )


def seal_version(
    folder: Path,
    name: str,
    table: bytes,
    description: Mapping[str, Any],
    files: FileSystem | None = None,
    *,
    own: Mapping[str, Mapping[str, Any]] | None = None,
) -> Sealed:
    """Write a version. ``description`` gains the table's digest and the heads of all logs; ``own`` are those that the
    table was made from, where they are known.

    Raises VersionError if the name is taken, or it cannot be written; LogError if a log is broken.
    """
    files = files or FileSystem()
    name = check_name("version name", name)
    target = folder / "versions" / name
    _demand_free(target)
    if isinstance(reviewer := description.get("reviewer"), str):
        demand_no_twins(folder, reviewer)
    demand_gone(folder)
    if copies := strays(folder):
        tell(
            f"{len(copies)} file{'s' * (len(copies) != 1)} below 'logs' that end as logs do are passed over, and in no "
            "version; verify names each."
        )
    heads = {}
    for path in logs_in(folder):
        content = read_log(path, lambda event: None, files)  # an unfinished last line of another never counted
        if content.problem:
            raise LogError(f"nothing was sealed: {content.problem}")
        if content.lines:  # nothing rests on an empty log
            heads[path.relative_to(folder).as_posix()] = {"lines": len(content.lines), "sha256": content.head}
    for where, head in (own or {}).items():
        if heads.get(where) != head:
            raise LogError(
                f"{where} was changed by something else while it was open; nothing was sealed; check the file with "
                "verify."
            )
    whole = {
        **description,
        "name": name,
        "table": {"file": TABLE, "sha256": hashlib.sha256(table).hexdigest()},
        "logs": heads,
    }
    if gone := told_of(withdrawals(folder)):
        whole["withdrawn"] = list(gone)
    if why_not := misfit(whole):  # by what reads it: no version is written that nobody could read
        raise VersionError(f"version {name!r} could not be read again ({why_not}); nothing was sealed; correct that.")
    text = (json.dumps(whole, indent=2, ensure_ascii=False, sort_keys=True, allow_nan=False) + "\n").encode()
    making = target.with_name(f".{name}.{secrets.token_hex(8)}{UNFINISHED}")
    try:
        files.make_dirs(target.parent)
        with _alone(target.parent):
            _demand_free(target)
            try:
                files.make_dirs(making)
                files.new_file(making / TABLE, table)
                files.new_file(making / DESCRIPTION, text)
                files.fsync_dir(making)
                files.replace(making, target)
            except BaseException:
                shutil.rmtree(making, ignore_errors=True)
                raise
            files.fsync_dir(target.parent)
    except OSError as why:
        raise VersionError(
            f"version {name!r} could not be written ({why.strerror or why}); see to the disk, and seal under another "
            "name if that one is now taken."
        ) from why
    return Sealed(name, target, hashlib.sha256(text).hexdigest())


def _demand_free(target: Path) -> None:
    folder = target.parent.parent
    if found_at(target, link=True) is not None:
        raise VersionError(
            f"version {target.name!r} exists already in {folder.name}; sealed versions never change; choose another "
            "name."
        )
    if twin := next((name for name in sealed_names(folder) if alike(name, target.name)), ""):
        raise VersionError(
            f"version {twin!r} exists already in {folder.name}, and {target.name!r} would be the same folder on other "
            "computers, where upper and lower case, and ways to write a letter, do not count; choose another name."
        )
    removed = {name for one in withdrawals(folder) for name in one.versions}
    if target.name in {line.version for line in seal_lines(folder)} | removed:
        raise VersionError(
            f"version {target.name!r} was sealed in {folder.name}, as its logs say, and is not there; put it back from "
            "a copy; choose another name for another."
        )


def next_version(folder: Path) -> str:
    """The first of "v1", "v2" … that no version has or had."""
    taken = {line.version for line in seal_lines(folder)} | {
        name for one in withdrawals(folder) for name in one.versions
    }
    taken |= {*sealed_names(folder)}
    number = 1
    while found_at(folder / "versions" / f"v{number}") is not None or taken & {f"v{number}", f"V{number}"}:
        number += 1
    return f"v{number}"


@contextmanager
def _alone(versions: Path) -> Iterator[None]:
    """One seal at a time; what those left behind that a crash ended is cleared away. Raises VersionError where another
    one takes too long, or the folder lies elsewhere, OSError."""
    if real(versions) != real(versions.parent) / versions.name:
        raise VersionError(
            f"{versions} is a link that leads out of the review folder; nothing was sealed; put the folder itself "
            "there."
        )
    demand_own_file(versions / ".lock")
    lock = FileLock(versions / ".lock", mode=0o600 | stat.S_IMODE(versions.stat().st_mode) & 0o066, thread_local=False)
    try:
        lock.acquire(timeout=PATIENCE_S)
    except Timeout:
        raise VersionError(
            f"another version is being written in {versions} for {PATIENCE_S:g} s already; nothing was sealed; try "
            "again when that is done."
        ) from None
    except PermissionError:  # another person's lock, not to be opened: names of their own and renaming do without
        yield
        return
    try:
        for left in unfinished(versions.parent):
            shutil.rmtree(versions.parent / left, ignore_errors=True)
        yield
    finally:
        lock.release()


def unfinished(folder: Path) -> list[str]:
    """The places of versions that are being written, or were when a crash came."""
    there = [path.name for path in inside(folder / "versions")]
    return [f"versions/{name}" for name in there if name.startswith(".") and name.endswith(UNFINISHED)]


def clear_unfinished(folder: Path) -> list[str]:
    """Remove what seals left that did not end, and say what went. Raises OSError."""
    left = unfinished(folder)
    with suppress(VersionError):  # of a seal that goes on
        if left:
            with _alone(folder / "versions"):
                pass
    return [where for where in left if found_at(folder / where, link=True) is None]


def sealed_names(folder: Path) -> tuple[str, ...]:
    """The names of all sealed versions, sorted. Raises ReadError where that cannot be told."""
    versions = folder / "versions"
    return tuple(path.name for path in inside(versions) if not path.name.startswith(".") and is_folder(path))


def descriptions(folder: Path) -> Iterator[tuple[str, dict[str, Any] | None, str]]:
    """The name of every version with its description, or None and why it cannot be read: one bad version keeps nobody
    from the others."""
    for name in sealed_names(folder):
        try:
            found = read_json(folder / "versions" / name / DESCRIPTION)
        except OSError as why:
            yield name, None, str(why)
            continue
        why_not = misfit(found)
        yield name, None if why_not else found, why_not


class SealLine(NamedTuple):
    """A line of a log that says what was sealed: the log's place in the folder, the version, the SHA-256 of its
    description."""

    where: str
    version: str
    sha256: str


def seal_lines(folder: Path) -> list[SealLine]:
    """What the logs say was sealed, in no order. Lines that do not fit their own digest, and logs that cannot be read,
    say nothing: ``verify`` tells them."""
    found = []
    for path in logs_in(folder):
        try:
            lines = read_small(path, MOST_LOG).split(b"\n")
        except OSError:
            continue
        found += [
            SealLine(path.relative_to(folder).as_posix(), *said)
            for line in lines
            if b'"operation":"seal"' in line and (said := _sealed_in(line))
        ]
    return found


def _sealed_in(line: bytes) -> tuple[str, str] | None:
    """Version and SHA-256 of a line about sealing; None where it is another, or not as it was written."""
    with suppress(LogError):
        event, whole, _ = decode(line)
        new = event.get("new")
        if whole and event.get("operation") == "seal" and isinstance(new, dict):
            version, sha256 = new.get("version"), new.get("sha256")
            return (version, sha256) if isinstance(version, str) and isinstance(sha256, str) else None
    return None


@dataclass(frozen=True, slots=True)
class Version:
    """A sealed version as it was read: ``name``, ``description``, the bytes of its ``table``, and the ``sha256`` of
    the description. ``unvouched`` says that there was nothing to hold it against, and what to do, or is ""; ``gone``
    which of the logs that it rests on were withdrawn since, a sentence each."""

    name: str
    description: dict[str, Any]
    table: bytes
    sha256: str
    unvouched: str = ""
    gone: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What is to be known of it beside what it says, as sentences."""
        return tuple(f"{words[0].upper()}{words[1:]}." for words in (self.unvouched, *self.gone) if words)

    @property
    def whole(self) -> dict[str, Any]:
        """The description, where it says all that a version says. Raises VersionError."""
        demand_whole(self.description, self.name)
        return self.description


def read_sealed(folder: Path, name: str, expect: str | None = None) -> Version:
    """A version. Raises VersionError unless every digest fits: the table's, the one that ``expect`` names, and those
    that the logs beside it keep."""
    versions, there = folder / "versions", sealed_names(folder)
    if name not in there:
        if not is_folder(versions):
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
    if description.get("name") != name:
        raise VersionError(
            f"the folder of version {name!r} holds what was sealed as {description.get('name')!r}; it was renamed, or "
            "copied over another; give each its own name."
        )
    wanted = description["table"]["sha256"]
    digest = hashlib.sha256(text).hexdigest()
    kind("expect", expect, (str, type(None)), "the SHA-256 that sealing returned, as text, or None")
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
    said = [line for line in seal_lines(folder) if line.version == name]
    if said and digest not in {line.sha256 for line in said}:
        raise VersionError(
            f"version {name!r} has SHA-256 {digest}, but {said[-1].where} says that {said[-1].sha256} was sealed; its "
            f"{DESCRIPTION} was changed after sealing; restore its folder from a copy."
        )
    unvouched = ""
    if not said and expect is None:
        there_are_logs = is_folder(folder / "logs")
        lacking = "no log beside it says that it was sealed" if there_are_logs else "no logs lie beside it"
        unvouched = (
            f"whether version {name!r} is as it was sealed cannot be told: {lacking}, and no SHA-256 was expected; "
            "give the one that sealing returned: expect=..."
        )
    gone = told_of_version(name, description["logs"], withdrawals(folder))
    return Version(name, description, table, digest, unvouched, gone)
