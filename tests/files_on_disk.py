"""Files written for the tests, byte by byte from the published texts, and a decoder that shares nothing with the
package.

EDF: Kemp et al. 1992 (Electroencephalogr Clin Neurophysiol 82:391-393). EDF+: Kemp & Olivan 2003 (Clin Neurophysiol
114:1755-1761). BDF: the same with three bytes a sample and byte 255 + "BIOSEMI" as version.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np


@dataclass
class Sig:
    """One signal to write: ``x`` are its digital values, all records in a row."""

    label: str
    x: np.ndarray
    unit: str = "uV"
    physical: tuple[str, str] = ("-500", "500")
    digital: tuple[str, str] = ("-32768", "32767")
    transducer: str = ""
    prefilter: str = ""
    per_record: str | None = None


@dataclass
class Layout:
    """Everything else of a file; ``fields`` overwrites header fields by name to break them."""

    n_records: int = 4
    record_s: str = "1"
    bdf: bool = False
    reserved: str = ""
    announced: str | None = None
    annotations: list[list[bytes]] = field(default_factory=list)
    annotation_bytes: int = 60
    fields: dict[str, str] = field(default_factory=dict)


def pad(text: str, width: int) -> bytes:
    raw = text.encode("latin-1")
    assert len(raw) <= width, (text, width)
    return raw.ljust(width)


def write(path: Path, signals: list[Sig], layout: Layout | None = None) -> Path:
    """An EDF or BDF file. ``annotations`` are the TALs of each record, without the closing zero byte."""
    lay = layout or Layout()
    width = 3 if lay.bdf else 2
    count = len(signals) + bool(lay.annotations)
    per = [len(s.x) // lay.n_records for s in signals]
    f = {
        "patient": "X X X X",
        "recording": "Startdate X X X X",
        "date": "01.02.26",
        "time": "10.00.00",
        "bytes": str(256 * (count + 1)),
        "reserved": lay.reserved,
        "records": str(lay.n_records) if lay.announced is None else lay.announced,
        "duration": lay.record_s,
        "signals": str(count),
    } | lay.fields
    widths = {"patient": 80, "recording": 80, "date": 8, "time": 8, "bytes": 8, "reserved": 44, "records": 8}
    widths |= {"duration": 8, "signals": 4}
    head = (b"\xffBIOSEMI" if lay.bdf else b"0       ") if "version" not in f else pad(f["version"], 8)
    head += b"".join(pad(f[name], size) for name, size in widths.items())
    rows = [
        (s.label, s.transducer, s.unit, *s.physical, *s.digital, s.prefilter, s.per_record or str(n), "")
        for s, n in zip(signals, per, strict=True)
    ]
    if lay.annotations:
        limits = ("-8388608", "8388607") if lay.bdf else ("-32768", "32767")
        label = "BDF Annotations" if lay.bdf else "EDF Annotations"
        rows.append((label, "", "", "-1", "1", *limits, "", str(lay.annotation_bytes // width), ""))
    for column, size in enumerate((16, 80, 8, 8, 8, 8, 8, 80, 8, 32)):
        head += b"".join(pad(row[column], size) for row in rows)
    body = b""
    for record in range(lay.n_records):
        for s, n in zip(signals, per, strict=True):
            for value in s.x[record * n : (record + 1) * n]:
                body += int(value).to_bytes(width, "little", signed=True)
        if lay.annotations:
            tals = b"".join(tal + b"\0" for tal in lay.annotations[record])
            assert len(tals) <= lay.annotation_bytes
            body += tals.ljust(lay.annotation_bytes, b"\0")
    path.write_bytes(head + body)
    return path


def decode(path: Path) -> list[tuple[str, list[int], list[float]]]:
    """(label, digital values, physical values) of every signal, one sample at a time, as the texts describe them."""
    raw = path.read_bytes()
    width = 2 if raw[:8] == b"0       " else 3
    ns = int(raw[252:256])
    n_records = int(raw[236:244])
    at = 256
    columns = []
    for size in (16, 80, 8, 8, 8, 8, 8, 80, 8, 32):
        columns.append([raw[at + size * i : at + size * (i + 1)].decode("latin-1").strip() for i in range(ns)])
        at += size * ns
    assert at == int(raw[184:192])
    labels, _, _, pmin, pmax, dmin, dmax, _, per, _ = columns
    digital: list[list[int]] = [[] for _ in range(ns)]
    for _ in range(n_records):
        for i in range(ns):
            for _ in range(int(per[i])):
                digital[i].append(int.from_bytes(raw[at : at + width], "little", signed=True))
                at += width
    assert at == len(raw)
    out = []
    for i in range(ns):
        low, high, least, most = float(pmin[i]), float(pmax[i]), int(dmin[i]), int(dmax[i])
        out.append((labels[i], digital[i], [low + (d - least) * (high - low) / (most - least) for d in digital[i]]))
    return out


def noise(seed: int, n: int, bits: int = 16) -> np.ndarray:
    """Digital noise that reaches both ends of its range."""
    rng = np.random.default_rng(seed)
    x = rng.integers(-(1 << (bits - 1)), 1 << (bits - 1), n)
    x[0], x[-1] = -(1 << (bits - 1)), (1 << (bits - 1)) - 1
    return x
