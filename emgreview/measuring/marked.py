"""Marked bursts as stretches of their recordings: what holds one is no rest.

A rest window counts from the cue, and may hold activity all the same: a burst that came before the cue, one that a
corrected cue leaves behind, another burst of the trial, the response of the trial before, or a burst marked outside all
trials.

MarkedBursts    the bursts that stand in a table of decisions
outside         what a table says of marks and cues outside all trials
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from emgreview.measuring.rows import numbers, standing
from emgreview.measuring.stretches import Stretches
from emgreview.model import Trials


def outside(decisions: pd.DataFrame, name: str) -> Mapping[str, Any] | None:
    """Bursts marked (``marked``) and cues added (``added_cues``) outside all trials of a recording; None where the
    table does not say it."""
    found: Mapping[str, Any] | None = (
        decisions.attrs.get("version", decisions.attrs).get("outside_trials", {}).get(name)
    )
    return found


class MarkedBursts(Stretches):
    """The bursts that stand in a table of decisions, whether or not they are accepted, included or measured, and those
    marked outside all trials. One without an offset may last to the end of its trial."""

    def __init__(self, parts: Sequence[Trials], decisions: pd.DataFrame) -> None:
        super().__init__()
        rows = standing(decisions)
        reviewers = rows["reviewer"].fillna("") if "reviewer" in rows else pd.Series("", index=rows.index)
        for part in parts:
            mine = (rows["recording"] == part.recording.name).to_numpy(dtype=bool)
            after = len(part.time_s) - part.before
            ends = {trial: cue.sample + after for trial, cue in zip(part.ids, part.cues, strict=True)}
            onset, offset = (numbers(rows[f"{edge}_sample"][mine]) for edge in ("onset", "offset"))
            stop = np.array([ends.get(trial, np.nan) for trial in rows["trial"][mine]], dtype=np.float64)
            stop = np.where(np.isnan(offset), np.fmax(stop, onset + 1), offset)
            whose, labels = reviewers[mine], rows["channel"][mine]
            for one, label, first, last in zip(whose, labels, onset, stop, strict=True):
                if np.isfinite(first):
                    self.add(part.recording.name, label, one, int(first), int(last))
            for mark in (outside(decisions, part.recording.name) or {}).get("marked", ()):
                for one in dict.fromkeys(reviewers):
                    first, last = mark["onset_sample"], mark["offset_sample"]
                    self.add(part.recording.name, mark["channel"], one, first, last)
