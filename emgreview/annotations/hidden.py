"""What a reviewer does not see: hidden automatic marks, trials that come again without a word, trials not drawn.

All are planned by events of the log about the review itself (field "log"), so that a review opened again hides the
same. Such an event may hold, beside its own details,

    hide         [[trial, channel], ...]     the automatic mark is not shown from here on
    show_again   [[trial, after], ...]       the trial comes a second time, right after another one in the queue
    reveal       [[trial, channel], ...]     the automatic mark is shown again
    only         [trial, ...]                the review is about these trials alone

The log always holds the whole truth: a hidden mark is put aside only where a state is shown or a command is applied.

    Hiding      what is hidden and repeated now
    mask        an activity as it is shown while its automatic mark is hidden
    unmask      an activity that was decided so, as it is logged
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Self

from emgreview.annotations.events import Event
from emgreview.annotations.fields.activity import RESPONSE, VERDICTS, Activity, Burst, find_burst


@dataclass(frozen=True, slots=True)
class Hiding:
    """``automatic`` holds (trial, channel) whose automatic mark is hidden; ``again`` (trial, after), in order; ``only``
    the trials that the review is about, None for all."""

    automatic: frozenset[tuple[str, str]] = frozenset()
    again: tuple[tuple[str, str], ...] = ()
    only: frozenset[str] | None = None

    @classmethod
    def of(cls, notes: Iterable[Event]) -> Self:
        """What the events about a review add up to, in their order."""
        automatic: set[tuple[str, str]] = set()
        again: list[tuple[str, str]] = []
        only: frozenset[str] | None = None
        for event in notes:
            automatic |= {(trial, channel) for trial, channel in event.new.get("hide", ())}
            automatic -= {(trial, channel) for trial, channel in event.new.get("reveal", ())}
            again += [(trial, after) for trial, after in event.new.get("show_again", ())]
            only = frozenset(event.new["only"]) if "only" in event.new else only
        return cls(frozenset(automatic), tuple(again), only)

    def queue(self, trials: Sequence[str]) -> tuple[tuple[str, int], ...]:
        """Trials in order, each with the number of its showing; a repeat stands after its anchor, if both are there."""
        trials = [trial for trial in trials if self.only is None or trial in self.only]
        there = frozenset(trials)
        after: dict[str, list[str]] = {}
        for trial, anchor in self.again:
            if trial in there:
                after.setdefault(anchor, []).append(trial)
        seen: dict[str, int] = {}
        places = []
        for trial in trials:
            places.append((trial, 1))
            for other in after.get(trial, ()):
                seen[other] = seen.get(other, 1) + 1
                places.append((other, seen[other]))
        return tuple(places)


def mask(activity: Activity) -> Activity:
    """An activity without what the method said: a mark of the reviewer's own is shown as an added one."""
    bursts = dict(activity.bursts)
    response = bursts.pop(RESPONSE, None)
    if response is None:
        return activity
    if response.origin == "moved" or (response.origin == "automatic" and response.accepted):
        bursts[RESPONSE] = replace(response, origin="added", automatic=None)
    found = activity.found
    shown = "none detected" if found == "bursts" and not bursts else found
    return replace(activity, found=shown, bursts=MappingProxyType(bursts))


def unmask(seen: Activity, before: Activity) -> Activity:
    """The activity to log: the reviewer's response takes the place of the hidden mark, which keeps the method's values.

    ``before`` is the activity as it was, with that mark. Where the reviewer marked other bursts alone, the hidden mark
    counts as removed.
    """
    hidden = before.bursts.get(RESPONSE)
    if hidden is None or hidden.automatic is None:
        return seen
    automatic = hidden.automatic
    bursts = dict(seen.bursts)
    own = RESPONSE if RESPONSE in bursts else find_burst(seen, None) if seen.found == "bursts" else None
    if own is not None:
        mark = bursts.pop(own)
        same = (mark.onset, mark.offset) == automatic[:2]
        bursts[RESPONSE] = replace(mark, automatic=automatic, origin="automatic" if same else "moved")
        return replace(seen, bursts=MappingProxyType(bursts))
    origin = "removed" if seen.found == "bursts" else "automatic"
    untouched = Burst(origin, False, automatic.onset, automatic.offset, "response", None, automatic)
    found = seen.found if seen.found in VERDICTS else "bursts"
    return replace(seen, found=found, bursts=MappingProxyType({RESPONSE: untouched, **bursts}))
