"""One recording, wherever that is: opened, looked up in the cache, else worked on; the result as bytes.

Job             what is done with each recording
about           what of a job is about one recording
Opening         a recording that is opened where it is needed
Packed          what comes back
work            opening, key, cache, job
look_up         what was kept of a recording that has not been written since
learn           the digest of its samples, read or known from before
key_of          the digest of everything that a result depends on
version         of the package, of its very sources, and of what it computes with
"""

import hashlib
import json
import platform
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache as once
from pathlib import Path
from typing import Any, ClassVar, Protocol

import numpy
import scipy

from emgreview import __version__
from emgreview.checks import kind
from emgreview.errors import EmgreviewError, ReadError, hearing
from emgreview.model import Recording
from emgreview.model.sources import digest_kept, files_of, keep_digest, missing_of
from emgreview.plain_files import read_small
from emgreview.running.cache import Cache
from emgreview.running.values import encode

SETTLED_S = 3.0
"""A file that was written less long ago may be written again without its times telling it."""


class Job(Protocol):
    """What is done with each recording: a frozen dataclass of what it depends on beside the recording.

    ``classes`` are those that its results hold, beside numbers, texts, arrays and containers of them. Called with a
    recording it returns the result; what it warns of is kept with it. A job that holds something for each recording has
    a method ``of(name)``, which gives the same job for that one alone: only that travels, and counts for its key.
    """

    classes: ClassVar[tuple[type, ...]]

    def __call__(self, rec: Recording) -> Any: ...


def about(job: Job, name: str) -> Job:
    """What of a job is about one recording."""
    of = getattr(job, "of", None)
    narrowed: Job = job if of is None else of(name)
    return narrowed


@dataclass
class Opening:
    """A recording by place and name, and where it comes from: the recording itself, or a sequence that opens it, once
    in each process."""

    at: int
    name: str
    of: Any
    _opened: Recording | None = None

    def open(self) -> Recording:
        if self._opened is None:
            self._opened = self.of if isinstance(self.of, Recording) else self.of[self.name]
        return self._opened

    def as_seen(self, seen: str) -> Recording:
        """Opened, with the digest that was seen, where its file has not been written since; else opened anew."""
        if isinstance(self.of, Recording):
            return self.open()
        if seen:
            rec, said = self.open(), json.loads(seen)
            now = seen_of(rec, digest=False)
            if now and json.loads(now) == said[:-1]:
                keep_digest(rec, said[-1])
                return rec
        self._opened = None
        return self.open()

    def __reduce__(self) -> tuple[Any, ...]:
        return Opening, (self.at, self.name, self.of)


@dataclass(frozen=True)
class Packed:
    """What came of one recording, as it travels: the result as bytes, or a problem; sentences told on opening it;
    ``ready``: whether it was there from before; ``seen``: what the file of the recording was then, and the digest of
    its samples."""

    at: int
    name: str
    key: str = ""
    content: bytes = b""
    problem: str = ""
    opening_notes: tuple[str, ...] = ()
    ready: bool = False
    written: bool = False
    spoilt: tuple[str, ...] = ()
    seen: str = ""


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
        job = about(job, name)
        with hearing() as told:
            rec = opening.open()
        of_opening = tuple(told)
        here = cache if cache is not None and cache.is_here else None
        key = learnt = ""
        if cache is not None:
            learn(rec, here)
            key, learnt = key_of(rec, job), rec.digest
        content = here.get(key) if here is not None else None
        spoilt = tuple(here.spoilt) if here is not None else ()
        if here is not None:
            here.spoilt.clear()
        if content is not None:
            return Packed(at, name, key, content, "", of_opening, True, True, spoilt, seen_of(rec))
        with hearing() as told:
            value = job(rec)
        if learnt and rec.digest != learnt:
            raise ReadError(f"the file of {name} was written while it was worked on; run it again once it is whole.")
        content = encode((value, told))
        kept = here is not None and here.put(key, content)
        return Packed(at, name, key, content, "", of_opening, False, kept, spoilt, seen_of(rec))
    except EmgreviewError as why:
        return Packed(at, name, problem=str(why))
    except Exception as why:
        return Packed(at, name, problem=f"it ended with {type(why).__name__}: {why}; that is a fault of this package.")


def look_up(opening: Opening, job: Job, cache: Cache) -> Packed | None:
    """What was kept of a recording whose file has not been written since; None where that cannot be told at once."""
    job = about(job, opening.name)
    try:
        with hearing() as told:
            rec = opening.open()
        if not learn(rec, cache, at_once=True):
            return None
        key = key_of(rec, job)
        content = cache.get(key)
    except Exception:  # whoever works on it says what it is
        return None
    if content is None:
        return None
    return Packed(opening.at, opening.name, key, content, "", tuple(told), True, True, (), seen_of(rec))


def learn(rec: Recording, cache: Cache | None, *, at_once: bool = False) -> bool:
    """Whether the digest of a recording's samples is known now: from before, where its file has not been written since
    by all that the system says of it, or, unless it must be ``at_once``, from the samples."""
    if digest_kept(rec):
        return True
    seen = seen_of(rec, digest=False)
    if seen and cache is not None and (found := cache.get(f"digest of {seen}")) is not None:
        keep_digest(rec, found.decode("ascii"))
        return True
    if at_once:
        return False
    digest = rec.digest
    if seen and cache is not None and seen_of(rec, digest=False) == seen:
        cache.put(f"digest of {seen}", digest.encode("ascii"))
    return True


def seen_of(rec: Recording, *, digest: bool = True) -> str:
    """What the system says of the files of a recording, and how they are read: another as soon as one is written; "" of
    one without files that alone say what is stored, or written a moment ago. With its digest, where that is known."""
    stored_by = getattr(rec.source, "stored_by", None)
    files = files_of(rec.source)
    if not files or stored_by is None or (digest and not digest_kept(rec)):
        return ""
    try:
        told = [path.stat() for path in files]
    except OSError:
        return ""
    if time.time() - max(max(one.st_mtime, one.st_ctime) for one in told) < SETTLED_S:
        return ""
    what = [
        [str(path.absolute()), one.st_size, one.st_mtime_ns, one.st_ctime_ns, one.st_ino, one.st_dev]
        for path, one in zip(files, told, strict=True)
    ]
    how = [stored_by, list(rec.labels), rec.rate_hz, rec.n_samples]
    return json.dumps([what, *how, *([rec.digest] if digest else [])])


def key_of(rec: Recording, job: Job) -> str:
    """The SHA-256 of everything that a result depends on: stored samples, what makes values of them, markers and all
    else that is known of the recording, the job, and with what it is computed. Reads all samples once."""
    facts = {
        "samples": rec.digest,
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
