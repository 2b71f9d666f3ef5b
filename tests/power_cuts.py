"""Everything that a disk may hold after a cut of power, from a record of the calls that changed files.

Watched             real files, with that record
after_a_power_cut   every content that a cut after some calls may leave
folder_as_disk, materialise     a folder as such a content, and back
"""

import itertools
import os

from emgreview.annotations.files import FileSystem


class Watched(FileSystem):
    """Real files, with a record of every call that changes something."""

    def __init__(self):
        self.calls = []
        self._paths = {}

    def open_append(self, path, *, create):
        fd = super().open_append(path, create=create)
        self._paths[fd] = path
        if create:
            self.calls.append(("create", path))
        return fd

    def create(self, path):
        fd = super().create(path)
        self._paths[fd] = path
        self.calls.append(("create", path))
        return fd

    def write(self, fd, content):
        self.calls.append(("write", self._paths[fd], os.fstat(fd).st_size, content))
        super().write(fd, content)

    def truncate(self, fd, size):
        self.calls.append(("truncate", self._paths[fd], size))
        super().truncate(fd, size)

    def fsync(self, fd):
        self.calls.append(("fsync", self._paths[fd]))

    def fsync_dir(self, path):
        self.calls.append(("fsync_dir", path))

    def replace(self, source, target):
        self.calls.append(("replace", source, target))
        super().replace(source, target)

    def make_dirs(self, path):
        if not path.is_dir():
            self.make_dirs(path.parent)
            path.mkdir()
            self.calls.append(("create", path))
            self.fsync_dir(path.parent)


def flushed(calls, place):
    """Whether a later call makes this one durable."""
    kind, path = calls[place][:2]
    later = calls[place + 1 :]
    if kind in ("write", "truncate"):
        return ("fsync", path) in later
    return ("fsync_dir", (path if kind == "create" else calls[place][2]).parent) in later


WRITES = {
    "lost": lambda content: b"",
    "done": lambda content: content,
    "blank": lambda content: bytes(len(content)),
    "blank but for the newline": lambda content: bytes(len(content) - 1) + content[-1:],
    "blank but for the end": lambda content: content[-40:].rjust(len(content), b"\0"),
    "blank in the middle": lambda content: content[:100] + content[100:][-40:].rjust(len(content[100:]), b"\0"),
    **{f"{n} of 8": lambda content, n=n: content[: len(content) * n // 8] for n in range(1, 8)},
    "all but the newline": lambda content: content[:-1],
}
"""What a write that was not flushed may leave."""


def after_a_power_cut(calls, start):
    """Every content of the disk that a cut after these calls may leave: path to bytes, None for folders.

    Calls that were not flushed took place or not, in any combination; a write also in part, or with blanks in it.
    """
    open_ = [n for n, call in enumerate(calls) if not call[0].startswith("fsync") and not flushed(calls, n)]
    choices = [WRITES if calls[n][0] == "write" else ("lost", "done") for n in open_]
    for fate in itertools.product(*choices):
        fates = dict(zip(open_, fate, strict=True))
        disk = dict(start)
        for n, (kind, path, *rest) in enumerate(calls):
            how = fates.get(n, "done")
            if kind.startswith("fsync") or how == "lost":
                continue
            if kind == "create" and path.parent in disk:
                disk[path] = None if path.suffix == "" or path.name.endswith(".unfinished") else b""
            elif kind == "write" and path in disk:
                at, content = rest
                disk[path] = disk[path][:at].ljust(at, b"\0") + WRITES[how](content)
            elif kind == "truncate" and path in disk:
                disk[path] = disk[path][: rest[0]]
            elif kind == "replace" and path in disk:
                moved = {one: rest[0] / one.relative_to(path) for one in disk if one == path or path in one.parents}
                disk = {moved.get(one, one): content for one, content in disk.items()}
        yield disk


def materialise(disk, start, place):
    for path in sorted(disk):
        target = place / path.relative_to(start)
        if disk[path] is None:
            target.mkdir(exist_ok=True)
        else:
            target.write_bytes(disk[path])


def folder_as_disk(folder):
    there = [path for path in folder.rglob("*") if not path.name.startswith(".") or path.is_dir()]
    return {folder: None} | {path: None if path.is_dir() else path.read_bytes() for path in there}
