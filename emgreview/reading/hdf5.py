"""HDF5: a dataset by its path, its rate and labels by datasets or attributes, as a person says; sliced from disk.

After the published "HDF5 File Format Specification", version 3.0, read by its library through h5py. An attribute is
called by the path of what it belongs to, and its name behind "@": "trial/emg@rate", or "@rate" of the file as a whole.
Shapes are those that the library shows.

    READER      the format
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.plain_files import demand_plain
from emgreview.reading.array_layout import ArrayLayout
from emgreview.reading.arrays import MOST_NUMBERS, MOST_TEXTS, Entry, contents_of
from emgreview.reading.arrays_look import seen_in
from emgreview.reading.contents import Columns, Contents, Reader, Seen
from emgreview.reading.hdf5_files import Sliced, node, opened, outside, unfit, walked


@dataclass(frozen=True, eq=False, slots=True)
class _Datasets:
    """The datasets and attributes of one file."""

    path: Path
    what: str = "dataset"

    def entries(self) -> tuple[Entry, ...]:
        found = []
        size = demand_plain(self.path).st_size
        with opened(self.path) as file:
            found += _attributes("", file)
            for name, one in walked(file, self.path):
                if not hasattr(one, "attrs"):
                    found.append(Entry(name, (), "link", "", outside(one)))
                    continue
                if hasattr(one, "dtype"):
                    found.append(_entry(name, one, size))
                found += _attributes(name, one)
        return tuple(found)

    def numbers(self, name: str) -> NDArray:
        return np.asarray(self._values(name)).ravel()

    def texts(self, name: str) -> list[str]:
        values = np.atleast_1d(np.asarray(self._values(name), dtype=object)).ravel()
        return [one.decode("utf-8", "replace") if isinstance(one, bytes) else str(one) for one in values]

    def samples(self, name: str, time_axis: int, places: tuple[int, ...]) -> Sliced:
        with opened(self.path) as file:
            shape = node(file, self.path, name).shape
        flat = len(shape) == 2 and 1 in shape
        return Sliced(self.path, name, time_axis, (0,) if flat else places, shape)

    def _values(self, name: str) -> Any:
        owner, at, attribute = name.rpartition("@")
        with opened(self.path) as file:
            return node(file, self.path, owner).attrs[attribute] if at else node(file, self.path, name)[()]


def _entry(name: str, dataset: Any, file_bytes: int) -> Entry:
    shape, why = dataset.shape or (), unfit(dataset, file_bytes)
    textual = dataset.dtype.kind in "SO" and "texts" in why
    if textual and _is_text(dataset.dtype) and dataset.size <= MOST_TEXTS:
        return Entry(name, shape, "text", "texts")
    return Entry(name, shape, str(dataset.dtype), "" if why else "numbers", why)


def _is_text(dtype: Any) -> bool:
    return dtype.kind == "S" or (dtype.metadata or {}).get("vlen") in (str, bytes)


def _attributes(name: str, owner: Any) -> list[Entry]:
    found = []
    for key in owner.attrs:
        about = owner.attrs.get_id(key)
        if about.dtype.kind in "iuf" and np.prod(about.shape) <= MOST_NUMBERS:
            found.append(Entry(f"{name}@{key}", about.shape, f"{about.dtype} (attribute)", "numbers"))
        elif _is_text(about.dtype) and np.prod(about.shape) <= MOST_TEXTS:
            found.append(Entry(f"{name}@{key}", about.shape, "text (attribute)", "texts"))
    return found


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: ArrayLayout | None = None
) -> Contents:
    """Contents of a dataset, as the layout says. Raises FormatError, RateError, ParameterError, UnknownNameError."""
    return contents_of(_Datasets(path), layout or ArrayLayout(), rate_hz, columns)


def look(path: Path) -> Seen:
    """Datasets and attributes with shape and type."""
    return seen_in(_Datasets(path))


READER = Reader(
    "HDF5",
    (".h5", ".hdf5"),
    read,
    describes_itself=False,
    layout=ArrayLayout,
    look=look,
    needs=("h5py",),
    extra="hdf5",
)
