"""Where samples come from, what makes the values that are measured of them, and what identifies them.

SampleSource, ArraySource   what a reader provides; samples in memory
Scale, scale_of             how stored samples become values
gain_and_offset, codes_of   the same of a source, channel by channel
read_earlier                values with the delays of the device taken out
Fingerprint                 digests of a recording
files_of                    the files that samples are read from
digest_of, row_digests      of stored samples, all together or channel by channel
digest_now                  that of all samples of a recording, made once and again where its file was written since
digest_kept, keep_digest    the same where it is known; know it from elsewhere
digest_of_file              of a whole file
SAME_SAMPLES                what is said of recordings that are one
"""

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import ReadError
from emgreview.model.channels import Channel
from emgreview.model.units import FloatArray
from emgreview.plain_files import open_plain

SAME_SAMPLES = (
    "hold the same samples: one file under several names, or one copied over another. What is decided on them counts "
    "several times; look which of them is right, and leave the others out."
)
"""What is said of recordings that are one."""

_BLOCK = 1 << 18
"""Samples that are read at once."""


class SampleSource(Protocol):
    """Where samples come from. A reader provides this; nothing else knows its file.

    A source that scales what is stored may say so in a method ``scale(channel)``, which returns gain and offset; of one
    that does not, both are found from what it reads. One in which some stored values stand for missing samples says
    which in ``missing``: plain values, of which the fingerprint tells nothing; and those of a channel in a method
    ``codes_of(channel)``, numbers. One that is read from several files names them in ``files``, and has no ``file``.
    """

    @property
    def n_samples(self) -> int: ...

    @property
    def file(self) -> Path | None: ...

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        """Samples start to stop of some channels, (channels, samples), each in the unit of its Channel."""
        ...

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        """The stored values before any scaling, for the fingerprint."""
        ...


class ArraySource:
    """Samples in memory, (channels, samples)."""

    file = None

    def __init__(self, x: FloatArray):
        self.x = x
        self.x.setflags(write=False)

    @property
    def n_samples(self) -> int:
        return self.x.shape[1]

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        return self.x[list(channels), start:stop]

    digital = read

    def scale(self, channel: int) -> tuple[float, float]:
        return 1.0, 0.0


@dataclass(frozen=True, slots=True)
class Scale:
    """What makes the stored samples of a channel the values of :meth:`Recording.values`: stored × ``gain`` +
    ``offset``, in ``unit``, ``delay_s`` earlier. ``gain`` is NaN where it cannot be told. Stored samples of the values
    ``missing`` are none."""

    label: str
    kind: str
    unit: str
    gain: float
    offset: float
    delay_s: float
    missing: tuple[float, ...] = ()


def scale_of(source: SampleSource, place: int, channel: Channel) -> Scale:
    """How the stored samples of the channel at ``place`` become its values."""
    gain, offset = gain_and_offset(source, place)
    return Scale(
        channel.label, channel.kind, channel.unit, gain, offset, float(channel.delay_s), codes_of(source, place)
    )


def missing_of(source: SampleSource) -> object:
    """What a source says of stored values that stand for missing samples; () where it says nothing."""
    return getattr(source, "missing", ())


def files_of(source: SampleSource) -> tuple[Path, ...]:
    """The files that samples are read from; none of samples in memory."""
    several: tuple[Path, ...] | None = getattr(source, "files", None)
    if several is not None:
        return several
    return () if source.file is None else (source.file,)


def codes_of(source: SampleSource, channel: int) -> tuple[float, ...]:
    """The stored values of a channel that stand for missing samples; none where the source says nothing."""
    said = getattr(source, "codes_of", None)
    return () if said is None else tuple(said(channel))


def gain_and_offset(source: SampleSource, channel: int) -> tuple[float, float]:
    """As the source says or, where it does not, from two samples that differ; of a channel that never changes in the
    stretch that is looked at, the gain cannot be told."""
    if (scale := getattr(source, "scale", None)) is not None:
        gain, offset = scale(channel)
        return float(gain), float(offset)
    stop = min(source.n_samples, _BLOCK)
    stored = np.asarray(source.digital(0, stop, [channel])[0], dtype=np.float64)
    values = np.asarray(source.read(0, stop, [channel])[0], dtype=np.float64)
    there = np.flatnonzero(np.isfinite(stored) & np.isfinite(values))
    if not there.size:
        return math.nan, 0.0
    low, high = there[stored[there].argmin()], there[stored[there].argmax()]
    if stored[low] == stored[high]:
        return math.nan, float(values[low] - stored[low])
    gain = float((values[high] - values[low]) / (stored[high] - stored[low]))
    return gain, float(values[low] - gain * stored[low])


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What identifies a recording: SHA-256 of its file (None for arrays), and of its samples, rate and labels."""

    samples: str
    file: str | None = None

    def __str__(self) -> str:
        return self.samples


def read_earlier(
    source: SampleSource, start: int, stop: int, wanted: Sequence[int], shifts: Sequence[int]
) -> FloatArray:
    """Samples start to stop of some channels, each read ``shifts`` samples later; NaN where the recording ends."""
    out = np.full((len(wanted), stop - start), np.nan)
    for row, (index, shift) in enumerate(zip(wanted, shifts, strict=True)):
        first, last = max(start + shift, 0), min(stop + shift, source.n_samples)
        if last > first:
            at = first - start - shift
            out[row, at : at + last - first] = source.read(first, last, [index])[0]
    return out


def row_digests(source: SampleSource, channels: Sequence[int]) -> list[str]:
    """SHA-256 of the stored samples of each of some channels."""
    digests = [hashlib.sha256() for _ in channels]
    for start in range(0, source.n_samples, _BLOCK):
        block = source.digital(start, min(start + _BLOCK, source.n_samples), channels)
        for digest, row in zip(digests, block, strict=True):
            digest.update(np.ascontiguousarray(row).astype(block.dtype.newbyteorder("<"), copy=False).tobytes())
    return [digest.hexdigest() for digest in digests]


def digest_of(source: SampleSource, labels: Sequence[str], rate_hz: float) -> str:
    """SHA-256 of all stored samples, the rate and the labels. ``rate_hz``: written as it comes, whole or not."""
    head = {"labels": list(labels), "n_samples": source.n_samples, "rate_hz": rate_hz}
    digest = hashlib.sha256(json.dumps(head, sort_keys=True, ensure_ascii=False).encode())
    everything = list(range(len(labels)))
    for start in range(0, source.n_samples, _BLOCK):
        block = source.digital(start, min(start + _BLOCK, source.n_samples), everything)
        digest.update(np.ascontiguousarray(block.T).astype(block.dtype.newbyteorder("<"), copy=False).data)
    return digest.hexdigest()


def digest_now(rec: Any) -> str:
    """The digest of a recording as its file is now. Of one that can no longer be read it is the one known from before:
    whoever needs its samples is told. Raises ReadError where none is."""
    if kept := digest_kept(rec):
        return kept
    written = _written(rec.source)  # before it is read: what is written meanwhile makes it read again
    try:
        digest = digest_of(rec.source, rec.labels, rec.rate_hz)
    except ReadError:
        if "_digest" not in rec.__dict__:
            raise
        return str(rec.__dict__["_digest"][1])
    rec.__dict__["_digest"] = written, digest
    return digest


def digest_kept(rec: Any) -> str:
    """The digest of a recording where it is known, and its file has not been written since; else ""."""
    written, digest = rec.__dict__.get("_digest", (None, ""))
    return digest if _written(rec.source) in (written, None) else ""


def keep_digest(rec: Any, digest: str) -> None:
    """Know the digest of a recording as its file is now."""
    rec.__dict__["_digest"] = _written(rec.source), digest


def _written(source: SampleSource) -> tuple[tuple[int, ...], ...] | None:
    """What the system says of each file of a source that changes when it is written; None where one is gone."""
    try:
        told = [path.stat() for path in files_of(source)]
    except OSError:
        return None
    return tuple((one.st_size, one.st_mtime_ns, one.st_ctime_ns, one.st_ino) for one in told)


def digest_of_file(path: Path) -> str:
    """The SHA-256 of a plain file. Raises ReadError."""
    digest = hashlib.sha256()
    with open_plain(path) as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()
