"""The parameters of a C3D file, as groups of numbers and texts; and floats of a DEC processor.

Parameters      all of them, by "GROUP:NAME"
from_dec        floats of that processor
"""

import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError

ADVICE = "the file is damaged or of another kind: copy or export it again."
PROCESSORS = {84: "<", 85: "DEC", 86: ">"}


def from_dec(words: NDArray) -> NDArray[np.float32]:
    """Floats of a DEC processor: halves of a word exchanged, four times too large."""
    halves = np.ascontiguousarray(words).view("<u2").reshape(-1, 2)[:, ::-1]
    values = np.ascontiguousarray(halves).view("<f4").ravel() / np.float32(4)
    return np.where((np.ascontiguousarray(halves).view("<u4").ravel() & 0x7F800000) == 0, np.float32(0), values)


class Parameters:
    """The parameters of a file, by "GROUP:NAME"."""

    def __init__(self, path: Path, raw: bytes) -> None:
        self.path, self.raw = path, raw
        if raw[3] not in PROCESSORS:
            raise FormatError(
                f"{path.name} names processor {raw[3]}; allowed: 84 (Intel), 85 (DEC), 86 (MIPS); {ADVICE}"
            )
        self.processor = PROCESSORS[raw[3]]
        self.order = ">" if self.processor == ">" else "<"
        groups: dict[int, str] = {}
        found: list[tuple[int, str, int]] = []
        at = 4
        for _ in range(20_000):
            if at + 2 > len(raw) or raw[at] == 0:
                break
            length, number = abs(struct.unpack("b", raw[at : at + 1])[0]), struct.unpack("b", raw[at + 1 : at + 2])[0]
            name = self._take(at + 2, length).decode("latin-1").strip().upper()
            (to_next,) = struct.unpack(f"{self.order}H", self._take(at + 2 + length, 2))
            if number < 0:
                groups[-number] = name
            elif number > 0:
                found.append((number, name, at + 4 + length))
            if to_next == 0:
                break
            at += 2 + length + to_next
        self._places = {f"{groups.get(number, '')}:{name}": place for number, name, place in found}

    def numbers(self, name: str) -> NDArray[np.float64]:
        """All numbers of a parameter and of those that continue it (SCALE, SCALE2, …), () where there is none."""
        parts = [self._numbers(one) for one in self._continued(name)]
        return np.concatenate(parts) if parts else np.empty(0)

    def _continued(self, name: str) -> Iterator[str]:
        """Names of a parameter and of those that continue it, as far as they are there."""
        for one in (name, *(f"{name}{k}" for k in range(2, 20))):
            if one not in self._places:
                return
            yield one

    def _numbers(self, name: str) -> NDArray[np.float64]:
        kind, _, raw = self._data(name)
        if kind == 4 and self.processor == "DEC":
            return from_dec(np.frombuffer(raw, "<f4")).astype(np.float64)
        types = {1: "i1", 2: f"{self.order}i2", 4: f"{self.order}f4"}
        if kind not in types:
            raise FormatError(f"{self.path.name}: the parameter {name} holds texts; allowed: numbers; {ADVICE}")
        return np.frombuffer(raw, types[kind]).astype(np.float64)

    def texts(self, name: str) -> list[str]:
        """The texts of a parameter and of those that continue it (LABELS, LABELS2, …)."""
        found: list[str] = []
        for one in self._continued(name):
            kind, sides, raw = self._data(one)
            if kind != -1:
                raise FormatError(f"{self.path.name}: the parameter {one} holds numbers; allowed: texts; {ADVICE}")
            wide = sides[0] if sides else 1
            texts = [raw[k : k + wide] for k in range(0, len(raw), wide)] if wide else []
            found += [text.decode("utf-8", "replace").strip(" \0") for text in texts]
        return found

    def one(self, name: str, default: float) -> float:
        found = self.numbers(name)
        return float(found[0]) if len(found) else default

    def whole(self, name: str) -> int:
        """A whole number, 0 where there is none. Raises FormatError for what is none."""
        found = self.one(name, 0.0)
        if not (np.isfinite(found) and found == int(found)):
            raise FormatError(f"{self.path.name} states {found:g} as {name}; allowed: a whole number; {ADVICE}")
        return int(found)

    def _data(self, name: str) -> tuple[int, tuple[int, ...], bytes]:
        at = self._places[name]
        kind, n_sides = struct.unpack("bB", self._take(at, 2))
        sides = tuple(self._take(at + 2, n_sides))
        size = abs(kind)
        for side in sides:
            size *= side
        return kind, sides, self._take(at + 2 + n_sides, size)

    def _take(self, at: int, count: int) -> bytes:
        if at + count > len(self.raw):
            raise FormatError(
                f"{self.path.name}: a parameter of {count} bytes at byte {at} reaches beyond the {len(self.raw)} of "
                f"its section; {ADVICE}"
            )
        return self.raw[at : at + count]
