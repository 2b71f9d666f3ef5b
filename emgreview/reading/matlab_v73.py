"""Variables of a .mat file of version 7.3: HDF5, in which a dataset's shape is that of MATLAB the other way round.

The attribute MATLAB_class names the class; a struct is a group, a cell a dataset of references into "#refs#", text an
array of codes of UTF-16.

    Variables73     the variables of one file
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.plain_files import demand_plain
from emgreview.reading.arrays import MOST_TEXTS, Entry
from emgreview.reading.hdf5_files import Sliced, node, opened, unfit, walked
from emgreview.reading.matlab_v5 import NUMBERS, rows_of_text

HIDDEN = ("#refs#", "#subsystem#")
LONGEST_TEXT = 1 << 16


@dataclass(frozen=True, eq=False, slots=True)
class Variables73:
    """The variables of one file."""

    path: Path
    what: str = "variable"

    def entries(self) -> tuple[Entry, ...]:
        size = demand_plain(self.path).st_size
        found = []
        with opened(self.path, "MATLAB 7.3", "matlab") as file:
            for name, one in walked(file, self.path, HIDDEN):
                if hasattr(one, "dtype"):
                    found.append(_entry(name.replace("/", "."), one, size))
                elif "MATLAB_sparse" in getattr(one, "attrs", ()):
                    found.append(Entry(name.replace("/", "."), (), "sparse", "", "a sparse matrix: save it as full(x)"))
        sparse = [f"{one.name}." for one in found if one.kind == "sparse"]
        return tuple(one for one in found if not one.name.startswith(tuple(sparse)))

    def numbers(self, name: str) -> NDArray:
        with opened(self.path, "MATLAB 7.3", "matlab") as file:
            return np.asarray(self._node(file, name)[()]).T.ravel()

    def texts(self, name: str) -> list[str]:
        with opened(self.path, "MATLAB 7.3", "matlab") as file:
            dataset = self._node(file, name)
            if _class(dataset) == "char":
                return rows_of_text(_codes(dataset).T)
            cells = np.asarray(dataset[()]).T.ravel(order="F")
            return ["".join(rows_of_text(_codes(file[cell]).T)) for cell in cells]

    def samples(self, name: str, time_axis: int, places: tuple[int, ...]) -> Sliced:
        with opened(self.path, "MATLAB 7.3", "matlab") as file:
            shape = self._node(file, name).shape
        axis = len(shape) - 1 - time_axis
        return Sliced(self.path, name.replace(".", "/"), axis, (0,) if 1 in shape else places, shape)

    def _node(self, file: Any, name: str) -> Any:
        return node(file, self.path, name.replace(".", "/"), "variable")


def _class(one: Any) -> str:
    said = one.attrs.get("MATLAB_class", b"")
    return said.decode("ascii", "replace") if isinstance(said, bytes) else str(said)


def _codes(dataset: Any) -> NDArray:
    """Codes of a text, () where it is none or too long."""
    empty = "MATLAB_empty" in dataset.attrs or dataset.dtype.kind not in "iu" or dataset.size > LONGEST_TEXT
    return np.zeros((0, 0), np.uint16) if empty else np.atleast_2d(np.asarray(dataset[()]))


def _entry(name: str, dataset: Any, file_bytes: int) -> Entry:
    kind, shape = _class(dataset) or "of no class", tuple(reversed(dataset.shape or ()))
    if "MATLAB_empty" in dataset.attrs:
        return Entry(name, (0, 0), kind, "", "it is empty")
    if kind == "char" and len(shape) == 2 and dataset.size <= LONGEST_TEXT:
        return Entry(name, shape, kind, "texts")
    if kind == "cell" and dataset.dtype.kind == "O" and dataset.size <= MOST_TEXTS:
        why = "" if _holds_text(dataset) else "its cells hold no text"
        return Entry(name, shape, kind, "" if why else "texts", why)
    why = unfit(dataset, file_bytes)
    if kind not in NUMBERS or "MATLAB_object_decode" in dataset.attrs:
        why = why or f"it is of class {kind}"
    if "complex" in why or dataset.dtype.kind == "V":
        why = "its numbers are complex"
    return Entry(name, shape, kind, "" if why else "numbers", why)


def _holds_text(cells: Any) -> bool:
    return all(_class(cells.file[cell]) == "char" for cell in np.asarray(cells[()]).ravel() if cell)
