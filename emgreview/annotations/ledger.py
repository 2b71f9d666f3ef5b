"""The one fold of logs: events in, and what they add up to out.

A session, a point of the logs, a comparison of reviewers and a replay are views of a :class:`Ledger`: none of them
reads an event by itself. Values are the frozen ones of ``fields``, by :class:`Key`; each keeps by which command it was
set, when, and what was visible. Logs of one reviewer may be applied one after the other, in any order: values of one
recording never touch those of another, and :meth:`Ledger.settle` puts the commands of all into order, whichever log is
read when. Only what is said of a participant is one for all logs: there the word with the highest counter holds,
whichever log it stands in.

    Key             what a value is of: recording, trial, channel, field, id
    Entry           a value, and how it came to be
    Step            one command as undo sees it
    Said            what a log says of its recording
    Ledger          all of it: entries, notes, commands to undo, what was accepted in bulk
    carried         the notes of another log that an event keeps
    keyed           the keys that an event sets, and to what
    read_ledger     what logs of one reviewer add up to, now or at an earlier moment
    read_until      one log up to the head that a version names
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from operator import attrgetter
from pathlib import Path
from typing import Any, NamedTuple

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import ZEROS, Event
from emgreview.annotations.fields import DEFAULTS, EXCLUDED, IN_RECORDING, OF_PARTICIPANT, read
from emgreview.annotations.fields.activity import Activity, untouched
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.taken_back import Plain, Step, Ways, carry
from emgreview.errors import LogBrokenError, LogError

Value = Any

RARE = frozenset((*IN_RECORDING, *EXCLUDED, "no cue"))
"""Fields that few events set, and that are asked for all together."""

_SEVERAL = frozenset(("channels", *RARE))

NOT_DECISIONS = frozenset(("log", "method", "blind"))
"""Fields of events that say something of the log, not of a trial, and that undo passes over."""

IN_BULK = "accept in bulk"
"""The operation that accepts a mark which nobody looked at."""

CARRY_OVER = "carry over"
"""The operation that keeps what another log said of the review, when that log was withdrawn."""

ACCEPTANCE = "bulk acceptance"
"""The operation that says, before any of it, what an audit accepts in bulk, and what that is worth."""


class Key(NamedTuple):
    """What a value is of. ``id``: that of what stands in a recording, not in a trial; or the participant."""

    recording: str | None
    trial: str | None
    channel: str | None
    field: str
    id: str | None = None


class Entry(NamedTuple):
    """The present value of a key, ``stored`` as it stands in the log, by what operation it was said ("" where all that
    was said was taken back), and by what command, when, and while seeing what it was set."""

    value: Value
    stored: Any
    operation: str
    time: str
    counter: int
    visible: Mapping[str, Any]


@dataclass
class Said:
    """What a log says of its recording: ``facts``, its first line with what later ones change of it, and the
    participant; whether the last line was ``blind``; ``method``, the event with processing and detection in force;
    ``since``, the counter of the last change of method or package versions, 0 if there was none; ``scale_since``, when
    its scale was first stated, or ""."""

    facts: dict[str, Any]
    blind: bool = False
    method: Event | None = None
    since: int = 0
    scale_since: str = ""

    def take(self, event: Event) -> None:
        """Take an event of fields "log" and "method"."""
        self.facts.update(event.new)
        if "processing" in event.new:
            self.method = event
        if event.seq and ("processing" in event.new or "packages" in event.new):
            self.since = event.counter
        if "scales" in event.new:
            self.scale_since = self.scale_since or event.time


@dataclass(eq=False)
class Ledger:
    """What the logs of one reviewer add up to.

    Showings (1, and 2 … for trials silently shown again) never touch each other. ``bulk`` is what was accepted in bulk,
    see :meth:`in_bulk`. ``said`` is what each log says of its recording, ``notes`` the events about the review itself,
    in order, ``heads`` lines and SHA-256 of each file that was read by :func:`read_ledger`. ``unblinded`` says when the
    reviewer was shown everything, or is "".
    """

    bulk: dict[Key, Value] = field(default_factory=dict)
    said: dict[str, Said] = field(default_factory=dict)
    notes: list[Event] = field(default_factory=list)
    heads: dict[str, dict[str, Any]] = field(default_factory=dict)
    unblinded: str = ""
    _steps: list[Plain] = field(default_factory=list)
    _settled: int = 0
    _done: list[Plain] = field(default_factory=list)
    _undone: list[Plain] = field(default_factory=list)
    _last: Plain | None = None
    _rare: set[Plain] = field(default_factory=set)
    _ways: Ways = field(default_factory=Ways)

    def __post_init__(self) -> None:
        self._first: dict[Plain, Any] = {}  # (value, event) until somebody asks, then an Entry: a long log sets a key
        self._shown: dict[int, dict[Plain, Any]] = {1: self._first}  # many times, and only the last one counts

    def apply(self, event: Event) -> None:
        """Take an event, in the order of its log; :meth:`settle` after the last one."""
        subject, name = event.subject, event.field
        recording, trial = subject["recording"], subject["trial"]
        said = self.said.get(recording)  # type: ignore[arg-type]
        if said is None:
            said = self.said[str(recording)] = Said({"participant": subject["participant"]})
        said.blind = event.blind
        if name in NOT_DECISIONS:
            self._take_of_review(said, event)
            return
        step = event.counter, event.time, recording, event.seq, event.operation, trial, event.target, event.showing
        if name in _SEVERAL or event.showing != 1 or self.bulk or event.operation == IN_BULK:
            self._take(event, step)
        else:
            key = recording, trial, subject["channel"], name, None
            self._first[key] = event.new, event
            self._ways.take(key, step)
        self._steps.append(step)

    def apply_of_participant(self, event: Event) -> None:
        """Take what an event says of a participant, unless a later one was read from another log; pass over others."""
        if event.field == OF_PARTICIPANT:
            ((key, value),) = keyed(event, event.new)
            if self.counter(key) < event.counter:
                self._first[key] = value, event
                self._rare.add(key)

    def _take(self, event: Event, step: Plain) -> None:
        """Take a decision that is not one value of a first showing."""
        if event.field == OF_PARTICIPANT:
            self.apply_of_participant(event)
            return
        entries = self._shown.setdefault(event.showing, {})
        for key, value in keyed(event, event.new):
            entries[key] = value, event
            self._ways.take(key, step)
            if event.field in RARE and event.showing == 1:
                self._rare.add(key)
        if event.showing == 1 and (self.bulk or event.operation == IN_BULK):
            self._keep_bulk(event)

    def _take_of_review(self, said: Said, event: Event) -> None:
        """Take what a log says of itself."""
        if event.field == "blind":
            self.unblinded = event.time
            return
        if event.operation == CARRY_OVER:
            self.notes += carried(event)
            return
        if event.field == "log":
            self.notes.append(event)
        said.take(event)

    def settle(self) -> None:
        """Put notes and the commands applied since the last call into order, and find what can be undone."""
        self.notes.sort(key=attrgetter("counter"))
        if any(one.counter == two.counter for one, two in pairwise(self.notes)):  # carried over, and the log is there
            self.notes = list({(note.counter, note.operation): note for note in self.notes}.values())
        new = sorted(self._steps[self._settled :])
        if new and self._settled and new[0] < self._steps[self._settled - 1]:  # of a log that was opened later
            new = sorted(self._steps)
            self._done, self._undone, self._last, self._settled = [], [], None, 0
        self._steps[self._settled :] = new
        self._settled = len(self._steps)
        for step in new:
            _, _, _, _, operation, trial, target, _ = step
            if trial:
                self._last = step
            if target is None:
                self._done.append(step)
                if self._undone:
                    self._undone.clear()
            elif operation == "undo":
                carry(step, self._done, self._undone)
            else:
                carry(step, self._undone, self._done)

    @property
    def to_undo(self) -> Step | None:
        """The command that undo would take back next."""
        return Step._make(self._done[-1]) if self._done else None

    @property
    def to_redo(self) -> Step | None:
        """The command that redo would do again next."""
        return Step._make(self._undone[-1]) if self._undone else None

    @property
    def last(self) -> Step | None:
        """The last command on a trial."""
        return None if self._last is None else Step._make(self._last)

    def entry(self, key: Plain, showing: int = 1) -> Entry | None:
        """What is known of a key, or None where nothing was said."""
        entries = self._first if showing == 1 else self._shown.get(showing, {})
        found = entries.get(key)
        if found is None or isinstance(found, Entry):
            return found
        stored, event = found
        value = read(key[3], stored)
        said = self._ways.operation(key, event)
        made = entries[key] = Entry(value, stored, said, event.time, event.counter, event.visible)
        return made

    def value(self, key: Plain, showing: int = 1) -> Value:
        """The value of a key, None where nothing was said."""
        found = self.entry(key, showing)
        return None if found is None else found.value

    def counter(self, key: Plain) -> int:
        """The counter of the command that set a key of the first showing, 0 where none did."""
        found = self.entry(key)
        return 0 if found is None else found.counter

    def decided(self, showing: int = 1) -> list[Key]:
        """Every key that something was said of, in the order in which it first was."""
        return [Key._make(key) for key in self._shown.get(showing, {})]

    @property
    def showings(self) -> list[int]:
        """The numbers of the showings that something was decided in."""
        return [showing for showing, entries in self._shown.items() if entries]

    @property
    def values(self) -> dict[Key, Value]:
        """Every value of the first showing, by key."""
        return {key: self.value(key) for key in self.decided()}

    @property
    def decides(self) -> bool:
        """Whether any decision of a first showing stands: what was taken back is as if nobody had decided."""
        said = ((key, value) for key, value in self.values.items() if value not in (None, DEFAULTS.get(key.field)))
        return any(not isinstance(value, Activity) or not untouched(value) for _, value in said)

    @property
    def rare(self) -> dict[Key, Value]:
        """Those of them that stand in recordings or keep something out."""
        return {Key._make(key): self.value(key) for key in self._first if key in self._rare}

    def in_bulk(self, key: tuple[Any, ...]) -> bool:
        """Whether the value of a key was accepted in bulk, and nobody has looked at it since."""
        kept, found = self.bulk.get(Key._make(key)), self.entry(key)
        return kept is not None and found is not None and kept == found.stored

    def was_accepted_in_bulk(self, key: Key, value: Value) -> bool:
        """Whether a value is the one that was accepted in bulk."""
        kept = self.bulk.get(key)
        return kept is not None and read(key.field, kept) == value

    def note(self, operation: str) -> Event | None:
        """The last event about the review with this operation."""
        return next((event for event in reversed(self.notes) if event.operation == operation), None)

    def _keep_bulk(self, event: Event) -> None:
        """Keep what was accepted in bulk, until a person sets the very same."""
        for key, value in keyed(event, event.new):
            if event.operation == IN_BULK:
                self.bulk[key] = value
            elif event.target is None and self.bulk.get(key) == value:
                self.bulk.pop(key, None)


def keyed(event: Event, value: Value) -> list[tuple[Key, Value]]:
    """The keys an event sets, each with its part of ``value`` (the event's old or new)."""
    subject, name = event.subject, event.field
    recording, trial = subject["recording"], subject["trial"]
    if name == "channels":
        return [
            (Key(recording, trial, channel, part), value[channel][part]) for channel in value for part in value[channel]
        ]
    if name == OF_PARTICIPANT:
        return [(Key(None, None, None, name, subject["participant"]), value)]
    own = subject["burst"] if name in IN_RECORDING else None
    return [(Key(recording, trial, subject["channel"], name, own), value)]


def carried(event: Event) -> list[Event]:
    """What a line carries over of another log; what is not as such a line is is passed over."""
    found = []
    for note in event.new["notes"] if event.operation == CARRY_OVER else ():
        said = {name: note[name] for name in ("operation", "counter", "time", "reason", "new")}
        one = event._replace(**said)
        line = one._asdict() | {"prev": ZEROS, "self": ZEROS, "seq": 1}
        del line["digest"], line["target"]
        if one.operation != CARRY_OVER and not misfit(line):
            found.append(one)
    return found


# From files ------------------------------------------------------------------------------------------------------


def read_ledger(
    paths: Mapping[str, Path],
    *,
    heads: Mapping[str, Mapping[str, Any]] | None = None,
    until: int | None = None,
) -> Ledger:
    """What some logs of one reviewer add up to; ``paths`` by their names in the folder. ``heads``: up to these, that a
    version or a third log names; ``until``: up to a command. An unfinished last line is passed over: it never counted.

    Raises LogBrokenError where a log is broken, LogError where it cannot be read or does not hold the head that is
    named, LogTooNewError.
    """
    ledger = Ledger()
    for where, path in paths.items():
        if heads is not None:
            if not heads[where]["lines"]:  # of an empty log: it holds nothing
                continue
            read_until(path, heads[where], ledger.apply)
            ledger.heads[where] = dict(heads[where])
            continue
        taken = 0

        def take(event: Event) -> None:
            nonlocal taken
            if until is None or event.counter <= until:
                ledger.apply(event)
                taken += 1

        try:
            content = read_log(path, take)
        except OSError as why:
            raise LogError(
                f"{path.name} cannot be read ({why.strerror or why}); check the file's permissions."
            ) from why
        if content.problem:
            raise LogBrokenError(content.problem)
        if not taken:  # nothing rests on an empty log
            continue
        ledger.heads[where] = {"lines": taken, "sha256": content.head if taken == len(content.lines) else ""}
    ledger.settle()
    return ledger


def read_until(path: Path, head: Mapping[str, Any], take: Callable[[Event], object]) -> bytes:
    """Hand over the events up to the head that a version names, and return their bytes. Raises LogError unless the log
    holds just that head."""
    found: list[Event] = []
    content = read_log(path, found.append)
    count = head["lines"]
    heads = [event.prev for event in found[1:]] + [content.head]
    if not 0 < count <= len(found) or heads[count - 1] != head["sha256"]:
        why = content.problem or "the log was cut short or written anew since"
        raise LogError(
            f"line {count} of {path.name} is not the one that was sealed: {why}; restore it from a copy; see verify."
        )
    for event in found[:count]:
        take(event)
    return b"".join(line + b"\n" for line in content.lines[:count])
