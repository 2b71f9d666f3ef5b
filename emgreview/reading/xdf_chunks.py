"""The chunks of an XDF file, before its library loads any: whole, of the sizes that they say, and small enough.

After "XDF 1.0", the specification of the Extensible Data Format: the magic "XDF:", then chunks of a length, a tag, and
content; a header and a footer of XML a stream, samples with or without a time stamp, clock offsets, boundaries.

    Stream      what the header of a stream says
    streams_in  the streams of a file, with how many samples each has
"""

import struct
import xml.etree.ElementTree as Xml
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from emgreview.errors import FormatError, TruncatedError
from emgreview.plain_files import demand_plain, open_plain

WIDTHS = {"int8": 1, "int16": 2, "int32": 4, "int64": 8, "float32": 4, "double64": 8, "string": 1}
MOST_HEADER = 4 << 20
MOST_CHANNELS = 4096
_TAGS = range(1, 7)
_ADVICE = "the file is damaged or was cut short: copy or record it again."


@dataclass(slots=True)
class Stream:
    """A stream: number, name, type, channels, nominal rate (0: irregular), format, and labels and units as written."""

    number: int
    name: str
    kind: str
    channels: int
    rate_hz: float
    form: str
    labels: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    samples: int = 0

    @property
    def words(self) -> str:
        rate = f"at {self.rate_hz:g} Hz" if self.rate_hz else "at moments of its own"
        return f"{self.name!r} ({self.kind or 'no type'}): {self.channels} x {self.form} {rate}, {self.samples} samples"


def streams_in(path: Path) -> list[Stream]:
    """The streams of a file. Raises FormatError, TruncatedError."""
    size = demand_plain(path).st_size
    found: dict[int, Stream] = {}
    with open_plain(path) as stream:
        if stream.read(4) != b"XDF:":
            raise FormatError(f"{path.name} does not begin with 'XDF:'; give the right file, or its right ending.")
        at = 4
        while at < size:
            length, n_length = _length(path, stream, at, size)
            begin = at + n_length
            if length < 2 or begin + length > size:
                raise TruncatedError(
                    f"{path.name} announces a chunk of {length} bytes at byte {at}, and {size - begin} are there; "
                    f"{_ADVICE}"
                )
            (tag,) = struct.unpack("<H", stream.read(2))
            if tag not in _TAGS:
                raise FormatError(f"{path.name} has a chunk of kind {tag} at byte {at}; allowed: 1 to 6; {_ADVICE}")
            if tag in (2, 3, 4, 6):
                if length < 6:
                    raise FormatError(f"{path.name} has a chunk of {length} bytes at byte {at}, too short; {_ADVICE}")
                (number,) = struct.unpack("<I", stream.read(4))
                if tag == 2:
                    if number in found:
                        raise FormatError(f"{path.name} has two headers of stream {number}; {_ADVICE}")
                    found[number] = _header(path, number, stream.read(min(length - 6, MOST_HEADER)))
                elif number not in found:
                    raise FormatError(f"{path.name} has samples of stream {number}, which has no header; {_ADVICE}")
                elif tag == 3:
                    found[number].samples += _samples(path, stream, found[number], begin + 6, begin + length)
            at = begin + length
            stream.seek(at)
    return list(found.values())


def _length(path: Path, stream: BinaryIO, at: int, size: int) -> tuple[int, int]:
    """A number behind the count of its bytes, and the bytes of both."""
    count = int.from_bytes(stream.read(1), "little")
    if count not in (1, 4, 8):
        raise FormatError(f"{path.name} has a length of {count} bytes at byte {at}; allowed: 1, 4 or 8; {_ADVICE}")
    raw = stream.read(count)
    if len(raw) < count:
        raise TruncatedError(f"{path.name} ends within a length at byte {at} of {size}; {_ADVICE}")
    return int.from_bytes(raw, "little"), 1 + count


def _samples(path: Path, stream: BinaryIO, of: Stream, begin: int, end: int) -> int:
    """How many samples a chunk has, and that they fill it."""
    n, wide = _length(path, stream, begin, end)
    at = begin + wide
    if of.form != "string":
        body = stream.read(end - at)
        step, place = of.channels * WIDTHS[of.form], 0
        if n > len(body):
            raise FormatError(f"{path.name} announces {n} samples in a chunk of {len(body)} bytes; {_ADVICE}")
        for _ in range(n):
            if place >= len(body) or body[place] not in (0, 8):
                break
            place += 1 + body[place] + step
        else:
            if place == len(body):
                return n
    else:
        for _ in range(n):
            if at >= end or (stamp := stream.read(1)) not in (b"\0", b"\x08"):
                break
            stream.seek(stamp[0], 1)
            at += 1 + stamp[0]
            for _ in range(of.channels):
                count, wide = _length(path, stream, at, end)
                at += wide + count
                if at > end:
                    break
                stream.seek(at)
        else:
            if at == end:
                return n
    raise FormatError(
        f"{path.name}: a chunk of {of.name!r} announces {n} samples of {of.channels} x {of.form}, which do not fill "
        f"its {end - begin} bytes; {_ADVICE}"
    )


def _header(path: Path, number: int, raw: bytes) -> Stream:
    try:
        if b"<!" in raw.replace(b"<!--", b""):
            raise ValueError("it defines words of its own")
        root = Xml.fromstring(raw.decode("utf-8"))
        channels, rate = int(root.findtext("channel_count", "")), float(root.findtext("nominal_srate", ""))
        if not (1 <= channels <= MOST_CHANNELS and 0 <= rate < 1e9):
            raise ValueError(f"{channels} channels at {rate:g} Hz")
    except (ValueError, Xml.ParseError) as why:
        raise FormatError(
            f"{path.name}: the header of stream {number} cannot be read ({why}); allowed: XML in UTF-8 with "
            f"channel_count and nominal_srate; {_ADVICE}"
        ) from why
    form = root.findtext("channel_format", "").strip()
    if form not in WIDTHS:
        raise FormatError(
            f"{path.name}: stream {number} has the channel_format {form!r}; allowed: {', '.join(WIDTHS)}; {_ADVICE}"
        )
    each = root.findall("desc/channels/channel")
    return Stream(
        number,
        root.findtext("name", "").strip() or f"stream {number}",
        root.findtext("type", "").strip(),
        channels,
        rate,
        form,
        [one.findtext("label", "").strip() for one in each],
        [one.findtext("unit", "").strip() for one in each],
    )
