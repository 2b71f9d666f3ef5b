"""How loud each channel is while something was asked: RMS in the band, stretch by stretch.

    Levels          of some stretches: (stretches, channels)
    levels_of       of recordings
    band_of         their samples in the band, the reaction and the end left out
    demand_alike    recordings whose channels can be compared

RMS is taken over the middle of a stretch: what a person needs to begin, and the last part, are left out (KEPT). Arrays
are (stretches, channels) in the unit of the channels; NaN where samples are missing or stand still.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview import checks
from emgreview.checks import demand
from emgreview.conditioning import condition
from emgreview.contractions.asked import Asked
from emgreview.errors import SignalError, UnitError
from emgreview.model import FloatArray, Processing, Recording
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
    rows, words, rails = [], [], []
    for place, start, stop in stretches:
        rec = recs[place]
        raw, banded = rec.values(start, stop, labels), condition(rec, start, stop, channels=labels, processing=how)[0]
        why = [
            unfit(raw[row], banded[row], rec.rate_hz, unit=rec.channel(label).unit)[0]
            for row, label in enumerate(labels)
        ]
        level = np.asarray(rms(banded), dtype=np.float64)
        rows.append(np.where([bool(one) for one in why], np.nan, level))
        words.append(why)
        rails.append([bool(at_rail(one).any()) for one in raw])
    shape = (len(rows), len(labels))
    return Levels(
        np.array(rows, dtype=np.float64).reshape(shape),
        np.array(words, dtype=object).reshape(shape),
        np.array(rails, dtype=bool).reshape(shape),
    )


def middle(one: Asked) -> tuple[int, int, int]:
    """Place and samples of a stretch that are measured."""
    length = one.stop - one.start
    return one.place, one.start + round(KEPT[0] * length), one.start + round(KEPT[1] * length)


def processing_of(given: Processing | None) -> Processing:
    """The processing asked for, or the usual one."""
    checks.kind("processing", given, (Processing, type(None)), "emgreview.Processing(low_hz=…, …), or None")
    return Processing() if given is None else given
