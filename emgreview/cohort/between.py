"""What lies between two decisions that are both acceptable.

midpoint        of two activities, or DecisionError
more_careful    of two signal states
between         of two samples
standing        the bursts of an activity that count, in order of time
"""

from collections.abc import Mapping
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.events import CONFIDENCES
from emgreview.cohort.marks import SIGNALS
from emgreview.errors import DecisionError


def midpoint(a: states.Activity, b: states.Activity) -> states.Activity:
    """The activity between two that are both acceptable: bursts paired in order of time, halves of a sample later, as
    sure as the less sure of the two, and with the wider half-width.

    Raises DecisionError where there is nothing between the two.
    """
    one, two = (standing(activity) for activity in (a, b))
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
        onset = between(first["onset"], second["onset"])
        offset = between(first["offset"], second["offset"])
        offset = offset if offset is None or offset > onset else None
        automatic = first["automatic"] or second["automatic"]
        origin = "added"
        if automatic:
            origin = "automatic" if (onset, offset) == (automatic["onset"], automatic["offset"]) else "moved"
        widths = [burst["half_width"] for burst in (first, second) if "half_width" in burst]
        bursts[name] = {
            **states.with_half_width(first, max(widths, default=None)),
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


def between(a: int | None, b: int | None) -> Any:
    return (a + b + 1) // 2 if a is not None and b is not None else b if a is None else a


def standing(activity: states.Activity) -> list[Mapping[str, Any]]:
    if activity["found"] in states.VERDICTS:
        return []
    return sorted(filter(states.stands, activity["bursts"].values()), key=lambda burst: burst["onset"])


def _less_sure(a: str | None, b: str | None) -> str | None:
    steps = [choice.word for choice in CONFIDENCES]
    return max((word for word in (a, b) if word), key=steps.index, default=None)
