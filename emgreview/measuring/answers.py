"""Which marker of the response is whose: the answer to each cue.

The next cue ends the search, whether or not its trial was cut, reviewed or measured: else a trial without a response
would take the next one's. So does any marker of another label, as it may be the cue of another condition, unless
somebody said that it is none: a reaction time that is missing costs a word, and one of another cue costs the result.

Answers, responses      the response marker of each trial
kin_words, late_words, halted_words   what ended the search, and what was found beyond a trial
"""

from collections import Counter
from collections.abc import Collection, Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.measuring.marked import outside
from emgreview.measuring.neighbours import kin
from emgreview.measuring.rows import numbers
from emgreview.model import Trials, to_sample
from emgreview.reading.settled import listed

FloatArray = NDArray[np.floating]
IntArray = NDArray[np.intp]

SEARCHED = "before the next cue or other marker, or beyond their trial before any other marker"
"""How far a response is looked for, in words."""


class Answers(NamedTuple):
    """Sample of the response of each row in the recording, NaN without one; whether it lies beyond the row's trial; and
    the label of the marker that ended the search before a response came that would else have counted, or ""."""

    sample: FloatArray
    late: NDArray[np.bool_]
    halted: NDArray[np.object_]


def responses(
    part: Trials,
    trial: IntArray,
    cue: FloatArray,
    label: str,
    from_s: float,
    *,
    decisions: pd.DataFrame,
    reviewers: "pd.Series[str] | None" = None,
    cues: Iterable[str] = (),
    not_cues: Collection[str] = (),
) -> Answers:
    """The first marker ``label`` from ``from_s`` after the cue (rows,) and before the next cue or other marker.

    Cues are the trials' own, where ``decisions`` say that they lie, but for those said to be none; those that were
    added by hand; and every marker of the recording that is called like the trials' cue, like one of ``cues``, or like
    one of these but for its number (other codes of one channel: "go 5", "go 7"). Markers called like one of
    ``not_cues`` end nothing. With ``reviewers`` (rows,) each row goes by the decisions of its own.
    """
    if reviewers is not None and decisions["reviewer"].nunique(dropna=False) > 1:
        out = Answers(np.full(len(cue), np.nan), np.zeros(len(cue), dtype=bool), np.full(len(cue), "", dtype=object))
        codes = reviewers.fillna("")
        for whose in dict.fromkeys(codes):
            mine = (codes == whose).to_numpy(dtype=bool)
            own = decisions[decisions["reviewer"].fillna("") == whose]
            found = responses(part, trial[mine], cue[mine], label, from_s, decisions=own, cues=cues, not_cues=not_cues)
            for whole, some in zip(out, found, strict=True):
                whole[mine] = some
        return out
    marks = _marks(part, decisions, not_cues)
    named = {part.cue, *cues}
    marked = np.array([at for at, name in marks if name == label], dtype=np.float64)
    others = np.array([at for at, name in marks if name != label], dtype=np.float64)
    foreign = [(at, name) for at, name in marks if name != label and not any(kin(one, name) for one in named)]
    standing = np.array(sorted(_standing(part, label, marks, named, decisions)), dtype=np.float64)
    ends = np.append(standing, np.inf)[np.searchsorted(standing, cue, side="right")]
    first = np.append(marked, np.nan)[np.searchsorted(marked, cue + to_sample(from_s, part.rate_hz))]
    stop = np.array([part.cues[index].sample for index in trial], dtype=np.float64) + len(part.time_s) - part.before
    late = first >= stop
    between = np.searchsorted(others, first) > np.searchsorted(others, stop)
    good = (first < ends) & ~(late & between)
    places = np.searchsorted(np.array([at for at, _ in foreign], dtype=np.float64), cue, side="right")
    halts = np.array([*(at for at, _ in foreign), np.inf], dtype=np.float64)[places]
    names = np.array([*(name for _, name in foreign), ""], dtype=object)[places]
    ended = good & (halts < first)
    good &= ~ended
    return Answers(np.where(good, first, np.nan), good & late, np.where(ended, names, ""))


def _marks(part: Trials, decisions: pd.DataFrame, not_cues: Collection[str]) -> list[tuple[int, str]]:
    """Sample and label of all markers that may be responses or end a search, in order."""
    added = (outside(decisions, part.recording.name) or {}).get("added_cues", ())
    every = {(m.sample, m.label) for m in part.recording.markers} | {(one["sample"], one["label"]) for one in added}
    return sorted((at, name) for at, name in every if name not in not_cues)


def _standing(
    part: Trials, label: str, marks: Iterable[tuple[int, str]], named: Iterable[str], decisions: pd.DataFrame
) -> set[int]:
    """Samples of all cues of the recording, as far as they stand."""
    found = {at for at, other in marks if other != label and any(kin(name, other) for name in named)}
    found |= {cue.sample for cue in part.cues}
    mine = decisions[decisions["recording"] == part.recording.name]
    said = (
        mine["excluded"].astype(object).fillna("").astype(str)
        if "excluded" in mine
        else pd.Series("", index=mine.index)
    )
    none = set(mine["trial"][[any(why.startswith("trial: no cue") for why in one.split("; ")) for one in said]])
    moved = pd.Series(numbers(mine["cue_sample"]), index=mine["trial"].astype(str)).dropna()
    for name, cue in zip(part.ids, part.cues, strict=True):
        if name in none or name in moved.index:
            found.discard(cue.sample)
        if name not in none and name in moved.index:
            found |= {int(sample) for sample in moved[[name]]}
    return found


def kin_words(part: Trials, label: str, missing: int, not_cues: Collection[str] = ()) -> list[str]:
    """A sentence on markers that count as cues for their number alone, where responses are ``missing``."""
    alike = {
        m.label
        for m in part.recording.markers
        if m.label not in (part.cue, label, *not_cues) and kin(part.cue, m.label)
    }
    if not alike or not missing:
        return []
    return [
        f"{part.recording.name}: markers {', '.join(map(repr, sorted(alike)))} count as cues of other trials, as they "
        f"differ from {part.cue!r} by their number alone: a marker {label!r} after one is no response to a cue before "
        "it. Of markers that are no cues, say so: not_cues={sorted(alike)!r}."
    ]


def late_words(label: str, late: int, n: int) -> list[str]:
    """A sentence on responses beyond their trial."""
    if not late:
        return []
    return [
        f"{late} of {n} responses have their marker {label!r} beyond the end of their trial, with no other marker "
        "between: look whether it belongs to them, and cut longer trials."
    ]


def halted_words(part: Trials, label: str, halted: Iterable[str]) -> list[str]:
    """A sentence on searches that markers of other labels ended, named by ``halted``, "" where none did."""
    counts = Counter(name for name in halted if name)
    if not counts:
        return []
    told = listed([f"{name!r} {count}" for name, count in sorted(counts.items())], 12)
    return [
        f"{part.recording.name}: of {sum(counts.values())} rows the search for {label!r} ended at another marker "
        f"before one came: {told}; it may be the cue of another condition. Of markers that are no cues, say so: "
        f"not_cues={sorted(counts)!r}."
    ]
