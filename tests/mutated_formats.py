"""Small intact files of the formats beyond EDF and text, for :mod:`mutating`, and the looks at them.

FORMATS     by name: the files, the ending that is attacked, the arguments that read it
"""

import tempfile
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import h5py
import numpy as np
import scipy.io


class Format(NamedTuple):
    write: Callable[[Path], object]
    ending: str
    how: Mapping[str, Any]
    share: int = 4


def signal() -> np.ndarray:
    return np.random.default_rng(3).integers(-900, 900, (400, 2)).astype(np.int16)


def _mat(path: Path, packed: bool) -> None:
    trial = {"emg": signal(), "fs": 200.0, "names": np.array(["FDI", "APB"], object)}
    scipy.io.savemat(path, {"trial": trial, "t": [0.5, 1.0], "note": "grasp"}, do_compression=packed)


def _of_class(dataset: Any, name: bytes) -> Any:
    dataset.attrs["MATLAB_class"] = np.bytes_(name)
    return dataset


def write_mat73(path: Path, x: np.ndarray, labels: tuple[str, ...], rate_hz: float) -> None:
    """As MATLAB writes it: a block of 512 bytes ahead, sides the other way round, cells as references."""
    with h5py.File(path, "w", userblock_size=512) as file:
        trial = _of_class(file.create_group("trial"), b"struct")
        kind = {"f8": b"double", "i2": b"int16"}[x.dtype.str[1:]]
        _of_class(trial.create_dataset("emg", data=x.T, chunks=(1, 100), compression="gzip"), kind)
        _of_class(trial.create_dataset("fs", data=[[rate_hz]]), b"double")
        _of_class(file.create_dataset("t", data=[[0.5], [1.0]]), b"double")
        words = [np.array([list(label.encode())], np.uint16).T for label in labels]
        cells = [_of_class(file.create_dataset(f"#refs#/{k}", data=w), b"char") for k, w in enumerate(words)]
        names = trial.create_dataset("names", (len(labels), 1), h5py.ref_dtype)
        names[:, 0] = [cell.ref for cell in cells]
        _of_class(names, b"cell")
        flag = _of_class(file.create_dataset("flag", data=np.uint8([[1]])), b"logical")
        flag.attrs["MATLAB_int_decode"] = 1
    with path.open("r+b") as stream:
        stream.write(b"MATLAB 7.3 MAT-file".ljust(116) + bytes(8) + b"\x00\x02IM")


def _hdf5(path: Path) -> None:
    with h5py.File(path, "w") as file:
        emg = file.create_dataset("trial/emg", data=signal(), chunks=(100, 2), compression="gzip")
        emg.attrs["rate"] = 200.0
        emg.attrs["names"] = ["FDI", "APB"]
        file["t"] = [0.5, 1.0]


CUES = {"cues": "t", "cues_in": "s", "cue_label": "go"}
IN_TRIAL = {"data": "trial.emg", "samples_along": "rows", "rate": "trial.fs", "labels": "trial.names", **CUES}
FORMATS: dict[str, Format] = {
    "mat": Format(lambda path: _mat(path, False), ".mat", {**IN_TRIAL, "unit": "uV"}),
    "mat, packed": Format(lambda path: _mat(path, True), ".mat", {**IN_TRIAL, "unit": "uV"}),
    "mat 7.3": Format(
        lambda path: write_mat73(path, signal(), ("FDI", "APB"), 200), ".mat", {**IN_TRIAL, "unit": "uV"}
    ),
    "hdf5": Format(
        _hdf5,
        ".h5",
        {
            "data": "trial/emg",
            "samples_along": "rows",
            "rate": "trial/emg@rate",
            "labels": "trial/emg@names",
            "unit": "uV",
            **CUES,
        },
    ),
}


@cache
def file_of(name: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"it{FORMATS[name].ending}"
        FORMATS[name].write(path)
        return path.read_bytes()


__all__ = ["FORMATS", "Format", "file_of", "signal", "write_mat73"]
