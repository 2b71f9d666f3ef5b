"""What a format module hands over: the signals of one file, in the file's own words and stored values.

A format module opens a file, checks its structure, and returns :class:`Contents`. It decides nothing about kinds of
channel, microvolts or a common sampling rate: :mod:`emgreview.reading.assembly` does that once, for all formats.

    Signal     one stored signal: label, unit as written, rate, and how stored values become physical ones
    Contents   all of them, their samples on demand, and the markers the file holds
    Reader     a format module as the registry knows it; plug-ins provide one of these
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal as its file describes it.

    physical value = stored value * ``gain`` + ``offset``, in ``unit``; ``unit`` is the file's own text, "" where it has
    none. ``kind`` is set only where the format itself says it (a BDF status channel), else "".
    """

    label: str
    unit: str
    rate_hz: float
    n_samples: int
    gain: float = 1.0
    offset: float = 0.0
    kind: str = ""
    transducer: str = ""
    low_cutoff_hz: float | None = None
    high_cutoff_hz: float | None = None


class StoredSamples(Protocol):
    """Access to the stored values of single signals, without loading the others or the rest."""

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        """Stored values start to stop of one signal, (samples,), counted at that signal's own rate."""
        ...


@dataclass(frozen=True, eq=False, slots=True)
class Contents:
    """What one file holds. ``markers`` are (seconds from the first sample, label, duration in seconds or None)."""

    path: Path
    signals: tuple[Signal, ...]
    samples: StoredSamples
    markers: tuple[tuple[float, str, float | None], ...] = ()
    marker_source: str = "annotations"
    notes: tuple[str, ...] = ()


class ReadContents(Protocol):
    """The function of a format module. ``columns`` are labels: of the columns (text), or of the signals to keep."""

    def __call__(self, path: Path, *, rate_hz: float | None, columns: Sequence[str | None] | None) -> Contents: ...


@dataclass(frozen=True, slots=True)
class Reader:
    """A file format: its name in words, its extensions (lower case, with the dot), and its reading function.

    ``describes_itself`` is False for formats that hold bare numbers, so that rate, unit and labels come from the
    caller.
    """

    name: str
    extensions: tuple[str, ...]
    read: ReadContents
    describes_itself: bool = True
