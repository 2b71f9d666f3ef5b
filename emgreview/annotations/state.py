"""The state that decisions add up to, as frozen values for people and front ends, and the names of what it is made of.

Sample numbers are those of the source recording; seconds run from the trial's recorded cue. What the values of a field
are, and how each command changes them, stands in its module in ``fields``; what the log adds up to in ``ledger``.

    TrialState, ChannelState, BurstState    what stands of a trial, a channel of it, a burst
    channel_state                           a channel's, from the values of its fields
"""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from operator import attrgetter
from types import MappingProxyType
from typing import Any

from emgreview.annotations.fields import DEFAULTS as DEFAULTS
from emgreview.annotations.fields import EXCLUDED as EXCLUDED
from emgreview.annotations.fields import FIELDS as FIELDS
from emgreview.annotations.fields import IN_RECORDING as IN_RECORDING
from emgreview.annotations.fields import OF_PARTICIPANT as OF_PARTICIPANT
from emgreview.annotations.fields.activity import RESPONSE as RESPONSE
from emgreview.annotations.fields.activity import VERDICTS as VERDICTS
from emgreview.annotations.fields.activity import Activity as Activity
from emgreview.annotations.fields.activity import Burst as Burst
from emgreview.annotations.fields.activity import accept as accept
from emgreview.annotations.fields.activity import add as add
from emgreview.annotations.fields.activity import find_burst as find_burst
from emgreview.annotations.fields.activity import half_width as half_width
from emgreview.annotations.fields.activity import move as move
from emgreview.annotations.fields.activity import none_visible as none_visible
from emgreview.annotations.fields.activity import not_locatable as not_locatable
from emgreview.annotations.fields.activity import proposal as proposal
from emgreview.annotations.fields.activity import remove as remove
from emgreview.annotations.fields.activity import reviewed as reviewed
from emgreview.annotations.fields.activity import set_of_burst as set_of_burst
from emgreview.annotations.fields.activity import stands as stands
from emgreview.annotations.fields.activity import untouched as untouched
from emgreview.annotations.fields.signal import USABLE as USABLE
from emgreview.annotations.fields.signal import Signal as Signal
from emgreview.annotations.ledger import ACCEPTANCE as ACCEPTANCE
from emgreview.annotations.ledger import IN_BULK as IN_BULK
from emgreview.annotations.ledger import NOT_DECISIONS as NOT_DECISIONS
from emgreview.annotations.ledger import Key as Key
from emgreview.annotations.ledger import Step as Step
from emgreview.annotations.ledger import Value as Value
from emgreview.annotations.ledger import keyed as keyed


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
    """One channel of one trial. ``bursts`` holds every burst by id, removed ones too; ``active`` those that count.
    ``values`` are those of every field of the channel, by its name.

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
    values: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def earliest_s(self) -> float | None:
        return None if self.earliest is None else (self.earliest - self.cue) / self.rate_hz

    @property
    def latest_s(self) -> float | None:
        return None if self.latest is None else (self.latest - self.cue) / self.rate_hz

    @property
    def active(self) -> tuple[BurstState, ...]:
        """The bursts that count, in order of time."""
        if self.found != "bursts":
            return ()
        return tuple(sorted((b for b in self.bursts.values() if b.origin != "removed"), key=attrgetter("onset", "id")))

    @property
    def standing(self) -> tuple[BurstState, ...]:
        """Former name of ``active``; deprecated."""
        warnings.warn("ChannelState.standing is called active now; write .active", DeprecationWarning, stacklevel=2)
        return self.active

    @property
    def response(self) -> BurstState | None:
        """The active burst of kind "response" that begins first."""
        return next((burst for burst in self.active if burst.kind == "response"), None)


@dataclass(frozen=True, slots=True)
class TrialState:
    """One trial. ``cue`` is the recorded cue's sample, ``corrected_cue`` a person's or None; ``values`` are those of
    every field of the trial, by its name."""

    id: str
    recording: str
    behaviour: str | None
    comment: str | None
    discuss: bool
    cue: int
    corrected_cue: int | None
    rate_hz: float
    channels: Mapping[str, ChannelState]
    values: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def reviewed(self) -> bool:
        return all(channel.reviewed for channel in self.channels.values())


def channel_state(
    label: str,
    signal: Signal,
    activity: Activity,
    comment: str | None,
    discuss: bool,
    cue: int,
    rate: float,
    in_bulk: bool = False,
    values: Mapping[str, Any] | None = None,
) -> ChannelState:
    """The frozen value of one channel of one trial."""
    return ChannelState(
        label,
        signal.state,
        signal.reasons,
        activity.found,
        MappingProxyType({name: _burst_state(name, burst, cue, rate) for name, burst in activity.bursts.items()}),
        activity.earliest,
        activity.latest,
        activity.confidence,
        comment,
        discuss,
        reviewed(activity, signal),
        in_bulk,
        cue,
        rate,
        values or {},
    )


def _burst_state(name: str, burst: Burst, cue: int, rate: float) -> BurstState:
    return BurstState(
        name,
        burst.origin,
        burst.accepted,
        burst.onset,
        burst.offset,
        burst.kind,
        burst.confidence,
        None if burst.automatic is None else burst.automatic._asdict(),
        cue,
        rate,
        burst.half_width,
    )
