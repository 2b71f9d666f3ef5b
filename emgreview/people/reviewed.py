"""What reviewers did, beside what a method found: sizes of marks that were moved, and how far two reviewers agree.

moved_marks     marks of a table of decisions that are not where the method put them, by recording
MovedJob        size and slope of these, for a runner
agreed          kappa and the share of near onsets, by person, session and channel
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from emgreview.cohort.agreement import Agreement
from emgreview.cohort.marks import STATES
from emgreview.cohort.statistics import cross_table
from emgreview.model import FloatArray, Processing, Recording
from emgreview.people.person import Person
from emgreview.people.recorded import measured
from emgreview.trials import cut_trials

NEAR_S = 0.02

Mark = tuple[str, str, int, int]
"""Trial, channel, samples of onset and offset in the recording."""


def moved_marks(decisions: pd.DataFrame) -> dict[str, tuple[Mark, ...]]:
    """Responses that were moved or added, with both ends, by recording."""
    rows = decisions[
        decisions["origin"].isin(["moved", "added"]).to_numpy(dtype=bool)
        & (decisions["kind"] == "response").fillna(False).to_numpy(dtype=bool)
        & decisions["onset_sample"].notna().to_numpy()
        & decisions["offset_sample"].notna().to_numpy()
    ]
    out: dict[str, list[Mark]] = {}
    for row in rows.to_dict("records"):
        mark = (str(row["trial"]), str(row["channel"]), int(row["onset_sample"]), int(row["offset_sample"]))
        out.setdefault(str(row["recording"]), []).append(mark)
    return {name: tuple(marks) for name, marks in out.items()}


@dataclass(frozen=True)
class MovedJob:
    """Size and slope of the moved marks of one recording: a list of [trial, channel, size, slope]."""

    cue: str
    before_s: float
    after_s: float
    processing: Processing
    marks: Mapping[str, tuple[Mark, ...]]
    classes: ClassVar[tuple[type, ...]] = ()

    def of(self, name: str) -> "MovedJob":
        """The same for one recording alone."""
        mine = {name: self.marks[name]} if name in self.marks else {}
        return MovedJob(self.cue, self.before_s, self.after_s, self.processing, mine)

    def __call__(self, rec: Recording) -> list[list[Any]]:
        marks = self.marks.get(rec.name, ())
        if not marks:
            return []
        trials = cut_trials(rec, cue=self.cue, before_s=self.before_s, after_s=self.after_s, processing=self.processing)
        onset, offset = (np.full((len(trials.labels), len(trials)), np.nan) for _ in range(2))
        at = {
            (trial, label): (row, place)
            for place, trial in enumerate(trials.ids)
            for row, label in enumerate(trials.labels)
        }
        for trial, label, first, last in marks:
            if (trial, label) in at:
                row, place = at[trial, label]
                start = trials.cues[place].sample - trials.before
                onset[row, place], offset[row, place] = (np.array([first, last]) - start) / trials.rate_hz
        _, size, slope = measured(trials, onset, offset)
        return [
            [trial, label, float(size[at[trial, label]]), float(slope[at[trial, label]])]
            for trial, label, *_ in marks
            if (trial, label) in at
        ]


def agreed(agreement: Agreement, people: Sequence[Person]) -> dict[tuple[str, str, str], tuple[float, float]]:
    """Cohen's kappa on the activity, and the share of onsets of both no more than NEAR_S apart, by participant, session
    and channel; NaN where there is nothing to compare. References: Cohen 1960."""
    whose = {rec.name: (one.participant, one.session) for one in people for rec in one.recordings}
    table = agreement.table
    both = table[table["kept_out"].isna() & (table["first_state"] != "") & (table["second_state"] != "")]
    keys = [(*whose.get(name, ("", "")), label) for name, label in zip(both["recording"], both["channel"], strict=True)]
    out = {}
    for key, rows in both.groupby(pd.Index(keys, tupleize_cols=False), sort=False):
        counts = cross_table(list(rows["first_state"]), list(rows["second_state"]), STATES)
        apart = rows["onset_difference_s"].dropna().abs()
        out[key] = _kappa(counts), float((apart <= NEAR_S).mean()) if len(apart) else math.nan
    return out


def _kappa(counts: FloatArray) -> float:
    shares = counts / counts.sum()
    by_chance = float(shares.sum(axis=0) @ shares.sum(axis=1))
    return (float(np.trace(shares)) - by_chance) / (1 - by_chance) if by_chance < 1 else math.nan
