"""Whether a channel of a trial can be used.

In the log {"state": "usable" | "caution" | "unusable", "reasons": [the main one first]}; not set: usable.

    Signal, USABLE      the value
    STATES              its words, the more careful later
    more_careful        of two
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from emgreview.annotations.fields.field import CHANNEL, ByName, Change, Compared, Field, Merging

STATES = ("usable", "caution", "unusable")


@dataclass(frozen=True, slots=True)
class Signal(ByName):
    """``state`` is a word of STATES; ``reasons`` the main one first."""

    state: str
    reasons: tuple[str, ...] = ()


USABLE = Signal("usable")


def read(stored: Mapping[str, Any]) -> Signal:
    return Signal(stored["state"], tuple(stored["reasons"]))


def write(signal: Signal) -> dict[str, Any]:
    return {"state": signal.state, "reasons": list(signal.reasons)}


def more_careful(a: Signal, b: Signal) -> Signal:
    """The more careful of two, with the reasons of both where they are the same state."""
    if a.state != b.state:
        return max(a, b, key=lambda signal: STATES.index(signal.state))
    return Signal(a.state, tuple(dict.fromkeys([*a.reasons, *b.reasons])))


def _clash(a: Signal, b: Signal, within: float) -> str:
    return " against ".join(sorted([a.state, b.state])) if a.state != b.state else ""


def _changes(seen: Compared) -> Iterator[Change]:
    yield seen.change("reasons changed" if seen.old.state == seen.new.state else f"newly {seen.new.state}")


FIELD = Field(
    name="signal",
    of=CHANNEL,
    default=USABLE,
    read=read,
    write=write,
    words={
        "newly unusable": ("newly unusable", "newly unusable"),
        "newly caution": ("newly with caution", "newly with caution"),
        "newly usable": ("newly usable", "newly usable"),
        "reasons changed": ("signal with other reasons", "signals with other reasons"),
    },
    detailed=("newly unusable", "newly caution"),
    changes=_changes,
    columns={
        "signal": ("text", "Signal: usable, caution or unusable"),
        "signal_reasons": ("text", "Reasons for caution or unusable, the main one first, between '; '"),
    },
    cells=lambda trial, channel, burst: {
        "signal": channel.signal,
        "signal_reasons": "; ".join(channel.reasons) or None,
    },
    merging=Merging(join=more_careful, how="reasons of both", clash=_clash, disputable=True, row="signal"),
)
