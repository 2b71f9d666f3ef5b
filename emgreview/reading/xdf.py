"""XDF: one stream is the recording, or several of one rate; streams of words are its markers, all on one clock.

After "XDF 1.0", the specification of the Extensible Data Format. :mod:`xdf_chunks` checks every chunk first; then pyxdf
loads the streams and puts them on one clock by their clock offsets; :mod:`xdf_clock` lays the time stamps of each on a
straight line, or on several where samples are missing between them, which is told. The rate is the nominal one unless
the time stamps contradict it; a marker is put at the sample whose time stamp it has, so that no drift of the clock
moves it. Several streams are joined where each sample of one lies within half a sample of one of the other, as long as
both last (:mod:`xdf_joining`). The file is loaded whole.

    READER      the format
"""

import contextlib
import io
import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand
from emgreview.errors import FormatError, ParameterError, RateError, ReadError, UnknownNameError, tell
from emgreview.plain_files import open_plain
from emgreview.reading.arrays import short_list
from emgreview.reading.columns import chosen_columns, distinct
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal
from emgreview.reading.optional import door, load
from emgreview.reading.xdf_chunks import Stream, streams_in
from emgreview.reading.xdf_clock import gaps, straight
from emgreview.reading.xdf_joining import Taken, joined

TOLD = 1e-4
"""A deviation of the measured rate from the nominal one above which it is told: one sample in ten thousand."""
DOUBTED = 0.01
"""A deviation above which a person must say which rate holds (our own choice)."""


@dataclass(frozen=True, slots=True)
class XdfLayout:
    """What a person says of an XDF file.

    Parameters
    ----------
    stream : str, sequence of str, or None
        Name or type of the stream that is the recording, or of several of one rate; needless
        where one alone could be.
    rate : str or None
        "nominal" or "measured", where the two differ by more than a hundredth.
    """

    stream: str | Sequence[str] | None = None
    rate: str | None = None

    def __post_init__(self) -> None:
        if self.stream is not None and not isinstance(self.stream, str):
            good = isinstance(self.stream, Sequence) and all(isinstance(one, str) for one in self.stream)
            good = good and len(self.stream) == len(set(self.stream)) > 0
            demand(good, "stream", self.stream, "a name or type, a list of them, each once, or None")
        demand(self.rate in (None, "nominal", "measured"), "rate", self.rate, "'nominal' or 'measured'")


@dataclass(frozen=True, eq=False, slots=True)
class _Loaded:
    x: NDArray
    places: tuple[int, ...]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        return np.ascontiguousarray(self.x[start:stop, self.places[signal]])


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: XdfLayout | None = None
) -> Contents:
    """Contents of a stream, and of the streams of words as markers. Raises FormatError, TruncatedError, RateError,
    ReadError, ParameterError, UnknownNameError."""
    said, streams = layout or XdfLayout(), streams_in(path)
    leads = _leads(path, streams, said)
    words = [one for one in streams if _tells_moments(one) and one not in leads]
    loaded = _loaded(path, [one.number for one in (*leads, *words)])
    taken = [_taken(path, one, loaded[one.number], said) for one in leads]
    whole = taken[0] if len(taken) == 1 else joined(path, taken)
    labels, twice = distinct(path, whole.labels)
    chosen = isinstance(columns, Mapping)
    kept = chosen_columns(path, columns, labels) if chosen else list(enumerate(labels))
    others = [one for one in streams if one not in words and one not in leads]
    return Contents(
        path=path,
        signals=tuple(Signal(label, whole.units[place], whole.rate_hz, len(whole.x)) for place, label in kept),
        samples=_Loaded(whole.x, tuple(place for place, _ in kept)),
        markers=tuple(_markers(words, loaded, whole.stamps, whole.rate_hz)),
        marker_source="markers of XDF",
        notes=(
            f"The streams of {path.name} were put on one clock by their clock offsets, and time stamps on a straight "
            "line.",
            *whole.notes,
            *twice,
            *_left_out(path, leads, others),
        ),
        chosen=chosen,
    )


def _tells_moments(one: Stream) -> bool:
    """Whether a stream holds markers: words, or numbers at moments of their own that are called so."""
    called = one.kind.lower() in ("marker", "markers") and one.rate_hz == 0 and one.channels == 1
    return bool(one.samples) and (one.form == "string" or called)


def _left_out(path: Path, leads: Sequence[Stream], others: Sequence[Stream]) -> list[str]:
    """A sentence on streams that are not read, and how they are."""
    if not others:
        return []
    names = [one.name for one in leads]
    ways = []
    for one in others:
        if one in candidates(others):
            both = one.rate_hz == leads[0].rate_hz
            ways.append(f"stream={[*names, one.name] if both else one.name!r}")
    words = f"Other streams of {path.name} are left out: {'; '.join(one.words for one in others)}"
    return [f"{words}; {' or '.join(ways[:4])} reads {'it' if len(ways) == 1 else 'them'}." if ways else f"{words}."]


def _taken(path: Path, one: Stream, loaded: Any, said: XdfLayout) -> Taken:
    """A stream with its rate, names and units."""
    stamps = np.asarray(loaded["time_stamps"], np.float64)
    stamps, begins = _straight(path, one, stamps)
    rate, notes = _rate(path, one, stamps, begins, said)
    for begin in begins[1:]:
        gone_s = stamps[begin] - stamps[begin - 1]
        words = (
            f"about {round(gone_s * one.rate_hz) - 1} samples of {one.name!r} are missing after sample {begin} "
            f"({(begin - 1) / rate:.3f} s): its time stamps jump by {gone_s:.3g} s there and stay apart; trials that "
            "reach over that place are shorter than they were."
        )
        notes.append(words)
        tell(f"{path.stem}: {words}")
    labels = [label or f"{one.name} {place + 1}" for place, label in enumerate(_padded(one.labels, one.channels))]
    x = np.asarray(loaded["time_series"])
    return Taken(one.name, x, stamps, rate, labels, _padded(one.units, one.channels), notes)


def look(path: Path) -> Seen:
    """The streams, with labels and units of their channels."""
    streams = streams_in(path)
    facts = []
    for one in streams:
        labels = [f"{label} ({unit})" for label, unit in zip(one.labels, one.units, strict=False) if label]
        facts.append(one.words + (f": {short_list(labels)}" if labels else ""))
    fit = candidates(streams)
    if not fit:
        return Seen(tuple(facts), refused="no stream holds numbers at a regular rate")
    if len(fit) > 1:
        asks = f"which stream is the recording: {_listed(fit)}"
        alike = [one.name for one in fit if one.rate_hz == fit[0].rate_hz]
        if len(alike) > 1:
            asks += f"; or several of one rate, joined by their clock: stream={alike}"
        return Seen(tuple(facts), asks={"stream": asks})
    return Seen(tuple(facts), layout={"stream": fit[0].name})


def candidates(streams: Sequence[Stream]) -> list[Stream]:
    return [one for one in streams if one.form != "string" and one.rate_hz > 0 and one.samples]


def _listed(streams: list[Stream]) -> str:
    return short_list([one.words for one in streams])


def _leads(path: Path, streams: list[Stream], said: XdfLayout) -> list[Stream]:
    """The streams that are the recording."""
    if said.stream is None or isinstance(said.stream, str):
        return [_lead(path, streams, said.stream)]
    leads = [_lead(path, streams, name) for name in said.stream]
    if len({one.number for one in leads}) < len(leads):
        raise ParameterError(f"stream={list(said.stream)!r} names one stream of {path.name} twice; name each once.")
    if len({one.rate_hz for one in leads}) > 1:
        raise RateError(
            f"stream={list(said.stream)!r} names streams of {path.name} of different rates "
            f"({', '.join(f'{one.name} {one.rate_hz:g} Hz' for one in leads)}); what is joined has one; read each by "
            "itself: stream='…'."
        )
    return leads


def _lead(path: Path, streams: list[Stream], wanted: str | None) -> Stream:
    fit = candidates(streams)
    if wanted is not None:
        named = [one for one in streams if one.name == wanted] or [one for one in streams if one.kind == wanted]
        if not named:
            raise UnknownNameError("stream", wanted, [one.name for one in streams], where=path.name)
        if len(named) == 1 and named[0] not in fit:
            raise FormatError(
                f"stream={wanted!r} of {path.name} is {named[0].words}; allowed: numbers at a regular rate "
                f"({_listed(fit)}); name another one."
            )
        fit = [one for one in named if one in fit]
    if len(fit) != 1:
        raise ParameterError(
            f"{path.name} holds {len(fit)} streams that could be the recording ({_listed(fit)}); give stream='…', the "
            "name or type that one of them alone has, or a list of several of one rate."
        )
    return fit[0]


def _padded(words: list[str], count: int) -> list[str]:
    return (words + [""] * count)[:count]


def _loaded(path: Path, numbers: list[int]) -> dict[int, Any]:
    pyxdf = load("pyxdf", f"{path.name} (XDF)", "xdf")
    with (
        door(path, "XDF", "the file is damaged: copy or record it again"),
        open_plain(path) as stream,
        _quiet(),
    ):
        streams, _ = pyxdf.load_xdf(stream, select_streams=numbers, dejitter_timestamps=False)
    found = {int(one["info"]["stream_id"]): one for one in streams}
    if missing := [number for number in numbers if number not in found]:
        raise FormatError(
            f"{path.name} does not give stream {missing[0]}; the file is damaged: copy or record it again."
        )
    return found


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """What the library would print and log is found by checks of ours."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with contextlib.redirect_stdout(io.StringIO()), np.errstate(all="ignore"):
            yield
    finally:
        logging.disable(before)


def _straight(path: Path, lead: Stream, stamps: NDArray[np.float64]) -> tuple[NDArray[np.float64], list[int]]:
    """Time stamps on straight lines. Raises ReadError where there are gaps, RateError where they do not rise."""
    if len(stamps) > 1 and np.isfinite(stamps).all():
        if len(places := gaps(stamps, lead.rate_hz)):
            at = places[0]
            raise ReadError(
                f"{path.name}: {lead.name!r} has {len(places)} gaps, the first after {stamps[at] - stamps[0]:g} s "
                f"({stamps[at + 1] - stamps[at]:.3g} s long); only continuous recordings can be read; export each "
                "continuous stretch by itself."
            )
        made, begins = straight(stamps, lead.rate_hz)
        if (np.diff(made) > 0).all():
            return made, begins
    raise RateError(
        f"{path.name}: the time stamps of {lead.name!r} do not rise; allowed: samples one after the other; record "
        "it again, or name another stream."
    )


def _rate(
    path: Path, lead: Stream, stamps: NDArray[np.float64], begins: Sequence[int], said: XdfLayout
) -> tuple[float, list[str]]:
    """The rate, and sentences on it. Raises RateError where rates are in doubt."""
    ends = [*(begin - 1 for begin in begins[1:]), len(stamps) - 1]
    lasts_s = sum(float(stamps[end] - stamps[begin]) for begin, end in zip(begins, ends, strict=True))
    measured = (len(stamps) - len(begins)) / lasts_s if lasts_s > 0 else lead.rate_hz
    apart = abs(measured - lead.rate_hz) / lead.rate_hz
    if apart <= TOLD:
        return (measured if said.rate == "measured" else lead.rate_hz), []
    words = f"{lead.name!r} is to have {lead.rate_hz:g} Hz, and its time stamps say {measured:.6g} Hz"
    if apart > DOUBTED and said.rate is None:
        raise RateError(
            f"{path.name}: {words}, which is {100 * apart:.2g} % apart; say which holds: rate='nominal' or "
            "rate='measured'."
        )
    taken = said.rate or "nominal"
    note = f"{words}: the {taken} rate was taken; markers stand at the samples whose time stamps they have."
    return (measured if taken == "measured" else lead.rate_hz), [note]


def _markers(
    words: list[Stream], loaded: Mapping[int, Any], stamps: NDArray[np.float64], rate_hz: float
) -> Iterator[tuple[float, str, float | None]]:
    """Each word at the sample whose time stamp it has; beyond the ends, by the mean step."""
    step = (stamps[-1] - stamps[0]) / (len(stamps) - 1)
    for stream in words:
        prefix = f"{stream.name}: " if len(words) > 1 else ""
        one = loaded[stream.number]
        for at, row in zip(np.asarray(one["time_stamps"], np.float64), one["time_series"], strict=False):
            if not abs(at - stamps[0]) < 1e9:
                raise FormatError(f"a marker of {stream.name!r} has the time {at}; allowed: seconds; record it again.")
            place = float(np.interp(at, stamps, np.arange(len(stamps))))
            if at < stamps[0] or at > stamps[-1]:
                place = float((at - stamps[0]) / step)
            cells = [cell if isinstance(cell, str) else f"{cell:g}" for cell in row]
            label = " ".join(cell.strip() for cell in cells if cell.strip())
            yield place / rate_hz, f"{prefix}{label or 'event'}", None


READER = Reader("XDF", (".xdf",), read, layout=XdfLayout, look=look, needs=("pyxdf",), extra="xdf")
