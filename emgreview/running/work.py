"""One recording, wherever that is: opened, looked up in the cache, else worked on; the result as bytes.

Job             what is done with each recording
Opening         a recording that is opened where it is needed
Packed          what comes back
work            opening, key, cache, job
key_of          the digest of everything that a result depends on
version         of the package, of its very sources, and of what it computes with
"""

import hashlib
import platform
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache as once
from pathlib import Path
from typing import Any, ClassVar, Protocol

import numpy
import scipy

from emgreview import __version__
from emgreview.checks import kind
from emgreview.errors import EmgreviewError, FormatError, hearing
from emgreview.model import Recording
from emgreview.model.sources import missing_of
from emgreview.plain_files import read_small
from emgreview.running.cache import Cache
from emgreview.running.values import decode, encode


class Job(Protocol):
    """What is done with each recording: a frozen dataclass of what it depends on beside the recording.

    ``classes`` are those that its results hold, beside numbers, texts, arrays and containers of them. Called with a
    recording it returns the result; what it warns of is kept with it.
    """

    classes: ClassVar[tuple[type, ...]]

    def __call__(self, rec: Recording) -> Any: ...


@dataclass(frozen=True)
class Opening:
    """A recording by place and name, and where it comes from: the recording itself, or a sequence that opens it."""

    at: int
    name: str
    of: Any

    def open(self) -> Recording:
        rec: Recording = self.of if isinstance(self.of, Recording) else self.of[self.name]
        return rec


@dataclass(frozen=True)
class Packed:
    """What came of one recording, as it travels: the result as bytes, or a problem; sentences told on opening it;
    ``ready``: whether it was there from before."""

    at: int
    name: str
    key: str = ""
    content: bytes = b""
    problem: str = ""
    opening_notes: tuple[str, ...] = ()
    ready: bool = False
    written: bool = False
    spoilt: tuple[str, ...] = ()


def openings_of(data: Any) -> list[Opening]:
    """The recordings of a dataset, of a sequence that opens them by name, or given. Raises ParameterError."""
    allowed = "a dataset, its recordings, or a list of recordings"
    given = getattr(data, "recordings", data)
    if isinstance(given, Recording):
        return [Opening(0, given.name, given)]
    names = getattr(given, "names", None)
    if names is not None and hasattr(given, "__getitem__"):
        return [Opening(at, name, given[at : at + 1]) for at, name in enumerate(names)]
    if isinstance(given, str | Path) or not isinstance(given, Iterable):
        kind("recordings", given, Recording, allowed)
    found: list[Opening] = []
    for rec in given:
        kind("recordings", rec, Recording, allowed)
        found.append(Opening(len(found), rec.name, rec))
    return found


def work(opening: Opening, job: Job, cache: Cache | None) -> Packed:
    """What comes of one recording. Raises nothing: whatever goes wrong is its problem."""
    at, name = opening.at, opening.name
    try:
        with hearing() as told:
            rec = opening.open()
        of_opening = tuple(told)
        key = key_of(rec, job) if cache is not None else ""
        if cache is not None and not cache.is_here:
            cache = None
        content = cache.get(key) if cache is not None else None
        spoilt = tuple(cache.spoilt) if cache is not None else ()
        if cache is not None:
            cache.spoilt.clear()
        if content is not None and readable(content, job):
            return Packed(at, name, key, content, opening_notes=of_opening, ready=True, written=True, spoilt=spoilt)
        with hearing() as told:
            value = job(rec)
        content = encode((value, told))
        if cache is not None:
            cache.put(key, content)
        return Packed(at, name, key, content, opening_notes=of_opening, written=cache is not None, spoilt=spoilt)
    except EmgreviewError as why:
        return Packed(at, name, problem=str(why))
    except Exception as why:
        return Packed(at, name, problem=f"it ended with {type(why).__name__}: {why}; that is a fault of this package.")


def readable(content: bytes, job: Job) -> bool:
    """Whether bytes hold a result of a job, and what it warned of."""
    try:
        value = decode(content, job.classes)
    except FormatError:
        return False
    return isinstance(value, tuple) and len(value) == 2


def key_of(rec: Recording, job: Job) -> str:
    """The SHA-256 of everything that a result depends on: stored samples, what makes values of them, markers and all
    else that is known of the recording, the job, and with what it is computed. Reads all samples once."""
    facts = {
        "samples": rec.fingerprint.samples,
        "name": rec.name,
        "channels": rec.channels,
        "scales": rec.scales,
        "missing": missing_of(rec.source),
        "markers": rec.markers,
        "entities": sorted(rec.entities.items()),
        "notes": rec.notes,
        "mains": rec.mains_hz,
    }
    return hashlib.sha256(encode((version(), type(job).__qualname__, job, facts))).hexdigest()


@once
def version() -> dict[str, str]:
    """Of the package, of its very sources (a checkout changes without a new number), and of what it computes with."""
    return {
        "emgreview": __version__,
        "sources": _digest_of(sorted(Path(__file__).parents[1].rglob("*.py"))),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
        "machine": platform.machine(),
    }


def _digest_of(files: Sequence[Path]) -> str:
    digest = hashlib.sha256()
    for path in files:
        digest.update(f"{path.name}\n".encode())
        digest.update(read_small(path))
    return digest.hexdigest()
