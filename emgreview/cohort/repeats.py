"""What one reviewer said twice: the channel-trials of hidden repeats, and the spread of the marks.

twice       the channel-trials decided twice, and how far apart the marks are: Twice
told        whether that may be told by now
"""

from typing import NamedTuple

from emgreview.cohort import statistics
from emgreview.cohort.marks import Logs, Unit
from emgreview.cohort.statistics import Estimate
from emgreview.cohort.untouched import left

PLAN = "plan self-check"
"""The operation that plans hidden repeats and hidden marks."""


class Twice(NamedTuple):
    """``units`` decided twice by eye; ``in_bulk`` counts those whose first showing was accepted in bulk, which say
    nothing of the reviewer and are left out; ``differences_s`` second minus first, of ``marked``, those with an onset
    both times; ``left`` says of each of these whether it was left automatic both times; ``only_once`` counts those
    with an onset only once, ``changed`` those in another state."""

    units: tuple[Unit, ...]
    in_bulk: int
    marked: tuple[Unit, ...]
    differences_s: tuple[float, ...]
    left: tuple[bool, ...]
    only_once: int
    changed: int

    @property
    def own_sd(self) -> Estimate:
        """SD of one mark about the reviewer's own mean, in seconds."""
        return statistics.within_sd(self.differences_s)

    @property
    def own_sd_judged(self) -> Estimate:
        """The same without marks that were left automatic both times, which say nothing of the reviewer's hand."""
        pairs = zip(self.differences_s, self.left, strict=True)
        return statistics.within_sd([apart for apart, untouched in pairs if not untouched])


def twice(logs: Logs) -> Twice:
    """The channel-trials that a reviewer decided in two showings."""
    first, second = logs.marks(), logs.marks(2)
    both = [unit for unit, mark in second.items() if mark.reviewed and first.get(unit) and first[unit].reviewed]
    units = [unit for unit in both if not logs.in_bulk(unit)]
    onsets = {unit: (first[unit].onset, second[unit].onset) for unit in units}
    apart = {
        unit: (b - a) / logs.rates_hz[unit[0]] for unit, (a, b) in onsets.items() if a is not None and b is not None
    }
    return Twice(
        units=tuple(units),
        in_bulk=len(both) - len(units),
        marked=tuple(apart),
        differences_s=tuple(apart.values()),
        left=tuple(all(left(logs, unit, showing).onset for showing in (1, 2)) for unit in apart),
        only_once=sum((a is None) != (b is None) for a, b in onsets.values()),
        changed=sum(first[unit].state != second[unit].state for unit in units),
    )


def told(logs: Logs) -> bool:
    """Whether a self-check was planned and a version sealed since; before, it could change the review."""
    plan, sealed = logs.note(PLAN), logs.note("seal")
    return plan is not None and sealed is not None and sealed.counter > plan.counter
