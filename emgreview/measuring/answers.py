"""Which marker of the response is whose: the answer to each cue.

The next cue ends the search, whether or not its trial was cut, reviewed or measured: else a trial without a response
would take the next one's. Beyond the trial's end any other marker ends it, too, since it may be the cue of another
condition.

Answers, responses      the response marker of each trial
kin_words, late_words   what ended the search, and what was found beyond a trial
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.measuring.neighbours import kin
from emgreview.measuring.rows import numbers
from emgreview.model import Trials, to_sample

FloatArray = NDArray[np.floating]
IntArray = NDArray[np.intp]

SEARCHED = "before the next cue, or beyond their trial before any other marker"
"""How far a response is looked for, in words."""


class Answers(NamedTuple):
    """Sample of the response of each row in the recording, NaN without one; whether it lies beyond the row's trial."""

    sample: FloatArray
    late: NDArray[np.bool_]


def responses(
    part: Trials,
    trial: IntArray,
    cue: FloatArray,
    label: str,
    from_s: float,
    *,
    decisions: pd.DataFrame,
    cues: Iterable[str] = (),
) -> Answers:
    """The first marker ``label`` from ``from_s`` after the cue (rows,) and before the next cue.

    Cues are the trials' own, where ``decisions`` say that they lie, but for those said to be none; and every marker of
    the recording that is called like the trials' cue, like one of ``cues``, or like one of these but for its number
    (other codes of one channel: "go 5", "go 7"). A response beyond the trial's end counts if no other marker lies
    between that and it.
    """
    marks = part.recording.markers
    marked = np.array(sorted(m.sample for m in marks if m.label == label), dtype=np.float64)
    others = np.array(sorted(m.sample for m in marks if m.label != label), dtype=np.float64)
    standing = np.array(sorted(_standing(part, label, decisions, cues)), dtype=np.float64)
    ends = np.append(standing, np.inf)[np.searchsorted(standing, cue, side="right")]
    first = np.append(marked, np.nan)[np.searchsorted(marked, cue + to_sample(from_s, part.rate_hz))]
    stop = np.array([part.cues[index].sample for index in trial], dtype=np.float64) + len(part.time_s) - part.before
    late = first >= stop
    between = np.searchsorted(others, first) > np.searchsorted(others, stop)
    good = (first < ends) & ~(late & between)
    return Answers(np.where(good, first, np.nan), good & late)


def _standing(part: Trials, label: str, decisions: pd.DataFrame, cues: Iterable[str]) -> set[int]:
    """Samples of all cues of the recording, as far as they stand."""
    named = {part.cue, *cues}
    found = {
        m.sample for m in part.recording.markers if m.label != label and any(kin(name, m.label) for name in named)
    } | {cue.sample for cue in part.cues}
    mine = decisions[decisions["recording"] == part.recording.name]
    said = mine["excluded"].fillna("").astype(str) if "excluded" in mine else pd.Series("", index=mine.index)
    none = set(mine["trial"][[any(why.startswith("trial: no cue") for why in one.split("; ")) for one in said]])
    moved = pd.Series(numbers(mine["cue_sample"]), index=mine["trial"].astype(str)).dropna()
    for name, cue in zip(part.ids, part.cues, strict=True):
        if name in none or name in moved.index:
            found.discard(cue.sample)
        if name not in none and name in moved.index:
            found |= {int(sample) for sample in moved[[name]]}
    return found


def kin_words(part: Trials, label: str, missing: int) -> list[str]:
    """A sentence on markers that count as cues for their number alone, where responses are ``missing``."""
    alike = {m.label for m in part.recording.markers if m.label not in (part.cue, label) and kin(part.cue, m.label)}
    if not alike or not missing:
        return []
    return [
        f"{part.recording.name}: markers {', '.join(map(repr, sorted(alike)))} count as cues of other trials, as they "
        f"differ from {part.cue!r} by their number alone: a marker {label!r} after one is no response to a cue before "
        "it. Give markers that are no cues another label."
    ]


def late_words(label: str, late: int, n: int) -> list[str]:
    """A sentence on responses beyond their trial."""
    if not late:
        return []
    return [
        f"{late} of {n} responses have their marker {label!r} beyond the end of their trial, with no other marker "
        "between: look whether it belongs to them, and cut longer trials."
    ]
