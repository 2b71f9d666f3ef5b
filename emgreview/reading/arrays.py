"""Samples in a named array of a file that holds many: what of it must be said, and what follows from that.

Shared by the formats that are boxes of arrays (MATLAB, HDF5). Such a file does not say which array holds the samples,
along which side time runs, which number is the rate and which texts are the labels: a person does, by
:class:`.array_layout.ArrayLayout`, and :mod:`arrays_look` lists what there is to choose from.

    Entry, Arrays     what a format hands over: the arrays of a file, by name
    contents_of       Contents, as said
    candidates        what may be samples
    last_of           the last part of a name
    demand_times_fit  the one place where a column of times is held against the rate
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ParameterError, RateError, UnknownNameError
from emgreview.reading.array_layout import ALONG, ArrayLayout
from emgreview.reading.columns import chosen_columns, distinct, is_time
from emgreview.reading.contents import Columns, Contents, Signal, StoredSamples
from emgreview.reading.time_column import demand_rate_fits

MOST_NUMBERS = 1 << 20
"""Cues, gains and the like at most (our own choice)."""
MOST_TEXTS = 4096
"""Labels at most (our own choice)."""
LATEST = 1e12
"""No moment of a recording lies later, in whatever it counts (our own choice)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One array: its name as a person says it, its shape as the format's users see it, and its kind in words.

    ``role`` is "numbers", "texts" or ""; ``refused`` says why it can be neither, or is "".
    """

    name: str
    shape: tuple[int, ...]
    kind: str
    role: str = ""
    refused: str = ""

    @property
    def size(self) -> int:
        return math.prod(self.shape)

    @property
    def words(self) -> str:
        return f"{self.name}: {_sides(self.shape)} {self.kind}"


def _sides(shape: tuple[int, ...]) -> str:
    return " x ".join(map(str, shape)) or "one"


class Arrays(Protocol):
    """The arrays of one file. ``what`` is what the format calls one."""

    @property
    def what(self) -> str: ...

    @property
    def path(self) -> Path: ...

    def entries(self) -> tuple[Entry, ...]: ...

    def numbers(self, name: str) -> NDArray:
        """All numbers of a small array, flat."""
        ...

    def texts(self, name: str) -> list[str]: ...

    def samples(self, name: str, time_axis: int, places: tuple[int, ...]) -> StoredSamples:
        """The signals at ``places`` across an array whose samples run along ``time_axis`` of its shape."""
        ...


def contents_of(arrays: Arrays, layout: ArrayLayout, rate_hz: float | None, columns: Columns) -> Contents:
    """Contents of a file, as a layout says. Raises ParameterError, RateError, FormatError, UnknownNameError."""
    path, entries = arrays.path, {entry.name: entry for entry in arrays.entries()}
    found = [_oriented(arrays, entry, layout) for entry in _data(arrays, entries, layout)]
    n_samples, n_signals = _as_long(path, found), sum(one.n_signals for one in found)
    names = None if layout.labels is None else _labels(arrays, entries, layout.labels, n_signals)
    if names is None and not isinstance(layout.data, str) and n_signals == len(found):  # in a list: a name a channel
        names = [last_of(one.entry.name) for one in found]
        names = None if isinstance(columns, Sequence) else distinct(path, names, columns)[0]
    kept = chosen_columns(path, columns, names, n_signals)
    rate = _rate(arrays, entries, layout, rate_hz)
    gains = _each_gain(arrays, entries, layout.gain, found)
    every = [(one, place) for one in found for place in range(one.n_signals)]
    signals = [(place, label) for place, label in kept if not is_time(label)]
    for place, label in kept:
        if is_time(label):
            times = _samples(arrays, [every[place]]).stored(0, 0, n_samples)
            demand_times_fit(path, np.asarray(times, np.float64), rate, place)
    return Contents(
        path=path,
        signals=tuple(Signal(label, "", rate, n_samples, gain=gains[place]) for place, label in signals),
        samples=_samples(arrays, [every[place] for place, _ in signals]),
        markers=_cues(arrays, entries, layout, rate),
        marker_source=f"{arrays.what} {layout.cues}" if layout.cues else "annotations",
        chosen=True,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """An array of samples: which side of it is time, how many samples there are along it, and channels across."""

    entry: Entry
    time_axis: int
    n_samples: int
    n_signals: int


@dataclass(frozen=True, eq=False, slots=True)
class _Several:
    """Signals of several arrays: ``places`` says of each which array has it, and where there."""

    arrays: tuple[StoredSamples, ...]
    places: tuple[tuple[int, int], ...]

    def stored(self, signal: int, start: int, stop: int) -> NDArray:
        which, place = self.places[signal]
        return self.arrays[which].stored(place, start, stop)


def _samples(arrays: Arrays, wanted: Sequence[tuple[_Found, int]]) -> StoredSamples:
    """Samples of channels, each of an array and at a place across it."""
    found = list(dict.fromkeys(one for one, _ in wanted))
    across = [[place for one, place in wanted if one == this] for this in found]
    opened = tuple(
        arrays.samples(one.entry.name, one.time_axis, tuple(places)) for one, places in zip(found, across, strict=True)
    )
    if len(opened) == 1:
        return opened[0]
    order = tuple((found.index(one), across[found.index(one)].index(place)) for one, place in wanted)
    return _Several(opened, order)


def _as_long(path: Path, found: Sequence[_Found]) -> int:
    """Samples of all arrays. Raises FormatError where they are not as many in each."""
    if len({one.n_samples for one in found}) > 1:
        words = ", ".join(f"{one.entry.name} {one.n_samples}" for one in found)
        raise FormatError(
            f"data names arrays of {path.name} of different lengths ({words}); allowed: as many samples in each; name "
            "others, or correct samples_along."
        )
    return found[0].n_samples


def demand_times_fit(path: Path, times_s: NDArray[np.float64], rate_hz: float, place: int) -> None:
    """RateError where a column of times in seconds does not run as the rate says."""
    if (odd := np.flatnonzero(~np.isfinite(times_s))).size:
        raise RateError(
            f"{path.name}: column {place + 1} was named 'time', and sample {odd[0] + 1} of it is {times_s[odd[0]]}; a "
            "time column holds seconds that rise in equal steps; leave it out, or correct it."
        )
    demand_rate_fits(path, times_s, rate_hz, place)


def demand_rate(path: Path, rate_hz: float | None, what: str, how: str) -> float:
    """A rate that a caller had to say. Raises RateError."""
    if rate_hz is None or not (math.isfinite(rate_hz) and rate_hz > 0):
        raise RateError(
            f"{path.name} {what}, and rate_hz came as {rate_hz!r}; allowed: a number above 0; give {how}, as the "
            "recording device states it."
        )
    return float(rate_hz)


def last_of(name: str) -> str:
    """The last part of the name of an array or attribute."""
    return re.split(r"[./@]", name)[-1]


def short_list(names: Sequence[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f" … ({len(names)} in all)" if len(names) > most else "") or "none"


def _named(arrays: Arrays, entries: Mapping[str, Entry], name: str, role: str, argument: str) -> Entry:
    """An entry that can play a role."""
    name = name.strip("/") if name not in entries else name
    if name not in entries:
        raise UnknownNameError(arrays.what, name, [one.name for one in entries.values() if one.role == role])
    entry = entries[name]
    if entry.role != role:
        why = entry.refused or f"it holds no {role}"
        fit = [one.name for one in entries.values() if one.role == role]
        raise FormatError(
            f"{argument}={name!r} of {arrays.path.name} is {entry.kind}: {why}; allowed: {role} ({short_list(fit)}); "
            "name another one, or save it in such a form."
        )
    return entry


def _data(arrays: Arrays, entries: Mapping[str, Entry], layout: ArrayLayout) -> list[Entry]:
    if layout.data is None:
        fit = [entry.words for entry in candidates(entries)]
        raise ParameterError(
            f"{arrays.path.name} does not say which {arrays.what} holds the samples, and data is missing; there are: "
            f"{short_list(fit)}; give data='…', one of their names; er.look shows them all."
        )
    found = [
        _named(arrays, entries, name, "numbers", "data")
        for name in ([layout.data] if isinstance(layout.data, str) else layout.data)
    ]
    for entry in found:
        if len(entry.shape) not in (1, 2) or entry.size == 0:
            raise FormatError(
                f"data={entry.name!r} of {arrays.path.name} is {_sides(entry.shape)}; "
                "allowed: one channel, or samples by channels (two sides), and none of them 0; name another one, or "
                "save it so."
            )
    return found


def _oriented(arrays: Arrays, entry: Entry, layout: ArrayLayout) -> _Found:
    if len(entry.shape) == 1 or 1 in entry.shape:
        return _Found(entry, int(np.argmax(entry.shape)), max(entry.shape), 1)
    rows, columns = entry.shape
    if layout.samples_along is None:
        raise ParameterError(
            f"data={entry.name!r} of {arrays.path.name} is {rows} x {columns}, and samples_along is missing; give "
            f"samples_along='rows' for {rows} samples of {columns} channels, 'columns' for {columns} samples of {rows} "
            "channels."
        )
    axis = ALONG.index(layout.samples_along)
    return _Found(entry, axis, entry.shape[axis], entry.shape[1 - axis])


def _labels(arrays: Arrays, entries: Mapping[str, Entry], name: str, n_signals: int) -> list[str]:
    entry = _named(arrays, entries, name, "texts", "labels")
    found = [one.strip(" \0") for one in arrays.texts(entry.name)]
    if len(found) != n_signals or not all(found):
        raise FormatError(
            f"labels={name!r} of {arrays.path.name} holds {len(found)} texts ({short_list(found, 6)}), and there "
            f"are {n_signals} channels; allowed: one name a channel, none empty; give columns=[…] instead, or correct "
            "samples_along."
        )
    return found


def _number(arrays: Arrays, entries: Mapping[str, Entry], name: str, argument: str) -> NDArray[np.float64]:
    entry = _named(arrays, entries, name, "numbers", argument)
    if entry.size > MOST_NUMBERS:
        raise FormatError(
            f"{argument}={name!r} of {arrays.path.name} holds {entry.size} numbers; allowed: up to {MOST_NUMBERS}; "
            "name another one."
        )
    return np.asarray(arrays.numbers(entry.name), np.float64).ravel()


def _rate(arrays: Arrays, entries: Mapping[str, Entry], layout: ArrayLayout, rate_hz: float | None) -> float:
    if layout.rate is None:
        single = [entry.name for entry in entries.values() if entry.role == "numbers" and entry.size == 1]
        how = f"rate_hz=…, or rate='…', a number of the file (single ones are: {short_list(single)})"
        return demand_rate(arrays.path, rate_hz, f"does not say which {arrays.what} is its rate", how)
    found = _number(arrays, entries, layout.rate, "rate")
    if len(found) != 1 or not (1e-6 < found[0] < 1e9):
        came = f"{found[0]:g}" if len(found) == 1 else f"{len(found)} numbers"
        raise RateError(
            f"rate={layout.rate!r} of {arrays.path.name} is {came}; allowed: one number above 0, in Hz; name another "
            "one, or say rate_hz."
        )
    return float(found[0])


def _each_gain(
    arrays: Arrays,
    entries: Mapping[str, Entry],
    gain: float | str | Sequence[float | str] | None,
    found: list["_Found"],
) -> list[float]:
    """The gain of every channel; FormatError where that of one array would be taken for another that has its own."""
    if not isinstance(gain, str) and isinstance(gain, Sequence):
        pairs = zip(gain, found, strict=True)
        return [each for one, array in pairs for each in _gains(arrays, entries, one, array.n_signals)]
    owner, _, attribute = gain.rpartition("@") if isinstance(gain, str) else ("", "", "")
    if owner in {array.entry.name for array in found} and len(found) > 1:
        same = [f"{array.entry.name}@{attribute}" for array in found]
        if lacking := [name for name in same if name not in entries]:
            words = f"and {short_list([name.rpartition('@')[0] for name in lacking])} has none of its own"
        elif len({tuple(_number(arrays, entries, name, "gain")) for name in same}) > 1:
            words = "and the others have another of their own"
        else:
            words = ""
        if words:
            each = [name if name in entries else 1 for name in same]
            raise FormatError(
                f"gain={gain!r} of {arrays.path.name} is that of {owner!r}, {words}; say one for each array of data, "
                f"in that order, 1 where the samples are in their unit already: gain={each!r}."
            )
    return _gains(arrays, entries, gain, sum(array.n_signals for array in found))


def _gains(arrays: Arrays, entries: Mapping[str, Entry], gain: float | str | None, n_signals: int) -> list[float]:
    if not isinstance(gain, str):
        return [1.0 if gain is None else float(gain)] * n_signals
    found = _number(arrays, entries, gain, "gain")
    if len(found) not in (1, n_signals) or not np.isfinite(found).all() or (found == 0).any():
        few = short_list([f"{one:g}" for one in found], 6)
        raise FormatError(
            f"gain={gain!r} of {arrays.path.name} holds {len(found)} numbers ({few}); "
            f"allowed: one, or one for each of {n_signals} channels, finite and not 0; name another one, or say it "
            "as a number."
        )
    return [float(one) for one in np.broadcast_to(found, n_signals)]


def _cues(
    arrays: Arrays, entries: Mapping[str, Entry], layout: ArrayLayout, rate_hz: float
) -> tuple[tuple[float, str, float | None], ...]:
    if layout.cues is None:
        return ()
    found = _number(arrays, entries, layout.cues, "cues")
    if (odd := np.flatnonzero(~(np.abs(found) < LATEST))).size:
        raise FormatError(
            f"cues={layout.cues!r} of {arrays.path.name} has {found[odd[0]]} at place {odd[0] + 1}; allowed: finite "
            f"numbers below {LATEST:g}; take it out."
        )
    start = {"samples from 1": 1.0}.get(str(layout.cues_in), 0.0)
    per_s = {"s": 1.0, "ms": 1000.0}.get(str(layout.cues_in), rate_hz)
    return tuple((float(one), str(layout.cue_label), None) for one in (found - start) / per_s)


def candidates(entries: Mapping[str, Entry]) -> list[Entry]:
    """What may be samples: numbers with more of them along one side than any rate has hertz of channels."""
    return [
        entry
        for entry in entries.values()
        if entry.role == "numbers" and len(entry.shape) in (1, 2) and max(entry.shape, default=0) >= 100
    ]
