"""What the events add up to: the state of every channel of every trial, and what can be undone.

State is replayed, never stored. In the log the parts of a state are plain JSON values; here they are also frozen values
for people and front ends. Sample numbers are those of the source recording; seconds run from the trial's recorded cue.
Over 400 lines: what a value means and how each command changes it are read together.

    field        of              value
    signal       channel-trial   {"state": "usable" | "caution" | "unusable", "reasons": [...]}
    activity     channel-trial   {"found": ..., "bursts": {id: burst}, "earliest", "latest", "confidence"}
                                 found: "bursts", "none detected" (nobody has looked), "none visible", "not locatable"
    burst                        {"origin", "accepted", "onset", "offset", "kind", "confidence", "automatic"}, and where
                                 one was given "half_width": the onset may lie that many samples to either side
                                 origin: "automatic", "moved", "added", "removed"; automatic: the method's, or null
    comment      channel-trial or trial (channel null)    text or null
    discuss      channel-trial or trial                   true or false
    behaviour    trial           a word of BEHAVIOURS or null
    cue          trial           the corrected cue's sample, or null
    no cue       trial           why the recorded cue is none ("double"), or null: it stands
    set aside    channel         {"start", "stop", "reasons"}, or null once undone; the id stands in subject.burst
    marked burst channel         {"start", "stop", "kind"}: a burst marked outside all trials; id and undoing likewise
    added cue    recording       {"sample", "label"}: a cue that the recording lacks; id and undoing likewise
    excluded     recording, or one channel of it     the reason, or null once readmitted
    participant excluded         the reason, or null; the last one of all logs of the participant's recordings holds
    channels     trial           {label: {field: value}}: several channels in one command

    Replay                                  events in, values and undo order out; linear in the number of events
    proposal, accept, move, …               one activity value to the next
    BurstState, ChannelState, TrialState    the frozen values
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from operator import attrgetter
from types import MappingProxyType
from typing import Any, NamedTuple

from emgreview.annotations.events import Event
from emgreview.errors import DecisionError, UnknownNameError

RESPONSE = "response"
"""The id of the burst that the detection method found."""

Value = Any
Activity = Mapping[str, Any]
Key = tuple[
    str | None, str | None, str | None, str, str | None
]  # recording, trial, channel, field, id of what stands in the recording, not in a trial; or the participant

IN_RECORDING = ("set aside", "marked burst", "added cue")
"""Fields of what is found in a recording, each with an id of its own in subject.burst."""

OF_PARTICIPANT = "participant excluded"
"""The field that belongs to no recording: it is said in the log of one of the participant's, and holds for all."""

EXCLUDED = ("excluded", OF_PARTICIPANT)
"""Fields that keep a whole channel, recording or participant out, with a reason."""

_FEW = frozenset((*IN_RECORDING, *EXCLUDED, "no cue"))
"""Fields that few events set, and that are asked for all together."""

USABLE: Mapping[str, Any] = {"reasons": [], "state": "usable"}
DEFAULTS: Mapping[str, Value] = MappingProxyType(
    {"signal": USABLE, "comment": None, "discuss": False, "behaviour": None, "cue": None, "no cue": None}
    | dict.fromkeys((*IN_RECORDING, *EXCLUDED))
)
VERDICTS = ("none visible", "not locatable")
"""What a person can say of a channel in place of marking bursts."""

IN_BULK = "accept in bulk"
"""The operation that accepts a mark which nobody looked at."""

ACCEPTANCE = "bulk acceptance"
"""The operation that says, before any of it, what an audit accepts in bulk, and what that is worth."""

NOT_DECISIONS = frozenset(("log", "method", "blind"))
"""Fields of events that say something of the log, not of a trial, and that undo passes over."""


class Step(NamedTuple):
    """One command as undo sees it: where its event stands."""

    counter: int
    time: str
    recording: str
    seq: int
    operation: str
    trial: str | None
    target: int | None
    showing: int = 1


class Replay:
    """The values that a stream of events leads to.

    ``values`` maps a key to its present value; ``counters`` to the counter of the event that set it. ``again`` holds,
    by the number of the showing, the values of trials that were shown once more: they never touch the first ones;
    ``few`` those of ``values`` that stand in recordings or keep something out; ``bulk`` what was accepted in bulk, see
    :func:`keep_bulk`.
    ``done`` and ``undone`` are the commands that undo and redo would take next, last first out; ``last`` is the last
    command on a trial. Logs may be read one after the other: values of one never touch those of another, and
    :meth:`settle` puts the commands of all into order. Only what is said of a participant is one for all logs.
    """

    def __init__(self) -> None:
        self.values: dict[Key, Value] = {}
        self.few: dict[Key, Value] = {}
        self.counters: dict[Key, int] = {}
        self.again: dict[int, dict[Key, Value]] = {}
        self.bulk: dict[Key, Value] = {}
        self.done: list[Step] = []
        self.undone: list[Step] = []
        self.last: Step | None = None
        self._steps: list[Step] = []

    def read(self, event: Event) -> None:
        """Take an event of a log that is being opened."""
        if event.field in NOT_DECISIONS:
            return
        if event.field == OF_PARTICIPANT:
            self.take_participant(event)
        elif event.showing == 1:
            parts = keyed(event, event.new)
            for key, value in parts:
                self.values[key] = value
                self.counters[key] = event.counter
            if event.field in _FEW:
                self.few.update(parts)
            keep_bulk(self.bulk, event)
        else:
            self.again.setdefault(event.showing, {}).update(keyed(event, event.new))
        recording, trial = event.subject["recording"], event.subject["trial"]
        step = (event.counter, event.time, recording, event.seq, event.operation, trial, event.target, event.showing)
        self._steps.append(Step._make(step))

    def take_participant(self, event: Event) -> None:
        """Take what an event says of a participant, unless a later one was read from another log; pass over others."""
        if event.field == OF_PARTICIPANT:
            ((key, value),) = keyed(event, event.new)
            if event.counter > self.counters.get(key, 0):
                self.values[key] = self.few[key] = value
                self.counters[key] = event.counter

    def settle(self) -> None:
        """Put the commands read since the last call into order, and find what can be undone."""
        self._steps.sort()
        for step in self._steps:
            self.last = step if step.trial else self.last
            if step.target is None:
                self.done.append(step)
                self.undone.clear()
            elif step.operation == "undo":
                _carry(step, self.done, self.undone)
            else:
                _carry(step, self.undone, self.done)
        self._steps.clear()


def keep_bulk(bulk: dict[Key, Value], event: Event) -> None:
    """Keep, by key, what was accepted in bulk, until a person sets the very same. A value that is still the one kept
    here was looked at by nobody."""
    if not bulk and event.operation != IN_BULK:
        return
    for key, value in keyed(event, event.new):
        if event.operation == IN_BULK:
            bulk[key] = value
        elif event.target is None and bulk.get(key) == value:
            bulk.pop(key, None)


def _carry(step: Step, source: list[Step], target: list[Step]) -> None:
    """Move the command that an undo or redo names from one list to the other: the last one, unless logs were merged."""
    for index in range(len(source) - 1, -1, -1):
        if source[index].counter == step.target and source[index].recording == step.recording:
            target.append(source.pop(index))
            return


def keyed(event: Event, value: Value) -> list[tuple[Key, Value]]:
    """The keys an event sets, each with its part of ``value`` (the event's old or new)."""
    subject, name = event.subject, event.field
    recording, trial = subject["recording"], subject["trial"]
    if name == "channels":
        return [
            ((recording, trial, channel, part, None), value[channel][part])
            for channel in value
            for part in value[channel]
        ]
    if name == OF_PARTICIPANT:
        return [((None, None, None, name, subject["participant"]), value)]
    stretch = subject["burst"] if name in IN_RECORDING else None
    return [((recording, trial, subject["channel"], name, stretch), value)]


# One activity to the next ----------------------------------------------------------------------------------------


def proposal(automatic: Mapping[str, int | None] | None) -> Activity:
    """What a method found, before anybody looked. ``automatic`` holds samples, or is None where it found nothing."""
    bursts = {}
    if automatic is not None:
        bursts[RESPONSE] = {
            "origin": "automatic",
            "accepted": False,
            "onset": automatic["onset"],
            "offset": automatic["offset"],
            "kind": "response",
            "confidence": None,
            "automatic": dict(automatic),
        }
    return _activity("bursts" if bursts else "none detected", bursts)


def _activity(
    found: str,
    bursts: Mapping[str, Any],
    earliest: int | None = None,
    latest: int | None = None,
    confidence: str | None = None,
) -> Activity:
    return {"found": found, "bursts": bursts, "earliest": earliest, "latest": latest, "confidence": confidence}


def untouched(activity: Activity) -> bool:
    """Whether an activity is only what a method said."""
    return activity["found"] in ("bursts", "none detected") and not any(
        burst["accepted"]
        or burst["confidence"]
        or burst.get("half_width")
        or burst["origin"] != "automatic"
        or burst["kind"] != "response"
        for burst in activity["bursts"].values()
    )


def reviewed(activity: Activity, signal: Mapping[str, Any]) -> bool:
    """Whether a person has decided: every burst that stands is accepted, or there is a verdict without bursts."""
    if signal["state"] == "unusable" or activity["found"] in VERDICTS:
        return True
    standing = list(filter(stands, activity["bursts"].values()))
    return bool(standing) and all(burst["accepted"] for burst in standing)


def stands(burst: Mapping[str, Any]) -> bool:
    """Whether a burst has not been removed."""
    return bool(burst["origin"] != "removed")


def find_burst(activity: Activity, burst: str | None) -> str | None:
    """The id of a burst: as named, or for None the response: the standing burst of that kind that begins first."""
    if burst is not None:
        if burst in activity["bursts"]:
            return burst
        raise UnknownNameError("burst of this channel and trial", burst, activity["bursts"])
    standing = [
        (value["onset"], name)
        for name, value in activity["bursts"].items()
        if stands(value) and value["kind"] == "response"
    ]
    return min(standing)[1] if standing else None


def accept(activity: Activity, burst: str | None = None) -> Activity:
    """Accept a burst, or for None every one that stands; where none stands, accept just that: "none visible".

    A verdict ("none visible", "not locatable") is confirmed as it is, unless a burst is named: then that burst counts
    again.
    """
    if burst is None:
        if activity["found"] in VERDICTS:
            return activity
        if not any(map(stands, activity["bursts"].values())):
            return none_visible(activity)
        bursts = {
            name: {**value, "accepted": True} if stands(value) else value for name, value in activity["bursts"].items()
        }
        return _activity("bursts", bursts)
    value = activity["bursts"][find_burst(activity, burst)]
    if not stands(value):
        value = {**value, **_back(value), "origin": "automatic"}
    return _with(activity, burst, {**value, "accepted": True})


def move(activity: Activity, burst: str | None, onset: int | None, offset: int | None) -> Activity:
    """A burst with another onset, offset or both. It waits to be accepted again; an added one stays accepted."""
    name = find_burst(activity, burst)
    if name is None:
        raise DecisionError("there is no response to move on this channel; use add to mark one.")
    value = activity["bursts"][name]
    onset = value["onset"] if onset is None else onset
    offset = value["offset"] if offset is None else offset
    check_order(onset, offset)
    before, after = (value["onset"], value["offset"]), (onset, offset)
    if before == after and stands(value) and activity["found"] == "bursts":
        return activity
    moved = {**value, "onset": onset, "offset": offset}
    if value["origin"] != "added":
        automatic = (value["automatic"]["onset"], value["automatic"]["offset"])
        moved |= {"origin": "automatic" if after == automatic else "moved", "accepted": False}
    return _with(activity, name, moved)


def add(activity: Activity, burst: str, onset: int, offset: int | None, kind: str) -> Activity:
    """A burst that the method missed. It is a person's mark, so it is accepted from the start."""
    check_order(onset, offset)
    value = {
        "origin": "added",
        "accepted": True,
        "onset": onset,
        "offset": offset,
        "kind": kind,
        "confidence": None,
        "automatic": None,
    }
    return _with(activity, burst, value)


def remove(activity: Activity, burst: str | None) -> Activity:
    """Without a burst: an automatic one stays listed as removed, an added one leaves the list (the log keeps it)."""
    name = find_burst(activity, burst) if activity["found"] == "bursts" else None
    if name is None:
        raise DecisionError("no response stands on this channel that could be removed; name a burst that does.")
    value = activity["bursts"][name]
    if value["origin"] == "added":
        rest = {key: other for key, other in activity["bursts"].items() if key != name}
        return _activity("bursts" if rest else "none detected", rest)
    return _with(activity, name, _removed(value))


def none_visible(activity: Activity) -> Activity:
    """No activity can be seen; marks stay in the list but do not count."""
    return _activity("none visible", activity["bursts"], confidence=activity["confidence"])


def not_locatable(activity: Activity, earliest: int, latest: int) -> Activity:
    """There is activity, its onset lies somewhere from earliest to latest; marks stay in the list but do not count."""
    if earliest > latest:
        raise DecisionError(f"earliest ({earliest}) came after latest ({latest}), in samples; swap them.")
    return _activity("not locatable", activity["bursts"], earliest, latest, activity["confidence"])


def set_of_burst(activity: Activity, burst: str | None, name: str, value: Value) -> Activity:
    """Kind or confidence of a burst; the confidence of a verdict without bursts belongs to the verdict."""
    if activity["found"] in VERDICTS and burst is None and name == "confidence":
        return {**activity, "confidence": value}
    which = find_burst(activity, burst) if activity["found"] == "bursts" else None
    if which is None or not stands(activity["bursts"][which]):
        raise DecisionError(f"no such burst stands on this channel to give a {name} to; add one, or name another.")
    return _with(activity, which, {**activity["bursts"][which], name: value})


def half_width(activity: Activity, burst: str | None, samples: int | None) -> Activity:
    """How far the onset of a burst may lie to either side, in samples; None takes it back."""
    which = find_burst(activity, burst) if activity["found"] == "bursts" else None
    if which is None or not stands(activity["bursts"][which]):
        raise DecisionError(
            "no such burst stands on this channel to give a half-width to; add one, or name another. An onset that "
            "cannot be located has its earliest and latest instead."
        )
    return _with(activity, which, with_half_width(activity["bursts"][which], samples))


def with_half_width(burst: Mapping[str, Any], samples: int | None) -> dict[str, Any]:
    """A burst with another half-width, or without one: then the part is left out."""
    rest = {name: value for name, value in burst.items() if name != "half_width"}
    return rest if samples is None else {**rest, "half_width": samples}


def check_order(onset: int, offset: int | None) -> None:
    if offset is not None and offset <= onset:
        raise DecisionError(
            f"the offset (sample {offset}) does not come after the onset (sample {onset}); move the offset to a later "
            "moment, or the onset to an earlier one."
        )


def _back(burst: Mapping[str, Any]) -> dict[str, Any]:
    return {"onset": burst["automatic"]["onset"], "offset": burst["automatic"]["offset"]}


def _removed(burst: Mapping[str, Any]) -> dict[str, Any]:
    return {**burst, **_back(burst), "origin": "removed", "accepted": False}


def _with(activity: Activity, name: str, burst: Mapping[str, Any]) -> Activity:
    """The activity with one burst set. After a verdict only that burst counts: the verdict had ruled out the others."""
    bursts = activity["bursts"]
    if activity["found"] in VERDICTS:
        bursts = {key: _removed(other) for key, other in bursts.items() if other["origin"] != "added"}
    return _activity("bursts", {**bursts, name: burst})


# Frozen values ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BurstState:
    """One burst. ``onset``, ``offset`` are samples of the recording; ``automatic`` what the method said, in samples
    (onset, offset, low, high), or None for an added burst. The onset may lie ``half_width`` samples to either side;
    None: nobody said how far. Properties ending in ``_s`` are seconds, times from the recorded cue; None where there is
    none."""

    id: str
    origin: str
    accepted: bool
    onset: int
    offset: int | None
    kind: str
    confidence: str | None
    automatic: Mapping[str, int | None] | None
    cue: int = field(repr=False)
    rate_hz: float = field(repr=False)
    half_width: int | None = None

    @property
    def half_width_s(self) -> float | None:
        return None if self.half_width is None else self.half_width / self.rate_hz

    @property
    def onset_s(self) -> float:
        return (self.onset - self.cue) / self.rate_hz

    @property
    def offset_s(self) -> float | None:
        return None if self.offset is None else (self.offset - self.cue) / self.rate_hz

    def automatic_s(self, name: str) -> float | None:
        """Seconds of the method's "onset", "offset", "low" or "high"."""
        sample = None if self.automatic is None else self.automatic.get(name)
        return None if sample is None else (sample - self.cue) / self.rate_hz


@dataclass(frozen=True, slots=True)
class ChannelState:
    """One channel of one trial. ``bursts`` holds every burst by id, removed ones too; ``standing`` those that count.

    ``earliest`` and ``latest`` (samples; ``_s`` in seconds from the recorded cue) are set where found is "not
    locatable". ``in_bulk``: the mark was accepted in bulk, and nobody has looked at it.
    """

    label: str
    signal: str
    reasons: tuple[str, ...]
    found: str
    bursts: Mapping[str, BurstState]
    earliest: int | None
    latest: int | None
    confidence: str | None
    comment: str | None
    discuss: bool
    reviewed: bool
    in_bulk: bool
    cue: int = field(repr=False)
    rate_hz: float = field(repr=False)

    @property
    def earliest_s(self) -> float | None:
        return None if self.earliest is None else (self.earliest - self.cue) / self.rate_hz

    @property
    def latest_s(self) -> float | None:
        return None if self.latest is None else (self.latest - self.cue) / self.rate_hz

    @property
    def standing(self) -> tuple[BurstState, ...]:
        """The bursts that count, in order of time."""
        if self.found != "bursts":
            return ()
        return tuple(sorted((b for b in self.bursts.values() if b.origin != "removed"), key=attrgetter("onset", "id")))

    @property
    def response(self) -> BurstState | None:
        """The standing burst of kind "response" that begins first."""
        return next((burst for burst in self.standing if burst.kind == "response"), None)


@dataclass(frozen=True, slots=True)
class TrialState:
    """One trial. ``cue`` is the recorded cue's sample, ``corrected_cue`` a person's or None."""

    id: str
    recording: str
    behaviour: str | None
    comment: str | None
    discuss: bool
    cue: int
    corrected_cue: int | None
    rate_hz: float
    channels: Mapping[str, ChannelState]

    @property
    def reviewed(self) -> bool:
        return all(channel.reviewed for channel in self.channels.values())


def channel_state(
    label: str,
    signal: Mapping[str, Any],
    activity: Activity,
    comment: str | None,
    discuss: bool,
    cue: int,
    rate: float,
    in_bulk: bool = False,
) -> ChannelState:
    """The frozen value of one channel of one trial."""
    bursts = {name: BurstState(id=name, cue=cue, rate_hz=rate, **value) for name, value in activity["bursts"].items()}
    return ChannelState(
        label,
        signal["state"],
        tuple(signal["reasons"]),
        activity["found"],
        MappingProxyType(bursts),
        activity["earliest"],
        activity["latest"],
        activity["confidence"],
        comment,
        discuss,
        reviewed(activity, signal),
        in_bulk,
        cue,
        rate,
    )
