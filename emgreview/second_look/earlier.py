"""What a folder holds of audits and trials when another audit is planned in it, whoever planned or cut them.

refuse_after_others     an audit of another reviewer that speaks against a lot
earlier                 every audit before: whether it passed
near                    what of a lot lies where another one did
not_open                trials that are not open now
"""

from collections.abc import Iterable, Mapping, Sequence

from emgreview.cohort.marks import cue_in, read_logs, reviewers_in
from emgreview.errors import DecisionError
from emgreview.model import Recording
from emgreview.session import Session

Pair = tuple[str, str]
PLAN, DRAW, RESULT = "plan audit", "draw audit", "audit result"
"""The operations of an audit."""

NEAR_S = 0.25
"""Cues no further apart belong to one trial, whatever its name."""


def earlier(session: Session) -> list[bool]:
    """Every audit that was planned in this folder before, by anybody: whether it passed."""
    found: list[bool] = []
    for reviewer in reviewers_in(session.folder):
        notes = read_logs(session.folder, reviewer).notes
        passed = {note.new["audit"] for note in notes if note.operation == RESULT and note.new["passed"]}
        found += [note.counter in passed for note in notes if note.operation == PLAN]
    return found


def near(lot: Sequence[Pair], other: Iterable[Pair], recordings: Mapping[str, Recording]) -> set[Pair]:
    """What of ``lot`` lies within ``NEAR_S`` of anything in ``other``, in the same channel: cues that were found anew
    some milliseconds elsewhere make no other lot."""
    places: dict[tuple[str, str], list[int]] = {}
    for trial, channel in other:
        if (name := _recording_of(trial, recordings)) is not None:
            places.setdefault((name, channel), []).append(cue_in(trial) or 0)
    found = set()
    for trial, channel in lot:
        name = _recording_of(trial, recordings)
        cues = places.get((str(name), channel), ())
        if name is not None and any(
            abs(cue - (cue_in(trial) or 0)) <= NEAR_S * recordings[name].rate_hz for cue in cues
        ):
            found.add((trial, channel))
    return found


def _recording_of(trial: str, recordings: Mapping[str, Recording]) -> str | None:
    return max((name for name in recordings if trial.startswith(f"{name}/")), key=len, default=None)


def refuse_after_others(session: Session, lot: Sequence[Pair]) -> None:
    """Raise DecisionError where an audit of another reviewer speaks against a lot."""
    for reviewer in reviewers_in(session.folder):
        if reviewer == session.reviewer:
            continue
        notes = read_logs(session.folder, reviewer).notes
        passed = {note.new["audit"] for note in notes if note.operation == RESULT and note.new["passed"]}
        for plan in (note for note in notes if note.operation == PLAN and note.counter not in passed):
            theirs = [(trial, channel) for trial, channel, _ in plan.new["lot"]]
            if shared := len(near(lot, theirs, {one.recording.name: one.recording for one in session.trials})):
                raise DecisionError(
                    f"{shared} of {len(lot)} channel-trials that meet the rule are in the lot of an audit of reviewer "
                    f"{reviewer!r} that failed or is not finished; a second draw is not a way round it, under another "
                    "code neither; decide these by eye."
                )


def not_open(session: Session) -> int:
    """How many trials somebody had cut in this folder that are not open now, so that the lot cannot hold them."""
    known: set[str] = set()
    for reviewer in reviewers_in(session.folder):
        for note in read_logs(session.folder, reviewer).notes:
            for cut in note.new.get("cuts", ()):
                cues = cut["cues"].items()
                name = note.subject["recording"]
                known |= {f"{name}/{source}/{sample}" for source, samples in cues for sample in samples}
    return len(known - {trial for trials in session.trials for trial in trials.ids})
