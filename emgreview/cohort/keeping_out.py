"""What two reviewers keep out of every analysis: participants, recordings, channels, and cues that are none; and what
stands in a recording: stretches set aside, bursts marked and cues added by hand.

One careful rule: what either keeps out is kept out, and what either set aside is set aside. Where both say so it is
agreed, and channel-trials that it keeps out are in no dispute. Where one alone does, that is said ("one of two", or
who); a third reviewer may take such an exclusion, or such a cue that is none, back with the ordinary commands, and so
what the two dispute there stays in dispute. Stretches, marks and added cues stay.

    kept_out        everything of two reviewers: KeptOut
    covers          whether a key keeps an item out
    keepers         who keeps an item out
"""

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from emgreview.annotations import state as states
from emgreview.annotations.fields.set_aside import Stretch
from emgreview.cohort.marks import Logs
from emgreview.cohort.settling import Item

OUT = (*states.EXCLUDED, "no cue")
"""Fields whose value is the reason why something is kept out."""

ONE_OF_TWO = " (one of two)"
"""What follows a reason that one of two reviewers alone gave, where nobody is to be named."""


class KeptOut(NamedTuple):
    """What one or both reviewers keep out, or found in a recording: under which key, its value, and who said so.

    Keys are as in the log, but that the id of what stands in a recording begins with the reviewer's code."""

    key: states.Key
    value: Any
    by: tuple[str, ...]

    @property
    def unnamed(self) -> Any:
        """The value without a name: a reason that one alone gave says so."""
        alone = self.key[3] in OUT and len(self.by) == 1
        return f"{self.value}{ONE_OF_TWO}" if alone else self.value


def kept_out(one: Logs, two: Logs) -> tuple[KeptOut, ...]:
    """What either of two reviewers keeps out or set aside; reasons that differ are joined, the same stretch is one."""
    found: dict[Any, KeptOut] = {}
    for logs in (one, two):
        for key, value in _current_values(logs):
            recording, trial, channel, name, place = key
            same: Any = key
            if name in states.IN_RECORDING:
                key = states.Key(recording, trial, channel, name, f"{logs.reviewer}/{place}")
                same = (recording, channel, name, value._replace(reasons=()) if name == "set aside" else value)
            if (known := found.get(same)) is None:
                found[same] = KeptOut(key, value, (logs.reviewer,))
            elif logs.reviewer not in known.by:
                found[same] = KeptOut(known.key, _both(known.value, value), (*known.by, logs.reviewer))
    return tuple(found.values())


def covers(key: states.Key, item: Item, participant: str | None) -> bool:
    """Whether what stands under a key keeps an item of a participant's out."""
    recording, trial, channel = item
    covering = [(recording, trial, None, "no cue", None), (None, None, None, states.OF_PARTICIPANT, participant)]
    return key in [*covering, *((recording, None, where, "excluded", None) for where in (None, channel))]


def keepers(kept: Iterable[KeptOut], item: Item, participant: str | None) -> tuple[str, ...]:
    """The reviewers who keep an item out, by whatever exclusion."""
    return tuple(dict.fromkeys(who for entry in kept if covers(entry.key, item, participant) for who in entry.by))


def _current_values(logs: Logs) -> Iterator[tuple[states.Key, Any]]:
    for key, value in logs.ledger.rare.items():
        if value is not None:
            yield key, value


def _both(a: Any, b: Any) -> Any:
    """One value of two: texts joined, reasons of a stretch put together."""
    if isinstance(a, str):
        return a if a == b else f"{a} / {b}"
    return a._replace(reasons=tuple(dict.fromkeys([*a.reasons, *b.reasons]))) if isinstance(a, Stretch) else a
