"""Channels made of others while they are read: bipolar from monopolar, double differential.

derive      a recording with differences of its channels
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import ONE_RECORDING, demand, kind, truth
from emgreview.errors import ParameterError, RateError, UnitError
from emgreview.model import Channel, FloatArray, Recording
from emgreview.model.sources import files_of

WEIGHTS = {2: (1.0, -1.0), 3: (1.0, -2.0, 1.0)}
"""Of a difference of two, and of the difference of two differences."""


@dataclass(frozen=True, eq=False, slots=True)
class _Derived:
    """``rows``: of each channel, the labels it is made of and their weights; delays are taken out before."""

    rec: Recording
    rows: tuple[tuple[tuple[str, ...], tuple[float, ...]], ...]

    @property
    def n_samples(self) -> int:
        return self.rec.n_samples

    @property
    def file(self) -> Path | None:
        return None

    @property
    def files(self) -> tuple[Path, ...]:
        return files_of(self.rec.source)

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        out = np.zeros((len(channels), stop - start))
        for row, channel in enumerate(channels):
            labels, weights = self.rows[channel]
            out[row] = np.asarray(weights) @ self.rec.values(start, stop, labels)
        return out

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        return self.read(start, stop, channels)

    def scale(self, channel: int) -> tuple[float, float]:
        return 1.0, 0.0


def derive(rec: Recording, channels: Mapping[str, Sequence[str]], *, keep: bool = False) -> Recording:
    """Differences of channels as channels of their own: bipolar from monopolar, or double
    differential.

    Parameters
    ----------
    rec : Recording
        The recording; it is left as it is.
    channels : mapping of str to sequence of str
        By new label, two channels (first minus second) or three along the fibres (first minus
        twice the second plus third): ``{"BB": ("BB1", "BB2")}``.
    keep : bool, default False
        Whether the channels that differences are made of stay, too.

    Returns
    -------
    Recording
        The differences in the order given, then the other channels; nothing is computed
        before it is read. Notes say what was made of what.

    Raises
    ------
    ParameterError
        No difference came, a label is there already, or one is made of other than two or
        three channels that differ.
    UnknownNameError
        No channel has that label.
    UnitError
        Channels of a difference are in different units, or of different kinds.
    RateError
        They were sampled at different rates.

    Notes
    -----
    Constant delays of the device are taken out before. A sample that is missing in one channel
    is missing in the difference. The amplifier's common-mode rejection cannot be had back:
    monopolar channels must share one reference.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.Recording.from_array([[3.0, 5.0], [1.0, 1.0]], 1000, labels=["BB1", "BB2"])
    >>> er.derive(rec, {"BB": ("BB1", "BB2")}).microvolts()
    array([[2., 4.]])
    """
    kind("rec", rec, Recording, ONE_RECORDING)
    truth("keep", keep)
    if not isinstance(channels, Mapping) or not channels:
        raise ParameterError(
            f"channels came as {channels!r}; allowed: new labels, each with the two or three it is made of; give "
            "{'BB': ('BB1', 'BB2')}."
        )
    made: list[tuple[Channel, tuple[str, ...]]] = []
    for label, parts in channels.items():
        kind("a label of channels", label, str, "the new channel's label, a text")
        demand(label.strip(), "a label of channels", label, "the new channel's label, a text that is not empty")
        made.append((_channel(rec, label, parts), tuple(parts)))
    used = {part for _, parts in made for part in parts}
    rest = [one for one in rec.channels if keep or one.label not in used]
    twice = sorted({one.label for one, _ in made} & {one.label for one in rest})
    if twice:
        raise ParameterError(
            f"a channel {twice[0]!r} is in recording {rec.name!r} already; allowed: a label of its own; choose another."
        )
    rows = [(parts, WEIGHTS[len(parts)]) for _, parts in made] + [((one.label,), (1.0,)) for one in rest]
    told = [f"{one.label} was derived as it was read: {_words(parts)}." for one, parts in made]
    return replace(
        rec,
        channels=(*(one for one, _ in made), *(replace(one, delay_s=0.0) for one in rest)),
        source=_Derived(rec, tuple(rows)),
        notes=(*rec.notes, *told),
    )


def _channel(rec: Recording, label: str, parts: Sequence[str]) -> Channel:
    if isinstance(parts, str) or len(parts) not in WEIGHTS or len(set(parts)) < len(parts):
        raise ParameterError(
            f"channel {label!r} came as made of {parts!r}; allowed: two or three labels that differ; give "
            "('BB1', 'BB2')."
        )
    of = [rec.channel(part) for part in parts]
    first = of[0]
    for other in of[1:]:
        if (other.unit, other.kind) != (first.unit, first.kind):
            raise UnitError(
                f"{first.label!r} is {first.kind} in {first.unit_label}, {other.label!r} is {other.kind} in "
                f"{other.unit_label}; a difference needs one kind and unit; say the units on reading."
            )
        if other.native_rate_hz != first.native_rate_hz:
            raise RateError(
                f"{first.label!r} was sampled at {first.native_rate_hz or rec.rate_hz:g} Hz and {other.label!r} at "
                f"{other.native_rate_hz or rec.rate_hz:g} Hz; a difference needs one rate; choose channels of one rate."
            )
    same = {one.over for one in of}
    bad = [one for one in of if one.status == "bad"]
    return replace(
        first,
        label=label,
        over=same.pop() if len(same) == 1 else "",
        delay_s=0.0,
        low_cutoff_hz=first.low_cutoff_hz if len({one.low_cutoff_hz for one in of}) == 1 else None,
        high_cutoff_hz=first.high_cutoff_hz if len({one.high_cutoff_hz for one in of}) == 1 else None,
        status="bad" if bad else "good",
        status_description="; ".join(f"{one.label}: {one.status_description or 'bad'}" for one in bad),
    )


def _words(parts: Sequence[str]) -> str:
    if len(parts) == 2:
        return f"{parts[0]} - {parts[1]}"
    return f"{parts[0]} - 2 × {parts[1]} + {parts[2]}, a double difference"
