"""Stretches before activity, as nothing that comes later has touched them.

A filter that runs forward and backward carries a response some tens of milliseconds ahead, the further the stronger it
is: a rest window that ends at the cue then holds a part of a response that begins soon after. At 2 kHz, 20 to 450 Hz, a
response of 40 dB at the window's end makes the RMS of half a second of rest 2.2 times as large, one of 60 dB 20 times;
one of 60 dB 40 ms later 1.3 times, and from 60 ms on none changes it by more than 1 % (measured on simulated noise; at
200 Hz, 20 to 90 Hz, it takes 100 ms).

    untouched       samples of such stretches, from a causal filter where the trials' own filter has touched them
"""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from emgreview.conditioning import condition
from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.model import Trials, to_sample
from emgreview.signal import measures

TOUCHED = 1.1
"""The stretch counts as touched where its RMS is that many times the RMS that the causal filter gives. By chance alone,
stretches of 0.1 s differ so much in 3 % of trials at 200 Hz and in none of 1,000 at 1000 Hz."""

NEAR_S, STRONG = 0.15, 6.0
"""Only a signal of more than STRONG times the stretch's RMS, within NEAR_S of its end, can have touched it."""


def untouched(
    part: Trials,
    place: int,
    trial: IntArray,
    first: FloatArray,
    last: FloatArray,
    spoilt: NDArray[np.bool_],
) -> tuple[FloatArray, NDArray[np.bool_], FloatArray]:
    """Samples ``first`` to ``last`` (excluded) of some trials of one channel, in which of them the trials' filter had
    brought later activity, and what share was set aside: (rows, longest), (rows,) and (rows,).

    ``trial`` (rows,) says which trial, ``first`` and ``last`` (rows,) count from its first sample. Touched stretches
    come from the raw recording by the same band, run forward once; all others are the trials' own samples. Rows that
    are not whole are NaN. ``spoilt`` (rows, samples) says which samples of the trials were set aside: these are NaN.
    """
    x = np.asarray(part.data[trial, place], dtype=np.float64)
    own, whole = measures.stretches(x, first, last)
    out, _ = measures.stretches(spoilt.astype(np.float64), first, last)
    gone = out == 1
    aside = gone.sum(axis=1) / np.maximum(np.isfinite(out).sum(axis=1), 1)
    own[gone] = np.nan
    touched = np.zeros(len(trial), dtype=bool)
    if part.processing.direction == "causal":
        return own, touched, aside
    level = measures.rms(own)
    near = to_sample(NEAR_S, part.rate_hz)
    causal = dataclasses.replace(part.processing, direction="causal")
    for row in np.flatnonzero(whole):
        start, stop = int(first[row]), int(last[row])
        after = np.abs(x[row, stop : stop + near])
        if aside[row] == 1 or not (after > STRONG * level[row]).any():
            continue
        begin = part.cues[trial[row]].sample - part.before
        clean = condition(
            part.recording, begin + start, begin + stop, channels=[part.labels[place]], processing=causal
        )[0][0]
        clean[gone[row, : stop - start]] = np.nan
        if level[row] > TOUCHED * np.sqrt(np.nanmean(clean**2)):
            own[row, : stop - start], touched[row] = clean, True
    return own, touched, aside
