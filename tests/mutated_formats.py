"""Small intact files of the formats beyond EDF and text, for :mod:`mutating`, and the looks at them.

FORMATS     by name: the files, the ending that is attacked, the arguments that read it
"""

import struct
import tempfile
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import h5py
import numpy as np
import pandas as pd
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


def _mat_of_vectors(path: Path) -> None:
    arm = {"FDI": signal()[:, 0], "APB": signal()[:, 1].astype(float), "gain": [0.5, 2.0], "unit": "uV"}
    scipy.io.savemat(path, {"arm": arm, "t": [0.5, 1.0]}, do_compression=True)


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


def write_c3d(
    path: Path,
    counts: np.ndarray,
    *,
    kind: str = "signed",
    processor: int = 84,
    offset: int = 0,
    first: int = 1,
    events: Sequence[tuple[str, float]] = (),
    rate_hz: float = 100.0,
    used: int = 2,
    labels: Sequence[str] = ("FCR", "ECR"),
    frames: float = 0,
) -> Path:
    """Analogue channels alone, two samples a frame of 50 Hz, after the guide's tables of header and parameters."""
    order = ">" if processor == 86 else "<"

    def real(*values: float) -> bytes:
        if processor != 85:
            return struct.pack(f"{order}{len(values)}f", *values)
        words = np.frombuffer(np.array(values, "<f4") * np.float32(4), "<u2").reshape(-1, 2)[:, ::-1]
        return words.astype("<u2").tobytes()

    def item(number: int, name: str, wide: int, sides: Sequence[int], data: bytes) -> bytes:
        body = struct.pack("bB", wide, len(sides)) + bytes(sides) + data + b"\0"
        return struct.pack("bb", len(name), number) + name.encode() + struct.pack(f"{order}H", len(body) + 2) + body

    def texts(words: Sequence[str]) -> tuple[int, Sequence[int], bytes]:
        return -1, (8, len(words)), "".join(word.ljust(8) for word in words).encode()

    def group(number: int, name: str) -> bytes:
        return struct.pack("bb", len(name), -number) + name.encode() + struct.pack(f"{order}H", 3) + b"\0"

    n, there = len(counts), counts.shape[1] // 2
    last = min(first + there - 1, 65535)
    scale = -1.0 if kind == "float" else 1.0
    said = group(1, "POINT") + item(1, "RATE", 4, (), real(50.0)) + item(1, "SCALE", 4, (), real(scale))
    said += item(1, "FRAMES", 4, (), real(frames)) if frames else b""
    said += group(2, "ANALOG") + item(2, "USED", 2, (), struct.pack(f"{order}h", used))
    said += item(2, "RATE", 4, (), real(rate_hz)) + item(2, "GEN_SCALE", 4, (), real(0.25))
    said += item(2, "SCALE", 4, (n,), real(*[2.0] * n)) + item(2, "LABELS", *texts(labels))
    said += item(2, "OFFSET", 2, (n,), struct.pack(f"{order}{n}h", *[offset] * n))
    said += item(2, "UNITS", *texts(["uV"] * n)) + item(2, "FORMAT", *texts([kind.upper()]))
    if events:
        said += group(3, "EVENT") + item(3, "USED", 2, (), struct.pack(f"{order}h", len(events)))
        said += item(3, "LABELS", *texts([label for label, _ in events]))
        said += item(3, "TIMES", 4, (2, len(events)), real(*[v for _, at in events for v in (0.0, at)]))
    blocks = -(-(len(said) + 5) // 512)
    parameters = (struct.pack("BBBB", 1, 80, blocks, processor) + said).ljust(blocks * 512, b"\0")
    head = struct.pack("BB", 2, 80) + struct.pack(f"{order}HHHHH", 0, 2 * n, first, last, 0)
    head += real(scale) + struct.pack(f"{order}HH", 2 + blocks, 2) + real(50.0)
    words = counts.T.ravel()
    types = {"signed": f"{order}i2", "unsigned": f"{order}u2"}
    data = real(*words) if kind == "float" else words.astype(types[kind]).tobytes()
    path.write_bytes(head.ljust(512, b"\0") + parameters + data)
    return path


def write_xdf(path: Path, streams: Sequence[dict[str, Any]]) -> Path:
    """Chunks of the specification, XDF 1.0: file header, stream headers, clock offsets, samples, footers."""

    def chunk(tag: int, content: bytes) -> bytes:
        return b"\x04" + struct.pack("<I", len(content) + 2) + struct.pack("<H", tag) + content

    raw = b"XDF:" + chunk(1, b"<?xml version='1.0'?><info><version>1.0</version></info>")
    for number, one in enumerate(streams, start=1):
        x, labels = one["x"], one.get("labels", ())
        each = "".join(f"<channel><label>{label}</label><unit>{unit}</unit></channel>" for label, unit in labels)
        head = (
            f"<?xml version='1.0'?><info><name>{one['name']}</name><type>{one['type']}</type>"
            f"<channel_count>{len(x[0])}</channel_count><nominal_srate>{one['rate']}</nominal_srate>"
            f"<channel_format>{one['form']}</channel_format><desc><channels>{each}</channels></desc></info>"
        )
        own = struct.pack("<I", number)
        raw += chunk(2, own + head.encode())
        for at in (0.0, 5.0, 10.0):
            raw += chunk(4, own + struct.pack("<dd", one["stamps"][0] + at, one.get("offset", 0.0)))
        form = {"int16": "<i2", "float32": "<f4", "string": ""}[one["form"]]
        for begin in range(0, len(x), 50):
            body = b"\x04" + struct.pack("<I", len(x[begin : begin + 50]))
            for row, at in zip(x[begin : begin + 50], one["stamps"][begin : begin + 50], strict=True):
                body += b"\x08" + struct.pack("<d", at)
                if form:
                    body += np.asarray(row, form).tobytes()
                else:
                    body += b"".join(b"\x01" + bytes([len(word.encode())]) + word.encode() for word in row)
            raw += chunk(3, own + body)
        raw += chunk(6, own + b"<?xml version='1.0'?><info></info>")
    path.write_bytes(raw)
    return path


def xdf_streams() -> list[dict[str, Any]]:
    """EMG on a clock of its own, a slower stream of force, and words on a third clock."""
    x = signal()
    return [
        {"name": "arm", "type": "EMG", "rate": 200, "form": "int16", "x": x, "stamps": 50 + np.arange(400) / 200}
        | {"labels": [("FDI", "microvolts"), ("APB", "microvolts")], "offset": 100.0},
        {"name": "grip", "type": "Force", "rate": 20, "form": "float32", "x": x[:40, :1], "stamps": np.arange(40) / 20},
        {"name": "tones", "type": "Markers", "rate": 0, "form": "string", "x": [["go"], ["go"]], "stamps": [1.0, 1.5]}
        | {"offset": 149.5},
    ]


def _table() -> pd.DataFrame:
    x = signal()[:300]
    return pd.DataFrame({"time": np.arange(300) / 200, "FDI": x[:, 0], "APB": x[:, 1]})


TABLE = {"rate_hz": 200, "unit": "uV", "columns": ["time", "FDI", "APB"]}


def _nwb(path: Path) -> None:
    """What a reader needs of NWB 2, by h5py alone: small, so that a mutation meets it."""
    with h5py.File(path, "w") as file:
        data = file.create_dataset("acquisition/arm/data", data=signal())
        data.attrs.update({"unit": "volts", "conversion": 1e-6, "offset": 0.0})
        file["acquisition/arm/starting_time"] = 5.0
        file["acquisition/arm/starting_time"].attrs["rate"] = 200.0
        file["acquisition/arm/electrodes"] = [1, 0]
        file["general/extracellular_ephys/electrodes/label"] = ["APB", "FDI"]
        trials = {"start_time": [5.5, 6.0], "stop_time": [5.6, 6.1], "cue": ["go", "go"], "loud": [60, 70]}
        for name, column in trials.items():
            file[f"intervals/trials/{name}"] = column


NWB = {"data": "acquisition/arm", "labels": "label", "events": "intervals/trials", "event_label": "cue"}
CUES = {"cues": "t", "cues_in": "s", "cue_label": "go"}
IN_TRIAL = {"data": "trial.emg", "samples_along": "rows", "rate": "trial.fs", "labels": "trial.names", **CUES}
TABLE_OF = {"rate_hz": 200, "unit": "uV", **CUES}
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
    "mat, several": Format(
        lambda path: _mat_of_vectors(path), ".mat", {"data": ["arm.FDI", "arm.APB"], "gain": "arm.gain", **TABLE_OF}
    ),
    "c3d": Format(lambda path: write_c3d(path, signal().T, events=[("go", 1.0), ("go", 2.0)]), ".c3d", {}, share=8),
    "xdf": Format(lambda path: write_xdf(path, xdf_streams()), ".xdf", {"stream": "EMG"}),
    "xdf, joined": Format(
        lambda path: write_xdf(path, [*xdf_streams(), xdf_streams()[0] | {"name": "leg", "form": "float32"}]),
        ".xdf",
        {"stream": ["arm", "leg"]},
    ),
    "nwb": Format(_nwb, ".nwb", NWB),
    "excel": Format(lambda path: _table().to_excel(path, index=False), ".xlsx", TABLE, share=2),
    "parquet": Format(lambda path: _table().to_parquet(path, row_group_size=150), ".parquet", TABLE),
}


@cache
def file_of(name: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"it{FORMATS[name].ending}"
        FORMATS[name].write(path)
        return path.read_bytes()


__all__ = ["FORMATS", "Format", "file_of", "signal", "write_c3d", "write_mat73", "write_xdf", "xdf_streams"]
