"""Stretches of recordings, by reviewer, recording and channel: does what a number rests on touch one?

Stretches       the stretches of a table
NEAR_S          how far they are carried on
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.model import Trials, to_sample

NEAR_S = 0.1
"""What a person set aside, and activity, is carried on by the trials' filter and by the envelope: rests, windows
compared and averages count as touched up to so far from a stretch. From 60 ms on a response of 60 dB changes a rest by
no more than 1 %, at 200 Hz from 100 ms on (``measuring.rests``)."""


class Stretches:
    """Stretches of samples, each of one reviewer, recording and channel."""

    def __init__(self) -> None:
        self._of: dict[tuple[str, str], set[tuple[str, int, int]]] = {}

    def add(self, name: str, label: str, whose: str, start: int, end: int) -> None:
        """A stretch of a channel of a recording: first and past-last sample."""
        self._of.setdefault((name, label), set()).add((whose, start, end))

    def touch(
        self,
        name: str,
        label: str,
        first: FloatArray | IntArray,
        stop: FloatArray | IntArray,
        rows: pd.DataFrame | None = None,
        *,
        near: int = 0,
    ) -> NDArray[np.bool_]:
        """Whether a stretch touches ``first`` to ``stop`` (excluded), samples of a recording, (rows,), or comes nearer
        than ``near`` samples; False where an edge is NaN. With ``rows`` only stretches of each row's reviewer count;
        without, of any."""
        out = np.zeros(np.shape(first), dtype=bool)
        for whose, start, end in self._of.get((name, label), ()):
            out |= (first < end + near) & (start - near < stop) & _own(whose, rows)
        return out

    def spoilt(
        self,
        part: Trials,
        label: str,
        trial: IntArray,
        rows: pd.DataFrame | None = None,
        *,
        until: FloatArray | None = None,
    ) -> NDArray[np.bool_]:
        """Which samples of some trials lie in a stretch, or within NEAR_S of one, (rows, samples). Stretches that begin
        ``until`` a sample of the recording or later, (rows,), do not count."""
        n, near = len(part.time_s), to_sample(NEAR_S, part.rate_hz)
        out = np.zeros((len(trial), n), dtype=bool)
        begin = np.array([part.cues[index].sample - part.before for index in trial], dtype=np.intp)
        for whose, start, end in self._of.get((part.recording.name, label), ()):
            mine = np.broadcast_to(_own(whose, rows), len(trial)) & (True if until is None else start < until)
            start, end = start - near, end + near
            for row in np.flatnonzero(mine & (begin < end) & (start < begin + n)):
                out[row, max(start - begin[row], 0) : end - begin[row]] = True
        return out


def _own(whose: str, rows: pd.DataFrame | None) -> NDArray[np.bool_]:
    """Whether a stretch is of the reviewer of each row."""
    if rows is None or "reviewer" not in rows:
        return np.array(True)
    return (rows["reviewer"].fillna("") == whose).to_numpy(dtype=bool)
