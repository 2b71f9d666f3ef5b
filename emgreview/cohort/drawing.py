"""Draws that anybody can repeat: the order of SHA-256 digests of a seed and an id decides, nothing else.

Adding or removing a trial moves no other one, and no version of a random generator matters.

    new_seed        a seed that nobody chose
    shuffled        ids in the order of a seed
    stratified      a share of every stratum
    spread          some of a queue, one from every stretch of it
    repeats         trials to show again, and after which others
"""

import hashlib
import math
import secrets
from collections.abc import Hashable, Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TypeVar

from emgreview.errors import ParameterError

T = TypeVar("T", bound=Hashable)
S = TypeVar("S", bound=Hashable)


def new_seed() -> str:
    return secrets.token_hex(8)


def shuffled(ids: Iterable[T], seed: str) -> list[T]:
    """Ids in random order, the same for the same seed."""
    return sorted(ids, key=lambda one: hashlib.sha256(f"{seed}/{one!r}".encode()).digest())


def stratified(strata: Mapping[T, S], share: float, seed: str) -> list[T]:
    """About ``share`` (0 to 1) of every stratum, at least one of each; ``strata`` gives the stratum of each id.

    The whole is rounded up; what the strata's own shares leave over goes to the largest remainders.
    """
    if not 0 < share <= 1:
        raise ParameterError(f"share came as {share!r}; allowed: above 0 and at most 1; correct it.")
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
    drawn = {one for stratum, ids in members.items() for one in shuffled(ids, seed)[: counts[stratum]]}
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
