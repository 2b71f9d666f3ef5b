"""Is a cue missing? The number of cues against what was expected, and holes in the intervals between them.

A lost cue turns two intervals into one. A hole is an interval that stands out from the others of its recording: at
least LONG times their median, and JUMP times the longest one that is no hole (common practice, no source). Of cues that
jitter evenly between 3 and 5 s, every single lost one stands out so; between 2 and 5 s four of five do, as the sum of
two short intervals may be no longer than one long one. Of five cues a hole is told in a regular rhythm alone, of fewer
none. Where the rhythm is free (a next trial that waits for the person, exponential foreperiods) a hole may be no more
than a long wait.

    count_note(rec, cue, cues, expect)    a sentence where there are more or fewer cues than expected, or ""
    hole_note(rec, cue, cues)             a sentence on the holes, or ""
    overlap_note(rec, cues, stretches)    a sentence on trials that share samples, or ""
    demand_trials(rec, cues, ...)         no trial spans many cues
    in_ms(before_s, after_s)              a guess that milliseconds were given for seconds
"""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from emgreview.errors import ParameterError
from emgreview.model import FloatArray, Marker, Recording

LONG, JUMP = 1.4, 1.2
FEWEST = 5
"""So many intervals are needed to judge by."""
FEW, REGULAR, DOUBLE = 4, 1.25, 1.75
"""Of so many the longest one is a hole where the others differ by no more than the second number, as a share, and it is
so many times the longest of these: of intervals from 3 to 5 s none ever is (our own choice, no source)."""
TRAIN_S = 0.1
"""Cues nearer to one another than this are a train of stimuli, of which each trial is meant to hold several (our own
choice, no source)."""
SHOWN = 4
LONGEST_S, MOST_CUES = 60.0, 20
"""A trial longer than the first that spans more cues than the second is no trial: milliseconds were taken for
seconds."""


def count_note(rec: Recording, cue: str, cues: Sequence[Marker], expect: int) -> str:
    """A sentence where there are more or fewer cues than expected, with where they begin and end, or ""."""
    if len(cues) == expect:
        return ""
    off = abs(expect - len(cues))
    differ = f"{off} {'is' if off == 1 else 'are'} {'missing' if len(cues) < expect else 'too many'}"
    first, last = cues[0].sample / rec.rate_hz, cues[-1].sample / rec.rate_hz
    return (
        f"{expect} cues {cue!r} were expected and {len(cues)} are there: {differ}. The first lies at {first:.3f} s, "
        f"the last at {last:.3f} s of {rec.duration_s:.3f} s."
    )


def hole_note(rec: Recording, cue: str, cues: Sequence[Marker]) -> str:
    """A sentence on the holes in the intervals between cues, or ""."""
    intervals = _free_of_other_trials(rec, cue, cues) / rec.rate_hz
    if _are_pairs(intervals):
        return (
            f"Cues {cue!r} come in {len(cues) // 2} pairs, {np.median(intervals[::2]):.3g} s apart "
            "(median): both edges of pulses, or a contact that bounces? Then take one edge, or a longer hold-off; "
            "where two stimuli are meant, each trial holds both."
        )
    holes = _holes(intervals)
    if not holes.any():
        return ""
    usual = intervals[~holes]
    where = [
        f"{cues[place].sample / rec.rate_hz:.3f} to {cues[place + 1].sample / rec.rate_hz:.3f} s (some "
        f"{max(1, round(float(intervals[place] / np.median(usual))) - 1)} missing)"
        for place in np.flatnonzero(holes).tolist()
    ]
    more = f" and {len(where) - SHOWN} more" if len(where) > SHOWN else ""
    return (
        f"Cues {cue!r} follow one another after {usual.min():.3g} to {usual.max():.3g} s, but for "
        f"{', '.join(where[:SHOWN])}{more}: a pause, or cues that are missing; look there."
    )


def _are_pairs(intervals: FloatArray) -> bool:
    """Whether every second interval, the first among them, is one of a train, and all others are far longer."""
    within, between = intervals[::2], intervals[1::2]
    many = len(between) >= FEW and len(within) == len(between) + 1
    return many and bool(within.max() < TRAIN_S and between.min() > 5 * TRAIN_S)


def overlap_note(rec: Recording, cues: Sequence[Marker], stretches: Sequence[tuple[int, int]]) -> str:
    """A sentence on trials (start and stop sample) that share samples with a neighbour, or "". Cues of one train
    (:data:`TRAIN_S`) do not count."""
    shared: set[int] = set()
    most = 0
    for place, ((_, stop), (start, _)) in enumerate(pairwise(stretches)):
        apart = cues[place + 1].sample - cues[place].sample
        if stop > start and apart >= TRAIN_S * rec.rate_hz:
            shared |= {place, place + 1}
            most = max(most, stop - start)
    if not shared:
        return ""
    return (
        f"{len(shared)} of {len(cues)} trials share samples with the trial before or after, up to "
        f"{most / rec.rate_hz:.3g} s: a burst there stands in two trials, and may be counted twice; cut shorter trials "
        "unless that is meant."
    )


def demand_trials(rec: Recording, cues: Sequence[Marker], before_s: float, after_s: float) -> None:
    """Trials that each span many cues would take memory without end, and mean nothing."""
    length_s = before_s + after_s
    if len(cues) < 2 or length_s <= LONGEST_S:
        return
    usual_s = float(np.median(np.diff([marker.sample for marker in cues]))) / rec.rate_hz
    if length_s > MOST_CUES * usual_s:
        raise ParameterError(
            f"trials from {before_s:g} s before to {after_s:g} s after the cue were asked of recording {rec.name!r}, "
            f"where a cue comes every {usual_s:.3g} s; a trial longer than {LONGEST_S:g} s spans at most {MOST_CUES} "
            f"of them; give shorter ones{in_ms(before_s, after_s)}."
        )


def in_ms(before_s: float, after_s: float) -> str:
    """A guess that milliseconds were given for what is 10 s or more: for both, or for one of the two."""
    long = {name: length for name, length in (("before_s", before_s), ("after_s", after_s)) if length >= 10}
    if not long:
        return ""
    if len(long) == 2:
        return f", in seconds: perhaps {before_s / 1000:g} and {after_s / 1000:g}, if milliseconds were given"
    [(name, length)] = long.items()
    return f", in seconds: perhaps {name}={length / 1000:g}, if its {length:g} were milliseconds"


def _free_of_other_trials(rec: Recording, cue: str, cues: Sequence[Marker]) -> FloatArray:
    """The longest stretch, in samples, between two cues without a trial of another kind: (intervals,).

    Markers that come once in most intervals (a warning, a response) belong to the trial; others (no-go, catch) begin
    trials of their own, which explain why a cue is late.
    """
    starts = np.array([marker.sample for marker in cues])
    others = [marker for marker in rec.markers if marker.label != cue]
    places = np.searchsorted(starts, [marker.sample for marker in others], side="right")
    seen = Counter((marker.label, int(place)) for marker, place in zip(others, places, strict=True))
    once = Counter(label for (label, place), n in seen.items() if n == 1 and 0 < place < len(starts))
    own = {label for label, n in once.items() if n > (len(starts) - 1) / 2}
    longest = np.diff(starts).astype(float)
    inside: dict[int, list[int]] = {}
    for marker, place in zip(others, places, strict=True):
        if marker.label not in own and 0 < place < len(starts):
            inside.setdefault(int(place) - 1, []).append(marker.sample)
    for place, samples in inside.items():
        longest[place] = np.diff([starts[place], *sorted(samples), starts[place + 1]]).max()
    return longest


def _holes(intervals: FloatArray) -> np.ndarray:
    """Which intervals stand out: those from the lowest jump in the upper half of their sorted lengths."""
    order = np.sort(intervals)
    if len(intervals) == FEW:
        regular = order[-2] <= REGULAR * order[0] and order[-1] >= DOUBLE * order[-2]
        return (intervals == order[-1]) & regular
    if len(intervals) < FEWEST:
        return np.zeros(len(intervals), dtype=bool)
    upper = np.arange(len(order) // 2 + 1, len(order))
    jumps = upper[(order[upper] >= LONG * np.median(order)) & (order[upper] >= JUMP * order[upper - 1])]
    return intervals >= order[jumps[0]] if len(jumps) else np.zeros(len(intervals), dtype=bool)
