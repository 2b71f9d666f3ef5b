"""What a reviewer left as the method had it. To let a mark stand is a decision, but two who both let it stand have the
method in common, not their eyes: their agreement is counted apart.

An onset or offset is left where it lies on the sample that the method had proposed, while the reviewer saw that
proposal. A word is left where nothing was moved, added, removed or said of a burst's kind; where the method had found
nothing, and that was accepted, not stated. A signal is left usable where nobody said anything of it. What was taken
back was not said; what an undo or redo brings back was said as it first was.

    Left        which parts of a channel-trial
    left        of one reviewer's channel-trial: Left
"""

from typing import NamedTuple

from emgreview.cohort.between import active_bursts
from emgreview.cohort.marks import Logs, Unit

STATED = ("none visible", "copy to all", "settle")
"""Operations that say "none visible" in so many words; any other accepts that the method found nothing."""


class Left(NamedTuple):
    """Whether a reviewer left the state, the signal, the onset and the offset as they were proposed."""

    state: bool
    signal: bool
    onset: bool
    offset: bool


def left(logs: Logs, unit: Unit, showing: int = 1) -> Left:
    """What one reviewer left of a channel-trial, finished or not."""
    activity, signal = (logs.entry(*unit, field, showing) for field in ("activity", "signal"))
    said = signal is not None and signal.operation != ""
    if activity is None:  # finished without a look at the marks: the signal is unusable
        return Left(not said, not said, onset=False, offset=False)
    if activity.visible.get("automatic") is False:
        return Left(state=False, signal=not said, onset=False, offset=False)
    value = activity.value
    mark, bursts = logs.mark(unit, showing), active_bursts(value)
    same = all(burst.origin == "automatic" and burst.kind == "response" for burst in value.bursts.values())
    word = {
        "onset marked": same and bool(bursts),
        "none visible": not value.bursts and activity.operation not in STATED,
        "": True,
    }
    proposed = next((burst.automatic for burst in bursts if burst.automatic), None)
    return Left(
        state=word.get(mark.state, False),
        signal=not said,
        onset=mark.onset is not None and mark.onset == getattr(proposed, "onset", None),
        offset=mark.offset is not None and mark.offset == getattr(proposed, "offset", None),
    )
