"""Jobs that do something to the process they run in; a module of its own, so that workers can load it."""

import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import numpy as np

from emgreview.errors import SignalError, tell
from emgreview.model import Note


@dataclass(frozen=True)
class Sum:
    """The sum of a recording; slower or noisier on wish."""

    factor: float = 1.0
    pause_s: float = 0.0
    classes: ClassVar[tuple[type, ...]] = (Note,)

    def __call__(self, rec):
        time.sleep(self.pause_s)
        tell(f"{rec.name}: looked at")
        x = rec.values()
        return {"sum": self.factor * x.sum(axis=1), "note": Note("Channel A", "is fine.", channel="A")}


@dataclass(frozen=True)
class Trouble:
    """What goes wrong with single recordings, by their name."""

    classes: ClassVar[tuple[type, ...]] = ()

    def __call__(self, rec):
        if rec.name == "r1":
            raise SignalError("the samples came as they are; they must be others; change them.")
        if rec.name == "r2":
            return 1 / 0
        return rec.name


@dataclass(frozen=True)
class KillsItsWorker:
    """One recording ends the process that works on it: ``times`` says how often, kept in a file."""

    folder: str
    times: int
    classes: ClassVar[tuple[type, ...]] = ()

    def __call__(self, rec):
        if rec.name == "r1" and len(list(Path(self.folder).iterdir())) < self.times:
            (Path(self.folder) / f"{os.getpid()}").touch()
            os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(0.05)
        return float(np.sum(rec.values()))


@dataclass(frozen=True)
class Rewrites:
    """Somebody writes the file of a recording while it is worked on."""

    classes: ClassVar[tuple[type, ...]] = ()

    def __call__(self, rec):
        found = rec.values().sum(axis=1)
        file = rec.source.file
        stored = file.read_bytes()
        file.write_bytes(stored[:-8] + bytes(byte ^ 1 for byte in stored[-8:]))
        return found
