"""Lists of trials to step through in a review, in order. A list is a tuple of trial ids.

TRIAL_LISTS           their names, in the words people read
trial_list      the trials of one
left_of_audit         the channels of a bulk audit that are left to look at
with_behaviour        trials in which the person did one thing
MethodComparison      where two methods say something else, found a little at a time
OddTrials             trials that are odd among the person's own, found a recording at a time
where_reviewers_differ     where another reviewer does
"""

import random
import warnings
from collections.abc import Callable, Mapping
from math import isfinite

from emgreview.annotations.state import ChannelState, TrialState
from emgreview.checking import check
from emgreview.cohort.merging import merge_reviews
from emgreview.detecting import onsets_of
from emgreview.errors import ParameterError, SignalWarning, UnknownNameError
from emgreview.model import Trials, longest, to_sample
from emgreview.people.lists import LISTS, MOST_UNLIKE, NEEDS_HEART, odd_trials
from emgreview.people.person import gathered
from emgreview.people.recorded import Recorded, RecordedJob
from emgreview.second_look.bulk import bulk_audit
from emgreview.session import Session, nobody_named
from emgreview.signal.onset import METHODS

Ids = tuple[str, ...]


def _where(test: Callable[[TrialState], bool]) -> Callable[[Session], Ids]:
    return lambda session: tuple(trial for trial in session.queue if test(session.state(trial)))


def _any_channel(test: Callable[[ChannelState], bool]) -> Callable[[Session], Ids]:
    return _where(lambda state: any(test(channel) for channel in state.channels.values()))


def _least_certain(session: Session) -> Ids:
    """Where the method could not tell, then the widest interval of an automatic onset, then trials without any."""

    def width(trial: str) -> float:
        return max(session.automatic(trial, channel).width_s for channel in session.state(trial).channels)

    return tuple(sorted(session.queue, key=width, reverse=True))


def _shuffled(session: Session) -> Ids:
    ids = list(session.queue)
    random.Random(f"{session.reviewer}/{len(ids)}").shuffle(ids)
    return tuple(ids)


def _odd(which: str) -> Callable[[Session], Ids]:
    def find(session: Session) -> Ids:
        search = OddTrials(session, which)
        while search.step():
            pass
        return search.trials()

    return find


AUDIT = "left of the bulk audit"
"""The list of the channels of a bulk audit that are still open."""

OWN = "as proposed"
"""In place of a method's name: what this review proposes, whatever found it."""

TRIAL_LISTS: Mapping[str, Callable[[Session], Ids]] = {
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
    "reviewed": _where(lambda state: state.reviewed),
    AUDIT: lambda session: tuple(left_of_audit(session)),
    **{name: _odd(name) for name in LISTS},
}
"""Lists that need no number, by the words they are chosen by."""


@nobody_named
def trial_list(session: Session, which: str) -> Ids:
    """The trials of one of TRIAL_LISTS, in order; perhaps none."""
    if which not in TRIAL_LISTS:
        raise UnknownNameError("list of trials", which, TRIAL_LISTS)
    return TRIAL_LISTS[which](session)


@nobody_named
def left_of_audit(session: Session) -> Mapping[str, list[str]]:
    """What is left to look at of the bulk audit planned last: channels, by trial. Raises DecisionError without one."""
    found: dict[str, list[str]] = {}
    for trial, channel in bulk_audit(session).open:
        found.setdefault(trial, []).append(channel)
    return found


@nobody_named
def with_behaviour(session: Session, behaviour: str) -> Ids:
    """Trials in which the person is said to have done one thing, in the order of the review."""
    return tuple(trial for trial in session.queue if session.state(trial).behaviour == behaviour)


class MethodComparison:
    """Two methods compared on every trial and channel, a few trials at a time, so that nobody need wait for all.

    ``one`` and ``other`` are names in METHODS, or OWN for what the review proposes. Trials where the automatic mark of
    a channel is hidden are passed over on it.
    """

    PIECE = 5
    """Trials in one step."""

    def __init__(self, session: Session, one: str, other: str, by_s: float):
        """Raises UnknownNameError, ParameterError (twice the same)."""
        for method in (one, other):
            if method not in (OWN, *METHODS):
                raise UnknownNameError("onset method", method, (OWN, *METHODS))
        if one == other:
            raise ParameterError(f"{one!r} came twice; choose two methods that differ.")
        self._session, self._methods, self._by_s = session, (one, other), by_s
        self._left = [
            (trials, label, start)
            for trials in session.trials
            for label in trials.labels
            for start in range(0, len(trials), self.PIECE)
        ]
        self._n = len(self._left)
        self._apart: set[str] = set()

    @property
    def share(self) -> float:
        """How much is done, 0 to 1."""
        return 1 - len(self._left) / self._n

    def step(self) -> bool:
        """Compare a few trials more; whether any are left."""
        trials, label, start = self._left.pop()
        ids = trials.ids[start : start + self.PIECE]
        first, second = (self._onsets(trials, label, start, method) for method in self._methods)
        for trial, a, b in zip(ids, first, second, strict=True):
            both = isfinite(a) and isfinite(b)
            far = both and to_sample(abs(a - b), trials.rate_hz) > longest(self._by_s, trials.rate_hz)
            if (far or isfinite(a) != isfinite(b)) and not self._session.hides_automatic(trial, label):
                self._apart.add(trial)
        return bool(self._left)

    def trials(self) -> Ids:
        """Trials where the onsets differ by more than ``by_s`` seconds on some channel, or where only one of the two
        methods found any; in the order of the review."""
        return tuple(trial for trial in self._session.queue if trial in self._apart)

    def _onsets(self, trials: Trials, label: str, start: int, method: str) -> list[float]:
        """In seconds from the cue."""
        stop = start + self.PIECE
        if method == OWN:
            return [self._session.automatic(trial, label).onset_s for trial in trials.ids[start:stop]]
        found = onsets_of(trials, label, method=method, some=slice(start, stop))
        cue_s = trials.before / trials.rate_hz
        return [float(onset_s) for onset_s in found.onset_s - cue_s]


class OddTrials:
    """The trials of one of :data:`emgreview.people.lists.LISTS`, a recording at a time, so that nobody need wait for
    all. Marks that are hidden from the reviewer take no part."""

    def __init__(self, session: Session, which: str):
        """Raises UnknownNameError."""
        if which not in LISTS:
            raise UnknownNameError("list of trials", which, LISTS)
        self._session, self._which = session, which
        self._left = list(session.trials)
        self._n = max(1, len(self._left))
        self._recorded: list[Recorded] = []

    @property
    def share(self) -> float:
        """How much is done, 0 to 1."""
        return 1 - len(self._left) / self._n

    def step(self) -> bool:
        """Look at one recording more; whether any are left."""
        if self._left:
            part = self._left.pop(0)
            before_s, after_s = -float(part.time_s[0]), float(part.time_s[-1]) + 1 / part.rate_hz
            job = RecordedJob(part.cue, before_s, after_s, part.processing)
            quality = tuple(check(part.recording)) if self._which == NEEDS_HEART else ()
            with warnings.catch_warnings(action="ignore", category=SignalWarning):  # opening the review told them
                self._recorded.append(job.of_trials(part, quality))
        return bool(self._left)

    def trials(self) -> Ids:
        """Their ids: in the order of the review, the most unlike ones as they are unlike."""
        session = self._session
        found = odd_trials(gathered(self._recorded, session.decisions()), self._which)
        ids = dict.fromkeys(one.trial for one in found if not session.hides_automatic(one.trial, one.channel))
        if self._which == MOST_UNLIKE:
            return tuple(trial for trial in ids if trial in set(session.queue))
        return tuple(trial for trial in session.queue if trial in ids)


@nobody_named
def where_methods_differ(session: Session, one: str, other: str, by_s: float) -> Ids:
    """The trials of a whole :class:`MethodComparison`."""
    comparison = MethodComparison(session, one, other, by_s)
    while comparison.step():
        pass
    return comparison.trials()


@nobody_named
def where_reviewers_differ(session: Session, other: str, within_ms: float) -> Ids:
    """Trials where another reviewer of the same folder decided otherwise, or marked an onset more than ``within_ms``
    apart; in the order of the review. Raises UnknownNameError where there is no such reviewer."""
    merged = merge_reviews(session.folder, session.reviewer, other, within_ms=within_ms)
    apart = {trial for _, trial, _ in merged.disputed}
    return tuple(trial for trial in session.queue if session.source(trial) in apart)
