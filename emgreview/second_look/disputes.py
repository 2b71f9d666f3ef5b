"""What two reviewers disagree on, as a third one sees it: without names.

Dispute             one item: what it is about, and its two candidates
Candidate           one of the two decisions
CHOICES, LETTERS    what can be said of them, and what they are called
unnamed             an activity that tells nothing of how it came about
began_with          how an adjudication compares times that was begun before
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.state import Activity, ChannelState
from emgreview.cohort.marks import read_logs
from emgreview.cohort.settling import ADJUDICATE, rounded_in
from emgreview.errors import UnknownNameError

LETTERS = ("A", "B")
CHOICES = (*LETTERS, "both acceptable", "cannot be settled")
"""What :meth:`Adjudication.settle` knows."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One of two decisions, unnamed: the channel as that reviewer left it, or of a trial the behaviour or the cue, in
    seconds from the recorded one; ``values`` holds these by the names of the fields, and those of any other in dispute.
    Origins, automatic values and comments are left out: they could tell who it was."""

    letter: str
    channel: ChannelState | None = None
    behaviour: str | None = None
    cue_s: float | None = None
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Dispute:
    """One item on which two reviewers disagree; ``channel`` None: on the trial. ``settled`` is "" or how."""

    trial: str
    channel: str | None
    fields: tuple[str, ...]
    why: str
    candidates: tuple[Candidate, Candidate]
    settled: str


def unnamed(activity: Activity) -> Activity:
    """An activity that tells nothing of how it came about."""
    counting = sorted(filter(states.stands, activity.bursts.values()), key=lambda burst: burst.onset)
    bursts = {
        f"burst-{number}": replace(burst, origin="added", automatic=None) for number, burst in enumerate(counting, 1)
    }
    return replace(activity, bursts=MappingProxyType(bursts))


def began_with(folder: str | Path, reviewer: str) -> tuple[bool, float | None]:
    """Whether the tolerance is rounded to samples, and the tolerance in seconds, None where nothing has begun: so it
    was in the first logs, and an adjudication goes on as begun."""
    try:
        note = read_logs(folder, reviewer, whole=False).note(ADJUDICATE)
    except UnknownNameError:
        return False, None
    return (False, None) if note is None else (rounded_in(note.new), note.new["within_s"])
