"""Ways through a review: which trials to step through, and in what order. A walk is a tuple of trial ids.

WALKS           their names, in the words people read
walk            the trials of one
differing       where another method says something else
disagreeing     where another reviewer does
"""

import random
from collections.abc import Callable, Mapping
from math import inf, isfinite

from emgreview.annotations.state import ChannelState, TrialState
from emgreview.cohort.merging import merge_reviews
from emgreview.errors import UnknownNameError
from emgreview.model import to_sample
from emgreview.session import Session
from emgreview.signal.onset import estimate_onsets

Ids = tuple[str, ...]


def _where(test: Callable[[TrialState], bool]) -> Callable[[Session], Ids]:
    return lambda session: tuple(trial for trial in session.queue if test(session.state(trial)))


def _any_channel(test: Callable[[ChannelState], bool]) -> Callable[[Session], Ids]:
    return _where(lambda state: any(test(channel) for channel in state.channels.values()))


def _least_certain(session: Session) -> Ids:
    """Widest interval of an automatic onset first; then trials whose onsets have none."""

    def width(trial: str) -> float:
        found = [session.automatic(trial, channel) for channel in session.state(trial).channels]
        known = [one.high_s - one.low_s for one in found if isfinite(one.high_s - one.low_s)]
        return max(known, default=-inf)

    return tuple(sorted(session.queue, key=lambda trial: -width(trial)))


def _shuffled(session: Session) -> Ids:
    ids = list(session.queue)
    random.Random(f"{session.reviewer}/{len(ids)}").shuffle(ids)
    return tuple(ids)


WALKS: Mapping[str, Callable[[Session], Ids]] = {
    "all trials, in the order of the review": lambda session: session.queue,
    "not yet reviewed": _where(lambda state: not state.reviewed),
    "least certain first": _least_certain,
    "in random order": _shuffled,
    "to look at again (method changed)": lambda session: session.relook,
    "to discuss": _where(lambda state: state.discuss or any(c.discuss for c in state.channels.values())),
    "unusable or with caution": _any_channel(lambda channel: channel.signal != "usable"),
    "moved, added or removed": _any_channel(
        lambda channel: any(burst.origin != "automatic" for burst in channel.bursts.values())
    ),
    "none visible or not locatable": _any_channel(
        lambda channel: channel.found in ("none visible", "not locatable", "none detected")
    ),
    "unsure": _any_channel(
        lambda channel: "unsure" in (channel.confidence, *(burst.confidence for burst in channel.bursts.values()))
    ),
}
"""Walks that need no number, by the words they are chosen by."""


def walk(session: Session, which: str) -> Ids:
    """The trials of one of WALKS, in order; perhaps none."""
    if which not in WALKS:
        raise UnknownNameError("walk", which, WALKS)
    return WALKS[which](session)


def differing(session: Session, method: str, by_s: float) -> Ids:
    """Trials where another method's onset differs from the proposed one by more than ``by_s`` seconds on some channel,
    or where only one of the two found any; in the order of the review."""
    apart = set()
    for trials in session.trials:
        for channel, label in enumerate(trials.labels):
            other = estimate_onsets(
                trials.data[:, channel],
                trials.rate_hz,
                cue_s=trials.before / trials.rate_hz,
                rest_s=trials.processing.rest_s,
                method=method,
            )
            for trial, onset_s in zip(trials.ids, other.onset_s - trials.before / trials.rate_hz, strict=True):
                if session.hides_automatic(trial, label):
                    continue
                proposed = session.automatic(trial, label).onset_s
                both = isfinite(onset_s) and isfinite(proposed)
                far = both and to_sample(abs(onset_s - proposed), trials.rate_hz) > to_sample(by_s, trials.rate_hz)
                if far or isfinite(onset_s) != isfinite(proposed):
                    apart.add(trial)
    return tuple(trial for trial in session.queue if trial in apart)


def disagreeing(session: Session, other: str, within_ms: float) -> Ids:
    """Trials where another reviewer of the same folder decided otherwise, or marked an onset more than ``within_ms``
    apart; in the order of the review. Raises UnknownNameError where there is no such reviewer."""
    merged = merge_reviews(session.folder, session.reviewer, other, within_ms=within_ms)
    apart = {trial for _, trial, _ in merged.disputed}
    return tuple(trial for trial in session.queue if session.source(trial) in apart)
