"""The few file operations that durability rests on, in one small object that tests can make fail.

Each call does one thing and raises OSError. ``write`` writes everything or raises; part of it may then be on disk. What
is written is never written through a link: a path whose last part is one is refused.

A new file, and a new folder, can be read by whom its folder can be read by, and by nobody else: a review in a folder of
mode 0700 is its owner's alone, in one of 0750 its group's, too. The umask takes away from that as it always does.
"""

import os
import stat
from pathlib import Path

from emgreview.annotations.places import logs_in
from emgreview.errors import LogError
from emgreview.plain_files import found_at, is_folder, read_small

MOST_LOG = 1 << 30
"""Bytes of a log at most: a million decisions and more (our own choice)."""


class FileSystem:
    """The real file system."""

    def open_append(self, path: Path, *, create: bool) -> int:
        """A descriptor for reading and appending. With ``create`` the file must not exist; without, it must."""
        flags = os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
        flags |= getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        return os.open(path, flags | (os.O_CREAT | os.O_EXCL if create else 0), 0o600 | read_by(path))

    def create(self, path: Path) -> int:
        """A descriptor for writing a new file that nobody is meant to change later."""
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o400 | read_by(path))

    def write(self, fd: int, content: bytes) -> None:
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(fd, rest) :]

    def fsync(self, fd: int) -> None:
        os.fsync(fd)

    def fsync_dir(self, path: Path) -> None:
        if os.name == "nt":  # Windows cannot open a folder for flushing; renames there go through its own journal
            return
        fd = os.open(path, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)

    def replace(self, source: Path, target: Path) -> None:
        source.replace(target)

    def truncate(self, fd: int, size: int) -> None:
        os.ftruncate(fd, size)

    def close(self, fd: int) -> None:
        os.close(fd)

    def read(self, path: Path) -> bytes:
        """The bytes of a log. Raises ReadError, an OSError, where it is no plain file, or larger than any log."""
        return read_small(path, MOST_LOG)

    def tail(self, path: Path, fd: int, size: int, count: int) -> bytes | None:
        """The last ``count`` bytes of an open file, or None if ``path`` is no longer it, or no longer ``size`` long."""
        here, there = os.fstat(fd), os.stat(path)  # noqa: PTH116  (both from os: one is of a descriptor)
        if here.st_size != size or (here.st_dev, here.st_ino) != (there.st_dev, there.st_ino):
            return None
        if hasattr(os, "pread"):
            return os.pread(fd, count, size - count)
        os.lseek(fd, size - count, os.SEEK_SET)
        return os.read(fd, count)

    def make_dirs(self, path: Path) -> None:
        """A folder and those above it, each made durable in its parent."""
        if path.is_dir():
            return
        self.make_dirs(path.parent)
        path.mkdir(0o700 | _mode(path.parent), exist_ok=True)
        self.fsync_dir(path.parent)

    def new_file(self, path: Path, content: bytes) -> None:
        """A new file, complete and flushed, not yet durable in its folder."""
        fd = self.create(path)
        try:
            self.write(fd, content)
            self.fsync(fd)
        finally:
            self.close(fd)


def _mode(folder: Path) -> int:
    return stat.S_IMODE(folder.stat().st_mode) & 0o777


def read_by(path: Path) -> int:
    """The bits of a new file by which group and others may read it: those of its folder."""
    return _mode(path.parent) & 0o044


def demand_review_folder(folder: Path) -> None:
    """LogError unless a folder is there and holds a review: logs, in its folder "logs"."""
    if not is_folder(folder):
        what = "is a file" if found_at(folder) is not None else "does not exist"
        raise LogError(f"{folder} {what}; a review is a folder that holds 'logs'; give the one in which it was made.")
    if not logs_in(folder):
        try:
            inside = ", ".join(sorted(path.name for path in folder.iterdir())[:8]) or "nothing"
        except OSError as why:
            inside = f"what cannot be listed: {why.strerror or why}"
        raise LogError(
            f"{folder} holds no log of a review (it holds {inside}); a review is a folder that holds 'logs' with "
            "files of name …_reviewer-CODE.jsonl; give the one in which it was made."
        )
