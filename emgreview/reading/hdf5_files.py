"""The one door to files in HDF5: opened for reading alone, followed within the file alone, sliced from disk.

A stranger's file can lead elsewhere (external links, external storage, virtual datasets), in circles, or announce
more than any disk holds: each is an error of this package before anything else is opened or filled. So are texts whose
store says that one of them takes no room: the library would look for the next one for ever, and nothing could stop it.

    opened         a file, its library's errors made ours
    node, within   a group or dataset by its path
    walked         every group, dataset and link, each once
    outside        why a link is not followed, or ""
    unfit          why a dataset holds no samples, or ""
    Sliced         samples of some signals of a dataset
"""

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import EmgreviewError, FormatError, ReadError, TruncatedError, UnknownNameError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.optional import load

HEAP = b"GCOL\x01\0\0\0"
"""Begins a global heap, version 1, the only one that there is."""
MOST_HEAPS = 1_000_000
"""Such heaps at most in a file; each takes 4096 bytes at least (our own choice)."""
SIGNATURE = b"\x89HDF\r\n\x1a\n"
MOST_OBJECTS = 2000
"""Groups and datasets that are looked at (our own choice)."""
DEEPEST = 32
"""Levels of groups, and links after one another, that are followed (our own choice)."""
MOST_CHUNK = 1 << 30
"""Bytes of a chunk at most, which is unpacked whole (our own choice)."""
MOST_RATIO = 1100
"""What deflate can save at most, 1032 to 1 (zlib's technical details), rounded up."""
BLOCK = 1 << 17
"""Samples of a read that is kept for the next signal."""

H5_ERRORS = (OSError, RuntimeError, ValueError, KeyError, TypeError, OverflowError, MemoryError, AttributeError)
"""What the library raises over a damaged file; a look into one of ours raises nothing else of them."""


@contextmanager
def opened(path: Path, what: str = "HDF5", extra: str = "hdf5", *, texts: bool = True) -> Iterator[Any]:
    """A file, open for reading; ``texts`` False: no more than numbers will be read of it. Raises ReadError where it is
    none, FormatError where it is damaged."""
    h5py = load("h5py", f"{path.name} ({what})", extra)
    found = demand_plain(path)
    size = found.st_size
    with open_plain(path) as stream:
        wide = _signed(stream, size)
        if wide is None:
            raise FormatError(
                f"{path.name} does not begin as a file in HDF5 does; allowed: {what}; give the right file, or its "
                "right ending."
            )
    if texts and (bad := _unsound(path, wide, size, found.st_mtime_ns, found.st_ino)):
        raise FormatError(
            f"{path.name} cannot be read as {what} (the texts stored at byte {bad} are damaged); copy or export it "
            "again."
        )
    try:
        with h5py.File(path, "r", locking=False, rdcc_nbytes=32 << 20) as file:
            yield file
    except EmgreviewError:
        raise
    except H5_ERRORS as why:
        words = " ".join(str(why).split())[:160]
        kind = TruncatedError if "truncated" in words else FormatError
        raise kind(
            f"{path.name} cannot be read as {what} ({words or type(why).__name__}); the file is damaged or cut short: "
            "copy or export it again."
        ) from why


def _signed(stream: Any, size: int) -> int | None:
    """How many bytes wide lengths are in a file, as its first block says; None where there is none."""
    at = 0
    while at + 8 <= size:  # the signature may stand behind a block of the user's, at 512 and its doubles
        stream.seek(at)
        if stream.read(8) == SIGNATURE:
            head = stream.read(8).ljust(8, b"\0")
            return int(head[6] if head[0] < 2 else head[2])
        at = max(512, at * 2)
    return None


@lru_cache(maxsize=64)
def _unsound(path: Path, wide: int, size: int, *_: int) -> int:
    """Where a global heap, in which the library keeps texts of any length, holds an object that takes no room, or more
    than there is (HDF5 file format specification 3.0, III.E); 0 where all are sound. Looked for once while a file is
    not written."""
    if wide not in (2, 4, 8):
        return 0  # the library refuses it
    count = before = 0
    rest = b""
    with open_plain(path) as blocks, open_plain(path) as stream:
        while block := blocks.read(1 << 20):
            text = rest + block
            for found in re.finditer(re.escape(HEAP), text):
                at, count = before - len(rest) + found.start(), count + 1
                if count > MOST_HEAPS or not _is_sound(stream, size, at, wide):
                    return at
            before, rest = before + len(block), text[-len(HEAP) + 1 :]
    return 0


def _is_sound(stream: BinaryIO, size: int, at: int, wide: int) -> bool:
    """Whether the objects of a heap follow one another to its end; lengths are ``wide`` bytes."""

    def at_place(place: int) -> tuple[int, int]:
        stream.seek(place)
        read = stream.read(8 + wide)
        return int.from_bytes(read[:2], "little"), int.from_bytes(read[8:], "little")

    head = -(-(8 + wide) // 8) * 8
    end, place = at + at_place(at)[1], at + head
    if end > size:
        return True  # the library refuses it
    while place + head <= end:  # what is left behind the last one is free
        number, held = at_place(place)
        taken = held if number == 0 else head + -(-held // 8) * 8  # 0: all that is free, its own head too
        if not 0 < taken <= end - place:
            return False
        place += taken
    return True


def node(file: Any, path: Path, name: str, what: str = "dataset") -> Any:
    """What lies at a path within a file. Raises UnknownNameError, FormatError for a link out of the file or in a
    circle."""
    return _followed(file, path, [part for part in name.split("/") if part not in ("", ".")], name, what, DEEPEST)


def _followed(file: Any, path: Path, parts: list[str], name: str, what: str, left: int) -> Any:
    h5py = load("h5py", path.name, "hdf5")
    here, gone = file, list[str]()
    for place, part in enumerate(parts):
        link = _link(h5py, here, part) if isinstance(here, h5py.Group) else None
        if link is None:
            raise UnknownNameError(what, name, list(here)[:50] if isinstance(here, h5py.Group) else [], path.name)
        if isinstance(link, h5py.SoftLink):
            if left == 0:
                raise FormatError(
                    f"{path.name}: the path {name!r} leads over more than {DEEPEST} links, as in a circle; give the "
                    "path of the dataset itself."
                )
            absolute = link.path.startswith("/")
            target = link.path.split("/") if absolute else [*gone, *link.path.split("/")]
            rest = [one for one in [*target, *parts[place + 1 :]] if one not in ("", ".")]
            return _followed(file.file if absolute else file, path, rest, name, what, left - 1)
        if not isinstance(link, h5py.HardLink):
            raise FormatError(
                f"{path.name}: the path {name!r} leads out of the file ({type(link).__name__}); allowed: what the file "
                "itself holds; copy the data into it."
            )
        here = here[part]
        gone.append(part)
    return here


def walked(file: Any, path: Path, hidden: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Path and object of every group and dataset, each once, and every link to a path; MOST_OBJECTS at most."""
    h5py = load("h5py", path.name, "hdf5")
    level: list[tuple[str, Any]] = [("", file)]
    seen = {_address(h5py, file)}
    count = 0
    for _ in range(DEEPEST):
        inner: list[tuple[str, Any]] = []
        for above, group in level:
            for part in group:
                count += 1
                if count > MOST_OBJECTS:
                    return
                if part in hidden:
                    continue
                link = _link(h5py, group, part)
                name = f"{above}/{part}" if above else part
                if not isinstance(link, h5py.HardLink):
                    yield name, link
                    continue
                found = group[part]
                address = _address(h5py, found)
                if address in seen or not isinstance(found, h5py.Group | h5py.Dataset):
                    continue
                seen.add(address)
                yield name, found
                if isinstance(found, h5py.Group):
                    inner.append((name, found))
        if not inner:
            return
        level = inner


def within(group: Any, path: Path, name: str) -> Any | None:
    """What lies at a path below a group, as :func:`node` has it, or None where nothing does."""
    try:
        return node(group, path, name)
    except UnknownNameError:
        return None


def _link(h5py: Any, group: Any, name: str) -> Any:
    """The link of a name, never what it leads to, or None."""
    links, raw = group.id.links, name.encode("utf-8", "surrogateescape")
    if not links.exists(raw):
        return None
    kind = links.get_info(raw).type
    if kind == h5py.h5l.TYPE_HARD:
        return h5py.HardLink()
    value = links.get_val(raw)
    if kind == h5py.h5l.TYPE_SOFT:
        return h5py.SoftLink(value.decode("utf-8", "replace"))
    return h5py.ExternalLink(*(one.decode("utf-8", "replace") for one in value[:2]))


def outside(link: Any) -> str:
    """Why a link is not followed in a list of what there is."""
    if hasattr(link, "filename"):
        return "it leads to another file, which is not opened"
    return f"it leads to {link.path!r}: give that path" if hasattr(link, "path") else "it leads out of the file"


def _address(h5py: Any, found: Any) -> int:
    return int(h5py.h5o.get_info(found.id).addr)


def unfit(dataset: Any, file_bytes: int) -> str:
    """Why a dataset holds no numbers that can be read from this file alone, or ""."""
    if dataset.shape is None:
        return "it is empty"
    if dataset.is_virtual:
        return "it is virtual: its values lie in other files, which are not opened"
    if dataset.external:
        return "its values lie in another file, which is not opened"
    kind, wide = dataset.dtype.kind, dataset.dtype.itemsize
    if kind not in "iuf" or wide > 8:
        return {
            "V": "its parts have parts (compound)",
            "O": "it holds texts or references",
            "S": "it holds texts",
            "c": "its numbers are complex",
            "b": "it holds true and false",
        }.get(kind, f"its type {dataset.dtype} is no plain number")
    return _stored_oddly(dataset, file_bytes)


def _stored_oddly(dataset: Any, file_bytes: int) -> str:
    h5py = load("h5py", "HDF5", "hdf5")
    properties = dataset.id.get_create_plist()
    filters = [properties.get_filter(place) for place in range(properties.get_nfilters())]
    for code, _, _, words in filters:
        if not h5py.h5z.filter_avail(code):
            name = words.decode("utf-8", "replace").strip("\0") or "no name"
            return f"it is packed by filter {code} ({name}), which is not installed here: save it with gzip or none"
    n_bytes = math.prod(dataset.shape) * dataset.dtype.itemsize
    held = file_bytes * (MOST_RATIO if filters else 1)
    if n_bytes > held:
        return f"it announces {n_bytes} bytes, and the file of {file_bytes} can hold {held} at most"
    if dataset.chunks and (wide := math.prod(dataset.chunks) * dataset.dtype.itemsize) > MOST_CHUNK:
        return f"its chunks take {wide} bytes each, and {MOST_CHUNK} at most are unpacked: save it in smaller ones"
    return ""


@dataclass(frozen=True, eq=False, slots=True)
class Sliced:
    """Some signals of a dataset with time along one axis; the last short read of all of them is kept."""

    path: Path
    name: str
    time_axis: int
    places: tuple[int, ...]
    shape: tuple[int, ...]
    kept: dict[tuple[int, int], NDArray] = field(default_factory=dict)

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        if stop <= start:
            return np.empty(0)
        if stop - start > BLOCK or len(self.places) == 1:
            return self._read(start, stop, [signal])[0]
        block = self.kept.get((start, stop))
        if block is None:
            block = self._read(start, stop, range(len(self.places)))
            self.kept.clear()
            self.kept[start, stop] = block
        return block[signal]

    def _read(self, start: int, stop: int, signals: Any) -> NDArray:
        """(signals, samples)."""
        with opened(self.path, texts=False) as file:
            dataset = node(file, self.path, self.name)
            if dataset.shape != self.shape or unfit(dataset, self.path.stat().st_size):
                raise ReadError(
                    f"{self.path.name} is no longer what it was when it was opened; it must stay in place and whole "
                    "while it is in use; restore it, then read it again."
                )
            if len(self.shape) == 1:
                return np.asarray(dataset[start:stop])[None]
            places = [self.places[signal] for signal in signals]
            low, high = min(places), max(places) + 1
            span = (slice(start, stop), slice(low, high))
            block = np.asarray(dataset[span if self.time_axis == 0 else span[::-1]])
            block = block.T if self.time_axis == 0 else block
            return np.ascontiguousarray(block[[place - low for place in places]])
