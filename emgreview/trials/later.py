"""Trials that are cut where they are looked at: many recordings in the memory of a few.

What is said of them, and the onsets found in them, are known from before; samples are filtered and cut when they are
asked for, and those of the recordings that were asked for last stay at hand.

    LaterTrials     the trials of one recording
    is_later        are these such
    AT_HAND_MB      how much stays at hand
"""

import threading
from collections import OrderedDict
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from emgreview.errors import ReadError
from emgreview.model import Onsets, Trials
from emgreview.model.sources import digest_kept
from emgreview.trials.cutting import Cut, Plan, arrays

AT_HAND_MB = 256.0
"""Samples at hand at most; those of the two recordings asked for last stay in any case."""

_ARRAYS = ("data", "envelope", "auxiliary")


class LaterTrials(Trials):
    """Trials whose arrays are made when they are asked for, each time the same.

    ``detected``: the onsets of every channel, found by the method and parameters of ``detected_by``. ``known``: what
    else was made of the arrays before, by name.
    """

    detected: Mapping[str, Onsets] = MappingProxyType({})  # of a copy with other fields nothing is known
    detected_by: tuple[str, Mapping[str, Any]] | None = None
    known: Mapping[str, Any] = MappingProxyType({})
    _plan: Plan
    _samples: str = ""  # the digest of what was cut; "" where it was not known then

    @classmethod
    def of(
        cls,
        plan: Plan,
        said: Mapping[str, Any],
        *,
        blind: bool = False,
        detected: Mapping[str, Onsets] | None = None,
        detected_by: tuple[str, Mapping[str, Any]] | None = None,
        known: Mapping[str, Any] | None = None,
    ) -> "LaterTrials":
        """``said``: the notes, codes and impossible levels of the cut."""
        made = object.__new__(cls)
        made.__dict__.update({**plan.trials(), **said, "blind": blind, "_plan": plan})
        made.__dict__["_samples"] = digest_kept(plan.rec)
        made.__dict__.update({"detected": detected or {}, "detected_by": detected_by, "known": known or {}})
        return made

    def __getattr__(self, name: str) -> Any:
        if name not in _ARRAYS or "_plan" not in self.__dict__:
            raise AttributeError(f"{type(self).__name__} has no {name!r}")
        return getattr(_HAND.of(self), name)

    def __getstate__(self) -> dict[str, Any]:
        return dict(self.__dict__)

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)


def is_later(trials: Trials) -> bool:
    """Whether the arrays of some trials are made where they are asked for, and follow from recording and cut alone: a
    copy with other arrays holds these."""
    return isinstance(trials, LaterTrials) and "_plan" in trials.__dict__


def _demand_unchanged(trials: LaterTrials) -> None:
    """ReadError where the file of a recording holds other samples than those of which onsets and notes are known."""
    rec = trials._plan.rec
    if trials._samples and rec.digest != trials._samples:
        raise ReadError(
            f"the file of {rec.name!r} was written since its trials were cut, and holds other samples; it must stay as "
            "it is while it is reviewed; restore it, or read it and cut its trials again."
        )


class _Hand:
    """The arrays of the recordings that were asked for last."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._held: OrderedDict[int, tuple[LaterTrials, Cut]] = OrderedDict()

    def of(self, trials: LaterTrials) -> Cut:
        with self._lock:
            found = self._held.get(id(trials))
            if found is None:
                _demand_unchanged(trials)
                found = trials, arrays(trials._plan)
                self._held[id(trials)] = found
                while len(self._held) > 2 and self._size() > AT_HAND_MB * 1e6:
                    self._held.popitem(last=False)
            self._held.move_to_end(id(trials))
            return found[1]

    def _size(self) -> int:
        return sum(cut.data.nbytes + cut.envelope.nbytes + cut.auxiliary.nbytes for _, cut in self._held.values())


_HAND = _Hand()
