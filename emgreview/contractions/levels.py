"""How loud each channel is while something was asked: RMS in the band, stretch by stretch.

    Levels          of some stretches: (stretches, channels)
    levels_of       of recordings
    recordings_of   recordings whose channels can be compared
    stretches_of_rest   where the person rested
    middle          the part of a stretch that is measured

RMS is taken over the middle of a stretch: what a person needs to begin, and the last part, are left out (KEPT). Arrays
are (stretches, channels) in the unit of the channels; NaN where samples are missing or stand still.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.conditioning import BLOCK_S, condition
from emgreview.contractions.asked import Asked, gaps
from emgreview.errors import SignalError, UnitError
from emgreview.model import FloatArray, Processing, Recording, to_sample
from emgreview.signal.clip import at_rail
from emgreview.signal.measures import rms
from emgreview.signal.unfit import unfit

KEPT = (0.3, 0.9)
"""The part of a stretch that is measured (our own choice, no source): a person reacts within some 0.5 s, and a
contraction of 3 s keeps 1.8 s."""


@dataclass(frozen=True, eq=False)
class Levels:
    """``rms`` of each stretch and channel, ``unfit`` why it cannot be judged ("" where it can), ``clipped`` whether
    samples lie at a rail; (stretches, channels) each."""

    rms: FloatArray
    unfit: NDArray[np.object_]
    clipped: NDArray[np.bool_]


def recordings_of(given: Recording | Sequence[Recording]) -> tuple[Recording, ...]:
    """One recording or several of one person, with the same EMG channels in the same unit."""
    several = isinstance(given, Sequence) and not isinstance(given, str)
    recs = (given,) if isinstance(given, Recording) else tuple(given) if several else ()
    good = recs and all(isinstance(one, Recording) for one in recs)
    demand(good, "recordings", type(given).__name__, "a recording, or several of one person")
    for name, values in (
        ("the EMG channels", [rec.emg_labels for rec in recs]),
        ("the participants", [rec.entities.get("sub") for rec in recs]),
        ("the names of the recordings", [None if len({r.name for r in recs}) == len(recs) else "one twice"]),
    ):
        demand(len(set(values)) == 1 and values[0] != "one twice", name, values, "alike, each recording once")
    if not recs[0].emg_labels:
        raise SignalError(f"recording {recs[0].name!r} has no EMG channel; there is nothing to compare.")
    units = sorted({rec.channel(label).unit for rec in recs for label in rec.emg_labels})
    if len(units) > 1:
        raise UnitError(f"the EMG channels came in the units {', '.join(units)}; they must share one.")
    return recs


def levels_of(recs: Sequence[Recording], stretches: Iterable[tuple[int, int, int]], how: Processing) -> Levels:
    """Levels of stretches (place of the recording, first sample, past the last) that are measured whole."""
    labels = recs[0].emg_labels
    asked = list(stretches)
    found: dict[int, tuple[FloatArray, list[str], list[bool]]] = {}
    for place, start, stop, inside in _blocks(asked, recs):
        rec = recs[place]
        whole, filtered = (
            rec.values(start, stop, labels),
            condition(rec, start, stop, channels=labels, processing=how)[0],
        )
        for row in inside:
            part = slice(asked[row][1] - start, asked[row][2] - start)
            raw, banded = whole[:, part], filtered[:, part]
            why = [
                unfit(raw[at], banded[at], rec.rate_hz, unit=rec.channel(label).unit)[0]
                for at, label in enumerate(labels)
            ]
            level = np.where([bool(one) for one in why], np.nan, np.asarray(rms(banded), dtype=np.float64))
            found[row] = level, why, [bool(at_rail(one).any()) for one in raw]
    rows, words, rails = ([found[row][part] for row in range(len(asked))] for part in range(3))
    shape = (len(rows), len(labels))
    return Levels(
        np.array(rows, dtype=np.float64).reshape(shape),
        np.array(words, dtype=object).reshape(shape),
        np.array(rails, dtype=bool).reshape(shape),
    )


def _blocks(
    asked: Sequence[tuple[int, int, int]], recs: Sequence[Recording]
) -> Iterator[tuple[int, int, int, list[int]]]:
    """Stretches that are filtered in one go: place, first and past-last sample, and which of those asked lie inside. A
    block of several is no longer than BLOCK_S."""
    order = sorted(range(len(asked)), key=lambda row: asked[row])
    at = 0
    while at < len(order):
        place, start, stop = asked[order[at]]
        longest, inside = to_sample(BLOCK_S, recs[place].rate_hz), [order[at]]
        at += 1
        while at < len(order) and asked[order[at]][0] == place and asked[order[at]][2] - start <= longest:
            stop = max(stop, asked[order[at]][2])
            inside.append(order[at])
            at += 1
        yield place, start, stop, inside


def middle(one: Asked) -> tuple[int, int, int]:
    """Place and samples of a stretch that are measured."""
    length = one.stop - one.start
    return one.place, one.start + round(KEPT[0] * length), one.start + round(KEPT[1] * length)


def stretches_of_rest(recs: Sequence[Recording], asked: Sequence[Asked]) -> list[tuple[int, int, int]]:
    """Place and samples of rest: as somebody named it, else the gaps between contractions."""
    named = [middle(one) for one in asked if one.kind == "rest"]
    return named or [
        (place, start, stop)
        for place, rec in enumerate(recs)
        for start, stop in gaps(rec, [one for one in asked if one.place == place])
    ]


def processing_of(given: Processing | None) -> Processing:
    """The processing asked for, or the usual one."""
    checks.kind("processing", given, (Processing, type(None)), "emgreview.Processing(low_hz=…, …), or None")
    return Processing() if given is None else given
