"""The decisions of one reviewer as they stand in the logs of a review folder; no recording or open review is needed.

Samples are those of the recording. A channel-trial is one channel of one trial: (recording, trial, channel).

    STATES, SIGNALS     the words a channel-trial, and its signal, can have
    read_logs           every log of a reviewer, replayed: Logs
    reviewers_in        who has a log in a folder
    told_beside         what is to be known of a folder beside these
    Logs.marks          the channel-trials that were decided about: Mark
    check_reviewed      is a recording the one that a reviewer reviewed, in that scale
    mark_of             one channel-trial's Mark from the values in a log
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from emgreview.annotations import state as states
from emgreview.annotations.events import Event, check_reviewer
from emgreview.annotations.fields import signal as signals
from emgreview.annotations.fields.activity import word_of
from emgreview.annotations.files import demand_review_folder
from emgreview.annotations.known_heads import demand_whole_logs, told_of_folder
from emgreview.annotations.ledger import Entry, Ledger, Said, read_ledger
from emgreview.annotations.places import demand_no_twins, logs_in
from emgreview.annotations.scales import Scales, compare, refuse, stated
from emgreview.annotations.withdrawals import withdrawals, withdrawn
from emgreview.checks import review_folder
from emgreview.errors import LogError, UnknownNameError
from emgreview.model import Recording

STATES = ("onset marked", "other bursts only", "none visible", "not locatable", "unusable")
"""What a reviewer can say of a channel-trial; "other bursts only": bursts, none of them the response."""

SIGNALS = signals.STATES

Unit = tuple[str, str, str]


class Mark(NamedTuple):
    """What a reviewer said of a channel-trial; ``state`` is a word of STATES, or "" where it is not finished."""

    state: str
    signal: str
    onset: int | None
    offset: int | None
    earliest: int | None
    latest: int | None
    confidence: str | None

    @property
    def reviewed(self) -> bool:
        return self.state != ""


UNFINISHED = Mark("", "usable", None, None, None, None, None)


@dataclass(frozen=True)
class Logs:
    """All logs of one reviewer, as what they add up to: ``ledger``."""

    reviewer: str
    ledger: Ledger = field(default_factory=Ledger)

    @cached_property
    def rates_hz(self) -> Mapping[str, float]:
        """The sampling rate of each recording."""
        return {name: float(said.facts["rate_hz"]) for name, said in self._begun}

    @cached_property
    def participants(self) -> Mapping[str, str | None]:
        """The participant of each recording."""
        return {name: said.facts["participant"] for name, said in self._begun}

    @cached_property
    def fingerprints(self) -> Mapping[str, str]:
        """The digest of each recording's stored samples."""
        return {name: said.facts["fingerprint"]["samples"] for name, said in self._begun}

    @cached_property
    def scales(self) -> Mapping[str, Scales]:
        """In which scale each recording was read, as its log says last; nothing of a log that does not say it."""
        return {name: said.facts["scales"] for name, said in self._begun if said.facts.get("scales")}

    @property
    def heads(self) -> Mapping[str, Mapping[str, Any]]:
        """Lines and SHA-256 of each file."""
        return self.ledger.heads

    @property
    def notes(self) -> list[Event]:
        """The events that are about the review itself, in order."""
        return self.ledger.notes

    @property
    def _begun(self) -> list[tuple[str, Said]]:
        return [(name, said) for name, said in self.ledger.said.items() if "fingerprint" in said.facts]

    def marks(self, showing: int = 1) -> dict[Unit, Mark]:
        """Every channel-trial that was decided about, finished or not."""
        found: dict[Unit, Mark] = {}
        for recording, trial, channel, name, _ in self.ledger.decided(showing):
            if name in ("activity", "signal") and recording and trial and channel:
                found.setdefault((recording, trial, channel), self.mark((recording, trial, channel), showing))
        return found

    def mark(self, unit: Unit, showing: int = 1) -> Mark:
        """One channel-trial's Mark, also where nothing was decided."""
        return mark_of(self.value(*unit, "activity", showing), self.value(*unit, "signal", showing))

    def in_bulk(self, unit: Unit) -> bool:
        """Whether a channel-trial's mark was accepted in bulk, and nobody has looked at it since."""
        return self.ledger.in_bulk((*unit, "activity", None))

    def value(self, recording: str, trial: str, channel: str | None, name: str, showing: int = 1) -> Any:
        """The value of a field, or its default; None for an activity nobody touched."""
        entry = self.entry(recording, trial, channel, name, showing)
        return entry.value if entry else states.DEFAULTS.get(name)

    def entry(self, recording: str, trial: str, channel: str | None, name: str, showing: int = 1) -> Entry | None:
        return self.ledger.entry((recording, trial, channel, name, None), showing)

    def note(self, operation: str) -> Event | None:
        """The last event about the review with this operation."""
        return self.ledger.note(operation)


def read_logs(
    folder: str | Path, reviewer: str, heads: Mapping[str, Mapping[str, Any]] | None = None, *, whole: bool = True
) -> Logs:
    """Read and check every log of a reviewer, or those that ``heads`` names, up to there. An unfinished last line is
    passed over, as it never counted.

    Raises UnknownNameError where the reviewer has none, LogBrokenError where one is broken, LogError where one does not
    hold the head that is named, where there are two on one recording, or where one lacks lines that a version or
    another log names, LogTooNewError. With ``whole`` False missing lines are passed over: opening tells them. Of
    ``heads`` those of logs that were withdrawn are passed over.
    """
    folder = review_folder(folder)
    if heads is not None:
        gone = withdrawn(folder)
        return Logs(reviewer, read_ledger({where: folder / where for where in heads if where not in gone}, heads=heads))
    paths = logs_in(folder, check_reviewer(reviewer))
    if not paths:
        demand_review_folder(folder)
        raise UnknownNameError(f"reviewer with a log in {folder.name}", reviewer, reviewers_in(folder))
    demand_no_twins(folder, reviewer)
    logs = Logs(reviewer, read_ledger({path.relative_to(folder).as_posix(): path for path in paths}))
    if whole:
        demand_whole_logs(folder, reviewer)
    return logs


def check_reviewed(logs: Logs, recording: Recording) -> None:
    """Raise LogError where a recording is not the one that a reviewer's log is about, or comes in another scale."""
    known, came = logs.fingerprints.get(recording.name), recording.digest
    if known is not None and not recording.is_of(known):
        raise LogError(
            f"reviewer {logs.reviewer!r} reviewed other samples under the name {recording.name!r}: {str(known)[:12]}…, "
            f"not {came[:12]}…; give the recording that was reviewed."
        )
    refuse(
        compare(logs.scales.get(recording.name), stated(recording)),
        f"recording {recording.name!r} comes",
        f"so says the log of {logs.reviewer!r}; read it as it was.",
    )


def told_beside(folder: str | Path, *reviewers: str) -> tuple[str, ...]:
    """What is to be known of a folder beside the logs of some reviewers: who was withdrawn, versions set apart."""
    return told_of_folder(Path(folder), withdrawals(Path(folder)), reviewers=reviewers)


def reviewers_in(folder: str | Path) -> tuple[str, ...]:
    """The codes of all reviewers with a log in a folder, sorted."""
    return tuple(sorted({path.stem.rpartition("_reviewer-")[2] for path in logs_in(Path(folder))}))


def mark_of(activity: states.Activity | None, signal: states.Signal | None) -> Mark:
    """What the values of a channel-trial's two fields say. None: nobody set it."""
    signal = states.USABLE if signal is None else signal
    activity = states.proposal(None) if activity is None else activity
    word = "unusable" if signal.state == "unusable" else word_of(activity)
    response = states.find_burst(activity, None)
    located = activity.bursts[response] if word == "onset marked" and response else None
    vague = word == "not locatable"
    return Mark(
        word,
        signal.state,
        located.onset if located else None,
        located.offset if located else None,
        activity.earliest if vague else None,
        activity.latest if vague else None,
        located.confidence if located else activity.confidence,
    )


def cue_in(trial: str) -> int | None:
    """The cue's sample, which ends a trial's id; None where it does not."""
    found = re.search(r"(\d+)$", trial)
    return int(found[1]) if found else None
