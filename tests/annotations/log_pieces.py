"""A log of comments, and disks that fail or skip flushing, for tests of the log."""

import errno
import os

from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import Log
from emgreview.annotations.places import log_path

DIGEST = "ab" * 32
HEADER = {
    "schema": 1,
    "fingerprint": {"samples": DIGEST, "file": None},
    "labels": ["FDI"],
    "rate_hz": 1000.0,
    "order": "recorded",
    "seed": "5eed",
    "packages": {"python": "3.11"},
    "processing": {"parameters": {}, "hash": DIGEST},
    "detection": {"method": "ramp", "parameters": {}, "hash": DIGEST},
}


def fields(counter, field="comment", new="text", **changes):
    subject = dict.fromkeys(("dataset", "participant", "channel", "burst")) | {"recording": "rec", "trial": "t1"}
    whole = {
        "counter": counter,
        "reviewer": "r1",
        "operation": field,
        "subject": subject,
        "showing": 1,
        "field": field,
        "old": None,
        "new": new,
        "reason": None,
        "visible": {},
        "blind": False,
    }
    return whole | changes


def write(folder, comments=("one", "two", "three"), files=None):
    path = log_path(folder, "rec", "r1")
    log = Log(path, lambda event: None, files=files)
    log.append(fields(1, "log", HEADER))
    for number, text in enumerate(comments, 2):
        log.append(fields(number, new=text))
    log.close()
    return path


def comments(path, files=None):
    """Everything an opened log hands over, and the log, closed."""
    events = []
    log = Log(path, events.append, files=files)
    log.close()
    return [event.new for event in events if event.field == "comment"], log


class Unflushed(FileSystem):
    """Quick, for tests that open a log thousands of times."""

    def fsync(self, fd):
        pass

    fsync_dir = fsync


class Failing(FileSystem):
    """Fails the nth of the calls that change something, once or for ever; a failing write leaves half behind."""

    def __init__(self, nth, for_ever):
        self.left, self.for_ever = nth, for_ever

    def _count(self):
        self.left -= 1
        if self.left == 0 or (self.for_ever and self.left < 0):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def write(self, fd, content):
        try:
            self._count()
        except OSError:
            super().write(fd, content[: len(content) // 2])
            raise
        super().write(fd, content)

    def fsync(self, fd):
        self._count()
        super().fsync(fd)

    def fsync_dir(self, path):
        self._count()
        super().fsync_dir(path)

    def truncate(self, fd, size):
        self._count()
        super().truncate(fd, size)

    def replace(self, source, target):
        self._count()
        super().replace(source, target)
