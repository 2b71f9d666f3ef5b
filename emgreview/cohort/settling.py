"""How long what a third reviewer settled holds: for the two decisions that it was about.

The third log names the heads of both others and a digest of both decisions of every dispute. Where one of the two has
decided otherwise since, the dispute is open again, and what was settled no longer stands, until it is settled anew.

    sides_of        a digest of both decisions about an item
    rounded_in      whether a third log's tolerance is rounded to samples
    since           from which command of the third on settlements hold
    stale           the values of the third that do not
"""

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.events import Event, digest_of
from emgreview.annotations.fields import write

ADJUDICATE = "adjudicate"
"""The operation that names base, heads and disputes in a third log."""

FIELDS = (*(name for name, field in fields.FIELDS.items() if field.merging and field.merging.disputable), "discuss")
"""What a third reviewer can settle; "discuss" says that it cannot be."""

Item = tuple[str, str, str | None]
"""Recording, trial, and channel, or None for what belongs to the trial."""


def sides_of(first: Mapping[str, Any], second: Mapping[str, Any]) -> str:
    """A digest of what two reviewers decided about an item, by field."""
    stated = ("signal", "activity", "behaviour", "cue")  # a later field changes no digest where nobody decided on it
    return digest_of(
        [
            {name: write(name, value) for name, value in side.items() if value is not None or name in stated}
            for side in (first, second)
        ]
    )


def rounded_in(plan: Mapping[str, Any]) -> bool:
    """Whether the tolerance of an "adjudicate" is rounded to whole samples, halves up, as in the first logs: there, 10
    ms at 250 Hz let 12 ms pass. Those that say ``rounded`` false compare the distance as it is."""
    return bool(plan.get("rounded", True))


def since(notes: Iterable[Event], sides: Mapping[Item, str]) -> dict[Item, float]:
    """By item, the command after which both decisions were as they are now (``sides``, of all that is in dispute): 0 if
    they always were, infinity if they are not those that the third log names last, or are in dispute no longer."""
    found: dict[Item, float] = dict.fromkeys(sides, 0)
    for note in notes:
        if note.operation != ADJUDICATE or "sides" not in note.new:
            continue
        named = dict(zip(map(tuple, note.new["disputes"]), note.new["sides"], strict=True))
        for item in {*sides, *named}:
            if named.get(item) != sides.get(item):
                found[item] = math.inf
            elif found[item] == math.inf:
                found[item] = note.counter
    return found


def stale(counter: Callable[[states.Key], int], after: Mapping[Item, float]) -> dict[states.Key, None]:
    """The keys of a third reviewer's values that no longer hold; ``counter`` says by which command each was set, 0
    where none did."""
    keys = [(states.Key(*item, field), limit) for item, limit in after.items() if limit for field in FIELDS]
    return {key: None for key, limit in keys if 0 < counter(key) <= limit}
