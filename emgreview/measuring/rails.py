"""How much of a stretch was cut at a rail, from the recording as it is: the trials' filter rounds off what was cut.

Rails           shares of clipped samples; definitions in ``signal.clip``
cut_words       what a table says of them
"""

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import EmgreviewError
from emgreview.evidence import unfiltered
from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.model import Trials
from emgreview.signal.clip import at_rail


class Rails:
    """Clipped samples of trials. Each trial is read once, when it is first asked about; ``unread`` names recordings
    that could not be read for it."""

    def __init__(self) -> None:
        self.unread: set[str] = set()
        self._found: dict[tuple[Trials, int], list[NDArray[np.bool_] | None] | None] = {}

    def share(self, part: Trials, place: int, trial: IntArray, first: FloatArray, stop: FloatArray) -> FloatArray:
        """Share of the samples ``first`` to ``stop`` (excluded) of some trials of one channel that lie at a rail.

        ``trial`` (rows,) says which trial, ``first`` and ``stop`` (rows,) count from its first sample. Rows that are
        not whole, or cannot be read, are NaN.
        """
        out = np.full(len(trial), np.nan)
        n = len(part.time_s)
        whole = (first >= 0) & (stop <= n) & (first < stop)  # False for NaN
        for row in np.flatnonzero(whole):
            masks = self._look(part, int(trial[row]))
            if masks is not None:
                at = masks[place]
                out[row] = 0.0 if at is None else at[int(first[row]) : int(np.ceil(stop[row]))].mean()
        return out

    def _look(self, part: Trials, row: int) -> list[NDArray[np.bool_] | None] | None:
        key = (part, row)
        if key not in self._found:
            try:
                masks = map(at_rail, unfiltered(part, row))
                self._found[key] = [at if at.any() else None for at in masks]
            except (EmgreviewError, OSError):
                self.unread.add(part.recording.name)
                self._found[key] = None
        return self._found[key]

    def notes(self) -> list[str]:
        """A sentence on recordings that could not be read, or none."""
        names = ", ".join(sorted(self.unread))
        return [f"Whether samples are clipped is not known of {names}: it can no longer be read."] * bool(names)


def cut_words(clipped: int, of: int, what: str) -> list[str]:
    """A sentence on how many of some bursts are clipped, or none."""
    if not clipped:
        return []
    return [
        f"{clipped} of {of} {what} are clipped: cut at the highest or lowest value that the input takes. Their onsets "
        "can be used; their amplitudes are too small by what was cut, which nobody knows."
    ]
