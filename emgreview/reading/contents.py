"""What a format module hands over: the signals of one file, in the file's own words and stored values.

A format module opens a file, checks its structure, and returns :class:`Contents`. It decides nothing about kinds of
channel, microvolts or a common sampling rate: :mod:`emgreview.reading.assembly` does that once, for all formats.

    Signal     one stored signal: label, unit as written, rate, and how stored values become physical ones
    Contents   all of them, their samples on demand, and the markers the file holds
    Seen       what a look at a file finds, before it is read
    Reader     a format module as the registry knows it; plug-ins provide one of these

    signals_in_words    sentences on them, for a look
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

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
    """What one file holds. ``markers`` are (seconds from the first sample, label, duration in seconds or None).

    ``details``: what more a file says of each marker, or () where it says nothing. ``chosen``: its signals are those
    of ``columns``, under the labels there, so nobody chooses or renames them again.
    """

    path: Path
    signals: tuple[Signal, ...]
    samples: StoredSamples
    markers: tuple[tuple[float, str, float | None], ...] = ()
    marker_source: str = "annotations"
    notes: tuple[str, ...] = ()
    chosen: bool = False
    details: tuple[Mapping[str, str], ...] = ()


Columns = Sequence[str | None] | Mapping[str, str | None] | None
"""Labels of columns in order, or of signals to keep; or what the file calls each, and its label here (None: left out);
None for all."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a look at a file finds: sentences of what is there, and the arguments of ``read`` that follow from it.

    ``asks`` says, by the argument's name, what the file does not say and a person must: they are left out of
    ``rate_hz``, ``unit``, ``columns`` and ``layout``, or hold a proposal that has to be confirmed. ``refused`` says why
    no call can read the file as it is, or is "".
    """

    facts: tuple[str, ...]
    rate_hz: float | None = None
    unit: str | Mapping[str, str] | None = None
    columns: Columns = None
    layout: Mapping[str, Any] = field(default_factory=dict)
    asks: Mapping[str, str] = field(default_factory=dict)
    refused: str = ""


ReadContents = Callable[..., Contents]
"""The function of a format module: ``(path, *, rate_hz, columns)``. ``columns`` are labels: of the columns (text), or
of the signals to keep. Of a format with a ``layout`` it is called with ``layout=`` too, an object of that class, and
``columns`` may be a mapping; of others a mapping is carried out for them.
"""


@dataclass(frozen=True, slots=True)
class Reader:
    """A file format: its name in words, its extensions (lower case, with the dot), and its reading function.

    ``describes_itself`` is False for formats that hold bare numbers, so that rate, unit and labels come from the
    caller. ``layout`` is a frozen dataclass of what else a caller may have to say of such a file, each field with a
    default, checked where it is made; its fields are arguments of ``read`` and lines of a study's description.
    ``look`` says what a file holds without reading it whole. ``needs`` are the packages, as they are imported, that the
    format needs beyond those of the core, and ``extra`` the name of the extra that installs them.
    """

    name: str
    extensions: tuple[str, ...]
    read: ReadContents
    describes_itself: bool = True
    layout: type | None = None
    look: Callable[[Path], Seen] | None = None
    needs: tuple[str, ...] = ()
    extra: str = ""


def signals_in_words(signals: Any, markers: Any = (), notes: Any = ()) -> tuple[str, ...]:
    """Sentences on the signals, markers and notes of a file's contents."""
    by_rate: dict[tuple[float, int], list[str]] = {}
    for signal in signals:
        by_rate.setdefault((signal.rate_hz, signal.n_samples), []).append(
            f"{signal.label} ({signal.unit})" if signal.unit else signal.label
        )
    facts = [
        f"{len(labels)} signal{'s' if len(labels) > 1 else ''} at {rate:g} Hz, {n / rate:.1f} s: {', '.join(labels)}"
        for (rate, n), labels in by_rate.items()
    ]
    counts: dict[str, int] = {}
    for _, label, _ in markers:
        counts[label] = counts.get(label, 0) + 1
    facts.append("markers: " + (", ".join(f"{label} {n}" for label, n in sorted(counts.items())) or "none"))
    return (*facts, *notes)
