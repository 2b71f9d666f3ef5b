"""Who writes a log: one process at a time, by a lock that the system gives free when the process ends, however it ends.

::

    .<log>.lock         held while the log is open for writing; stays, empty: were it removed while another process has
                        it open and waits, a third would lock a new file, and two would write
    .<log>.writer       while it is held: since when, by which process, on which computer (a digest); for the message

What stands in place of either file is never followed and never written into: in a folder that came from elsewhere it
may be a link to a file of ours. The writer's file is made anew every time, so that one which a killed process left is
gone with the next opening. It does not name the computer, as the folder is shared: the digest only answers whether it
is this one.

    WriterLock          take, give free, and who has it
    demand_free         nobody has these now
    demand_own_file     what stands in a lock's place is one
"""

import hashlib
import json
import os
import re
import socket
import stat
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from filelock import BaseFileLock, FileLock, Timeout

from emgreview.annotations.events import now
from emgreview.annotations.files import read_by
from emgreview.errors import LogLockedError, ReadError
from emgreview.plain_files import read_json

_MOST = 4096
_TIME = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]{1,15}Z")


class WriterLock:
    """The lock of one log; ``path`` is the log's."""

    def __init__(self, path: Path):
        self._name = path.name
        self._lock_path = path.parent / f".{path.name}.lock"
        self._writer = path.parent / f".{path.name}.writer"
        self._lock: BaseFileLock | None = None

    @property
    def held(self) -> bool:
        """By this very object."""
        return self._lock is not None and self._lock.is_locked

    def take(self) -> None:
        """Raises LogLockedError where another process has it, OSError where it cannot be taken."""
        demand_own_file(self._lock_path)
        self._lock = FileLock(self._lock_path, mode=0o600 | read_by(self._lock_path), thread_local=False)
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise LogLockedError(
                f"{self._name} is being written by {self._who()}; a log has one writer at a time; close the other "
                "review, or open this one with read_only=True."
            ) from None
        with suppress(OSError):  # it is for a message alone
            self._say_who()

    def give_free(self) -> None:
        """Twice does no harm."""
        if self._lock and self.held:
            with suppress(OSError):
                self._writer.unlink(missing_ok=True)
            self._lock.release()

    def _say_who(self) -> None:
        self._writer.unlink(missing_ok=True)
        since = now()
        content = json.dumps({"process": os.getpid(), "computer": _computer(since), "since": since})
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
        with os.fdopen(os.open(self._writer, flags, 0o600 | read_by(self._writer)), "w", encoding="utf-8") as stream:
            stream.write(content)

    def _who(self) -> str:
        """In words; nothing in the file is taken as it stands but numbers."""
        try:
            holder = read_json(self._writer, most_bytes=_MOST)
            process, since = int(holder["process"]), str(holder["since"])
            here = holder["computer"] == _computer(since)
        except (OSError, ValueError, KeyError, TypeError):
            return "another process"
        if not _TIME.fullmatch(since):
            return "another process"
        return f"process {process} on {'this' if here else 'another'} computer since {since}"


def demand_free(logs: Iterable[Path]) -> None:
    """LogLockedError where one of some logs is being written; one that cannot be locked has no writer."""
    for path in logs:
        lock = WriterLock(path)
        try:
            with suppress(OSError):
                lock.take()
        finally:
            lock.give_free()


def demand_own_file(lock: Path) -> None:
    """A lock is opened for writing: only a plain file of its folder may stand there. Raises ReadError, an OSError."""
    with suppress(FileNotFoundError):
        if not stat.S_ISREG(lock.lstat().st_mode):
            raise ReadError(
                f"{lock.name} is no plain file of this folder but a link, a folder or the like; nothing was written to "
                "it; remove it"
            )


def _computer(since: str) -> str:
    """A digest that says on the same computer alone that it is the same; it changes with every opening."""
    return hashlib.sha256(f"{since}/{socket.gethostname()}".encode()).hexdigest()[:16]
