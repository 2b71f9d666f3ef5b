"""The decisions of one reviewer as they stand in the logs of a review folder; no recording or open review is needed.

Samples are those of the recording. A channel-trial is one channel of one trial: (recording, trial, channel).

    STATES, SIGNALS     the words a channel-trial can have
    read_logs           every log of a reviewer, replayed: Logs
    reviewers_in        who has a log in a folder
    Logs.marks          the channel-trials that were decided about: Mark
    check_reviewed      is a recording the one that a reviewer reviewed, in that scale
    mark_of             one channel-trial's Mark from the values in a log
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from emgreview.annotations import state as states
from emgreview.annotations.events import Event, check_reviewer
from emgreview.annotations.files import demand_review_folder
from emgreview.annotations.log import read_log
from emgreview.annotations.points import take_until
from emgreview.annotations.scales import Scales, compare, refuse, stated
from emgreview.checks import review_folder
from emgreview.errors import LogBrokenError, LogError, UnknownNameError
from emgreview.model import Recording

STATES = ("onset marked", "other bursts only", "none visible", "not locatable", "unusable")
"""What a reviewer can say of a channel-trial; "other bursts only": bursts, none of them the response."""

SIGNALS = ("usable", "caution", "unusable")

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


class Entry(NamedTuple):
    """The present value of one field, and by what operation, when, and while seeing what it was set."""

    value: Any
    operation: str
    time: str
    counter: int
    visible: Mapping[str, Any]


@dataclass(frozen=True)
class Logs:
    """All logs of one reviewer. ``shown`` holds the entries of every showing (1, and 2 … for silent repeats), ``bulk``
    what was accepted in bulk, ``notes`` the events that are about the review itself, ``heads`` lines and SHA-256 of
    each file, ``scales`` in which scale each recording was read, as its log says last."""

    reviewer: str
    rates_hz: dict[str, float] = field(default_factory=dict)
    participants: dict[str, str | None] = field(default_factory=dict)
    fingerprints: dict[str, str] = field(default_factory=dict)
    scales: dict[str, Scales] = field(default_factory=dict)
    heads: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: list[Event] = field(default_factory=list)
    shown: dict[int, dict[states.Key, Entry]] = field(default_factory=dict)
    bulk: dict[states.Key, states.Value] = field(default_factory=dict)

    def marks(self, showing: int = 1) -> dict[Unit, Mark]:
        """Every channel-trial that was decided about, finished or not."""
        entries = self.shown.get(showing, {})
        found: dict[Unit, Mark] = {}
        for recording, trial, channel, name, _ in entries:
            if name in ("activity", "signal") and recording and trial and channel:
                found.setdefault((recording, trial, channel), self.mark((recording, trial, channel), showing))
        return found

    def mark(self, unit: Unit, showing: int = 1) -> Mark:
        """One channel-trial's Mark, also where nothing was decided."""
        return mark_of(self.value(*unit, "activity", showing), self.value(*unit, "signal", showing))

    def in_bulk(self, unit: Unit) -> bool:
        """Whether a channel-trial's mark was accepted in bulk, and nobody has looked at it since."""
        kept = self.bulk.get((*unit, "activity", None))
        return kept is not None and kept == self.value(*unit, "activity")

    def value(self, recording: str, trial: str, channel: str | None, name: str, showing: int = 1) -> Any:
        """The value of a field, or its default; None for an activity nobody touched."""
        entry = self.entry(recording, trial, channel, name, showing)
        return entry.value if entry else states.DEFAULTS.get(name)

    def entry(self, recording: str, trial: str, channel: str | None, name: str, showing: int = 1) -> Entry | None:
        return self.shown.get(showing, {}).get((recording, trial, channel, name, None))

    def note(self, operation: str) -> Event | None:
        """The last event about the review with this operation."""
        return next((event for event in reversed(self.notes) if event.operation == operation), None)

    def _read(self, event: Event) -> None:
        recording = str(event.subject["recording"])
        if event.field == "log":
            self.notes.append(event)
            if event.new.get("scales"):
                self.scales[recording] = event.new["scales"]
            if event.seq == 0:
                self.rates_hz[recording] = float(event.new["rate_hz"])
                self.participants[recording] = event.subject["participant"]
                self.fingerprints[recording] = event.new["fingerprint"]["samples"]
        elif event.field not in states.NOT_DECISIONS:
            entries = self.shown.setdefault(event.showing, {})
            for key, value in states.keyed(event, event.new):
                if key[0] is not None or key not in entries or entries[key].counter < event.counter:
                    entries[key] = Entry(value, event.operation, event.time, event.counter, event.visible)
            if event.showing == 1:
                states.keep_bulk(self.bulk, event)


def read_logs(folder: str | Path, reviewer: str, heads: Mapping[str, Mapping[str, Any]] | None = None) -> Logs:
    """Read and check every log of a reviewer, or those that ``heads`` names, up to there. An unfinished last line is
    passed over, as it never counted.

    Raises UnknownNameError where the reviewer has none, LogBrokenError where one is broken, LogError where one does not
    hold the head that is named, LogTooNewError.
    """
    folder = review_folder(folder)
    if heads is not None:
        logs = Logs(reviewer, heads={where: dict(head) for where, head in heads.items()})
        for where, head in heads.items():
            take_until(folder / where, head, logs._read)
        logs.notes.sort(key=lambda event: event.counter)
        return logs
    paths = sorted((folder / "logs").rglob(f"*_reviewer-{check_reviewer(reviewer)}.jsonl"))
    if not paths:
        demand_review_folder(folder)
        raise UnknownNameError(f"reviewer with a log in {folder.name}", reviewer, reviewers_in(folder))
    logs = Logs(reviewer)
    for path in paths:
        try:
            content = read_log(path, logs._read)
        except OSError as why:
            raise LogError(
                f"{path.name} cannot be read ({why.strerror or why}); check the file's permissions."
            ) from why
        if content.problem:
            raise LogBrokenError(content.problem)
        logs.heads[path.relative_to(folder).as_posix()] = {"lines": len(content.lines), "sha256": content.head}
    logs.notes.sort(key=lambda event: event.counter)
    return logs


def check_reviewed(logs: Logs, recording: Recording) -> None:
    """Raise LogError where a recording is not the one that a reviewer's log is about, or comes in another scale."""
    known, came = logs.fingerprints.get(recording.name), recording.fingerprint.samples
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


def reviewers_in(folder: str | Path) -> tuple[str, ...]:
    """The codes of all reviewers with a log in a folder, sorted."""
    paths = (Path(folder) / "logs").rglob("*_reviewer-*.jsonl")
    return tuple(sorted({path.stem.rpartition("_reviewer-")[2] for path in paths}))


def mark_of(activity: Mapping[str, Any] | None, signal: Mapping[str, Any] | None) -> Mark:
    """What the values of a channel-trial's two fields say. None: nobody set it."""
    signal = states.USABLE if signal is None else signal
    activity = states.proposal(None) if activity is None else activity
    standing = [burst for burst in activity["bursts"].values() if states.stands(burst)]
    response = min((b for b in standing if b["kind"] == "response"), key=lambda b: b["onset"], default=None)
    if signal["state"] == "unusable":
        word = "unusable"
    elif not states.reviewed(activity, signal):
        word = ""
    elif activity["found"] in states.VERDICTS:
        word = activity["found"]
    else:
        word = "onset marked" if response else "other bursts only"
    located = response if word == "onset marked" else None
    between = activity if word == "not locatable" else {}
    return Mark(
        word,
        signal["state"],
        located["onset"] if located else None,
        located["offset"] if located else None,
        between.get("earliest"),
        between.get("latest"),
        (located or activity)["confidence"],
    )


def cue_in(trial: str) -> int | None:
    """The cue's sample, which ends a trial's id; None where it does not."""
    found = re.search(r"(\d+)$", trial)
    return int(found[1]) if found else None
