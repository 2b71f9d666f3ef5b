"""Variables of a .mat file of version 5 to 7, by their bytes: elements of a tag and data, packed by zlib or not.

After "MAT-File Format" (The MathWorks), chapter 1. Numbers of a variable that is not packed are sliced from disk; of
one that is, unpacked whole. MATLAB stores whole numbers of a double as short integers: they come as the class says.

    Variables5      the variables of one file
    rows_of_text    texts of a matrix of codes
"""

import math
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ReadError, TruncatedError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.arrays import MOST_TEXTS, Entry

NUMBERS = {
    "double": "f8", "single": "f4", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4",
    "uint32": "u4", "int64": "i8", "uint64": "u8",
}  # fmt: skip
"""Classes of numbers, and the types that they come as."""
_CLASSES = {
    1: "cell", 2: "struct", 3: "object", 4: "char", 5: "sparse", 6: "double", 7: "single", 8: "int8", 9: "uint8",
    10: "int16", 11: "uint16", 12: "int32", 13: "uint32", 14: "int64", 15: "uint64", 16: "function handle",
    17: "object",
}  # fmt: skip
_STORED = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
_TEXTS = {**{code: way for code, way in _STORED.items() if way[0] != "f"}, 16: "utf-8", 17: "utf-16", 18: "utf-32"}
_MATRIX, _PACKED = 14, 15
_REFUSED = {
    "sparse": "a sparse matrix: save it as full(x)",
    "object": "an object (table, string, datetime …): save its values as arrays",
    "function handle": "a function",
}

DEEPEST = 16
"""Levels of structs and cells that are followed (our own choice)."""
MOST_ELEMENTS = 20_000
MOST_UNPACKED = 1 << 31
"""Bytes of a variable at most, as the format has it."""
HEAD = 1 << 12
"""Bytes of a packed variable that tell what it is."""


def _is_text(entry: Entry) -> bool:
    """Whether an array is a text, an empty one too."""
    return entry.kind == "char" and (entry.role == "texts" or entry.size == 0)


@dataclass(frozen=True, slots=True)
class _Leaf:
    """One array: where its numbers lie in the file, or in the unpacked bytes of the element at ``packed``."""

    entry: Entry
    code: int = 0
    at: int = 0
    n_bytes: int = 0
    packed: int | None = None
    cells: tuple["_Leaf", ...] = ()


class _Bytes:
    """Bytes of the file, or of an unpacked element; a part beyond their end is an error of ours."""

    def __init__(self, path: Path, order: str, held: bytes | None, packed: int | None = None) -> None:
        self.path, self.order, self.held, self.packed = path, order, held, packed
        self.stream = None if held is not None else open_plain(path)
        self.size = demand_plain(path).st_size if held is None else len(held)

    def take(self, at: int, count: int) -> bytes:
        if at + count > self.size:
            raise TruncatedError(
                f"{self.path.name} ends within a variable: {count} bytes are announced at byte {at}, and "
                f"{max(0, self.size - at)} are there; the file was cut short or is damaged: copy or save it again."
            )
        if self.stream is None:
            return self.held[at : at + count]  # type: ignore[index]
        self.stream.seek(at)
        return self.stream.read(count)

    def tag(self, at: int) -> tuple[int, int, int, int]:
        """Type, bytes, place of the data and of the next element."""
        code, count = struct.unpack(f"{self.order}II", self.take(at, 8))
        if code >> 16:
            if code >> 16 > 4:
                raise _broken(self.path, at, f"a short element of {code >> 16} bytes")
            return code & 0xFFFF, code >> 16, at + 4, at + 8
        return code, count, at + 8, at + 8 + count + (0 if code == _PACKED else -count % 8)

    def close(self) -> None:
        if self.stream is not None:
            self.stream.close()


def _broken(path: Path, at: int, came: str) -> FormatError:
    return FormatError(
        f"{path.name} has {came} at byte {at}; allowed: elements as MATLAB 5 and later write them; the file is "
        "damaged: copy or save it again."
    )


def _most_in(path: Path) -> int:
    """Bytes that a file can hold, packed as densely as zlib can (1032 to 1)."""
    return 1032 * demand_plain(path).st_size


class Variables5:
    """The variables of one file, found at once: their numbers stay where they are."""

    what = "variable"

    def __init__(self, path: Path, order: str) -> None:
        self.path, self.order = path, order
        self._count = 0
        self._kept = (0, b"")
        self._leaves = {leaf.entry.name: leaf for leaf in self._found() if leaf.entry.name}

    def entries(self) -> tuple[Entry, ...]:
        return tuple(leaf.entry for leaf in self._leaves.values())

    def numbers(self, name: str) -> NDArray:
        return self._whole(self._leaves[name])

    def texts(self, name: str) -> list[str]:
        leaf = self._leaves[name]
        if leaf.entry.kind == "char":
            return self._text(leaf)
        return ["".join(self._text(cell)) for cell in leaf.cells]

    def samples(self, name: str, time_axis: int, places: tuple[int, ...]) -> "_Columns":
        leaf = self._leaves[name]
        rows, columns = leaf.entry.shape
        dtype = self.order + _STORED[leaf.code]
        loaded = self._whole(leaf) if leaf.packed is not None else None
        vector = 1 in (rows, columns)
        return _Columns(
            self.path, leaf.at, rows, columns, dtype, NUMBERS[leaf.entry.kind], time_axis,
            (0,) if vector else places, loaded,
        )  # fmt: skip

    def _whole(self, leaf: _Leaf) -> NDArray:
        """Numbers in MATLAB's order, column after column."""
        raw = self._raw(leaf)
        values = np.frombuffer(raw, self.order + _STORED[leaf.code])
        return values.astype(NUMBERS.get(leaf.entry.kind, values.dtype.str[1:]))

    def _raw(self, leaf: _Leaf) -> bytes:
        held = None if leaf.packed is None else self._whole_packed(leaf.packed)
        source = _Bytes(self.path, self.order, held)
        try:
            return source.take(leaf.at, leaf.n_bytes)
        finally:
            source.close()

    def _text(self, leaf: _Leaf) -> list[str]:
        if leaf.entry.size == 0:
            return [""]
        raw = self._raw(leaf)
        way = _TEXTS[leaf.code]
        if way.startswith("utf"):
            ends = {"<": "-le", ">": "-be"}[self.order]
            codes = np.array([ord(one) for one in raw.decode(way if way == "utf-8" else way + ends, "replace")])
        else:
            codes = np.frombuffer(raw, self.order + way)
        rows, columns = (*leaf.entry.shape, 1, 1)[:2]
        if len(codes) != rows * columns:
            return ["".join(map(chr, codes))] if rows == 1 else []
        return rows_of_text(codes.reshape(rows, columns, order="F"))

    def _found(self) -> Iterator[_Leaf]:
        source = _Bytes(self.path, self.order, None)
        try:
            at = 128
            while at < source.size:
                code, count, start, after = source.tag(at)
                if code == _PACKED:
                    source.take(start + count - 1, 1)
                    head = self._unpacked(at, HEAD)
                    inner = _Bytes(self.path, self.order, head, at)
                    kind = head[16] if self.order == "<" and len(head) > 16 else head[19] if len(head) > 19 else 0
                    if _CLASSES.get(kind) in ("cell", "struct"):
                        inner = _Bytes(self.path, self.order, self._whole_packed(at), at)
                    yield from self._matrix(inner, 0, "", 0)
                elif code == _MATRIX:
                    source.take(start + count - 1, 1)
                    yield from self._matrix(source, at, "", 0)
                else:
                    raise _broken(self.path, at, f"an element of type {code}")
                at = after
        finally:
            source.close()

    def _whole_packed(self, at: int) -> bytes:
        """The element that is packed at a place, as long as its own tag says; the last one is kept."""
        if self._kept[0] == at:
            return self._kept[1]
        head = self._unpacked(at, 8)
        if len(head) < 8:
            raise _broken(self.path, at, "a packed variable without a size")
        (announced,) = struct.unpack(f"{self.order}I", head[4:8])
        if announced + 8 > min(MOST_UNPACKED, _most_in(self.path)):
            raise _broken(self.path, at, f"a packed variable that announces {announced} bytes")
        self._kept = (0, b"")
        self._kept = (at, self._unpacked(at, announced + 8, whole=True))
        return self._kept[1]

    def _unpacked(self, at: int, most: int, whole: bool = False) -> bytes:
        """The first bytes of a packed element; where it is the ``whole``, its checksum must fit."""
        unpacker, held = zlib.decompressobj(), bytearray()
        with open_plain(self.path) as stream:
            stream.seek(at + 4)
            (left,) = struct.unpack(f"{self.order}I", stream.read(4).ljust(4, b"\0"))
            try:
                while len(held) < most and not unpacker.eof:
                    raw = unpacker.unconsumed_tail
                    if not raw:
                        raw = stream.read(min(left, 1 << 20))
                        left -= len(raw)
                    if not raw:
                        break
                    held += unpacker.decompress(raw, most - len(held))
                while whole and not unpacker.eof and (raw := unpacker.unconsumed_tail or stream.read(min(left, 64))):
                    left -= 0 if unpacker.unconsumed_tail else len(raw)
                    if unpacker.decompress(raw, 1):
                        break
            except zlib.error as why:
                raise FormatError(
                    f"{self.path.name} holds a packed variable at byte {at} that cannot be unpacked ({why}); the file "
                    "is damaged: copy or save it again."
                ) from why
        if whole and not unpacker.eof:
            raise _broken(
                self.path, at, f"a packed variable that does not end after the {most} bytes that it announces"
            )
        return bytes(held)

    def _matrix(self, source: _Bytes, at: int, name: str, depth: int) -> Iterator[_Leaf]:
        """The arrays in an element: itself, or what lies in its fields."""
        self._count += 1
        if depth > DEEPEST or self._count > MOST_ELEMENTS:
            raise _broken(self.path, at, f"structs or cells more than {DEEPEST} deep, or {MOST_ELEMENTS} parts")
        code, count, at, end = source.tag(at)
        if code != _MATRIX:
            raise _broken(self.path, at, f"an element of type {code} in place of an array")
        if count == 0:
            yield _Leaf(Entry(name, (0, 0), "empty", "", "it is empty"))
            return
        _, _, start, at = source.tag(at)
        (flags,) = struct.unpack(f"{source.order}I", source.take(start, 4))
        kind = _CLASSES.get(flags & 0xFF, "")
        if flags & 0xFF == 17 or not kind:
            shape: tuple[int, ...] = ()
        else:
            _, n_bytes, start, at = source.tag(at)
            if n_bytes % 4 or not 8 <= n_bytes <= 128:
                raise _broken(self.path, start, f"{n_bytes} bytes of sizes")
            shape = struct.unpack(f"{source.order}{n_bytes // 4}i", source.take(start, n_bytes))
        _, n_bytes, start, at = source.tag(at)
        own = source.take(start, min(n_bytes, 64)).decode("ascii", "replace").strip("\0")
        name = f"{name}{own}" if depth == 0 else name
        if not kind or kind in _REFUSED or min(shape, default=0) < 0:
            yield _Leaf(
                Entry(name, shape, kind or "unknown", "", _REFUSED.get(kind, "of a class or size unknown here"))
            )
            return
        size = math.prod(shape)
        if kind == "struct":
            yield from self._struct(source, at, end, name, shape, depth)
        elif kind == "cell":
            cells = []
            for _ in range(size if size <= MOST_TEXTS else 0):
                cells += [one for one in self._matrix(source, at, "", depth + 1) if not one.entry.name]
                at = source.tag(at)[3]
            texts = len(cells) == size > 0 and all(_is_text(cell.entry) for cell in cells)
            why = "" if texts else "its cells hold no text"
            yield _Leaf(Entry(name, shape, kind, "texts" if texts else "", why), cells=tuple(cells))
        elif size == 0:
            yield _Leaf(Entry(name, shape, kind, "", "it is empty"))
        else:
            yield self._plain(source, at, name, shape, kind, flags, size)

    def _struct(
        self, source: _Bytes, at: int, end: int, name: str, shape: tuple[int, ...], depth: int
    ) -> Iterator[_Leaf]:
        _, _, start, at = source.tag(at)
        (width,) = struct.unpack(f"{source.order}i", source.take(start, 4))
        _, n_bytes, start, at = source.tag(at)
        if not 1 <= width <= 64 or n_bytes > width * MOST_TEXTS:
            raise _broken(self.path, start, f"names of fields {width} bytes long")
        raw = source.take(start, n_bytes)
        names = [raw[k : k + width].split(b"\0")[0].decode("ascii", "replace") for k in range(0, n_bytes, width)]
        if math.prod(shape) != 1:
            words = "several structs in one: save the one that holds the samples by itself"
            yield _Leaf(Entry(name, shape, "struct", "", words))
            return
        for field in names:
            yield from self._matrix(source, at, f"{name}.{field}", depth + 1)
            at = source.tag(at)[3]

    def _plain(
        self, source: _Bytes, at: int, name: str, shape: tuple[int, ...], kind: str, flags: int, size: int
    ) -> _Leaf:
        code, n_bytes, start, _ = source.tag(at)
        stored = _TEXTS if kind == "char" else _STORED
        if code not in stored:
            raise _broken(self.path, at, f"data of type {code} in {name!r}")
        wide = 0 if stored[code].startswith("utf") else np.dtype(stored[code]).itemsize
        if wide and n_bytes != wide * size:
            raise _broken(self.path, at, f"{n_bytes} bytes for {' x '.join(map(str, shape))} of {name!r}")
        if n_bytes > min(MOST_UNPACKED, _most_in(self.path)):
            raise _broken(self.path, at, f"a variable of {n_bytes} bytes")
        if source.packed is None:
            source.take(start + n_bytes - 1 if n_bytes else start, 1)
        why = "its numbers are complex" if flags & 0x800 else "it holds true and false" if flags & 0x200 else ""
        role = "" if why else "texts" if kind == "char" else "numbers"
        if kind == "char" and (size > 1 << 16 or len(shape) > 2):
            role, why = "", "a long text"
        return _Leaf(Entry(name, shape, kind, role, why), code, start, n_bytes, source.packed)


def rows_of_text(codes: NDArray) -> list[str]:
    """One text a row of codes, of UTF-16 where two of them are one sign; what is no sign becomes one that says so."""
    rows = ["".join(chr(one) if 0 <= one < 0x110000 else "\ufffd" for one in row) for row in codes.tolist()]
    return [row.encode("utf-16", "surrogatepass").decode("utf-16", "replace").rstrip(" \0") for row in rows]


@dataclass(frozen=True, eq=False, slots=True)
class _Columns:
    """Signals of a matrix, column after column: in the file from ``at`` on, or ``loaded``."""

    path: Path
    at: int
    rows: int
    columns: int
    stored_as: str
    wanted: str
    time_axis: int
    places: tuple[int, ...]
    loaded: NDArray | None

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        place, vector = self.places[signal], 1 in (self.rows, self.columns)
        if self.time_axis == 0 or vector:
            first = 0 if vector else place * self.rows
            return self._values(first + start, first + stop)
        return self._values(start * self.rows, stop * self.rows)[place :: self.rows]

    def _values(self, start: int, stop: int) -> NDArray:
        if self.loaded is not None:
            return self.loaded[start:stop]
        if stop <= start:
            return np.empty(0, self.wanted)
        wide = np.dtype(self.stored_as).itemsize
        with open_plain(self.path) as stream:
            stream.seek(self.at + start * wide)
            raw = stream.read((stop - start) * wide)
        if len(raw) < (stop - start) * wide:
            raise ReadError(
                f"{self.path.name} could be opened but no longer be read; it must stay in place and whole while it is "
                "in use; restore it, then read it again."
            )
        return np.frombuffer(raw, self.stored_as).astype(self.wanted)
