"""C3D: the analogue channels, by the bytes of the file; points of a moving body are left out, and told.

After "The C3D File Format: A Technical User Guide" (c3d.org): a header of 512 bytes, groups of parameters, and frames
in which the analogue samples follow the points. Whole numbers or floats, of the three processors that the guide names.
Value = (stored - OFFSET) * SCALE * GEN_SCALE, in UNITS. Samples are sliced from disk.

    READER      the format
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand
from emgreview.errors import FormatError, ParameterError, RateError, ReadError, TruncatedError, tell
from emgreview.plain_files import demand_plain, open_plain
from emgreview.reading.c3d_parameters import ADVICE, Parameters, from_dec
from emgreview.reading.columns import chosen_columns, distinct
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal, signals_in_words

BLOCK = 512
MOST_CHANNELS = 4096
_MOST_FRAMES = 65535
"""Frames that the header can count."""
FROM = ("first frame", "frame 1")


@dataclass(frozen=True, slots=True)
class C3dLayout:
    """What a person says of a C3D file that was cut out of a longer recording.

    Parameters
    ----------
    events_from : str or None
        Where the times of its events count from: "first frame" of the file, or "frame 1" of the
        recording that it was cut out of.
    """

    events_from: str | None = None

    def __post_init__(self) -> None:
        allowed = " or ".join(map(repr, FROM))
        demand(self.events_from is None or self.events_from in FROM, "events_from", self.events_from, allowed)


@dataclass(frozen=True, eq=False, slots=True)
class _Frames:
    """Analogue samples of single channels: in each frame ``at`` words of points, then all channels sample by sample."""

    path: Path
    begin: int
    n_frames: int
    width: int
    at: int
    channels: int
    a_frame: int
    stored_as: str
    dec: bool

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        if stop <= start:
            return np.empty(0)
        first, last = start // self.a_frame, -(-stop // self.a_frame)
        wide = np.dtype(self.stored_as).itemsize
        with open_plain(self.path) as stream:
            stream.seek(self.begin + first * self.width * wide)
            raw = stream.read((last - first) * self.width * wide)
        if len(raw) < (last - first) * self.width * wide:
            raise ReadError(
                f"{self.path.name} could be opened but no longer be read; it must stay in place and whole while it is "
                "in use; restore it, then read it again."
            )
        frames = np.frombuffer(raw, self.stored_as).reshape(last - first, self.width)[:, self.at :]
        values = frames.reshape(last - first, self.a_frame, self.channels)[:, :, signal].ravel()
        values = values[start - first * self.a_frame : stop - first * self.a_frame]
        return from_dec(values) if self.dec else values


@dataclass(frozen=True, eq=False, slots=True)
class _File:
    """What header and parameters say."""

    parameters: Parameters
    samples: _Frames
    rate_hz: float
    first_frame: int
    points: int
    frame_hz: float
    notes: tuple[str, ...] = ()


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: C3dLayout | None = None
) -> Contents:
    """Contents of a C3D file: it states rate, labels and units. Raises FormatError, TruncatedError, RateError,
    ParameterError."""
    file = _opened(path)
    signals = _signals(path, file)
    events = _events(path, file)
    said = (layout or C3dLayout()).events_from
    ahead_s = (file.first_frame - 1) / file.frame_hz
    if events and file.first_frame != 1:
        if said is None:
            raise ParameterError(
                f"{path.name} begins with frame {file.first_frame} and holds {len(events)} events, and events_from is "
                f"missing; give events_from='first frame' if their times count from there, 'frame 1' if they count "
                f"from {ahead_s:g} s before it."
            )
        if said == "frame 1":
            events = [(seconds - ahead_s, label, None) for seconds, label, _ in events]
    notes = list(file.notes)
    for sentence in notes:
        tell(f"{path.stem}: {sentence}")
    if file.points:
        notes.append(f"{path.name} holds {file.points} points of a moving body, which are left out: no EMG is in them.")
    labels, twice = distinct(path, [one.label for one in signals], columns)
    signals = [_renamed(one, label) for one, label in zip(signals, labels, strict=True)]
    notes += twice
    places = list(range(len(signals)))
    if isinstance(columns, Mapping):
        kept = chosen_columns(path, columns, labels)
        places = [place for place, _ in kept]
        signals = [_renamed(signals[place], label) for place, label in kept]
    return Contents(
        path=path,
        signals=tuple(signals),
        samples=_Places(file.samples, tuple(places)),
        markers=tuple(events),
        marker_source="events of C3D",
        notes=tuple(notes),
        chosen=isinstance(columns, Mapping),
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Places:
    samples: _Frames
    places: tuple[int, ...]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return self.samples.stored(self.places[signal], start, stop)


def _renamed(signal: Signal, label: str) -> Signal:
    return Signal(label, signal.unit, signal.rate_hz, signal.n_samples, signal.gain, signal.offset)


def look(path: Path) -> Seen:
    """Analogue channels, events, and what the events count from where that is in doubt."""
    file = _opened(path)
    events = _events(path, file)
    facts = list(signals_in_words(_signals(path, file), events))
    if file.points:
        facts.append(f"{file.points} points of a moving body, which are left out")
    facts += file.notes
    asks = {}
    if events and file.first_frame != 1:
        asks["events_from"] = (
            f"the file begins with frame {file.first_frame}: 'first frame' if its events count from there, 'frame 1' "
            f"if from {(file.first_frame - 1) / file.frame_hz:g} s before it"
        )
    return Seen(tuple(facts), asks=asks)


def _opened(path: Path) -> _File:
    size = demand_plain(path).st_size
    with open_plain(path) as stream:
        head = stream.read(BLOCK)
        if len(head) < BLOCK or head[1] != 0x50 or head[0] < 2:
            raise FormatError(
                f"{path.name} does not begin as a C3D file does (byte 80 at its second place, and {BLOCK} bytes); give "
                "the right file, or its right ending."
            )
        stream.seek((head[0] - 1) * BLOCK)
        start = stream.read(BLOCK)
        if len(start) < BLOCK:
            raise TruncatedError(f"{path.name} ends before its parameters: it is {size} bytes long; {ADVICE}")
        raw = start + stream.read(max(0, start[2] - 1) * BLOCK)
    found = Parameters(path, raw)
    order = found.order
    points, a_frame_all, first, last = struct.unpack(f"{order}HHHH", head[2:10])
    begin, a_frame = struct.unpack(f"{order}HH", head[16:20])
    scale = _scale_of_points(head, found)
    frame_hz = found.one("POINT:RATE", 0.0)
    channels = found.whole("ANALOG:USED")
    a_frame = max(1, a_frame)
    if not 1 <= channels <= MOST_CHANNELS or a_frame_all != channels * a_frame:
        raise FormatError(
            f"{path.name} announces {channels} analogue channels (ANALOG:USED), and {a_frame_all} analogue numbers a "
            f"frame, {a_frame} of each; allowed: at least one channel, and numbers that agree; {ADVICE}"
        )
    rate = found.one("ANALOG:RATE", frame_hz * a_frame)
    if not (np.isfinite(rate) and 0 < rate < 1e9) or not (np.isfinite(frame_hz) and frame_hz > 0):
        raise RateError(
            f"{path.name} states {rate:g} Hz for analogue channels and {frame_hz:g} Hz for frames (ANALOG:RATE, "
            "POINT:RATE); allowed: numbers above 0; export the file again with them."
        )
    if abs(rate - frame_hz * a_frame) > 1e-4 * rate:
        raise RateError(
            f"{path.name} states {rate:g} Hz for analogue channels, but {a_frame} samples in each frame of "
            f"{frame_hz:g} Hz make {frame_hz * a_frame:g} Hz; the two must agree; export the file again."
        )
    signed = (found.texts("ANALOG:FORMAT") or [""])[0].upper() != "UNSIGNED"
    stored = f"{order}f4" if scale < 0 else f"{order}{'i' if signed else 'u'}2"
    width = points * 4 + a_frame_all
    wide, first_byte = np.dtype(stored).itemsize, (begin - 1) * BLOCK
    n_frames = last - first + 1
    more = found.numbers("TRIAL:ACTUAL_END_FIELD"), found.numbers("TRIAL:ACTUAL_START_FIELD")
    if all(
        len(one) == 2 and np.isfinite(one).all() for one in more
    ):  # frame numbers beyond 65535: two words, the lower one first
        low, high = (np.asarray(one).astype(int) % 65536 for one in more)
        first, n_frames = int(high[0] + high[1] * 65536), int(low[0] + low[1] * 65536 - high[0] - high[1] * 65536) + 1
    elif last == _MOST_FRAMES and first == 1:  # as many as the header can count: a float may say how many there are
        said = max((found.one(f"POINT:{name}", 0.0) for name in ("FRAMES", "LONG_FRAMES")), key=float)
        n_frames = int(said) if _MOST_FRAMES < said < 1e9 else n_frames
    if n_frames < 1 or first_byte < BLOCK:
        raise FormatError(
            f"{path.name} announces frames {first} to {last} from block {begin} on; allowed: at least one frame, after "
            f"header and parameters; {ADVICE}"
        )
    if (there := size - first_byte) < n_frames * width * wide:
        raise TruncatedError(
            f"{path.name} announces {n_frames} frames of {width * wide} bytes, and {max(0, there)} bytes are there; "
            "the file was cut short: copy or export it again."
        )
    notes = []
    if (rest := there - n_frames * width * wide) >= BLOCK and rest >= width * wide:
        notes.append(
            f"{path.name} announces {n_frames} frames, and bytes for {rest // (width * wide)} more follow them, which "
            "are not read: see that it is as long as it was recorded."
        )
    notes += _in_header(path, head, order, found)
    dec = scale < 0 and found.processor == "DEC"
    samples = _Frames(path, first_byte, n_frames, width, points * 4, channels, a_frame, stored, dec)
    return _File(found, samples, rate, first, points, frame_hz, tuple(notes))


def _in_header(path: Path, head: bytes, order: str, found: Parameters) -> list[str]:
    """A sentence on events that stand in the header alone, as older files have them."""
    (n,) = struct.unpack(f"{order}H", head[300:302])
    if not 0 < n <= 18 or found.whole("EVENT:USED") > 0:
        return []
    words = f"{path.name} holds {n} event{'s' * (n > 1)} in its header alone, as older files do, which are not read"
    return [f"{words}: save it again with a program that writes them as parameters (EVENT)."]


def _scale_of_points(head: bytes, found: Parameters) -> float:
    """Below 0 where all numbers are floats."""
    scale = found.one("POINT:SCALE", 0.0)
    if scale:
        return scale
    if found.processor == "DEC":
        return float(from_dec(np.frombuffer(head[12:16], "<f4"))[0])
    return float(struct.unpack(f"{found.order}f", head[12:16])[0])


def _signals(path: Path, file: _File) -> list[Signal]:
    said, frames = file.parameters, file.samples
    n = frames.channels
    labels = said.texts("ANALOG:LABELS")
    units = said.texts("ANALOG:UNITS")
    scales, offsets = said.numbers("ANALOG:SCALE"), said.numbers("ANALOG:OFFSET")
    overall = said.one("ANALOG:GEN_SCALE", 1.0)
    if "u2" in frames.stored_as:
        offsets = offsets % 65536
    if len(labels) < n or not all(labels[:n]) or len(scales) < n or len(offsets) < n:
        raise FormatError(
            f"{path.name} has {n} analogue channels, {len([one for one in labels if one])} labels, {len(scales)} "
            f"scales and {len(offsets)} offsets; allowed: one of each a channel, no label empty; export it again."
        )
    gains = scales[:n] * overall
    if not np.isfinite(gains).all() or not np.isfinite(offsets[:n]).all() or (gains == 0).any():
        raise FormatError(
            f"{path.name} states the scales {', '.join(f'{gain:g}' for gain in gains[:6])}; allowed: finite numbers "
            f"other than 0; {ADVICE}"
        )
    n_samples = frames.n_frames * frames.a_frame
    return [
        Signal(
            labels[place],
            units[place] if place < len(units) else "",
            file.rate_hz,
            n_samples,
            float(gains[place]),
            float(-offsets[place] * gains[place]),
        )
        for place in range(n)
    ]


def _events(path: Path, file: _File) -> list[tuple[float, str, float | None]]:
    """Label and context of each event, and its seconds as stored (minutes and seconds)."""
    said = file.parameters
    n = said.whole("EVENT:USED")
    if n <= 0:
        return []
    times, labels, contexts = said.numbers("EVENT:TIMES"), said.texts("EVENT:LABELS"), said.texts("EVENT:CONTEXTS")
    if len(times) < 2 * n or len(labels) < n or not np.isfinite(times).all() or (np.abs(times) > 1e9).any():
        raise FormatError(
            f"{path.name} announces {n} events, and holds {len(labels)} labels and {len(times)} numbers for their "
            f"times; allowed: a label, minutes and seconds of each; {ADVICE}"
        )
    found: list[tuple[float, str, float | None]] = []
    for place in range(n):
        context = contexts[place] if place < len(contexts) else ""
        label = " ".join(filter(None, (context, labels[place]))) or "event"
        found.append((float(times[2 * place] * 60 + times[2 * place + 1]), label, None))
    return found


READER = Reader("C3D", (".c3d",), read, layout=C3dLayout, look=look)
