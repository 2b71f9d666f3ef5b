"""Trials of a person that are worth a look, and why: what a review can step through.

    LISTS           by its name: what finds the trials of one person
    odd_trials      trials of some people by list, each with its channel and reason
    OddTrial        one of them
    NEEDS_HEART     the list that needs what ``check`` found
    MOST_UNLIKE     the list whose order says something

Each person is held against their own other trials, never against other people; a list says where to look, and nothing
about what stands there.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.person import Person

EARLIEST_S = 0.08
"""Nobody answers a sound or light by an arm muscle sooner; shoulder muscles may, at some 100 ms after a light (from
memory). A limit to look by, not a verdict: say early, not anticipation."""

OWN_RANGE = 3.5
"""Robust z beyond which an onset lies outside the person's own range. References: Iglewicz & Hoaglin 1993."""

MOST_HAVE = 0.75
"""A trial without a burst is odd where so many of the person's trials have one (our own choice)."""
APART_S = 0.02
UNLIKE_SHARE, UNLIKE_LEAST = 0.05, 3
"""So many of a person's trials are called the most unlike: a share, and at least so many (our own choice)."""


class OddTrial(NamedTuple):
    """A trial by its id, the channel that shows it ("" for all), and why."""

    trial: str
    channel: str
    reason: str


Finder = Callable[[Person], Iterator[OddTrial]]


def _by_channel(test: Callable[[Person, int], tuple[NDArray[np.bool_], Callable[[int], str]]]) -> Finder:
    """What finds trials channel by channel: a test gives which, and what is said of one."""

    def find(one: Person) -> Iterator[OddTrial]:
        usable = one.usable
        for place, label in enumerate(one.labels):
            which, words = test(one, place)
            for at in np.flatnonzero(which & usable[place]).tolist():
                yield OddTrial(one.ids[at], label, words(at))

    return find


def _none(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    none = np.isnan(one.onset_s[place])
    usable = one.usable[place]
    share = float(np.mean(~none[usable])) if usable.any() else 0.0
    return none & (share > MOST_HAVE), lambda _: f"no burst, and {share:.0%} of the person's usable trials have one"


def _second(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    bursts = one.bursts[place]
    return bursts >= 2, lambda at: f"{bursts[at]:.0f} bursts begin after the cue"


def _outside(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    onset = one.onset_s[place]
    far = odd.robust_z(onset) if np.isfinite(onset).sum() >= odd.FEWEST else np.full(onset.shape, np.nan)
    with np.errstate(invalid="ignore"):
        early, outside = onset < EARLIEST_S, np.abs(far) > OWN_RANGE

    def words(at: int) -> str:
        if early[at]:
            return f"onset {1000 * onset[at]:.0f} ms after the cue, sooner than {1000 * EARLIEST_S:.0f} ms"
        middle = 1000 * float(np.nanmedian(onset))
        return f"onset {1000 * onset[at]:.0f} ms after the cue, the person's median is {middle:.0f} ms"

    return early | outside, words


def _after(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    with np.errstate(invalid="ignore"):
        late = one.onset_s[place] - one.response_s
    return late >= 0, lambda at: f"onset {1000 * late[at]:.0f} ms after the response"


def _beats(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    return one.beats[place], lambda _: "a heart beat between the cue and the trial's end"


def _methods(one: Person, place: int) -> tuple[NDArray[np.bool_], Callable[[int], str]]:
    first, second = one.onset_s[place], one.second_s[place]
    with np.errstate(invalid="ignore"):
        far = np.abs(first - second) > np.fmax(APART_S, one.high_s[place] - one.low_s[place])
    alone = np.isfinite(first) != np.isfinite(second)

    def words(at: int) -> str:
        if alone[at]:
            return "one method finds a burst, another does not"
        return f"two methods are {1000 * abs(first[at] - second[at]):.0f} ms apart"

    return far | alone, words


def _unlike(one: Person) -> Iterator[OddTrial]:
    """The most unlike trials, most unlike first: mean distance of the logarithm of the envelope from its median over
    trials, in robust z, in the channel where it is largest."""
    n = len(one.ids)
    if n < odd.FEWEST:
        return
    far = np.stack([unlikeness(one.envelope[place]) for place in range(len(one.labels))])
    far = np.where(one.usable, far, np.nan)
    with np.errstate(invalid="ignore"):
        most = np.where(np.isfinite(far).any(axis=0), np.nanmax(np.nan_to_num(far, nan=-np.inf), axis=0), -np.inf)
    for at in np.argsort(-most, kind="stable")[: max(UNLIKE_LEAST, math.ceil(UNLIKE_SHARE * n))].tolist():
        if math.isfinite(most[at]):
            label = one.labels[int(np.nanargmax(far[:, at]))]
            yield OddTrial(one.ids[at], label, f"its envelope is {most[at]:.1f} SD more unlike the median than others")


def unlikeness(envelope: FloatArray) -> FloatArray:
    """How unlike its median each row of (trials, bins) is, in robust z of the mean absolute distance of logarithms."""
    x = np.asarray(envelope, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        x = np.where(x > 0, np.log(x), np.nan)
    whole = np.isfinite(x).all(axis=1)
    out = np.full(len(x), np.nan)
    if whole.sum() >= odd.FEWEST:
        away = np.mean(np.abs(x[whole] - np.median(x[whole], axis=0)), axis=1)
        out[whole] = odd.robust_z(away)
    return out


NEEDS_HEART, MOST_UNLIKE = "heart beat in the search window", "most unlike the person's other trials"
LISTS: Mapping[str, Finder] = MappingProxyType(
    {
        "none found where most have one": _by_channel(_none),
        "a second burst": _by_channel(_second),
        "onset outside the person's own range": _by_channel(_outside),
        "onset after the response": _by_channel(_after),
        NEEDS_HEART: _by_channel(_beats),
        "two methods disagree": _by_channel(_methods),
        MOST_UNLIKE: _unlike,
    }
)
"""Lists of trials, by the words they are chosen by."""


def odd_trials(people: Iterable[Person], which: str) -> list[OddTrial]:
    """The trials of one of LISTS, person by person."""
    return [found for one in people for found in LISTS[which](one)]
