"""What is marked on one channel of one trial, and how each command changes it.

In the log {"found", "bursts": {id: burst}, "earliest", "latest", "confidence"}; not set: nobody has looked, and the
method's proposal is shown. ``found`` is "bursts", "none detected" (nobody has looked), "none visible" or "not
locatable". All samples are those of the recording. A new activity is made of an old one; neither ever changes.

    Activity, Burst, Detected   the value and its parts
    proposal                    what a method found, before anybody looked
    untouched, reviewed         what may be said of an activity
    stands, active_bursts, find_burst    which bursts count
    accept, move, add …         one activity to the next
    midpoint, clash             what lies between two, and why they cannot both stand
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, NamedTuple

from emgreview.annotations.events import CONFIDENCES
from emgreview.annotations.fields.field import ByName, between
from emgreview.annotations.fields.signal import USABLE, Signal
from emgreview.errors import DecisionError, UnknownNameError

RESPONSE = "response"
"""The id of the burst that the detection method found."""

VERDICTS = ("none visible", "not locatable")
"""What a person can say of a channel in place of marking bursts."""


class Detected(NamedTuple):
    """What the method said of a burst, in samples."""

    onset: int
    offset: int | None
    low: int | None
    high: int | None


@dataclass(frozen=True, slots=True)
class Burst(ByName):
    """One burst. ``origin``: "automatic", "moved", "added", "removed"; ``automatic`` what the method said, None for an
    added one. The onset may lie ``half_width`` samples to either side; None: nobody said how far."""

    origin: str
    accepted: bool
    onset: int
    offset: int | None
    kind: str
    confidence: str | None
    automatic: Detected | None
    half_width: int | None = None


@dataclass(frozen=True, slots=True)
class Activity(ByName):
    """``bursts`` holds every burst by id, those that do not count too; ``earliest`` and ``latest`` are set where found
    is "not locatable", ``confidence`` is that of a verdict without bursts."""

    found: str
    bursts: Mapping[str, Burst]
    earliest: int | None = None
    latest: int | None = None
    confidence: str | None = None


def read(stored: Mapping[str, Any]) -> Activity:
    bursts = {name: _read_burst(burst) for name, burst in stored["bursts"].items()}
    return Activity(
        stored["found"], MappingProxyType(bursts), stored["earliest"], stored["latest"], stored["confidence"]
    )


def write(activity: Activity) -> dict[str, Any]:
    return {
        "found": activity.found,
        "bursts": {name: _write_burst(burst) for name, burst in activity.bursts.items()},
        "earliest": activity.earliest,
        "latest": activity.latest,
        "confidence": activity.confidence,
    }


def _read_burst(stored: Mapping[str, Any]) -> Burst:
    said = stored["automatic"]
    return Burst(
        stored["origin"],
        stored["accepted"],
        stored["onset"],
        stored["offset"],
        stored["kind"],
        stored["confidence"],
        None if said is None else Detected(said["onset"], said["offset"], said["low"], said["high"]),
        stored.get("half_width"),
    )


def _write_burst(burst: Burst) -> dict[str, Any]:
    stored = {
        "origin": burst.origin,
        "accepted": burst.accepted,
        "onset": burst.onset,
        "offset": burst.offset,
        "kind": burst.kind,
        "confidence": burst.confidence,
        "automatic": None if burst.automatic is None else burst.automatic._asdict(),
    }
    return stored if burst.half_width is None else {**stored, "half_width": burst.half_width}


# What may be said of it ------------------------------------------------------------------------------------------


def proposal(automatic: Mapping[str, int | None] | None) -> Activity:
    """What a method found, before anybody looked. ``automatic`` holds samples, or is None where it found nothing."""
    if automatic is None:
        return Activity("none detected", MappingProxyType({}))
    found = Detected(**automatic)  # type: ignore[arg-type]
    burst = Burst("automatic", False, found.onset, found.offset, "response", None, found)
    return Activity("bursts", MappingProxyType({RESPONSE: burst}))


def untouched(activity: Activity) -> bool:
    """Whether an activity is only what a method said."""
    return activity.found in ("bursts", "none detected") and not any(
        burst.accepted
        or burst.confidence
        or burst.half_width
        or burst.origin != "automatic"
        or burst.kind != "response"
        for burst in activity.bursts.values()
    )


def reviewed(activity: Activity, signal: Signal) -> bool:
    """Whether a person has decided: every burst that stands is accepted, or there is a verdict without bursts."""
    if signal.state == "unusable" or activity.found in VERDICTS:
        return True
    counting = list(filter(stands, activity.bursts.values()))
    return bool(counting) and all(burst.accepted for burst in counting)


def stands(burst: Burst) -> bool:
    """Whether a burst has not been removed."""
    return burst.origin != "removed"


def active_bursts(activity: Activity) -> list[Burst]:
    """The bursts that count, in order of time."""
    if activity.found in VERDICTS:
        return []
    return sorted(filter(stands, activity.bursts.values()), key=lambda burst: burst.onset)


def find_burst(activity: Activity, burst: str | None) -> str | None:
    """The id of a burst: as named, or for None the response: the active burst of that kind that begins first."""
    if burst is not None:
        if burst in tuple(activity.bursts):
            return burst
        raise UnknownNameError("burst of this channel and trial", burst, activity.bursts)
    responses = [
        (value.onset, name) for name, value in activity.bursts.items() if stands(value) and value.kind == "response"
    ]
    return min(responses)[1] if responses else None


# One activity to the next ----------------------------------------------------------------------------------------


def accept(activity: Activity, burst: str | None = None) -> Activity:
    """Accept a burst, or for None every one that stands; where none stands, accept just that: "none visible".

    A verdict ("none visible", "not locatable") is confirmed as it is, unless a burst is named: then that burst counts
    again.
    """
    if burst is None:
        if activity.found in VERDICTS:
            return activity
        if not any(map(stands, activity.bursts.values())):
            return none_visible(activity)
        return Activity(
            "bursts",
            MappingProxyType(
                {
                    name: replace(value, accepted=True) if stands(value) else value
                    for name, value in activity.bursts.items()
                }
            ),
        )
    find_burst(activity, burst)
    value = activity.bursts[burst]
    if not stands(value):
        value = replace(_back(value), origin="automatic")
    return _with(activity, burst, replace(value, accepted=True))


def move(activity: Activity, burst: str | None, onset: int | None, offset: int | None) -> Activity:
    """A burst with another onset, offset or both. It waits to be accepted again; an added one stays accepted."""
    name = find_burst(activity, burst)
    if name is None:
        raise DecisionError("there is no response to move on this channel; use add to mark one.")
    value = activity.bursts[name]
    onset = value.onset if onset is None else onset
    offset = value.offset if offset is None else offset
    check_order(onset, offset)
    after = (onset, offset)
    if (value.onset, value.offset) == after and stands(value) and activity.found == "bursts":
        return activity
    moved = replace(value, onset=onset, offset=offset)
    if value.origin != "added":
        assert value.automatic is not None
        origin = "automatic" if after == value.automatic[:2] else "moved"
        moved = replace(moved, origin=origin, accepted=False)
    return _with(activity, name, moved)


def add(activity: Activity, burst: str, onset: int, offset: int | None, kind: str) -> Activity:
    """A burst that the method missed. It is a person's mark, so it is accepted from the start."""
    check_order(onset, offset)
    return _with(activity, burst, Burst("added", True, onset, offset, kind, None, None))


def remove(activity: Activity, burst: str | None) -> Activity:
    """Without a burst: an automatic one stays listed as removed, an added one leaves the list (the log keeps it)."""
    name = find_burst(activity, burst) if activity.found == "bursts" else None
    if name is None:
        raise DecisionError("no response stands on this channel that could be removed; name a burst that does.")
    value = activity.bursts[name]
    if value.origin == "added":
        rest = {key: other for key, other in activity.bursts.items() if key != name}
        return Activity("bursts" if rest else "none detected", MappingProxyType(rest))
    return _with(activity, name, _removed(value))


def none_visible(activity: Activity) -> Activity:
    """No activity can be seen; marks stay in the list but do not count."""
    return Activity("none visible", activity.bursts, confidence=activity.confidence)


def not_locatable(activity: Activity, earliest: int, latest: int) -> Activity:
    """There is activity, its onset lies somewhere from earliest to latest; marks stay in the list but do not count."""
    if earliest > latest:
        raise DecisionError(f"earliest ({earliest}) came after latest ({latest}), in samples; swap them.")
    return Activity("not locatable", activity.bursts, earliest, latest, activity.confidence)


def set_of_burst(activity: Activity, burst: str | None, name: str, value: Any) -> Activity:
    """Kind or confidence of a burst; the confidence of a verdict without bursts belongs to the verdict."""
    if activity.found in VERDICTS and burst is None and name == "confidence":
        return replace(activity, confidence=value)
    which = find_burst(activity, burst) if activity.found == "bursts" else None
    if which is None or not stands(activity.bursts[which]):
        raise DecisionError(f"no such burst stands on this channel to give a {name} to; add one, or name another.")
    return _with(activity, which, replace(activity.bursts[which], **{name: value}))


def half_width(activity: Activity, burst: str | None, samples: int | None) -> Activity:
    """How far the onset of a burst may lie to either side, in samples; None takes it back."""
    which = find_burst(activity, burst) if activity.found == "bursts" else None
    if which is None or not stands(activity.bursts[which]):
        raise DecisionError(
            "no such burst stands on this channel to give a half-width to; add one, or name another. An onset that "
            "cannot be located has its earliest and latest instead."
        )
    return _with(activity, which, replace(activity.bursts[which], half_width=samples))


def check_order(onset: int, offset: int | None) -> None:
    if offset is not None and offset <= onset:
        raise DecisionError(
            f"the offset (sample {offset}) does not come after the onset (sample {onset}); move the offset to a later "
            "moment, or the onset to an earlier one."
        )


def _back(burst: Burst) -> Burst:
    """A burst where the method had put it."""
    assert burst.automatic is not None
    return replace(burst, onset=burst.automatic.onset, offset=burst.automatic.offset)


def _removed(burst: Burst) -> Burst:
    return replace(_back(burst), origin="removed", accepted=False)


def _with(activity: Activity, name: str, burst: Burst) -> Activity:
    """The activity with one burst set. After a verdict only that burst counts: the verdict had ruled out the others."""
    bursts = activity.bursts
    if activity.found in VERDICTS:
        bursts = {key: _removed(other) for key, other in bursts.items() if other.origin != "added"}
    return Activity("bursts", MappingProxyType({**bursts, name: burst}))


# Two of them -----------------------------------------------------------------------------------------------------


def midpoint(a: Activity, b: Activity) -> Activity:
    """The activity between two that are both acceptable: bursts paired in order of time, halves of a sample later, as
    sure as the less sure of the two, and with the wider half-width.

    Raises DecisionError where there is nothing between the two.
    """
    one, two = active_bursts(a), active_bursts(b)
    if a.found != b.found or [burst.kind for burst in one] != [burst.kind for burst in two]:
        raise DecisionError(
            "'both acceptable' came for two that differ in kind, not in time, so nothing lies between them; choose one "
            "of the two, make a decision of your own, or say 'cannot be settled'."
        )
    a = replace(a, confidence=_less_sure(a.confidence, b.confidence))
    if a.found == "not locatable":
        assert a.earliest is not None and b.earliest is not None and a.latest is not None and b.latest is not None  # noqa: PT018
        return replace(a, earliest=min(a.earliest, b.earliest), latest=max(a.latest, b.latest))
    if a.found in VERDICTS:
        return a
    in_order = sorted(a.bursts.items(), key=lambda pair: pair[1].onset)
    names = [name for name, burst in in_order if stands(burst)]
    bursts = dict(a.bursts)
    for name, first, second in zip(names, one, two, strict=True):
        onset = between(first.onset, second.onset)
        offset = between(first.offset, second.offset)
        offset = offset if offset is None or offset > onset else None
        automatic = first.automatic or second.automatic
        origin = "added"
        if automatic:
            origin = "automatic" if (onset, offset) == automatic[:2] else "moved"
        widths = [burst.half_width for burst in (first, second) if burst.half_width is not None]
        bursts[name] = replace(
            first,
            half_width=max(widths, default=None),
            onset=onset,
            offset=offset,
            origin=origin,
            automatic=automatic,
            accepted=True,
            confidence=_less_sure(first.confidence, second.confidence),
        )
    return replace(a, bursts=MappingProxyType(bursts))


def _less_sure(a: str | None, b: str | None) -> str | None:
    steps = [choice.word for choice in CONFIDENCES]
    return max((word for word in (a, b) if word), key=steps.index, default=None)


def word_of(activity: Activity) -> str:
    """What was decided, in a word: "onset marked", "other bursts only", a verdict, or "" where it is not finished."""
    if not reviewed(activity, USABLE):
        return ""
    if activity.found in VERDICTS:
        return activity.found
    return "onset marked" if find_burst(activity, None) else "other bursts only"


def clash(a: Activity, b: Activity, within: float) -> str:
    words = [word_of(a), word_of(b)]
    if words[0] != words[1]:
        return " against ".join(sorted(words))
    first, second = active_bursts(a), active_bursts(b)
    if [burst.kind for burst in first] != [burst.kind for burst in second]:
        return "bursts differ in number or kind"
    apart = max((abs(x.onset - y.onset) for x, y in zip(first, second, strict=True)), default=0)
    return "onsets further apart than the tolerance" if apart > within else ""


def times(activity: Activity) -> list[tuple[int, int | None]]:
    """What a midpoint would lie between: an onset that is not locatable has none, there the wider bounds stand."""
    return [(burst.onset, burst.offset) for burst in active_bursts(activity)]
