"""Stretches before activity, as nothing that comes later has touched them.

A filter that runs forward and backward carries a response some tens of milliseconds ahead, the further the stronger it
is: a rest window that ends at the cue then holds a part of a response that begins soon after. At 2 kHz, 20 to 450 Hz, a
response of 40 dB at the window's end makes the RMS of half a second of rest 2.2 times as large, one of 60 dB 20 times;
one of 60 dB 40 ms later 1.3 times, and from 60 ms on none changes it by more than 1 % (measured on simulated noise; at
200 Hz, 20 to 90 Hz, it takes 100 ms).

What a person set aside or marked as a burst is no rest either: it is left out, with 0.1 s on either side of it.

    before_go       rest and creep of some rows: Before
    untouched       samples of such stretches, from a causal filter where the trials' own filter has touched them
    rest_words      sentences on rests of which a part is left out
"""

import dataclasses
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.conditioning import condition
from emgreview.measuring.aside import Aside
from emgreview.measuring.marked import MarkedBursts
from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.model import Trials, to_sample
from emgreview.signal import measures

TOUCHED = 1.1
"""The stretch counts as touched where its RMS is that many times the RMS that the causal filter gives. By chance alone,
stretches of 0.1 s differ so much in 3 % of trials at 200 Hz and in none of 1,000 at 1000 Hz."""

NEAR_S, STRONG = 0.15, 6.0
"""Only a signal of more than STRONG times the stretch's RMS, within NEAR_S of its end, can have touched it."""

MOST_ASIDE = 0.5
"""A rest of which more was set aside, or is marked, is missing: common practice, no source."""


class Before(NamedTuple):
    """Rest and creep before go, (rows,) each; ``aside`` and ``marked`` are the shares of the rest window that were set
    aside, and that lie in marked bursts, ``lost`` the share that is left out for either; ``crept_aside`` and
    ``crept_marked`` are true where such a stretch takes the creep, ``reached`` where later activity had reached back.
    """

    rest_rms: FloatArray
    creep_per_s: FloatArray
    aside: FloatArray
    marked: FloatArray
    lost: FloatArray
    crept_aside: NDArray[np.bool_]
    crept_marked: NDArray[np.bool_]
    reached: NDArray[np.bool_]


def before_go(
    part: Trials,
    place: int,
    trial: IntArray,
    start: IntArray,
    cue: FloatArray,
    rows: pd.DataFrame,
    aside: Aside,
    marked: MarkedBursts,
    creep_s: float,
) -> Before:
    """Rest and creep of some rows of one channel; their trials begin at the samples ``start`` of the recording, and
    their cues, corrected where they were, lie ``cue`` samples on, (rows,) each.

    A burst that begins where the window ends, or later, is not in it: what the filter carries back of it is seen to by
    :func:`untouched`.
    """
    label = part.labels[place]
    spoilt = aside.spoilt(part, label, trial, rows)
    early, late = (cue + to_sample(edge, part.rate_hz) for edge in part.processing.rest_s)
    begun = cue - to_sample(creep_s, part.rate_hz)
    held = marked.spoilt(part, label, trial, rows, until=late + start)
    rest, touched, lost = untouched(part, place, trial, early, late, spoilt | held)
    crept_marked = marked.spoilt(part, label, trial, rows, until=cue + start)
    prepared, too, _ = untouched(part, place, trial, begun, cue, spoilt | crept_marked)
    return Before(
        np.where(lost > MOST_ASIDE, np.nan, measures.rms(rest)),
        measures.slope_per_s(prepared, part.rate_hz, 0, to_sample(creep_s, part.rate_hz)),
        _share(spoilt, early, late),
        _share(held, early, late),
        lost,
        _share(spoilt, begun, cue) > 0,
        _share(crept_marked, begun, cue) > 0,
        touched | too,
    )


def _share(which: NDArray[np.bool_], first: FloatArray, last: FloatArray) -> FloatArray:
    """Share of the samples ``first`` to ``last`` (excluded) of each row that are true; 0 of a stretch not whole."""
    out, _ = measures.stretches(which.astype(np.float64), first, last)
    return (out == 1).sum(axis=1) / np.maximum(np.isfinite(out).sum(axis=1), 1)


def rest_words(aside: FloatArray, marked: FloatArray, lost: FloatArray) -> list[str]:
    """Sentences on rows, (rows,) each, whose rest rests on what is left of its window."""
    left = lost <= MOST_ASIDE
    out = []
    if count := int(((aside > 0) & left).sum()):
        out.append(
            f"In {count} rows a stretch set aside touches the rest window, or 0.1 s around it: rest_rms and level_db "
            "rest on what is left of it, half or more."
        )
    if count := int(((marked > 0) & left).sum()):
        out.append(
            f"In {count} rows a marked burst touches the rest window, or 0.1 s around it: rest_rms and level_db rest "
            "on what is left of it, half or more."
        )
    return out


def untouched(
    part: Trials,
    place: int,
    trial: IntArray,
    first: FloatArray,
    last: FloatArray,
    spoilt: NDArray[np.bool_],
) -> tuple[FloatArray, NDArray[np.bool_], FloatArray]:
    """Samples ``first`` to ``last`` (excluded) of some trials of one channel, in which of them the trials' filter had
    brought later activity, and what share is left out: (rows, longest), (rows,) and (rows,).

    ``trial`` (rows,) says which trial, ``first`` and ``last`` (rows,) count from its first sample. Touched stretches
    come from the raw recording by the same band, run forward once; all others are the trials' own samples. Rows that
    are not whole are NaN. ``spoilt`` (rows, samples) says which samples of the trials are left out: these are NaN.
    """
    x = np.asarray(part.data[trial, place], dtype=np.float64)
    own, whole = measures.stretches(x, first, last)
    gone = measures.stretches(spoilt.astype(np.float64), first, last)[0] == 1
    lost = _share(spoilt, first, last)
    own[gone] = np.nan
    touched = np.zeros(len(trial), dtype=bool)
    if part.processing.direction == "causal":
        return own, touched, lost
    level = measures.rms(own)
    near = to_sample(NEAR_S, part.rate_hz)
    causal = dataclasses.replace(part.processing, direction="causal")
    for row in np.flatnonzero(whole):
        start, stop = int(first[row]), int(last[row])
        after = np.abs(x[row, stop : stop + near])
        if lost[row] == 1 or not (after > STRONG * level[row]).any():
            continue
        begin = part.cues[trial[row]].sample - part.before
        clean = condition(
            part.recording, begin + start, begin + stop, channels=[part.labels[place]], processing=causal
        )[0][0]
        clean[gone[row, : stop - start]] = np.nan
        if level[row] > TOUCHED * np.sqrt(np.nanmean(clean**2)):
            own[row, : stop - start], touched[row] = clean, True
    return own, touched, lost
