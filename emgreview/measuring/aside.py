"""Stretches that a person set aside, as a table of decisions tells them: does what a number rests on touch one?

A mark says by its column ``set_aside`` whether a stretch touches it. Rests, windows and averages reach beyond the mark:
the column ``aside_samples`` tells every stretch, so that each of them can be asked.

Aside           the stretches of a table
"""

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.errors import ParameterError
from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.model import Trials, to_sample

NEAR_S = 0.1
"""What a person set aside is carried on by the trials' filter and by the envelope: rests, windows compared and averages
count as touched up to so far from a stretch. From 60 ms on a response of 60 dB changes a rest by no more than 1 %, at
200 Hz from 100 ms on (``measuring.rests``)."""

_ONE = re.compile(r"(\d{1,15}) to (\d{1,15})")


class Aside:
    """Stretches set aside in a table of decisions, by reviewer, recording and channel. ``notes`` says that a table does
    not tell them, where it has rows that one touches.

    Raises ParameterError where the column says something else.
    """

    def __init__(self, decisions: pd.DataFrame) -> None:
        self._of: dict[tuple[str, str], set[tuple[str, int, int]]] = {}
        self.notes: list[str] = []
        if "aside_samples" not in decisions:
            said = decisions["set_aside"] if "set_aside" in decisions else pd.Series(dtype="boolean")
            if said.fillna(False).astype(bool).any():
                self.notes.append(
                    "The table says which marks a stretch set aside touches, and not where the stretches lie: whether "
                    "they touch rests, windows or averages is not known; take the decisions anew from the review, or "
                    "seal it again."
                )
            return
        rows = decisions[decisions["aside_samples"].notna()]
        reviewers = rows["reviewer"].fillna("") if "reviewer" in rows else [""] * len(rows)
        for whose, name, label, cell in zip(
            reviewers, rows["recording"], rows["channel"], rows["aside_samples"], strict=True
        ):
            for part in str(cell).split("; "):
                if (found := _ONE.fullmatch(part)) is None:
                    raise ParameterError(
                        f"the column 'aside_samples' came with {part!r}; allowed: stretches like '8030 to 8130', "
                        "between '; '; give the table as read_version or Session.decisions() made it."
                    )
                self._of.setdefault((name, label), set()).add((whose, int(found[1]), int(found[2])))

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

    def spoilt(self, part: Trials, label: str, trial: IntArray, rows: pd.DataFrame | None = None) -> NDArray[np.bool_]:
        """Which samples of some trials lie in a stretch, or within NEAR_S of one, (rows, samples)."""
        n, near = len(part.time_s), to_sample(NEAR_S, part.rate_hz)
        out = np.zeros((len(trial), n), dtype=bool)
        begin = np.array([part.cues[index].sample - part.before for index in trial], dtype=np.intp)
        for whose, start, end in self._of.get((part.recording.name, label), ()):
            start, end = start - near, end + near
            mine = np.broadcast_to(_own(whose, rows), len(trial))
            for row in np.flatnonzero(mine & (begin < end) & (start < begin + n)):
                out[row, max(start - begin[row], 0) : end - begin[row]] = True
        return out


def _own(whose: str, rows: pd.DataFrame | None) -> NDArray[np.bool_]:
    """Whether a stretch is of the reviewer of each row."""
    if rows is None or "reviewer" not in rows:
        return np.array(True)
    return (rows["reviewer"].fillna("") == whose).to_numpy(dtype=bool)
