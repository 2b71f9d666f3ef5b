"""Several files of one recording as one: with other channels side by side, or one after another in time.

join_channels       of the same stretch of time
join_in_time        of the same channels
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import kind
from emgreview.errors import FormatError, ParameterError, RateError
from emgreview.model import FloatArray, Recording
from emgreview.model.sources import SampleSource, codes_of, files_of, gain_and_offset, missing_of

ALIKE = 1e-9
"""Gains and offsets that differ by less than this share are the same: those that are found from samples are rounded."""

_MANY = "a list of recordings, as read(path) gives each"


@dataclass(frozen=True, eq=False, slots=True)
class _SideBySide:
    """``places``: of each channel, which source has it, and where there."""

    sources: tuple[SampleSource, ...]
    places: tuple[tuple[int, int], ...]

    @property
    def n_samples(self) -> int:
        return self.sources[0].n_samples

    @property
    def file(self) -> Path | None:
        return None

    @property
    def files(self) -> tuple[Path, ...]:
        return tuple(path for source in self.sources for path in files_of(source))

    @property
    def stored_by(self) -> str | None:
        return _stored_by(self.sources, self.places)

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        out = np.empty((len(channels), stop - start))
        for row, channel in enumerate(channels):
            which, place = self.places[channel]
            out[row] = self.sources[which].read(start, stop, [place])[0]
        return out

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        rows = [
            self.sources[which].digital(start, stop, [place])[0]
            for which, place in map(self.places.__getitem__, channels)
        ]
        return np.stack(rows)

    @property
    def missing(self) -> object:
        return tuple(map(missing_of, self.sources))

    def scale(self, channel: int) -> tuple[float, float]:
        which, place = self.places[channel]
        return gain_and_offset(self.sources[which], place)

    def codes_of(self, channel: int) -> tuple[float, ...]:
        which, place = self.places[channel]
        return codes_of(self.sources[which], place)


@dataclass(frozen=True, eq=False, slots=True)
class _InARow:
    """``starts``: the first sample of each source in the whole, and the end of the last."""

    sources: tuple[SampleSource, ...]
    starts: tuple[int, ...]

    @property
    def n_samples(self) -> int:
        return self.starts[-1]

    @property
    def file(self) -> Path | None:
        return None

    @property
    def files(self) -> tuple[Path, ...]:
        return tuple(path for source in self.sources for path in files_of(source))

    @property
    def stored_by(self) -> str | None:
        return _stored_by(self.sources, self.starts)

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        pieces = [source.read(first, last, channels) for source, first, last in self._parts(start, stop)]
        return np.concatenate(pieces, axis=1) if pieces else np.empty((len(channels), 0))

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        pieces = [source.digital(first, last, channels) for source, first, last in self._parts(start, stop)]
        return np.concatenate(pieces, axis=1) if pieces else np.empty((len(channels), 0))

    @property
    def missing(self) -> object:
        return tuple(map(missing_of, self.sources))

    def scale(self, channel: int) -> tuple[float, float]:
        """Of the first in which it can be told: :func:`join_in_time` joins none in which it differs."""
        told = [gain_and_offset(source, channel) for source in self.sources]
        return next((one for one in told if not math.isnan(one[0])), told[0])

    def codes_of(self, channel: int) -> tuple[float, ...]:
        return tuple(sorted({code for source in self.sources for code in codes_of(source, channel)}))

    def _parts(self, start: int, stop: int) -> list[tuple[SampleSource, int, int]]:
        found = []
        for source, first, end in zip(self.sources, self.starts, self.starts[1:], strict=False):
            low, high = max(start, first), min(stop, end)
            if low < high:
                found.append((source, low - first, high - first))
        return found


def _stored_by(sources: Sequence[SampleSource], how: object) -> str | None:
    """What beside the bytes of their files decides the stored samples of joined sources; None where it cannot be told
    of one of them."""
    told = [getattr(source, "stored_by", None) for source in sources]
    return None if None in told else f"{told} {[source.n_samples for source in sources]} {how}"


def _other_scale(one: SampleSource, other: SampleSource, channel: int) -> bool:
    """Whether a channel is stored in two sources in scales that are known and differ."""
    (gain, offset), (other_gain, other_offset) = (gain_and_offset(source, channel) for source in (one, other))
    if math.isnan(gain) or math.isnan(other_gain):
        return False
    size = max(abs(gain), abs(other_gain), abs(offset), abs(other_offset))
    return abs(gain - other_gain) > ALIKE * max(abs(gain), abs(other_gain)) or abs(offset - other_offset) > ALIKE * size


def join_channels(
    recordings: Sequence[Recording], *, name: str | None = None, ends: Literal["same", "first"] = "same"
) -> Recording:
    """One recording of several that were made at the same time, each with channels of its own.

    Parameters
    ----------
    recordings : sequence of Recording
        Of one sampling rate, their first samples at the same moment.
    name : str or None
        Name of the whole; None: that of the first.
    ends : {"same", "first"}, default "same"
        "same": all must have as many samples. "first": where some are longer, what comes after
        the end of the shortest is left out, and a note says how much.

    Returns
    -------
    Recording
        With the channels of all in their order, and the markers of all in order of time.

    Raises
    ------
    RateError
        They have different sampling rates.
    ParameterError
        There is none, two channels have one label, or they have different lengths.

    Notes
    -----
    Nothing can tell whether the files began together: that is said by whoever joins them.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.zeros((1, 3000))
    >>> arm = er.Recording.from_array(x, 1000, labels=["BB"], name="p01_arm")
    >>> hand = er.Recording.from_array(x, 1000, labels=["FDI"], name="p01_hand")
    >>> er.join_channels([arm, hand], name="p01").labels
    ('BB', 'FDI')
    """
    parts = _several(recordings)
    lengths = [rec.n_samples for rec in parts]
    shortest = min(lengths)
    if len(set(lengths)) > 1 and ends != "first":
        words = ", ".join(f"{rec.name} {rec.n_samples}" for rec in parts)
        raise ParameterError(
            f"recordings of different lengths came ({words} samples); what is joined side by side lasts as long, else "
            "it may not have begun together; say ends='first' where the longer ones only went on after the shortest."
        )
    labels = [label for rec in parts for label in rec.labels]
    if twice := next((label for label in labels if labels.count(label) > 1), None):
        raise ParameterError(
            f"two recordings have a channel {twice!r}; labels must differ; name them as they are read: columns={{…}}."
        )
    notes = [note for rec in parts for note in rec.notes]
    notes += [
        f"The last {(rec.n_samples - shortest) / rec.rate_hz:.3g} s of {rec.name} are left out: another file ended "
        "there."
        for rec in parts
        if rec.n_samples > shortest
    ]
    places = tuple((which, place) for which, rec in enumerate(parts) for place in range(len(rec.labels)))
    sources = tuple(_Shortened(rec.source, shortest) if rec.n_samples > shortest else rec.source for rec in parts)
    return Recording(
        name=name or parts[0].name,
        channels=tuple(channel for rec in parts for channel in rec.channels),
        rate_hz=parts[0].rate_hz,
        source=_SideBySide(sources, places),
        markers=tuple(
            sorted(
                (marker for rec in parts for marker in rec.markers if marker.sample < shortest),
                key=lambda marker: marker.sample,
            )
        ),
        entities=parts[0].entities,
        notes=tuple(dict.fromkeys(notes)),
        mains_hz=next((rec.mains_hz for rec in parts if rec.mains_hz is not None), None),
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Shortened:
    """The first samples of a source."""

    source: SampleSource
    n_samples: int

    @property
    def file(self) -> Path | None:
        return None

    @property
    def files(self) -> tuple[Path, ...]:
        return files_of(self.source)

    @property
    def stored_by(self) -> str | None:
        return _stored_by((self.source,), self.n_samples)

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        return self.source.read(start, min(stop, self.n_samples), channels)

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        return self.source.digital(start, min(stop, self.n_samples), channels)

    @property
    def missing(self) -> object:
        return missing_of(self.source)

    def scale(self, channel: int) -> tuple[float, float]:
        return gain_and_offset(self.source, channel)

    def codes_of(self, channel: int) -> tuple[float, ...]:
        return codes_of(self.source, channel)


def join_in_time(recordings: Sequence[Recording], *, name: str | None = None) -> Recording:
    """One recording of several of the same channels that follow one another without a gap.

    Parameters
    ----------
    recordings : sequence of Recording
        In order of time, of one sampling rate, with the same channels in the same order, unit
        and scale.
    name : str or None
        Name of the whole; None: that of the first.

    Returns
    -------
    Recording
        As long as all of them; a note names the places where they meet.

    Raises
    ------
    RateError
        They have different sampling rates.
    ParameterError
        There is none, or their channels differ.

    Notes
    -----
    A filter runs over the places where they meet: a step there is in the signal. Where time
    has passed between two files, review them one by one.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> x = np.zeros((1, 3000))
    >>> first = er.Recording.from_array(x, 1000, labels=["BB"], name="p01_1")
    >>> second = er.Recording.from_array(x, 1000, labels=["BB"], name="p01_2")
    >>> er.join_in_time([first, second], name="p01").duration_s
    6.0
    """
    parts = _several(recordings)
    first = parts[0]
    for rec in parts[1:]:
        told = [(c.label, c.kind, c.unit, c.delay_s) for c in rec.channels]
        if told != [(c.label, c.kind, c.unit, c.delay_s) for c in first.channels]:
            raise ParameterError(
                f"{rec.name} has other channels ({', '.join(rec.labels)}) than {first.name} "
                f"({', '.join(first.labels)}), or "
                "in other units; what is joined in time has the same; name them as they are read: columns={…}."
            )
        for place, label in enumerate(rec.labels):
            if _other_scale(rec.source, first.source, place):
                raise ParameterError(
                    f"channel {label!r} is stored in {rec.name} in another scale than in {first.name}; export both in "
                    "one."
                )
    starts = tuple(int(start) for start in np.cumsum([0, *(rec.n_samples for rec in parts)]))
    markers = tuple(
        replace(marker, sample=marker.sample + start)
        for rec, start in zip(parts, starts, strict=False)
        for marker in rec.markers
    )
    seams = [
        f"{rec.name} follows {before.name} at {start / first.rate_hz:.3f} s: filters run over that place."
        for before, rec, start in zip(parts, parts[1:], starts[1:], strict=False)
    ]
    notes = [note for rec in parts for note in rec.notes]
    return Recording(
        name=name or first.name,
        channels=first.channels,
        rate_hz=first.rate_hz,
        source=_InARow(tuple(rec.source for rec in parts), starts),
        markers=markers,
        entities=first.entities,
        notes=tuple(dict.fromkeys([*notes, *seams])),
        mains_hz=first.mains_hz,
    )


def _several(recordings: Sequence[Recording]) -> list[Recording]:
    if isinstance(recordings, Recording | str):
        kind("recordings", recordings, list, _MANY)
    parts = list(recordings)
    if not parts:
        raise ParameterError(f"recordings came empty; allowed: {_MANY}; give at least one.")
    for rec in parts:
        kind("recordings", rec, Recording, _MANY)
    rates = {rec.rate_hz for rec in parts}
    if len(rates) > 1:
        words = ", ".join(f"{rec.name} {rec.rate_hz:g} Hz" for rec in parts)
        raise RateError(
            f"recordings of different sampling rates came ({words}); what is joined has one; export them so."
        )
    return parts


def join_parts(parts: Sequence[tuple[Recording, Mapping[str, str]]], name: str) -> Recording:
    """The files of one recording, each with what its name says: those of one "part" side by side, parts in a row.
    Raises FormatError where a part is missing, and as the two."""
    if len(parts) == 1:
        return parts[0][0]
    by_part: dict[str, list[Recording]] = {}
    for rec, said in parts:
        by_part.setdefault(said.get("part", ""), []).append(rec)
    numbers = sorted(number for part in by_part if (number := _in_order((part, None))[0]) >= 0)
    if lacking := sorted(set(range(numbers[0], numbers[-1] + 1)) - set(numbers)) if numbers else []:
        raise FormatError(
            f"{name} has the parts {', '.join(sorted(by_part))}, and part {lacking[0]} is not there; files that "
            "follow one "
            "another are joined only where none is missing: put it there, or read the others as recordings of their "
            "own, "
            "with {run} in the pattern."
        )
    sides = [
        one[0] if len(one) == 1 else join_channels(one, name=name) for _, one in sorted(by_part.items(), key=_in_order)
    ]
    return sides[0] if len(sides) == 1 else join_in_time(sides, name=name)


def _in_order(item: tuple[str, Any]) -> tuple[int, str]:
    """By the number in it, as in "2", "p2" or "part02"; words without one by themselves."""
    found = re.findall(r"\d+", item[0])
    return (int(found[-1]) if found else -1, item[0])
