"""One recording to one EDF or BDF file under a header of its own.

Of an EDF or BDF source the stored numbers are copied, with their limits; of every other source they are chosen by
:mod:`emgreview.converting.grid`, and written as BDF. Plain EDF and BDF, without annotations: the markers stand in
events.tsv alone.

    write(rec, path, labels, head)      the file; returns what was written of each channel
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from emgreview.converting import grid
from emgreview.converting.records import choose
from emgreview.errors import ReadError, SignalError
from emgreview.model import ARBITRARY, VOLTS, FloatArray, Recording, to_sample
from emgreview.plain_files import open_plain
from emgreview.reading.assembly import HeldSource
from emgreview.reading.edf import Header, places_in_file
from emgreview.reading.units import plain_unit

_BLOCK = 1 << 18
_RESERVED = ("status", "edf annotations", "bdf annotations")
"""Labels that mean more in these files than a name."""


@dataclass(frozen=True, slots=True)
class Head:
    """What the fixed part of a header says of person and day: by default nothing, as EDF+ writes that."""

    patient: str = "X X X X"
    recording: str = "Startdate X X X X"
    date: str = "01.01.85"
    time: str = "00.00.00"
    transducers: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """A channel as it was written; ``largest_error`` in its own unit; ``copied``: with the source's stored numbers."""

    label: str
    rate_hz: float
    step: float
    largest_error: float = 0.0
    missing: int = 0
    code: int | None = None
    copied: bool = False


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A file as it was written; ``filled`` samples of its last record were not recorded."""

    channels: tuple[Written, ...]
    header_hz: float
    filled: int


@dataclass(frozen=True, slots=True)
class _Channel:
    """The values of a channel at its own rate, ``ratio`` of the recording's."""

    n_samples: int
    ratio: Fraction
    read: Callable[[int, int], FloatArray]


def of_edf(rec: Recording) -> tuple[Header, tuple[int, ...]] | None:
    """Header and places of an EDF or BDF source whose stored numbers can be copied; else None."""
    source = rec.source
    if not isinstance(source, HeldSource) or any(to_sample(one.delay_s, rec.rate_hz) for one in rec.channels):
        return None
    found = places_in_file(source.samples)
    if found is None or len(source.signals) != len(rec.channels):
        return None
    header, shown = found
    return header, tuple(shown[signal] for signal in source.signals)


def extension(rec: Recording) -> str:
    """Of the file that a recording becomes."""
    copied = of_edf(rec)
    return ".edf" if copied is not None and copied[0].bytes_a_sample == 2 else ".bdf"


def labels_for(rec: Recording, wanted: Mapping[str, str]) -> tuple[str, ...]:
    """Labels that a header holds: 16 characters of ASCII, none twice, none that means more than a name there."""
    copied = of_edf(rec)
    own = [] if copied is None else [copied[0].signals[place]["label"] for place in copied[1]]
    made: list[str] = []
    for place, label in enumerate(rec.labels):
        text = wanted.get(label, label)
        plain = " ".join("".join(sign if 32 <= ord(sign) < 127 else "_" for sign in text).split())
        plain = "channel" if plain in ("", "n/a") else plain  # what a table takes for no name
        is_status = bool(own) and own[place].casefold() == "status"
        if is_status:
            plain = own[place]
        elif plain.casefold() in _RESERVED:
            plain = f"{plain[:12]} (1)"
        short, number = plain[:16].strip(), 2
        while short in made or (short in rec.labels and short != label and short not in wanted):
            short, number = f"{plain[: 15 - len(str(number))]}~{number}", number + 1
        made.append(short)
    return tuple(made)


def write(rec: Recording, path: Path, labels: Sequence[str], head: Head) -> WrittenFile:
    """Write the file. Raises SignalError where no header holds the values, ReadError where a source ends too early."""
    copied = of_edf(rec)
    with path.open("xb") as stream:
        return _copy(rec, *copied, stream, labels, head) if copied else _number(rec, stream, labels, head)


def _copy(
    rec: Recording, header: Header, places: Sequence[int], stream: BinaryIO, labels: Sequence[str], head: Head
) -> WrittenFile:
    """The stored numbers of a file, record by record, under another header."""
    source = rec.source
    assert isinstance(source, HeldSource)
    fields = []
    for index, (place, label) in enumerate(zip(places, labels, strict=True)):
        was = header.signals[place]
        fields.append(
            (
                label,
                _ascii(was["transducer type"], 80) if head.transducers else "",
                _dimension(rec, index, _own_gain(header, place)),
                *(was[name] for name in ("physical minimum", "physical maximum", "digital minimum", "digital maximum")),
                _filters(rec, index),
                was["samples in each data record"],
                "",
            )
        )
    stream.write(
        _header(header.bytes_a_sample, fields, header.n_records, header.texts["duration of a data record"], head)
    )
    width = header.bytes_a_sample
    starts = np.concatenate([[0], np.cumsum(header.samples_a_record)]) * width
    columns = np.concatenate([np.arange(starts[place], starts[place + 1]) for place in places])
    whole = len(columns) == header.record_bytes and bool((np.diff(columns) == 1).all())
    step = max(1, (4 << 20) // header.record_bytes)
    with open_plain(header.path) as original:
        original.seek(header.n_bytes)
        for first in range(0, header.n_records, step):
            n = min(step, header.n_records - first)
            raw = original.read(n * header.record_bytes)
            if len(raw) < n * header.record_bytes:
                raise ReadError(
                    f"{header.path.name} ends in the middle of its samples; it must stay whole while it is converted; "
                    "restore it, and convert it again."
                )
            kept = raw if whole else np.frombuffer(raw, np.uint8).reshape(n, -1)[:, columns].tobytes()
            stream.write(kept)
    codes = source.codes or (None,) * len(labels)
    written = tuple(
        Written(label, header.samples_a_record[place] / header.record_s, scale.gain, code=code, copied=True)
        for label, place, scale, code in zip(labels, places, rec.scales, codes, strict=True)
    )
    lead = max(places, key=lambda place: header.samples_a_record[place])
    per = header.samples_a_record[lead]
    return WrittenFile(written, per / header.record_s, per * header.n_records - rec.n_samples)


def _number(rec: Recording, stream: BinaryIO, labels: Sequence[str], head: Head) -> WrittenFile:
    """The values as whole numbers of 24 bits."""
    channels = [_channel(rec, index) for index in range(len(rec.channels))]
    ranges, missing, largest = [], [], []
    for one, label in zip(channels, labels, strict=True):
        survey = grid.Survey()
        try:
            for start, stop in _blocks(one.n_samples):
                survey.add(one.read(start, stop))
            ranges.append(survey.range())
        except SignalError as why:
            raise SignalError(f"channel {label!r}: {why}") from None
        missing.append(survey.missing)
        largest.append(max(abs(survey.low), abs(survey.high)) if survey.low <= survey.high else 0.0)
    multiple = math.lcm(*(one.ratio.denominator for one in channels))
    per_sample = float(sum(one.ratio for one in channels))
    records = choose(rec.rate_hz, rec.n_samples, multiple=multiple, bytes_a_sample=max(1, math.ceil(3 * per_sample)))
    sizes = [int(records.n * one.ratio) for one in channels]
    fields = [
        (
            label,
            "",
            _dimension(rec, index, None),
            one.low,
            one.high,
            str(one.least),
            str(one.most),
            _filters(rec, index),
            str(size),
            "",
        )
        for index, (label, one, size) in enumerate(zip(labels, ranges, sizes, strict=True))
    ]
    stream.write(_header(3, fields, records.count, records.duration, head))
    errors = [0.0] * len(channels)
    step = max(1, _BLOCK // records.n)
    for first in range(0, records.count, step):
        n = min(step, records.count - first)
        parts = []
        for index, (one, limits, size) in enumerate(zip(channels, ranges, sizes, strict=True)):
            x = one.read(min(first * size, one.n_samples), min((first + n) * size, one.n_samples))
            codes = limits.stored(x)
            if x.size:
                off = np.abs(limits.values(codes) - x)
                errors[index] = max(errors[index], float(np.max(off, initial=0.0, where=~np.isnan(off))))
            codes = np.pad(codes, (0, n * size - codes.size), mode="edge" if codes.size else "constant")
            parts.append(_three_bytes(codes).reshape(n, -1))
        stream.write(np.concatenate(parts, axis=1).tobytes())
    return WrittenFile(
        _told(rec, labels, channels, ranges, largest, errors, missing), records.rate_hz, records.filled(rec.n_samples)
    )


def _told(
    rec: Recording,
    labels: Sequence[str],
    channels: Sequence[_Channel],
    ranges: Sequence[grid.Range],
    largest: Sequence[float],
    errors: Sequence[float],
    missing: Sequence[int],
) -> tuple[Written, ...]:
    found = []
    for label, one, limits, most, error, gone in zip(labels, channels, ranges, largest, errors, missing, strict=True):
        same = error <= grid.SAME * most
        rate_hz = rec.rate_hz * one.ratio.numerator / one.ratio.denominator
        found.append(Written(label, rate_hz, limits.gain, 0.0 if same else error, gone, grid.MISSING if gone else None))
    return tuple(found)


def _channel(rec: Recording, index: int) -> _Channel:
    """A channel at the rate at which its source has it; a delay of the device needs the recording's."""
    source = rec.source
    label = rec.channels[index].label
    if isinstance(source, HeldSource) and source.steps[index] != source.counts[index]:
        ratio = Fraction(source.steps[index], source.counts[index])
        signal, gain, offset = source.signals[index], source.gains[index], source.offsets[index]
        code = source.codes[index] if source.codes else None

        def native(start: int, stop: int) -> FloatArray:
            stored = source.samples.stored(signal, start, stop)
            x = np.asarray(stored * gain + offset, dtype=np.float64)
            if code is not None:
                x[stored == code] = np.nan
            return x

        if not to_sample(rec.channels[index].delay_s, rec.rate_hz):
            return _Channel(math.ceil(rec.n_samples * ratio), ratio, native)
    return _Channel(rec.n_samples, Fraction(1), lambda start, stop: rec.values(start, stop, [label])[0])


def _blocks(n_samples: int) -> Iterator[tuple[int, int]]:
    for start in range(0, n_samples, _BLOCK):
        yield start, min(start + _BLOCK, n_samples)


def _three_bytes(codes: NDArray[np.int32]) -> NDArray[np.uint8]:
    return np.ascontiguousarray(codes.astype("<i4")).view(np.uint8).reshape(-1, 4)[:, :3]


def _own_gain(header: Header, place: int) -> float | None:
    """The gain in the file's own unit, None of a status channel, which has none."""
    was = header.signals[place]
    if header.bytes_a_sample == 3 and was["label"].casefold() == "status":
        return None
    span = float(was["physical maximum"]) - float(was["physical minimum"])
    return span / (int(was["digital maximum"]) - int(was["digital minimum"]))


def _dimension(rec: Recording, index: int, own_gain: float | None) -> str:
    """The unit for the header: that of the limits there, in which voltages are not always microvolts."""
    unit = rec.channels[index].unit
    if unit == "uV" and own_gain is not None:
        factor = rec.scales[index].gain / own_gain
        unit = next((name for name, one in VOLTS.items() if abs(one / factor - 1) < 1e-6 and name.isascii()), unit)
    return unit if unit != ARBITRARY and unit.isascii() and len(unit) <= 8 and plain_unit(unit) else ""


def _filters(rec: Recording, index: int) -> str:
    one = rec.channels[index]
    edges = (("HP", one.low_cutoff_hz), ("LP", one.high_cutoff_hz))
    return " ".join(f"{name}:{hz:g}Hz" for name, hz in edges if hz is not None)


def _header(width: int, signals: Sequence[Sequence[str]], n_records: int, duration: str, head: Head) -> bytes:
    version = b"\xffBIOSEMI" if width == 3 else b"0".ljust(8)
    fixed = (
        (head.patient, 80),
        (head.recording, 80),
        (head.date, 8),
        (head.time, 8),
        (str(256 * (len(signals) + 1)), 8),
        ("24BIT" if width == 3 else "", 44),
        (str(n_records), 8),
        (duration, 8),
        (str(len(signals)), 4),
    )
    raw = version + b"".join(_field(text, size) for text, size in fixed)
    for column, size in enumerate((16, 80, 8, 8, 8, 8, 8, 80, 8, 32)):
        raw += b"".join(_field(signal[column], size) for signal in signals)
    return raw


def _field(text: str, size: int) -> bytes:
    return _ascii(text, size).encode("ascii").ljust(size)


def _ascii(text: str, size: int) -> str:
    return "".join(sign if 32 <= ord(sign) < 127 else "_" for sign in text)[:size]
