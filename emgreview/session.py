"""One review: open it, decide, undo, seal. The only mutable object of the package; any front end drives this and no more.

Every command validates, appends one event to the log and flushes it, and only then changes the state: the state never
runs ahead of the file. Times that go in or out are seconds from the trial's recorded cue; the log holds sample numbers of
the recording. A decision that changes nothing writes nothing, except on a mark of the re-look list, where it confirms.

    open_review     start or continue a review
    Session         its commands, state, queue and undo
    KEYS            the table of keys for front ends
"""

import dataclasses
import hashlib
import importlib.metadata
import math
import platform
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Literal, Self

import numpy as np

from emgreview import tables
from emgreview.annotations import state as states
from emgreview.annotations.events import (
    BEHAVIOURS,
    CAUTIONS,
    CONFIDENCES,
    KINDS,
    REASONS,
    SCHEMA,
    Event,
    check_choice,
    check_reasons,
    check_reviewer,
    check_text,
    digest_of,
)
from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import Log, log_path
from emgreview.annotations.state import Activity, TrialState
from emgreview.annotations.state import Key as StateKey
from emgreview.annotations.versions import Sealed, seal_version
from emgreview.errors import DecisionError, LogError, LogReadOnlyError, ParameterError, UnknownNameError
from emgreview.model import Onsets, Recording, Trials, to_sample

ORDERS = ("recorded", "random", "least certain")
Ids = tuple[str, ...]
Detect = Callable[..., Onsets]


@dataclass(frozen=True, slots=True)
class Automatic:
    """What the method said of one channel of one trial: seconds from the recorded cue, NaN where it has no such number."""

    onset_s: float
    low_s: float
    high_s: float
    offset_s: float
    level_db: float
    present: float
    note: str


@dataclass(frozen=True, slots=True)
class Key:
    """One key: W3C physical ``code``, with or without shift, the command it gives with its arguments, its words, the
    words of its button ("" for none), whether holding it repeats."""

    code: str
    command: str
    words: str
    group: str
    shift: bool = False
    repeat: bool = False
    arguments: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    button: str = ""


KEYS: tuple[Key, ...] = (
    Key("ArrowRight", "next_trial", "next trial", "go", repeat=True),
    Key("ArrowLeft", "previous_trial", "previous trial", "go", repeat=True),
    Key("ArrowDown", "next_channel", "next channel", "go", repeat=True),
    Key("ArrowUp", "previous_channel", "previous channel", "go", repeat=True),
    Key("KeyN", "next_unreviewed", "next trial not yet reviewed", "go"),
    Key("KeyF", "accept", "accept the mark", "decide"),
    Key("KeyG", "accept_rest", "accept all channels not yet reviewed", "decide"),
    Key("KeyD", "none_visible", "no activity visible", "decide"),
    Key("KeyS", "unusable", "signal unusable, then a reason by number", "decide"),
    Key("KeyA", "caution", "signal usable with caution, then a reason by number", "decide"),
    Key("KeyW", "not_locatable", "activity present, onset not locatable", "decide"),
    Key("KeyE", "add", "add a mark at the pointer", "decide"),
    Key("KeyR", "remove", "remove the mark", "decide"),
    Key("Digit1", "confidence", "confidence: sure", "decide", arguments={"confidence": "sure"}),
    Key("Digit2", "confidence", "confidence: fairly", "decide", arguments={"confidence": "fairly"}),
    Key("Digit3", "confidence", "confidence: unsure", "decide", arguments={"confidence": "unsure"}),
    Key("KeyJ", "nudge", "mark 10 ms earlier", "move", repeat=True, arguments={"by_s": -0.01}),
    Key("KeyK", "nudge", "mark 1 ms earlier", "move", repeat=True, arguments={"by_s": -0.001}),
    Key("KeyL", "nudge", "mark 1 ms later", "move", repeat=True, arguments={"by_s": 0.001}),
    Key("Semicolon", "nudge", "mark 10 ms later", "move", repeat=True, arguments={"by_s": 0.01}),
    Key("KeyO", "switch_edge", "switch between onset and offset", "move"),
    Key("KeyT", "discuss", "to discuss, or no longer", "note"),
    Key("KeyC", "comment", "comment", "note"),
    Key("KeyB", "behaviour", "behaviour, then a number", "note"),
    Key("KeyP", "copy_to_all", "copy signal and verdict to all channels", "note"),
    Key("KeyU", "undo", "undo", "undo"),
    Key("KeyU", "redo", "redo", "undo", shift=True),
    Key("KeyX", "gain_up", "larger traces", "view"),
    Key("KeyZ", "gain_down", "smaller traces", "view"),
    Key("KeyV", "time_span", "another time span", "view"),
    Key("KeyY", "seal", "seal a version", "view"),
    Key("Slash", "key_card", "show or hide the keys", "view"),
)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a trial is found: its Trials, its row there, its recording's log, and the samples it spans."""

    trials: Trials
    row: int
    recording: Recording
    cue: int
    first: int
    stop: int

    def seconds(self, sample: int) -> float:
        return (sample - self.cue) / self.trials.rate_hz


def open_review(
    trials: Trials | Sequence[Trials],
    folder: str | Path,
    *,
    reviewer: str,
    order: str = "recorded",
    blind: bool = False,
    method: str = "ramp",
    read_only: bool = False,
    detect: Detect | None = None,
    files: FileSystem | None = None,
) -> "Session":
    """Start a review in ``folder``, or continue the one that is there.

    ``trials`` is one Trials or a list; each recording has its own log. ``order`` is "recorded", "random" (fixed by folder
    and reviewer) or "least certain" (widest interval of an automatic onset first); ``blind`` hides condition and
    participant and shuffles trials across recordings. ``method`` names the onset detector; ``detect`` replaces it, called
    like :func:`emgreview.estimate_onsets`. With ``read_only`` nothing is locked or written.

    Raises ParameterError, LogLockedError (another process writes), LogTooNewError, LogError (a log belongs to another
    recording). A broken log opens the whole review for reading only; ``session.problem`` says why.
    """
    given = (trials,) if isinstance(trials, Trials) else tuple(trials)
    return Session(
        given,
        Path(folder),
        reviewer=check_reviewer(reviewer),
        order=order,
        blind=blind,
        method=method,
        read_only=read_only,
        detect=detect,
        files=files,
    )


class Session:
    """A review in progress; see :func:`open_review`. Use it in a ``with`` block, or close it, to free its logs."""

    def __init__(
        self,
        trials: tuple[Trials, ...],
        folder: Path,
        *,
        reviewer: str,
        order: str,
        blind: bool,
        method: str,
        read_only: bool,
        detect: Detect | None,
        files: FileSystem | None,
    ):
        if order not in ORDERS:
            raise UnknownNameError("order", order, ORDERS)
        if not any(len(part) for part in trials):
            raise ParameterError("no trial came; a review needs at least one; check the cue given to cut_trials.")
        self.trials, self.folder, self.reviewer, self.blind = trials, folder, reviewer, blind
        self.changed: list[Callable[[Ids], object]] = []
        self._files = files or FileSystem()
        self._visible: Mapping[str, Any] = MappingProxyType({})
        self._places = _places(trials)
        self._found = {
            (part, label): _detect(detect, part, index, method)
            for part in trials
            for index, label in enumerate(part.labels)
        }
        self._method = method
        self._logs: dict[str, Log] = {}
        self._counter = 0
        try:
            self._open_logs(read_only, order)
        except BaseException:
            self.close()
            raise
        self._replay = states.Replay(states.in_order(log.events for log in self._logs.values()))
        self._open = {trial: set(place.trials.labels) for trial, place in self._places.items()}
        for trial, label in {(key[1], key[2]) for key in self._replay.values if key[1] in self._open and key[2]}:
            self._count(str(trial), str(label))
        self.queue = self._make_queue(order)
        self._rank = {trial: number for number, trial in enumerate(self.queue)}
        self.where = self._resume()

    # Opening and closing -----------------------------------------------------------------------------------------

    def _open_logs(self, read_only: bool, order: str) -> None:
        recordings = {place.recording.name: place.recording for place in self._places.values()}
        for name, recording in recordings.items():
            path = log_path(self.folder, name, self.reviewer, recording.entities.get("sub"))
            log = self._logs[name] = Log(path, files=self._files, read_only=read_only)
            if log.header and log.header["fingerprint"]["samples"] != recording.fingerprint.samples:
                raise LogError(
                    f"{path.name} belongs to another recording: its samples have digest "
                    f"{log.header['fingerprint']['samples'][:12]}…, those of {name!r} have "
                    f"{recording.fingerprint.samples[:12]}…; give the recording that was reviewed, or another folder."
                )
        self._counter = max((log.events[-1].counter for log in self._logs.values() if log.events), default=0)
        headers = [log.header for log in self._logs.values() if log.header]
        own = hashlib.sha256(f"{self.folder.name}/{self.reviewer}".encode()).hexdigest()[:16]
        self._seed: str = next((header["seed"] for header in headers if "seed" in header), own)
        if self.problem is None:
            for name, log in self._logs.items():
                self._begin(log, recordings[name], order)

    def _begin(self, log: Log, recording: Recording, order: str) -> None:
        """Write a new log's first line, or the change of method or packages since the last one."""
        method, packages = self._method_of(recording.name), _packages()
        if log.header is None:
            fingerprint = dataclasses.asdict(recording.fingerprint)
            first = {
                "schema": SCHEMA,
                "fingerprint": fingerprint,
                "labels": list(recording.labels),
                "rate_hz": recording.rate_hz,
                "packages": packages,
                "order": order,
                "seed": self._seed,
                **method,
            }
            self._append(log, "open log", _subject(recording), "log", None, first)
            return
        before = _method_in_force(log)
        if any(before[part]["hash"] != method[part]["hash"] for part in method):
            self._append(log, "change method", _subject(recording), "method", before, method)
        last = next(event.new["packages"] for event in reversed(log.events) if event.field == "log")
        if last != packages:
            self._append(log, "continue log", _subject(recording), "log", {"packages": last}, {"packages": packages})

    def _method_of(self, recording: str) -> dict[str, dict[str, Any]]:
        part = next(part for part in self.trials if part.recording.name == recording and len(part))
        found = self._found[part, part.labels[0]]
        detection = {"method": found.method, "parameters": _plain(found.parameters)}
        return {
            "processing": {"parameters": _plain(dataclasses.asdict(part.processing)), "hash": part.processing.hash},
            "detection": {**detection, "hash": digest_of(detection)},
        }

    def close(self) -> None:
        """Free the logs. Decisions are on disk already; none can be taken afterwards."""
        for log in self._logs.values():
            log.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> Literal[False]:
        self.close()
        return False

    # What stands -------------------------------------------------------------------------------------------------

    @property
    def problem(self) -> str | None:
        """Why no decision can be taken, in a sentence, or None."""
        return next((log.problem for log in self._logs.values() if log.problem), None)

    @property
    def read_only(self) -> bool:
        return self.problem is not None

    @property
    def notices(self) -> tuple[str, ...]:
        """Sentences the reviewer should see: what opening had to set aside."""
        return tuple(log.notice for log in self._logs.values() if log.notice)

    def state(self, trial: str) -> TrialState:
        """The state of one trial, frozen."""
        place = self._place(trial)
        name = place.recording.name
        channels = {
            label: states.channel_state(
                label,
                self._value(trial, label, "signal"),
                self._activity(trial, label),
                self._value(trial, label, "comment"),
                self._value(trial, label, "discuss"),
                place.cue,
                place.trials.rate_hz,
            )
            for label in place.trials.labels
        }
        return TrialState(
            trial,
            name,
            self._value(trial, None, "behaviour"),
            self._value(trial, None, "comment"),
            self._value(trial, None, "discuss"),
            place.cue,
            self._value(trial, None, "cue"),
            place.trials.rate_hz,
            MappingProxyType(channels),
        )

    def automatic(self, trial: str, channel: str) -> Automatic:
        """What the method says of one channel of one trial."""
        place = self._place(trial, channel)
        found, row = self._found[place.trials, channel], place.row
        before = (place.cue - place.first) / place.trials.rate_hz
        low, high, offset = found.low_s[row] - before, found.high_s[row] - before, found.offset_s[row] - before
        return Automatic(
            float(found.onset_s[row] - before),
            float(low),
            float(high),
            float(offset),
            float(found.level_db[row]),
            float(found.present[row]),
            str(found.baseline_note[row]),
        )

    @property
    def progress(self) -> tuple[int, int, int, int]:
        """Channel-trials reviewed, channel-trials, trials reviewed, trials."""
        total = sum(len(place.trials.labels) for place in self._places.values())
        left = sum(map(len, self._open.values()))
        return total - left, total, sum(not labels for labels in self._open.values()), len(self._open)

    def next_unreviewed(self, after: str | None = None) -> str | None:
        """The next trial in the queue with a channel not yet reviewed, starting after one and going round; or None."""
        if after is not None:
            self._place(after)
        start = 0 if after is None else self._rank[after] + 1
        return next((trial for trial in self.queue[start:] + self.queue[:start] if self._open[trial]), None)

    def go_to(self, trial: str) -> str:
        """Make a trial the present one. Not an event: a review resumes where decisions were taken."""
        self._place(trial)
        self.where = trial
        return trial

    @property
    def relook(self) -> Ids:
        """Trials with a mark that was reviewed under another method or processing than the present one."""
        return tuple(
            trial
            for trial in self.queue
            if any(self._stale(trial, label) for label in self._place(trial).trials.labels)
        )

    def showing(self, **visible: Any) -> None:
        """Say what is on screen; it is recorded with the decisions that follow. Values must be plain JSON."""
        digest_of(visible)
        self._visible = visible

    # Commands ----------------------------------------------------------------------------------------------------

    def apply(self, command: str, trial: str | None = None, channel: str | None = None, **arguments: Any) -> Ids:
        """Any command by its name, for front ends: the ids of the trials it changed."""
        if command not in COMMANDS:
            raise UnknownNameError("command", command, COMMANDS)
        if trial is not None:
            arguments["recording" if command == "set_aside" else "trial"] = trial
        if channel is not None and command not in _WITHOUT_CHANNEL:
            arguments["channel"] = channel
        ids: Ids = getattr(self, command)(**arguments)
        return ids

    def accept(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Accept a burst where it stands; where nothing was detected, record "none visible"."""
        return self._act("accept", trial, channel, lambda now: states.accept(now, burst), burst)

    def accept_rest(self, trial: str) -> Ids:
        """Accept every channel of a trial that is not yet reviewed, in one step that one undo takes back."""
        new = {label: {"activity": states.accept(self._activity(trial, label))} for label in self._unreviewed(trial)}
        return self._many("accept rest", trial, new)

    def move(
        self,
        trial: str,
        channel: str,
        *,
        onset_s: float | None = None,
        offset_s: float | None = None,
        burst: str | None = None,
    ) -> Ids:
        """Move a burst's onset, offset or both. It is then confirmed by accept, like an untouched one."""
        if onset_s is None and offset_s is None:
            raise DecisionError("move came without onset_s and offset_s; give one of them, in seconds from the cue.")
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        return self._act("move", trial, channel, lambda now: states.move(now, burst, onset, offset), burst)

    def add(
        self, trial: str, channel: str, *, onset_s: float, offset_s: float | None = None, kind: str = "response"
    ) -> Ids:
        """Mark a burst that the method missed. Its id is "added-" and the number of the command."""
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        if onset is None:
            raise DecisionError("add came without onset_s; give it in seconds from the cue.")
        check_choice("kind", kind, KINDS)
        name = f"added-{self._counter + 1}"
        return self._act("add", trial, channel, lambda now: states.add(now, name, onset, offset, kind), name)

    def remove(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Take a burst away; the automatic value stays on record."""
        return self._act("remove", trial, channel, lambda now: states.remove(now, burst), burst)

    def none_visible(self, trial: str, channel: str) -> Ids:
        """No activity can be seen."""
        return self._act("none visible", trial, channel, states.none_visible)

    def not_locatable(self, trial: str, channel: str, *, earliest_s: float, latest_s: float) -> Ids:
        """There is activity, but its onset can only be said to lie between two moments."""
        earliest, latest = self._sample(trial, "earliest_s", earliest_s), self._sample(trial, "latest_s", latest_s)
        if earliest is None or latest is None:
            raise DecisionError("not_locatable needs earliest_s and latest_s, in seconds from the cue; give both.")
        return self._act("not locatable", trial, channel, lambda now: states.not_locatable(now, earliest, latest))

    def kind(self, trial: str, channel: str, kind: str, burst: str | None = None) -> Ids:
        """Say what a burst is: a word of KINDS."""
        check_choice("kind", kind, KINDS)
        return self._act("kind", trial, channel, lambda now: states.set_of_burst(now, burst, "kind", kind), burst)

    def confidence(self, trial: str, channel: str, confidence: str | None, burst: str | None = None) -> Ids:
        """How sure the reviewer is of a burst, or of a verdict without bursts: a word of CONFIDENCES, None to clear."""
        if confidence is not None:
            check_choice("confidence", confidence, CONFIDENCES)
        return self._act(
            "confidence", trial, channel, lambda now: states.set_of_burst(now, burst, "confidence", confidence), burst
        )

    def unusable(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal cannot be used, for reasons of REASONS, the main one first. Marks stay."""
        return self._signal("unusable", trial, channel, check_reasons(reasons, REASONS))

    def caution(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal can be used with caution, for reasons of CAUTIONS, the main one first."""
        return self._signal("caution", trial, channel, check_reasons(reasons, CAUTIONS, "caution"))

    def usable(self, trial: str, channel: str) -> Ids:
        """The signal can be used after all."""
        return self._signal("usable", trial, channel, [])

    def copy_to_all(self, trial: str, channel: str) -> Ids:
        """Give every channel of the trial this one's signal state, and its verdict if that is "none visible" or "not
        locatable", in one step. Marks are never copied nor erased: each muscle keeps its own."""
        signal, activity = self._value(trial, channel, "signal"), self._activity(trial, channel)
        new: dict[str, dict[str, Any]] = {}
        for label in self._place(trial, channel).trials.labels:
            new[label] = {"signal": signal}
            if activity["found"] in ("none visible", "not locatable"):
                new[label]["activity"] = {**activity, "bursts": self._activity(trial, label)["bursts"]}
        return self._many("copy to all", trial, new)

    def comment(self, trial: str, text: str | None, channel: str | None = None) -> Ids:
        """A comment on a trial or one channel of it, one line of any text; empty or None removes it."""
        new = check_text(text) if text else None
        return self._record("comment", trial, channel, "comment", self._value(trial, channel, "comment"), new)

    def discuss(self, trial: str, channel: str | None = None, on: bool | None = None) -> Ids:
        """Put a trial, or one channel of it, on the list to discuss, or take it off; None turns it over."""
        old = self._value(trial, channel, "discuss")
        return self._record("discuss", trial, channel, "discuss", old, (not old) if on is None else bool(on))

    def behaviour(self, trial: str, behaviour: str | None) -> Ids:
        """What the participant did: a word of BEHAVIOURS, None to clear."""
        if behaviour is not None:
            check_choice("behaviour", behaviour, BEHAVIOURS)
        return self._record("behaviour", trial, None, "behaviour", self._value(trial, None, "behaviour"), behaviour)

    def correct_cue(self, trial: str, time_s: float | None, reason: str | None = None) -> Ids:
        """Say where the cue really lies, in seconds from the recorded one; None goes back to that. The recorded marker
        stays, and so do all other times of the session; the table of decisions counts from the corrected cue."""
        new, old = self._sample(trial, "time_s", time_s), self._value(trial, None, "cue")
        return self._record("correct cue", trial, None, "cue", old, new, reason=reason and check_text(reason))

    def set_aside(
        self, recording: str, channel: str, start_s: float, stop_s: float, reasons: Sequence[str] = ()
    ) -> Ids:
        """Set a stretch of one channel aside, in seconds from the first sample of the recording."""
        names = {place.recording.name: place for place in self._places.values()}
        if recording not in names:
            raise UnknownNameError("recording", recording, names)
        source = names[recording].recording
        source.channel(channel)
        if not 0 <= start_s < stop_s <= source.duration_s:
            raise DecisionError(
                f"the stretch {start_s} to {stop_s} s does not lie in recording {recording!r} (0 to {source.duration_s:g} "
                "s, start before stop); correct it."
            )
        start, stop = to_sample(start_s, source.rate_hz), to_sample(stop_s, source.rate_hz)
        new = {"start": start, "stop": stop, "reasons": check_reasons(reasons, REASONS)}
        subject = _subject(source, None, channel, f"aside-{self._counter + 1}")
        self._append(self._logs[recording], "set aside", subject, "set aside", None, new)
        return self._tell(
            tuple(
                trial
                for trial in self.queue
                if (place := self._places[trial]).recording is source and place.first < stop and start < place.stop
            )
        )

    @property
    def aside(self) -> tuple[tuple[str, str, int, int, tuple[str, ...]], ...]:
        """Stretches set aside: recording, channel, start and stop samples, reasons."""
        return tuple(
            (str(key[0]), str(key[2]), value["start"], value["stop"], tuple(value["reasons"]))
            for key, value in self._replay.values.items()
            if key[3] == "set aside" and value is not None
        )

    def undo(self) -> Ids:
        """Take the last command back, whichever recording it was on, without limit; () if there is none."""
        return self._again("undo", self._replay.done)

    def redo(self) -> Ids:
        """Do the last undone command again; () if there is none. A new decision empties this list."""
        return self._again("redo", self._replay.undone)

    # Results -----------------------------------------------------------------------------------------------------

    def decisions(self) -> tables.Table:
        """Every decision as a tidy table, one row a burst or channel-trial; see :mod:`emgreview.tables`."""
        return tables.decisions_table(
            [self.state(trial) for trial in self._places],
            reviewer=self.reviewer,
            cues={trial: place.trials.cues[place.row] for trial, place in self._places.items()},
            participants={place.recording.name: place.recording.entities.get("sub") for place in self._places.values()},
            aside=self.aside,
            blind=self.blind,
        )

    @property
    def next_version(self) -> str:
        """A name for the next sealed version: the first of "v1", "v2" … that is free."""
        number = 1
        while (self.folder / "versions" / f"v{number}").exists():
            number += 1
        return f"v{number}"

    def seal(self, name: str) -> Sealed:
        """Write the decisions as they stand as a named version that never changes."""
        if self.problem:
            raise LogReadOnlyError(f"{self.problem}; nothing was sealed.")
        table = self.decisions()
        description = {
            "reviewer": self.reviewer,
            "blind": self.blind,
            "columns": tables.describe(table),
            "recordings": {
                recording: {"rate_hz": log.header["rate_hz"], **_method_in_force(log)}
                for recording, log in self._logs.items()
                if log.header
            },
            "packages": _packages(),
        }
        sealed = seal_version(self.folder, name, tables.to_tsv(table), description, self._files)
        for log in self._logs.values():
            subject = {**log.events[0].subject}
            self._append(
                log, "seal", subject, "log", None, {"version": name, "sha256": sealed.sha256, "packages": _packages()}
            )
        return sealed

    # Inside ------------------------------------------------------------------------------------------------------

    def _place(self, trial: str, channel: str | None = None) -> _Place:
        try:
            place = self._places[trial]
        except (KeyError, TypeError):
            raise UnknownNameError("trial", trial, self._places) from None
        if channel is not None and channel not in place.trials.labels:
            raise UnknownNameError("channel", channel, place.trials.labels)
        return place

    def _sample(self, trial: str, what: str, seconds: float | None) -> int | None:
        """The recording's sample of a time in seconds from the recorded cue."""
        if seconds is None:
            return None
        place = self._place(trial)
        rate = place.trials.rate_hz
        first, stop = max(place.first, 0), min(place.stop, place.recording.n_samples)
        if isinstance(seconds, (int, float, np.integer, np.floating)) and math.isfinite(seconds):
            sample = place.cue + to_sample(float(seconds), rate)
            if first <= sample < stop:
                return sample
        raise DecisionError(
            f"{what} came as {seconds!r}; allowed is {place.seconds(first):g} to {place.seconds(stop - 1):g} s from the cue, "
            "the stretch of the trial; correct it, or cut longer trials."
        )

    def _key(self, trial: str, channel: str | None, field: str) -> StateKey:
        return (self._place(trial, channel).recording.name, trial, channel, field, None)

    def _value(self, trial: str, channel: str | None, field: str) -> Any:
        return self._replay.values.get(self._key(trial, channel, field), states.DEFAULTS[field])

    def _activity(self, trial: str, channel: str) -> Activity:
        """The activity as decided or, where nobody has decided, as the present method proposes it."""
        place = self._place(trial, channel)
        value = self._replay.values.get((place.recording.name, trial, channel, "activity", None))
        return states.proposal(self._proposed(place, channel)) if value is None or states.untouched(value) else value

    def _proposed(self, place: _Place, channel: str) -> dict[str, int | None] | None:
        found, row, rate = self._found[place.trials, channel], place.row, place.trials.rate_hz
        if not found.present[row] >= 0.5 and not np.isfinite(found.onset_s[row]):
            return None
        if not np.isfinite(found.onset_s[row]):
            return None
        values = {"onset": found.onset_s, "offset": found.offset_s, "low": found.low_s, "high": found.high_s}
        return {
            name: place.first + to_sample(float(array[row]), rate) if np.isfinite(array[row]) else None
            for name, array in values.items()
        }

    def _act(
        self, operation: str, trial: str, channel: str, step: Callable[[Activity], Activity], burst: str | None = None
    ) -> Ids:
        old = self._activity(trial, channel)
        new = step(old)
        if burst is None and new["found"] == "bursts":
            burst = states.find_burst(new, None)
        return self._record(operation, trial, channel, "activity", old, new, burst=burst)

    def _signal(self, operation: str, trial: str, channel: str, reasons: list[str]) -> Ids:
        new = {"reasons": reasons, "state": operation}
        old = self._value(trial, channel, "signal")
        return self._record(operation, trial, channel, "signal", old, new, reason="; ".join(reasons) or None)

    def _many(self, operation: str, trial: str, new: dict[str, dict[str, Any]]) -> Ids:
        """Several fields of several channels in one event; what would not change is left out."""
        old = {
            label: {
                name: self._activity(trial, label) if name == "activity" else self._value(trial, label, name)
                for name in parts
            }
            for label, parts in new.items()
        }
        changed = {
            label: {name: part for name, part in parts.items() if part != old[label][name]}
            for label, parts in new.items()
        }
        changed = {label: parts for label, parts in changed.items() if parts}
        kept = {label: {name: old[label][name] for name in parts} for label, parts in changed.items()}
        return self._record(operation, trial, None, "channels", kept, changed)

    def _record(
        self,
        operation: str,
        trial: str,
        channel: str | None,
        field: str,
        old: Any,
        new: Any,
        *,
        burst: str | None = None,
        reason: str | None = None,
    ) -> Ids:
        place = self._place(trial, channel)
        if old == new and not (field == "activity" and channel and self._stale(trial, channel)):
            return ()
        subject = _subject(place.recording, trial, channel, burst)
        self._append(self._logs[place.recording.name], operation, subject, field, old, new, reason=reason)
        self.where = trial
        return self._tell((trial,))

    def _again(self, operation: str, stack: list[Event]) -> Ids:
        if not stack:
            return ()
        event = stack[-1]
        old, new = (event.new, event.old) if operation == "undo" else (event.old, event.new)
        trial, log = event.subject["trial"], self._logs[str(event.subject["recording"])]
        self._append(log, operation, event.subject, event.field, old, new, target=event.counter)
        if trial in self._places:
            self.where = trial
        return self._tell((trial,) if trial in self._places else ())

    def _append(
        self,
        log: Log,
        operation: str,
        subject: Mapping[str, str | None],
        field: str,
        old: Any,
        new: Any,
        *,
        reason: str | None = None,
        target: int | None = None,
    ) -> None:
        self._counter += 1
        fields = {
            "counter": self._counter,
            "reviewer": self.reviewer,
            "operation": operation,
            "subject": dict(subject),
            "showing": 1,
            "field": field,
            "old": old,
            "new": new,
            "reason": reason,
            "visible": dict(self._visible),
            "blind": self.blind,
        }
        event = log.append(fields if target is None else {**fields, "target": target})
        if hasattr(self, "_replay"):
            self._replay.apply(event)
            for key, _ in states.keyed(event, new) if field not in ("log", "method") else ():
                if key[1] in self._open and key[2]:
                    self._count(str(key[1]), key[2])

    def _tell(self, ids: Ids) -> Ids:
        for observer in tuple(self.changed):
            observer(ids)
        return ids

    def _count(self, trial: str, label: str) -> None:
        if label not in self._places[trial].trials.labels:
            return
        done = states.reviewed(self._activity(trial, label), self._value(trial, label, "signal"))
        (self._open[trial].discard if done else self._open[trial].add)(label)

    def _unreviewed(self, trial: str) -> list[str]:
        return [label for label in self._place(trial).trials.labels if label in self._open[trial]]

    def _stale(self, trial: str, channel: str) -> bool:
        """Whether the activity was decided before the last change of method."""
        key = self._key(trial, channel, "activity")
        decided = self._replay.times.get(key)
        if decided is None or states.untouched(self._replay.values[key]):
            return False
        return decided[1] < max(
            (event.counter for event in self._logs[key[0]].events if event.field == "method"), default=0
        )

    def _make_queue(self, order: str) -> Ids:
        ids = tuple(self._places)
        if order == "least certain":
            width = {trial: self._width(trial) for trial in ids}
            return tuple(sorted(ids, key=lambda trial: -width[trial]))
        if order == "random" or self.blind:
            return tuple(sorted(ids, key=lambda trial: hashlib.sha256(f"{self._seed}/{trial}".encode()).digest()))
        return ids

    def _width(self, trial: str) -> float:
        place = self._places[trial]
        widths = [self._found[place.trials, label] for label in place.trials.labels]
        return max(
            (float(found.high_s[place.row] - found.low_s[place.row]) for found in widths), key=_finite, default=0.0
        )

    def _resume(self) -> str:
        last = self._replay.last.subject["trial"] if self._replay.last else None
        if last not in self._places:
            return self.next_unreviewed() or self.queue[0]
        return str(last) if self._open[str(last)] else self.next_unreviewed(str(last)) or str(last)


_WITHOUT_CHANNEL = ("accept_rest", "behaviour", "correct_cue", "undo", "redo")
COMMANDS: tuple[str, ...] = (
    "accept",
    "accept_rest",
    "move",
    "add",
    "remove",
    "none_visible",
    "not_locatable",
    "kind",
    "confidence",
    "unusable",
    "caution",
    "usable",
    "copy_to_all",
    "comment",
    "discuss",
    "behaviour",
    "correct_cue",
    "set_aside",
    "undo",
    "redo",
)
"""The commands that :meth:`Session.apply` knows."""


def _finite(width: float) -> float:
    return width if math.isfinite(width) else -1.0


def _places(trials: tuple[Trials, ...]) -> dict[str, _Place]:
    places: dict[str, _Place] = {}
    recordings: dict[str, Recording] = {}
    for part in trials:
        known = recordings.setdefault(part.recording.name, part.recording)
        if known is not part.recording and known.fingerprint.samples != part.recording.fingerprint.samples:
            raise ParameterError(
                f"two different recordings are called {known.name!r}; names must differ, because each has its own log; "
                "rename one of them."
            )
        for row, (trial, cue) in enumerate(zip(part.ids, part.cues, strict=True)):
            if trial in places:
                raise ParameterError(f"trial {trial!r} came twice; give each trial once.")
            first = cue.sample - part.before
            places[trial] = _Place(part, row, known, cue.sample, first, first + len(part.time_s))
    return places


def _detect(detect: Detect | None, part: Trials, index: int, method: str) -> Onsets:
    if detect is None:
        from emgreview.signal.onset import estimate_onsets as detect
    return detect(
        part.data[:, index, :],
        part.rate_hz,
        cue_s=part.before / part.rate_hz,
        rest_s=part.processing.rest_s,
        search_s=(0.0, None),
        method=method,
    )


def _method_in_force(log: Log) -> dict[str, Any]:
    event = next((event for event in reversed(log.events) if event.field == "method"), log.events[0])
    return {part: event.new[part] for part in ("processing", "detection")}


def _subject(
    recording: Recording, trial: str | None = None, channel: str | None = None, burst: str | None = None
) -> dict[str, str | None]:
    return {
        "dataset": recording.entities.get("dataset"),
        "participant": recording.entities.get("sub"),
        "recording": recording.name,
        "trial": trial,
        "channel": channel,
        "burst": burst,
    }


def _packages() -> dict[str, str]:
    names = ("emgreview", "numpy", "scipy", "pandas")
    found = {}
    for name in names:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return {**found, "python": platform.python_version()}


def _plain(value: Any) -> Any:
    """Parameters as plain JSON values; what is not finite becomes null."""
    if isinstance(value, Mapping):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(part) for part in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)
