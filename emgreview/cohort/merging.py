"""Two reviewers' decisions become one: a three-way merge per trial, channel and field, with the conflicts explicit.

The base is what the method proposed before anybody decided. Where only one reviewer decided, that decision stands;
where both said the same, it stands; where their onsets lie within a tolerance, the midpoint stands; anything else is a
conflict, which nobody but a person settles. A third log settles it, see ``adjudication``. Comments are never dropped:
both are kept.

    signal       conflict where the states differ; reasons of both are kept
    activity     conflict where the words differ (onset marked, none visible …), where other bursts differ in kind, or
                 where onsets lie further apart than the tolerance; offsets make none: their midpoint stands, or the one
    behaviour    conflict where the words differ
    cue          conflict where the corrected cues lie further apart than the tolerance

    merge_reviews   two reviewers of a folder, and perhaps a third: Merge
    merge           the same, from logs read before
    decided         a field's value where one reviewer finished it
    midpoint        of two activities that are both acceptable
    more_careful    of two signal states
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from emgreview.annotations import state as states
from emgreview.annotations.events import CONFIDENCES
from emgreview.cohort.agreement import check_same_recordings, sampled_trials
from emgreview.cohort.marks import SIGNALS, Logs, Mark, cue_in, mark_of, read_logs
from emgreview.errors import DecisionError, ParameterError
from emgreview.model import to_sample

CHANNEL_FIELDS = ("signal", "activity", "comment", "discuss")
TRIAL_FIELDS = ("behaviour", "cue", "comment", "discuss")

Item = tuple[str, str, str | None]
"""Recording, trial, and channel, or None for what belongs to the trial."""


class Merged(NamedTuple):
    """The value of a field that stands, and how it came to."""

    value: Any
    how: str


class Conflict(NamedTuple):
    """A field on which two reviewers disagree: both values, and why they cannot both stand."""

    item: Item
    field: str
    first: Any
    second: Any
    why: str


@dataclass(frozen=True, eq=False)
class Merge:
    """Two reviews merged. ``values`` holds what stands, by item and field; ``conflicts`` what nobody has settled;
    ``unsettled`` the items of which the third reviewer said that they cannot be."""

    first: str
    second: str
    third: str | None
    within_s: float
    values: Mapping[tuple[Item, str], Merged]
    conflicts: tuple[Conflict, ...]
    unsettled: tuple[Item, ...]
    heads: Mapping[str, Mapping[str, Any]]
    rates_hz: Mapping[str, float]

    @property
    def disputed(self) -> tuple[Item, ...]:
        """The items with a conflict, in order."""
        return tuple(dict.fromkeys(conflict.item for conflict in self.conflicts))

    def mark(self, item: Item) -> Mark:
        """What stands of a channel-trial."""
        activity, signal = (self.values.get((item, name)) for name in ("activity", "signal"))
        return mark_of(activity and activity.value, signal and signal.value)

    @property
    def disputes(self) -> pd.DataFrame:
        """One row a conflict, with the words of both; onsets and cues in samples, so that nothing is rounded."""
        sides = [f"said_by_{who}" for who in (self.first, self.second)]
        names = ["recording", "trial", "channel", "field", "why", *sides, "cannot_be_settled"]
        rows = []
        for clash in self.conflicts:
            said = (_said(clash.field, value) for value in (clash.first, clash.second))
            rows.append([*clash.item, clash.field, clash.why, *said, clash.item in self.unsettled])
        return pd.DataFrame(rows, columns=names)

    @property
    def table(self) -> pd.DataFrame:
        """One row a channel-trial: what stands, how it came to, and what is in conflict. Seconds from the recorded cue;
        missing where nothing stands."""
        disputes: dict[Item, list[str]] = {}
        for conflict in self.conflicts:
            disputes.setdefault(conflict.item, []).append(f"{conflict.field}: {conflict.why}")
        items = sorted({item for item, _ in self.values if item[2]} | {item for item in disputes if item[2]})
        rows = []
        for item in items:
            mark, cue = self.mark(item), cue_in(item[1])
            onset_s = None if mark.onset is None or cue is None else (mark.onset - cue) / self.rates_hz[item[0]]
            ways = [self.values[item, name].how for name in ("signal", "activity") if (item, name) in self.values]
            rows.append(
                {
                    **dict(zip(("recording", "trial", "channel"), item, strict=True)),
                    "signal": mark.signal,
                    "state": mark.state,
                    "onset_s": onset_s,
                    "onset_sample": mark.onset,
                    "offset_sample": mark.offset,
                    "earliest_sample": mark.earliest,
                    "latest_sample": mark.latest,
                    "how": "; ".join(dict.fromkeys(ways)),
                    "conflict": "; ".join(disputes.get(item, [])),
                    "cannot_be_settled": item in self.unsettled,
                }
            )
        names = list(rows[0]) if rows else ["recording", "trial", "channel"]
        whole = {name: "Int64" for name in names if name.endswith("_sample")}
        return pd.DataFrame(rows, columns=names).astype({**whole, **({"onset_s": "float64"} if rows else {})})


def merge_reviews(
    folder: str | Path, first: str, second: str, third: str | None = None, *, within_ms: float = 10.0
) -> Merge:
    """Merge the decisions of two reviewers of a folder as they stand now, with what a third one settled, if any.

    ``within_ms``: onsets no further apart count as the same. Raises UnknownNameError where a reviewer has no log,
    LogBrokenError, LogError where the two reviewed different samples, ParameterError.
    """
    if len({first, second, third}) < 3:
        raise ParameterError(f"reviewers {first!r}, {second!r} and {third!r} came; give two, or three, that differ.")
    check_within(within_ms)
    one, two = read_logs(folder, first), read_logs(folder, second)
    return merge(one, two, read_logs(folder, third) if third else None, within_s=within_ms / 1000)


def check_within(within_ms: float) -> float:
    """A tolerance in milliseconds, or ParameterError."""
    if not (math.isfinite(within_ms) and within_ms >= 0):
        raise ParameterError(f"within_ms came as {within_ms!r}; allowed: 0 ms or more; correct it.")
    return within_ms


def merge(one: Logs, two: Logs, third: Logs | None = None, *, within_s: float) -> Merge:
    """Merge two reviewers' logs; where a third settled a conflict, that stands.

    ``within_s``: onsets no further apart count as the same. Raises LogError where the two reviewed different samples.
    """
    check_same_recordings(one, two)
    drawn = sampled_trials(one, two)
    values: dict[tuple[Item, str], Merged] = {}
    conflicts: list[Conflict] = []
    unsettled: list[Item] = []
    rates = {**two.rates_hz, **one.rates_hz}
    for item in _items(one, two):
        found, disputes = merge_item(one, two, item, to_sample(within_s, rates[item[0]]))
        if drawn is not None and item[1] not in drawn:
            found |= {
                clash.field: Merged(clash.first, f"{one.reviewer}: not drawn for comparison") for clash in disputes
            }
            disputes = []
        if disputes and third is not None:
            settled = _settled(third, item, disputes)
            if settled is None and third.value(*item, "discuss"):
                unsettled.append(item)
            elif settled is not None:
                found, disputes = found | settled, []
        if disputes:  # a mark does not stand while it is in dispute whether the signal can be used, nor the other way
            found = {name: value for name, value in found.items() if name in ("comment", "discuss")}
        values |= {(item, name): value for name, value in found.items()}
        conflicts += disputes
    heads = {**one.heads, **two.heads, **(third.heads if third else {})}
    name = third.reviewer if third else None
    return Merge(one.reviewer, two.reviewer, name, within_s, values, tuple(conflicts), tuple(unsettled), heads, rates)


def merge_item(one: Logs, two: Logs, item: Item, within: int) -> tuple[dict[str, Merged], list[Conflict]]:
    """Every field of one channel-trial or trial: what stands, and what is in conflict. ``within`` in samples."""
    found: dict[str, Merged] = {}
    disputes: list[Conflict] = []
    for name in TRIAL_FIELDS if item[2] is None else CHANNEL_FIELDS:
        a, b = (decided(logs, item, name) for logs in (one, two))
        if a is None and b is None:
            continue
        if a is None or b is None:
            who, value = (two, b) if a is None else (one, a)
            found[name] = Merged(value, f"{who.reviewer} alone")
        elif a == b:
            found[name] = Merged(a, "same")
        elif why := _clash(name, a, b, within):
            disputes.append(Conflict(item, name, a, b, why))
        else:
            found[name] = Merged(_joined(name, a, b), _JOINED[name])
    signal = found.get("signal")
    if signal and signal.value["state"] == "unusable":  # nothing is left to be marked there
        disputes = [conflict for conflict in disputes if conflict.field != "activity"]
    return found, disputes


def midpoint(a: states.Activity, b: states.Activity) -> states.Activity:
    """The activity between two that are both acceptable: bursts paired in order of time, halves of a sample later.

    Raises DecisionError where there is nothing between the two.
    """
    one, two = (_standing(activity) for activity in (a, b))
    if a["found"] != b["found"] or [burst["kind"] for burst in one] != [burst["kind"] for burst in two]:
        raise DecisionError(
            "'both acceptable' came for two that differ in kind, not in time, so nothing lies between them; choose one "
            "of the two, make a decision of your own, or say 'cannot be settled'."
        )
    a = {**a, "confidence": _less_sure(a["confidence"], b["confidence"])}
    if a["found"] == "not locatable":
        return {**a, "earliest": min(a["earliest"], b["earliest"]), "latest": max(a["latest"], b["latest"])}
    if a["found"] in states.VERDICTS:
        return a
    names = [name for name, burst in sorted(a["bursts"].items(), key=lambda p: p[1]["onset"]) if states.stands(burst)]
    bursts = dict(a["bursts"])
    for name, first, second in zip(names, one, two, strict=True):
        onset = _between(first["onset"], second["onset"])
        offset = _between(first["offset"], second["offset"])
        offset = offset if offset is None or offset > onset else None
        automatic = first["automatic"] or second["automatic"]
        origin = "added"
        if automatic:
            origin = "automatic" if (onset, offset) == (automatic["onset"], automatic["offset"]) else "moved"
        bursts[name] = {
            **first,
            "onset": onset,
            "offset": offset,
            "origin": origin,
            "automatic": automatic,
            "accepted": True,
            "confidence": _less_sure(first["confidence"], second["confidence"]),
        }
    return {**a, "bursts": bursts}


def more_careful(a: Mapping[str, Any], b: Mapping[str, Any]) -> dict[str, Any]:
    """The more careful of two signal states, with the reasons of both where they are the same state."""
    one, two = (SIGNALS.index(part["state"]) for part in (a, b))
    if one != two:
        return dict(a if one > two else b)
    return {"state": a["state"], "reasons": list(dict.fromkeys([*a["reasons"], *b["reasons"]]))}


def decided(logs: Logs, item: Item, name: str) -> Any:
    """A field's value where the reviewer decided and finished, None otherwise."""
    value = logs.value(*item, name)
    if name == "activity":
        finished = value is not None and states.reviewed(value, states.USABLE)
        return value if finished else None
    if name == "signal":
        return value if logs.mark(_unit(item)).reviewed else None
    return value or None


# Inside ----------------------------------------------------------------------------------------------------------


def _items(*logs: Logs) -> list[Item]:
    keys = {
        (recording, trial, channel)
        for one in logs
        for recording, trial, channel, name, _ in one.shown.get(1, {})
        if recording and trial and name in (*CHANNEL_FIELDS, *TRIAL_FIELDS)
    }
    return sorted(keys, key=lambda item: (item[0], item[1], item[2] or ""))


def _unit(item: Item) -> tuple[str, str, str]:
    recording, trial, channel = item
    assert channel is not None
    return recording, trial, channel


def _clash(name: str, a: Any, b: Any, within: int) -> str:
    """Why two values cannot both stand, or ""."""
    if name == "signal" and a["state"] != b["state"]:
        return " against ".join(sorted([a["state"], b["state"]]))
    if name == "behaviour":
        return " against ".join(sorted([a, b]))
    if name == "cue" and abs(a - b) > within:
        return "corrected cues further apart than the tolerance"
    return _activities_clash(a, b, within) if name == "activity" else ""


def _activities_clash(a: states.Activity, b: states.Activity, within: int) -> str:
    one, two = mark_of(a, None).state, mark_of(b, None).state
    if one != two:
        return " against ".join(sorted([one, two]))
    first, second = _standing(a), _standing(b)
    if [burst["kind"] for burst in first] != [burst["kind"] for burst in second]:
        return "bursts differ in number or kind"
    apart = max((abs(x["onset"] - y["onset"]) for x, y in zip(first, second, strict=True)), default=0)
    return "onsets further apart than the tolerance" if apart > within else ""


_JOINED = {
    "signal": "reasons of both",
    "activity": "within the tolerance: midpoint",
    "comment": "both comments",
    "discuss": "same",
    "cue": "within the tolerance: midpoint",
}


def _joined(name: str, a: Any, b: Any) -> Any:
    """Both of two values that do not clash."""
    if name == "signal":
        return more_careful(a, b)
    if name == "activity":
        return midpoint(a, b)
    return f"{a} / {b}" if name == "comment" else _between(a, b)


def _said(field: str, value: Any) -> str:
    """One side of a conflict in words."""
    if field == "signal":
        return ": ".join(filter(None, [value["state"], "; ".join(value["reasons"])]))
    if field != "activity":
        return str(value)
    mark = mark_of(value, None)
    if mark.earliest is not None:
        return f"{mark.state}: {mark.earliest} to {mark.latest}"
    return f"{mark.state}: {mark.onset}" if mark.onset is not None else mark.state


def _standing(activity: states.Activity) -> list[Mapping[str, Any]]:
    if activity["found"] in states.VERDICTS:
        return []
    return sorted(filter(states.stands, activity["bursts"].values()), key=lambda burst: burst["onset"])


def _between(a: int | None, b: int | None) -> Any:
    return (a + b + 1) // 2 if a is not None and b is not None else b if a is None else a


def _less_sure(a: str | None, b: str | None) -> str | None:
    steps = [choice.word for choice in CONFIDENCES]
    return max((word for word in (a, b) if word), key=steps.index, default=None)


def _settled(third: Logs, item: Item, disputes: Sequence[Conflict]) -> dict[str, Merged] | None:
    """What the third reviewer made of an item's conflicts, None where it is not finished."""
    if item[2] is not None and not third.mark(_unit(item)).reviewed:
        return None
    names = ("signal", "activity") if item[2] else tuple(conflict.field for conflict in disputes)
    values = {name: third.value(*item, name) for name in names}
    if item[2] is None and any(value is None for value in values.values()):
        return None
    how = f"settled by {third.reviewer}"
    return {name: Merged(value, how) for name, value in values.items() if value is not None}
