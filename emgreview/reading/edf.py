"""EDF, EDF+ and BDF, BDF+: header checked field by field, samples sliced from disk, annotations read as markers.

After the published texts: Kemp, Värri, Rosa, Nielsen & Gade 1992 (Electroencephalogr Clin Neurophysiol 82:391-393)
for EDF; Kemp & Olivan 2003 (Clin Neurophysiol 114:1755-1761) for EDF+; the 24-bit variant BDF has the same layout,
three bytes a sample, and "BIOSEMI" behind a byte 255 as its version. Which of the two a file is, its first bytes
say, not its extension. Nothing is loaded on opening but the header and the annotations; every later read maps the
file for the length of that read only, so a file that shrinks meanwhile raises an error.

    read(path)          Contents of one file
    read_header(path)   Header alone: enough for a look at a damaged file
"""

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, RateError, ReadError, TruncatedError
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.contents import Contents, Reader, Signal
from emgreview.reading.edf_annotations import gapped, markers_in

_FIXED = (
    ("version", 8),
    ("patient identification", 80),
    ("recording identification", 80),
    ("start date", 8),
    ("start time", 8),
    ("number of bytes in the header", 8),
    ("reserved", 44),
    ("number of data records", 8),
    ("duration of a data record", 8),
    ("number of signals", 4),
)
_PER_SIGNAL = (
    ("label", 16),
    ("transducer type", 80),
    ("physical dimension", 8),
    ("physical minimum", 8),
    ("physical maximum", 8),
    ("digital minimum", 8),
    ("digital maximum", 8),
    ("prefiltering", 80),
    ("samples in each data record", 8),
    ("reserved", 32),
)
_CUTOFF = r"\b{}\s*:?\s*(\d+(?:\.\d+)?)\s*(k?)Hz"


@dataclass(frozen=True, slots=True)
class Header:
    """The header of a file, checked. ``n_records`` is what the file holds, also where it announces -1
    (``open_ended``); ``texts`` are all fields of its fixed part as written."""

    path: Path
    bytes_a_sample: int
    n_bytes: int
    n_records: int
    record_s: float
    reserved: str
    signals: tuple[dict[str, str], ...]
    samples_a_record: tuple[int, ...]
    open_ended: bool = False
    texts: Mapping[str, str] = field(default_factory=dict)

    @property
    def gapped(self) -> str:
        """What the file calls itself, where there may be gaps between its records, or ""."""
        return self.reserved[:5] if self.reserved[:5] in ("EDF+D", "BDF+D") else ""

    @property
    def record_bytes(self) -> int:
        return self.bytes_a_sample * sum(self.samples_a_record)

    @property
    def annotation_signals(self) -> tuple[int, ...]:
        return tuple(i for i, s in enumerate(self.signals) if s["label"] in ("EDF Annotations", "BDF Annotations"))


@dataclass(frozen=True, eq=False, slots=True)
class _Samples:
    """Slices of single signals out of the interleaved data records; ``masked`` signals are unsigned 24-bit words."""

    header: Header
    masked: frozenset[int]

    def raw(self, signal: int, start: int, stop: int) -> NDArray[np.uint8]:
        """The bytes of samples start to stop of one signal, flat."""
        header = self.header
        n, width = header.samples_a_record[signal], header.bytes_a_sample
        if stop <= start:
            return np.empty(0, np.uint8)
        try:
            demand_plain(header.path)
            records = np.memmap(
                header.path, np.uint8, "r", header.n_bytes, shape=(header.n_records, header.record_bytes)
            )
        except (ValueError, OSError) as error:
            raise ReadError(
                f"{header.path.name} could be opened but no longer be read ({error}); it must stay in place and whole "
                "while it is in use; restore it, then read it again."
            ) from error
        at = width * sum(header.samples_a_record[:signal])
        first, last = start // n, -(-stop // n)
        skip, end = start - first * n, stop - first * n
        if last - first == 1:
            return np.array(records[first, at + skip * width : at + end * width])
        return np.array(records[first:last, at : at + n * width]).reshape(-1)[skip * width : end * width]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        raw = self.raw(signal, start, stop)
        if self.header.bytes_a_sample == 2:
            return raw.view("<i2")
        words = np.zeros((len(raw) // 3, 4), np.uint8)
        words[:, 1:] = raw.reshape(-1, 3)
        values = words.view("<i4")[:, 0] >> 8
        return values & 0xFFFFFF if signal in self.masked else values


def read(path: Path, *, rate_hz: float | None = None, columns: Sequence[str | None] | None = None) -> Contents:
    """Contents of an EDF, EDF+, BDF or BDF+ file; it states rate and labels itself, so both options are left alone.

    Files with gaps are refused; EDF+D and BDF+D are read where every record says that there is none. Annotations may
    stand in any order in the file, as EDF+ allows.

    Raises FormatError, TruncatedError, RateError, ReadError.
    """
    header = read_header(path)
    annotations = header.annotation_signals
    if header.gapped and not annotations:
        raise gapped(path, header.gapped, "stretches of time may be missing between its data records; none says when")
    shown = [index for index in range(len(header.signals)) if index not in annotations]
    if not shown:
        raise FormatError(
            f"{path.name} holds annotations only, no signal; a recording needs at least one; "
            "give the file that holds the signals."
        )
    if header.record_s <= 0:
        raise RateError(
            f"{path.name} announces a duration of {header.record_s:g} s for a data record, which leaves the sampling "
            "rate unknown; it must be above 0; export the file again with its duration."
        )
    status = frozenset(
        i for i in shown if header.bytes_a_sample == 3 and header.signals[i]["label"].casefold() == "status"
    )
    samples = _Samples(header, status)
    tolerance_s = max(header.record_s / max(header.samples_a_record), 1e-3)
    markers, notes = markers_in(path, _annotations(header, samples), header.record_s, tolerance_s, header.gapped)
    if header.open_ended:
        notes += (
            f"{path.name} does not say how many data records it has; {header.n_records} are there: was it closed?",
        )
    return Contents(
        path=path,
        signals=tuple(_signal(header, index, index in status) for index in shown),
        samples=_Chosen(samples, tuple(shown)),
        markers=markers,
        notes=notes,
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Chosen:
    """The signals of a file without its annotation signals."""

    samples: _Samples
    shown: tuple[int, ...]

    @property
    def stored_by(self) -> str:
        """What beside the bytes of the file decides the samples."""
        return f"signals {self.shown} masked {sorted(self.samples.masked)}"

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.samples.stored(self.shown[signal], start, stop)


def places_in_file(samples: object) -> tuple[Header, tuple[int, ...]] | None:
    """Of samples that :func:`read` made: the header of their file, and the place there of each signal; else None."""
    return (samples.samples.header, samples.shown) if isinstance(samples, _Chosen) else None


def read_header(path: Path) -> Header:
    """The header, every field checked that the samples depend on, and the file's size held against it."""
    with open_plain(path) as stream:
        size = os.fstat(stream.fileno()).st_size
        fixed = stream.read(256)
        if len(fixed) < 256:
            raise TruncatedError(
                f"{path.name} is {size} bytes long; the header alone takes 256; the file is empty or was cut off: "
                "copy or export it again."
            )
        fields = dict(zip((name for name, _ in _FIXED), _split(fixed, [width for _, width in _FIXED]), strict=True))
        width = _bytes_a_sample(path, fields["version"])
        n_signals = _whole(path, "number of signals", fields, lowest=1, extra=_shifted(fixed))
        n_bytes = _whole(path, "number of bytes in the header", fields, lowest=512)
        if n_bytes != 256 * (n_signals + 1):
            raise FormatError(
                f"{path.name}: the header field 'number of bytes in the header' reads {n_bytes}; with {n_signals} "
                f"signals it must be {256 * (n_signals + 1)}; the header is damaged: export the file again."
            )
        rest = stream.read(n_bytes - 256)
    if len(rest) < n_bytes - 256:
        raise TruncatedError(
            f"{path.name} is {size} bytes long; its header of {n_signals} signals takes {n_bytes}; "
            "the file was cut off: copy or export it again."
        )
    columns = [
        _split(part, [width] * n_signals)
        for part, (_, width) in zip(
            _split_bytes(rest, [w * n_signals for _, w in _PER_SIGNAL]), _PER_SIGNAL, strict=True
        )
    ]
    names = [name for name, _ in _PER_SIGNAL]
    signals = tuple(dict(zip(names, texts, strict=True)) for texts in zip(*columns, strict=True))
    counts = tuple(
        _whole(path, "samples in each data record", signal, lowest=1, of=signal["label"]) for signal in signals
    )
    announced = _whole(path, "number of data records", fields, lowest=-1)
    return Header(
        path=path,
        bytes_a_sample=width,
        n_bytes=n_bytes,
        n_records=_records_present(path, announced, size - n_bytes, width * sum(counts)),
        record_s=_number(path, "duration of a data record", fields),
        reserved=fields["reserved"],
        signals=signals,
        samples_a_record=counts,
        open_ended=announced == -1,
        texts=fields,
    )


def _records_present(path: Path, announced: int, data_bytes: int, record_bytes: int) -> int:
    present, left = divmod(data_bytes, record_bytes)
    if announced == 0 or (announced == -1 and data_bytes == 0):
        raise FormatError(
            f"{path.name} holds no data record, only a header; there is nothing to read: export it again."
        )
    if data_bytes < announced * record_bytes or (announced == -1 and left):
        claim = "an unknown number of (-1)" if announced == -1 else str(announced)
        raise TruncatedError(
            f"{path.name} announces {claim} data records of {record_bytes} bytes, but holds {present} and "
            f"{left} bytes of the next ({data_bytes} bytes of data"
            + ("" if announced == -1 else f" of {announced * record_bytes}")
            + "); a file must be whole, nothing is shortened silently; copy or export it again, or, to work with what "
            f"is there, write {present} into the header field 'number of data records' of a copy cut to "
            f"{path.stat().st_size - left} bytes."
        )
    if announced != -1 and data_bytes > announced * record_bytes:
        raise FormatError(
            f"{path.name} announces {announced} data records of {record_bytes} bytes, but {data_bytes} bytes of data "
            f"follow the header, {data_bytes - announced * record_bytes} too many; header and data must agree, nothing "
            "is left out silently; export the file again, or correct the header field 'number of data records'."
        )
    return present


def _signal(header: Header, index: int, status: bool) -> Signal:
    path, fields, n = header.path, header.signals[index], header.samples_a_record[index]
    label = fields["label"]
    if not label:
        raise FormatError(
            f"{path.name}: the header field 'label' of signal {index + 1} is empty; every signal needs a name, because "
            "decisions are stored by it; name it in the file."
        )
    gain, offset = 1.0, 0.0
    if not status:
        low, high = (_number(path, f"physical {end}", fields, of=label) for end in ("minimum", "maximum"))
        least, most = (_whole(path, f"digital {end}", fields, of=label) for end in ("minimum", "maximum"))
        limit = 1 << (8 * header.bytes_a_sample - 1)
        if not -limit <= least < most < limit:
            raise FormatError(
                f"{path.name}: the header fields 'digital minimum' and 'digital maximum' of {label!r} read {least} and "
                f"{most}; allowed: minimum below maximum, both within {-limit} to {limit - 1}; export the file again."
            )
        if low == high:
            raise FormatError(
                f"{path.name}: the header fields 'physical minimum' and 'physical maximum' of {label!r} both read "
                f"{low:g}, so the signal has no scale; they must differ; export the file again with its calibration."
            )
        gain = (high - low) / (most - least)
        offset = low - least * gain
    return Signal(
        label=label,
        unit=fields["physical dimension"],
        rate_hz=n / header.record_s,
        n_samples=n * header.n_records,
        gain=gain,
        offset=offset,
        kind="TRIG" if status else "",
        transducer=fields["transducer type"],
        low_cutoff_hz=_cutoff("HP", fields["prefiltering"]),
        high_cutoff_hz=_cutoff("LP", fields["prefiltering"]),
    )


def _annotations(header: Header, samples: _Samples) -> list[list[bytes]]:
    """The bytes of each annotation signal, record by record."""
    found = []
    for signal in header.annotation_signals:
        n = header.samples_a_record[signal]
        blocks, size = samples.raw(signal, 0, n * header.n_records).tobytes(), n * header.bytes_a_sample
        found.append([blocks[record * size : (record + 1) * size] for record in range(header.n_records)])
    return found


def _split_bytes(raw: bytes, widths: Sequence[int]) -> list[bytes]:
    ends = np.cumsum(widths)
    return [raw[end - width : end] for end, width in zip(ends, widths, strict=True)]


def _split(raw: bytes, widths: Sequence[int]) -> list[str]:
    """Fixed-width header texts. The standard wants ASCII; "µ" in UTF-8 or Latin-1 is met all the same."""
    texts = []
    for part in _split_bytes(raw, widths):
        try:
            texts.append(part.decode("utf-8").strip(" \0"))
        except UnicodeDecodeError:
            texts.append(part.decode("latin-1").strip(" \0"))
    return texts


def _bytes_a_sample(path: Path, version: str) -> int:
    if version == "0":
        return 2
    if version == "\xffBIOSEMI":
        return 3
    raise FormatError(
        f"{path.name}: the header field 'version' reads {version!r}; allowed: '0' (EDF, EDF+) or byte 255 and "
        "'BIOSEMI' (BDF, BDF+); this is another kind of file under that extension: give the EDF or BDF export."
    )


def _whole(
    path: Path, name: str, fields: dict[str, str], *, lowest: int | None = None, of: str = "", extra: str = ""
) -> int:
    text = fields[name]
    if re.fullmatch(r"[+-]?\d+", text) is None or (lowest is not None and int(text) < lowest):
        allowed = "a whole number" + ("" if lowest is None else f" of at least {lowest}")
        raise FormatError(_bad_field(path, name, text, allowed, of) + extra)
    return int(text)


def _number(path: Path, name: str, fields: dict[str, str], *, of: str = "") -> float:
    text = fields[name]
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text) is None or np.isinf(float(text)):
        raise FormatError(_bad_field(path, name, text, "a number with a decimal point", of))
    return float(text)


def _bad_field(path: Path, name: str, text: str, allowed: str, of: str) -> str:
    where = f" of {of!r}" if of else ""
    return (
        f"{path.name}: the header field {name!r}{where} reads {text!r}; allowed: {allowed}; "
        "the header is damaged: export the file again."
    )


def _shifted(fixed: bytes) -> str:
    """A hint where date and time stand beside their place: a field before them was written too short or too long."""
    found = re.search(rb"\d\d\.\d\d\.\d\d\d\d\.\d\d\.\d\d", fixed)
    shift = 0 if found is None else found.start() - 168
    if not shift:
        return ""
    return (
        f" Its start date stands {abs(shift)} byte{'s' * (abs(shift) > 1)} too {'early' if shift < 0 else 'late'}: "
        f"a field before it was written too {'short' if shift < 0 else 'long'}."
    )


def _cutoff(which: str, prefiltering: str) -> float | None:
    """The corner of a high-pass (HP) or low-pass (LP) in a prefiltering text such as "HP:20Hz LP:450Hz"."""
    match = re.search(_CUTOFF.format(which), prefiltering)
    return None if match is None else float(match[1]) * (1000 if match[2] else 1)


READER = Reader("EDF, EDF+, BDF, BDF+", (".edf", ".bdf"), read)
