"""The annotation log: one append-only file per recording and reviewer, one writer, every line flushed before it counts.

::

    <folder>/logs/[sub-XX/]<recording>_reviewer-<code>.jsonl            the log
    <folder>/logs/[sub-XX/].<recording>_reviewer-<code>.jsonl.lock      held by the writer while it lives
    <folder>/logs/[sub-XX/]<log>.torn-<time>                            a last line that a crash left unfinished

Reading never changes a log. Opening for writing may move an unfinished last line out of it, and nothing else; any other
break opens the log for reading only, up to the line before the break, and says where it is. A write or fsync that fails
ends the writer: what the disk then holds is unknown, so nothing more may be called saved until the log is opened again.

    log_path        where the log of a recording and reviewer lives
    read_log        every event of a file, and what is wrong with it
    Log             a log open for appending, or for reading only
"""

import gc
import glob
import hashlib
import json
import os
import socket
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar
from weakref import WeakValueDictionary

from filelock import FileLock, Timeout

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import (
    ZEROS,
    Event,
    check_name,
    check_reviewer,
    decode,
    encode,
    now,
    to_event,
)
from emgreview.annotations.files import FileSystem
from emgreview.annotations.upgrade import Step, schema_of, steps_from, upgraded
from emgreview.errors import LogBrokenError, LogError, LogLockedError, LogReadOnlyError, LogTooNewError, LogWriteError


def log_path(folder: Path, recording: str, reviewer: str, participant: str | None = None) -> Path:
    """Where the log lives. Raises ParameterError for names that cannot be part of a file name."""
    where = folder / "logs"
    if participant:
        where /= f"sub-{check_name('participant', participant)}"
    return where / f"{check_name('recording name', recording)}_reviewer-{check_reviewer(reviewer)}.jsonl"


@dataclass(frozen=True)
class Content:
    """What a file holds: its good ``lines`` without newlines, their ``size`` in bytes, the ``head`` (SHA-256 of the
    last), the last ``counter``, the ``torn`` bytes after the last newline; ``problem`` says where it breaks."""

    lines: list[bytes]
    size: int
    head: str
    counter: int
    torn: bytes
    problem: str | None


def read_log(
    path: Path, each: Callable[[Event], object], files: FileSystem | None = None, *, before: bool = True
) -> Content:
    """Read a log, checking every line against the digests and the schema, and hand every good event to ``each``, in
    order. Without ``before`` the ``old`` values of decisions are not checked against the schema: ``each`` must not
    look at them.

    Events are not kept: a long log would fill the memory with states that no longer hold. Raises LogTooNewError,
    OSError.
    """
    lines = (files or FileSystem()).read(path).split(b"\n")
    torn = lines.pop()
    with _no_search_for_cycles():
        return _read_lines(path, lines, torn, each, before)


def _read_lines(path: Path, lines: list[bytes], torn: bytes, each: Callable[[Event], object], before: bool) -> Content:
    size, head, counter = 0, ZEROS, 0
    named = _named(path)
    steps: tuple[Step, ...] = ()
    problem = None
    for number, line in enumerate(lines):
        try:
            found, whole, digest = decode(line)
            if not whole:
                raise LogBrokenError("its bytes do not fit its own digest")
            if number == 0:
                steps = steps_from(schema_of(found))
            if steps:
                found = upgraded(found, steps)
            if found.get("prev") != head:
                raise LogBrokenError("it does not follow the line before it")
            if why := misfit(found, before):
                raise LogBrokenError(f"{why}; it was written anew by hand, or by a later emgreview")
            event = to_event(found)
            if named and named != (event.subject["recording"], event.reviewer):
                raise LogBrokenError(
                    f"it is of reviewer {event.reviewer!r} on {event.subject['recording']!r}, and the file's name "
                    f"says {named[1]!r} on {named[0]!r}: logs were exchanged or renamed; give each its own name"
                )
            if event.seq != number or event.counter <= counter:
                raise LogBrokenError(f"its numbers ({event.seq}, {event.counter}) are out of order")
        except LogBrokenError as why_not:
            problem = (
                f"{path.name}, line {number + 1} (byte {size}): {why_not}. The {number} lines before it are good; "
                "restore the file from a copy or from version control."
            )
            del lines[number:]
            break
        except LogTooNewError as why_not:
            raise LogTooNewError(f"{path.name} cannot be opened: {why_not}") from None
        each(event)
        size += len(line) + 1
        head, counter = digest, event.counter
    return Content(lines, size, head, counter, torn, problem)


def _named(path: Path) -> tuple[str, str] | None:
    """Recording and reviewer that a log's name says; None for a name that is not a log's."""
    recording, by, reviewer = path.name.removesuffix(".jsonl").rpartition("_reviewer-")
    return (recording, reviewer) if by and path.suffix == ".jsonl" else None


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """Events make none, and looking for them takes a tenth of the time in which a long log is read."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


class Log:
    """A log open for appending or, where ``problem`` is a sentence, for reading only.

    Opening hands every event to ``each``, once, with ``old`` values unchecked. ``broken``: not every line is as
    written. ``notice`` says what opening set aside, or is "". Opening a log again for writing in the same process, as
    running a notebook cell twice does, closes the earlier Log, which says so.
    """

    _writing: ClassVar[WeakValueDictionary[Path, "Log"]] = WeakValueDictionary()

    def __init__(
        self, path: Path, each: Callable[[Event], object], *, files: FileSystem | None = None, read_only: bool = False
    ):
        """Raises LogLockedError if another process writes it, LogTooNewError if a newer package wrote it."""
        self.path = path
        self.problem: str | None = f"{path.name} was opened for reading only" if read_only else None
        self.notice = ""
        self.broken = False
        self._files = files or FileSystem()
        self._fd: int | None = None
        self._dead = False
        self._lock = FileLock(path.parent / f".{path.name}.lock", thread_local=False)
        self._holder = path.parent / f".{path.name}.writer"
        content = Content([], 0, ZEROS, 0, b"", None)
        try:
            if not read_only:
                self._take_lock()
            if path.exists():
                content = self._read(each)
                self._open(content)
        except BaseException:
            self.close()
            raise
        if self.problem:
            self.close()
        self._lines, self._size = content.lines, content.size
        self.head, self.counter = content.head, content.counter
        self.header: Mapping[str, Any] | None = self.event(0).new if self._lines else None

    def __len__(self) -> int:
        return len(self._lines)

    def event(self, number: int) -> Event:
        """One event, by its place. Raises LogBrokenError where its ``old`` value, which opening passed over, does not
        fit the schema."""
        found = decode(self._lines[number])[0]
        schema = schema_of(found if number == 0 else decode(self._lines[0])[0])
        found = upgraded(found, steps_from(schema))
        if why := misfit(found):
            raise LogBrokenError(
                f"{self.path.name}, line {number + 1}: {why}; it was written anew by hand, or by a later emgreview. "
                "Restore the file from a copy or from version control."
            )
        return to_event(found)

    @property
    def digests(self) -> list[str]:
        """The SHA-256 of every line, in order."""
        return [hashlib.sha256(line).hexdigest() for line in self._lines]

    @property
    def read_only(self) -> bool:
        return self.problem is not None

    def append(self, fields: Mapping[str, Any]) -> Event:
        """Write one event and flush it; only then does it count. ``fields`` are all but seq, prev, self and time.

        Raises LogReadOnlyError, ParameterError (nothing written), LogWriteError (fatal: reopen the log),
        LogBrokenError (the file was changed by something else; fatal).
        """
        if self._dead:
            raise LogWriteError(f"{self.problem} The decision was not saved.")
        if self.problem:
            again = "; open the review again" if self.problem.endswith("is closed") else ""
            raise LogReadOnlyError(f"{self.problem}; the decision was not saved{again}.")
        line, event = encode({**fields, "seq": len(self._lines), "prev": self.head, "time": now()})
        try:
            self._write(line)
        except BaseException as why:  # an interrupt between write and fsync leaves the file as unknown as a failure
            words = getattr(why, "strerror", None) or str(why) or type(why).__name__
            self._dead = True
            self.problem = (
                f"{self.path.name} takes no more decisions: writing failed on {now()} ({words}). Close the review, "
                "see to the disk, and open it again."
            )
            if isinstance(why, OSError):
                raise LogWriteError(f"{self.problem} The decision was not saved.") from why
            raise
        if self.header is None:
            self.header = event.new
        self._lines.append(line)
        self._size += len(line) + 1
        self.head, self.counter = hashlib.sha256(line).hexdigest(), event.counter
        return event

    def close(self, why: str = "is closed") -> None:
        """Give the file and its lock free. Twice does no harm."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            self._files.close(fd)
        if self._lock.is_locked:
            self._holder.unlink(missing_ok=True)
            self._lock.release()
        self.problem = self.problem or f"{self.path.name} {why}"

    def _write(self, line: bytes) -> None:
        if self._fd is None:
            self._files.make_dirs(self.path.parent)
            self._fd = self._files.open_append(self.path, create=True)
        wanted = self._lines[-1][-256:] + b"\n" if self._lines else b""
        if self._files.tail(self.path, self._fd, self._size, len(wanted)) != wanted:
            raise LogBrokenError(
                f"{self.path.name} was changed by something else while it was open; the decision was not saved; "
                "check the file with verify"
            )
        self._files.write(self._fd, line + b"\n")
        self._files.fsync(self._fd)
        if not self._lines:
            self._files.fsync_dir(self.path.parent)

    def _read(self, each: Callable[[Event], object]) -> Content:
        try:
            content = read_log(self.path, each, self._files, before=False)  # undo looks at them, by event()
        except OSError as why:
            raise LogError(
                f"{self.path.name} cannot be read ({why.strerror or why}); check the disk and the file's permissions."
            ) from why
        self.broken = content.problem is not None
        self.problem = content.problem or self.problem
        return content

    def _take_lock(self) -> None:
        try:
            self._files.make_dirs(self.path.parent)
            if earlier := self._writing.get(self.path.resolve()):
                earlier.close("was opened again, by a later review in this program; use that one")
            self._lock.acquire(timeout=0)
            self._writing[self.path.resolve()] = self
            holder = {"process": os.getpid(), "computer": socket.gethostname(), "since": now()}
            self._holder.write_text(json.dumps(holder), encoding="utf-8")
        except Timeout:
            try:
                holder = json.loads(self._holder.read_text(encoding="utf-8"))
                who = f"process {holder['process']} on {holder['computer']} since {holder['since']}"
            except (OSError, ValueError, KeyError, TypeError):
                who = "another process"
            raise LogLockedError(
                f"{self.path.name} is being written by {who}; a log has one writer at a time; close the other review, "
                "or open this one with read_only=True."
            ) from None
        except OSError as why:
            self._only_read(why)

    def _open(self, content: Content) -> None:
        """Open for appending; move an unfinished last line out of the way."""
        if self.problem:
            return
        try:
            self._fd = self._files.open_append(self.path, create=False)
            if content.torn:
                self._set_aside(content)
        except OSError as why:
            self._only_read(why)

    def _only_read(self, why: OSError) -> None:
        self.problem = (
            f"{self.path.name} cannot be opened for writing ({why.strerror or why}); it is open for reading only; see "
            "to its folder (it must exist, and be yours to write in), or give another"
        )

    def _set_aside(self, content: Content) -> None:
        assert self._fd is not None
        name = f"{self.path.name}.torn-{now().replace(':', '')}"
        taken = len(list(self.path.parent.glob(f"{glob.escape(name)}*")))
        beside = self.path.with_name(f"{name}-{taken}" if taken else name)
        self._files.new_file(beside, content.torn)
        self._files.fsync_dir(beside.parent)
        self._files.truncate(self._fd, content.size)
        self._files.fsync(self._fd)
        self.notice = (
            f"The last line of {self.path.name} was unfinished and is kept in {beside.name}; "
            "the decision in it had never been shown as saved."
        )
