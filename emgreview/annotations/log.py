"""The annotation log: one append-only file per recording and reviewer, one writer, every line flushed before it counts.

::

    <folder>/logs/[sub-XX/]<recording>_reviewer-<code>.jsonl            the log
    <folder>/logs/[sub-XX/].<recording>_reviewer-<code>.jsonl.lock      held by the writer while it lives (lock.py)
    <folder>/logs/[sub-XX/]<log>.torn-<time>                            a last line that a crash left unfinished

Reading never changes a log. Opening for writing may move an unfinished last line out of it, and nothing else; any other
break opens the log for reading only, up to the line before the break, and says where it is. Unfinished is what a crash
or power cut leaves of the one line that was not yet flushed: it has no line end, or zero bytes, which no line holds. A
write or fsync that fails ends the writer: what the disk then holds is unknown, so nothing more may be called saved
until the log is opened again, which flushes what is there before it counts. So does an interrupt, wherever it comes
between the first byte and the moment when memory holds what the disk does: a log is taken for dead from before the line
is written, and lives again by the one store that says all is done. A log is read through links; through a link
that leads out of the review folder it is not written.

    Log             a log open for appending, or for reading only
"""

import glob
import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, ClassVar
from weakref import WeakValueDictionary

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import ZEROS, Event, decode, encode, now, to_event
from emgreview.annotations.files import MOST_LOG, FileSystem
from emgreview.annotations.lock import WriterLock
from emgreview.annotations.log_lines import ZEROED, Content, read_log
from emgreview.annotations.upgrade import schema_of, steps_from, upgraded
from emgreview.errors import LogBrokenError, LogError, LogReadOnlyError, LogWriteError, ParameterError, ReadError
from emgreview.plain_files import found_at, real

IN_DOUBT = "Whether the decision was saved is not known: it may or may not be on disk; opening the review again tells."


class Log:
    """A log open for appending or, where ``problem`` is a sentence, for reading only.

    Opening hands every event to ``each``, once, with ``old`` values unchecked. ``broken``: not every line is as
    written. ``notice`` says what opening set aside, or is "". Opening a log again for writing in the same process, as
    running a notebook cell twice does, closes the earlier Log, which says so.
    """

    _writing: ClassVar[WeakValueDictionary[Path, "Log"]] = WeakValueDictionary()
    _in_doubt: ClassVar[dict[Path, bytes]] = {}
    """By log, the line of which this program cannot say whether it was saved."""

    def __init__(
        self, path: Path, each: Callable[[Event], object], *, files: FileSystem | None = None, read_only: bool = False
    ):
        """Raises LogLockedError if another process writes it, LogTooNewError if a newer package wrote it."""
        self.path = path
        self._problem: str | None = f"{path.name} was opened for reading only" if read_only else None
        self.notice = ""
        self.broken = False
        self._files = files or FileSystem()
        self._fd: int | None = None
        self._place = path.absolute()
        self._pending: bytes | None = None
        self._failed = ""
        self._begun = self._whole = False
        self._lock = WriterLock(path)
        content = Content([], 0, ZEROS, 0, b"", None)
        try:
            if not read_only:
                self._take_lock()
            if found_at(path, link=True) is not None:
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

    @classmethod
    def here(cls, path: Path) -> bool:
        """Whether this program itself writes a log: opening it again closes the earlier one."""
        log = cls._writing.get(real(path))
        return log is not None and log._lock.held

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
    def problem(self) -> str | None:
        """Why nothing can be appended, in a sentence, or None."""
        if not self.dead:
            return self._problem
        return (
            f"{self.path.name} takes no more decisions: {self._failed or 'writing was interrupted'}. Close the review, "
            "see to the disk, and open it again."
        )

    @problem.setter
    def problem(self, words: str | None) -> None:
        self._problem = words

    @property
    def dead(self) -> bool:
        """Whether a line was begun and did not end well: what the disk holds is not known."""
        return self._pending is not None

    @property
    def read_only(self) -> bool:
        return self.problem is not None

    def demand_alive(self) -> None:
        """LogWriteError where a line before this one did not end well."""
        if self.dead:
            raise LogWriteError(f"{self.problem} The decision was not saved.")

    def append(self, fields: Mapping[str, Any], take: Callable[[Event], object] = lambda event: None) -> Event:
        """Write one event, flush it, and hand it to ``take``; only then does it count. ``fields`` are all but seq,
        prev, self and time. Whatever is raised between the first byte and the end of ``take`` ends the writer.

        Raises LogReadOnlyError, ParameterError (nothing written), LogWriteError (fatal: reopen the log),
        LogBrokenError (the file was changed by something else; fatal).
        """
        self.demand_alive()
        if self.problem:
            again = "; open the review again" if self.problem.endswith("is closed") else ""
            raise LogReadOnlyError(f"{self.problem}; the decision was not saved{again}.")
        line, event = encode({**fields, "seq": len(self._lines), "prev": self.head, "time": now()})
        if self._size + len(line) >= MOST_LOG:
            raise ParameterError(
                f"{self.path.name} holds {self._size} bytes, and a log may hold {MOST_LOG}; the decision was not "
                "saved; go on in a new review folder."
            )
        head = hashlib.sha256(line).hexdigest()
        self._begun = self._whole = False
        self._failed = ""
        self._in_doubt[self._place] = line  # before the log is dead: opening again then tells, whatever comes
        self._pending = line
        try:
            self._write(line)
            if self.header is None:
                self.header = event.new
            self._lines.append(line)
            self._size += len(line) + 1
            self.head, self.counter = head, event.counter
            take(event)
        except BaseException as why:
            words = getattr(why, "strerror", None) or str(why) or type(why).__name__
            self._failed = f"writing failed on {now()} ({words})"
            # of a write that the system refused a part is there at most; of one that was interrupted, perhaps all
            if not (doubt := self._whole or (self._begun and not isinstance(why, OSError))):
                self._in_doubt.pop(self._place, None)
            if isinstance(why, OSError):
                failed = LogWriteError(f"{self.problem} {IN_DOUBT if doubt else 'The decision was not saved.'}")
                failed.in_doubt = doubt
                raise failed from why
            raise
        self._pending = None  # the log lives again: until here every interrupt has ended it
        self._in_doubt.pop(self._place, None)
        return event

    def close(self, why: str = "is closed") -> None:
        """Give the file and its lock free. Twice does no harm."""
        if self._fd is not None:
            fd, self._fd = self._fd, None
            self._files.close(fd)
        self._lock.give_free()
        self._problem = self._problem or f"{self.path.name} {why}"

    def _write(self, line: bytes) -> None:
        if self._fd is None:
            self._files.make_dirs(self.path.parent)
            self._fd = self._files.open_append(self.path, create=True)
        self.demand_unchanged()
        self._begun = True
        self._files.write(self._fd, line + b"\n")
        self._whole = True
        self._files.fsync(self._fd)
        if not self._lines:
            self._files.fsync_dir(self.path.parent)

    def demand_unchanged(self, what: str = "the decision was not saved") -> None:
        """LogBrokenError where the file is not, as far as its end and its length tell, what was read and written."""
        if self._fd is None:
            return
        wanted = self._lines[-1][-256:] + b"\n" if self._lines else b""
        if self._files.tail(self.path, self._fd, self._size, len(wanted)) != wanted:
            raise LogBrokenError(
                f"{self.path.name} was changed by something else while it was open; {what}; check the file with verify"
            )

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
            self._demand_inside()
            self._files.make_dirs(self.path.parent)
            if earlier := self._writing.get(real(self.path)):
                earlier.close("was opened again, by a later review in this program; use that one")
            self._lock.take()
            self._writing[real(self.path)] = self
        except OSError as why:
            self._only_read(why)

    def _demand_inside(self) -> None:
        """ReadError where links lead from the log's place out of the review folder: nothing is written there."""
        logs = next((one for one in self.path.parents if one.name == "logs"), self.path.parent)
        folder = real(logs.parent if logs.name == "logs" else logs)
        if folder not in real(self.path).parents:
            raise ReadError(
                "a link leads from its place out of the review folder, and a folder that came from elsewhere could so "
                "have any file of yours written; put the file itself there"
            )

    def _open(self, content: Content) -> None:
        """Open for appending; move an unfinished last line out of the way, and flush what is there: a line that was
        written and never flushed is told as there from now on."""
        if self.problem:
            return
        try:
            self._fd = self._files.open_append(real(self.path), create=False)
            if content.torn:
                self._set_aside(content)
            elif content.lines:
                self._files.fsync(self._fd)
        except OSError as why:
            self._only_read(why)
            return
        doubtful = self._in_doubt.pop(self._place, None)
        if doubtful is not None:
            is_there = doubtful in content.lines
            told = (
                f"The decision of which it was not known whether {self.path.name} had saved it "
                f"{'is there, and saved' if is_there else 'is not there: take it again'}."
            )
            self.notice = f"{self.notice} {told}".strip()

    def _only_read(self, why: OSError) -> None:
        words = getattr(why, "strerror", None) or why
        self.problem = (
            f"{self.path.name} cannot be opened for writing ({words}); it is open for reading only; see "
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
        zeroed = ": zero bytes stand where a power cut kept the disk from writing" if ZEROED in content.torn else ""
        self.notice = (
            f"The last line of {self.path.name} was unfinished{zeroed} and is kept in {beside.name}; "
            "the decision in it had never been shown as saved."
        )
