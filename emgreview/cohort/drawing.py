"""Draws that anybody can repeat and nobody can choose: the order of SHA-256 digests decides, nothing else.

Adding or removing a trial moves no other one, and no version of a random generator matters.

What a sample vouches for (an audit, a second reviewer) is drawn by numbers that follow from the recordings alone: one
for each channel of each trial, the same in every copy of a folder, for every reviewer and rule, however often it is
planned. So there is no second draw to hope for, but from a file saved anew (in another format, with other decimals) or
other cues, in a new folder, which nothing can see and each statement says. A number is the SHA-256 of

    <purpose>/<SHA-256 of the channel's stored samples>/<how many whole 512 samples lie before the cue>

so that neither a label, a stated rate, a unit nor the rest of a file changes it, and a cue found some milliseconds
elsewhere mostly keeps it. That of a whole trial is the lowest of its channels. The lowest numbers are drawn. Whoever
wants to know them can, and that is the price: they say nothing of what is where, but a lot may be made to suit them;
see ``second_look.bulk`` for what counts against that.

    new_seed        a seed that nobody chose
    refuse_seed     the answer to a seed from outside
    shuffled        ids in the order of a seed
    Numbers         numbers that follow from the recordings
    stratified      a share of every stratum
    spread          some of a queue, one from every stretch of it
    repeats         trials to show again, and after which others
"""

import hashlib
import math
import secrets
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeVar

from emgreview.checks import refusal
from emgreview.cohort.marks import cue_in
from emgreview.errors import ParameterError
from emgreview.model import Recording

T = TypeVar("T", bound=Hashable)
S = TypeVar("S", bound=Hashable)


def new_seed() -> str:
    return secrets.token_hex(8)


def refuse_seed(options: Mapping[str, Any], what: str) -> None:
    """Raise ParameterError where a seed came from outside, and TypeError for any other option that is not known."""
    if "seed" in options:
        raise ParameterError(
            f"seed came as {options['seed']!r}; none is taken, because seeds can be tried until the draw suits; "
            f"{what}, so leave it out."
        )
    if options:
        raise TypeError(f"unknown options: {', '.join(options)}")


STRETCH = 512
"""Samples that share a number."""


@dataclass(frozen=True)
class Numbers:
    """The numbers of a purpose. ``drawn_by`` holds, by recording, the digest of each channel's stored samples."""

    purpose: str
    drawn_by: Mapping[str, Mapping[str, str]]

    @classmethod
    def of(cls, purpose: str, recordings: Iterable[Recording]) -> "Numbers":
        """The numbers of some recordings; reads each of them once."""
        return cls(purpose, {one.name: dict(one.channel_digests) for one in recordings})

    def order(self, recording: str, trial: str, channel: str | None = None) -> tuple[bytes, int, str]:
        """Where a channel of a trial, or a whole trial, stands: by its number; where two are the same, the earlier."""
        cue, digests = cue_in(trial) or 0, self.drawn_by[recording]
        chosen = digests.values() if channel is None else (digests[channel],)
        texts = (f"{self.purpose}/{digest}/{cue // STRETCH}" for digest in chosen)
        return min(hashlib.sha256(text.encode()).digest() for text in texts), cue, trial


def shuffled(ids: Iterable[T], seed: str) -> list[T]:
    """Ids in random order, the same for the same seed."""
    return sorted(ids, key=lambda one: hashlib.sha256(f"{seed}/{one!r}".encode()).digest())


def stratified(strata: Mapping[T, S], share: float, order: Callable[[T], Any]) -> list[T]:
    """About ``share`` (0 to 1) of every stratum, at least one of each: the first by ``order``, a sort key that chance
    made. ``strata`` gives the stratum of each id.

    The whole is rounded up; what the strata's own shares leave over goes to the largest remainders.
    """
    if not 0 < share <= 1:
        raise refusal("share", share, "above 0 and at most 1")
    members: dict[S, list[T]] = {}
    for one, stratum in strata.items():
        members.setdefault(stratum, []).append(one)
    wanted = math.ceil(share * len(strata) - 1e-9)
    counts = {stratum: max(1, math.floor(share * len(ids) + 1e-9)) for stratum, ids in members.items()}
    remainders = sorted(
        (stratum for stratum, ids in members.items() if counts[stratum] < len(ids)),
        key=lambda stratum: (counts[stratum] - share * len(members[stratum]), str(stratum)),
    )
    for stratum in remainders[: max(0, wanted - sum(counts.values()))]:
        counts[stratum] += 1
    drawn = {one for stratum, ids in members.items() for one in sorted(ids, key=order)[: counts[stratum]]}
    return [one for one in strata if one in drawn]


def spread(queue: Sequence[T], count: int, seed: str) -> list[T]:
    """``count`` of a queue, one at random from each of so many equal stretches, in order."""
    count = min(count, len(queue))
    edges = [round(number * len(queue) / count) for number in range(count + 1)] if count else [0]
    return [shuffled(queue[start:stop], seed)[0] for start, stop in pairwise(edges)]


def repeats(queue: Sequence[T], count: int, seed: str) -> list[tuple[T, T]]:
    """Trials to show again, with the one that each comes after: first showings and repeats both spread, a quarter of
    the queue or more between the two."""
    gap = max(1, len(queue) // 4)
    chosen = spread(queue[: len(queue) - gap], count, seed)
    place = {one: number for number, one in enumerate(queue)}
    return [(one, shuffled(queue[place[one] + gap :], f"{seed}/{one!r}")[0]) for one in chosen]
