"""The trials of a session as browsers know them: each by a number of its own, which stays whatever joins the review.

KnownTrials     numbers, places in the order of the review, and the looks of each person's session
demand_channel  UnknownNameError unless some trials have a channel
"""

import itertools
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from emgreview import evidence
from emgreview.errors import DecisionError, ParameterError, UnknownNameError
from emgreview.model import Trials
from emgreview.session import Session
from emgreview.views.screen_setup import Look, demand_alike


class KnownTrials:
    """``queue``: the session's, as it was when :meth:`take` was called last; ``number`` and ``rank``: by trial, what a
    browser calls it by, and its place there, from 0."""

    def __init__(self, session: Session):
        self._session = session
        self._trials: tuple[Trials, ...] = ()
        self.queue: tuple[str, ...] = ()
        self.number: dict[str, int] = {}
        self.rank: dict[str, int] = {}
        self.unlike = ""
        self._known: list[str] = []
        self._own: dict[str, tuple[Trials, int]] = {}
        self._when: dict[str, tuple[int, int]] = {}
        self._groups: dict[int, tuple[int, tuple[Trials, ...]]] = {}
        self._looks: dict[int, Look] = {}
        self._numbers = itertools.count()
        self.take()

    def __len__(self) -> int:
        return len(self._known)

    @property
    def behind(self) -> bool:
        """Whether trials have joined the session since, or have been put in another order."""
        now = self._session.queue
        return self._session.trials is not self._trials or (now != self.queue and set(now) == set(self.queue))

    def take(self) -> list[int]:
        """Take in what is new of the session, and its order. Returns the numbers of known trials that are drawn
        otherwise from now on: where more of the same person's session has joined, it has another scale."""
        session = self._session
        own = {trial: (trials, row) for trials in session.trials for row, trial in enumerate(trials.ids)}
        self._trials, self.queue = session.trials, session.queue
        self.rank = {trial: place for place, trial in enumerate(self.queue)}
        for trial in self.queue:
            if trial not in self.number:
                self.number[trial] = len(self._known)
                self._known.append(trial)
                self._own[trial] = own[session.source(trial)]
        names = {name: at for at, name in enumerate(dict.fromkeys(part.recording.name for part in session.trials))}
        self._when = {
            trial: (names[trials.recording.name], trials.cues[row].sample) for trial, (trials, row) in self._own.items()
        }
        try:
            demand_alike(session.trials)
        except ParameterError as why:  # those that were there were alike when the screen was opened
            self.unlike = str(why)
        return self._group()

    def _group(self) -> list[int]:
        before, regrouped = self._groups, set()
        self._groups = {}
        for batches in evidence.same_electrodes(self._session.trials):
            known = [before[id(one)] for one in batches if id(one) in before]
            number = known[0][0] if known else next(self._numbers)
            if known and len(known[0][1]) != len(batches) and number in self._looks:
                del self._looks[number]
                regrouped.add(number)
            self._groups |= dict.fromkeys(map(id, batches), (number, batches))
        if not regrouped:
            return []
        return [n for trial, n in self.number.items() if self._groups[id(self._own[trial][0])][0] in regrouped]

    @property
    def order(self) -> list[int] | None:
        """Numbers in the order of the review; None where they are 0, 1, 2 …"""
        order = [self.number[trial] for trial in self.queue]
        return None if order == list(range(len(order))) else order

    def at(self, number: int) -> str:
        """The trial that a browser names. Raises ParameterError."""
        if number < len(self._known):
            return self._known[number]
        raise ParameterError(f"trial {number + 1} was asked for; there are {len(self._known)}; reload the page.")

    def those(self, numbers: Any) -> list[int]:
        """Those of some numbers that are trials."""
        return [number for number in numbers if number < len(self._known)]

    def around(self, trial: str, back: int, ahead: int) -> list[str]:
        """A trial and those before and after it in the order of the review, the nearest first."""
        here = self.rank[trial]
        near = range(max(0, here - back), min(len(self.queue), here + ahead + 1))
        return [self.queue[place] for place in sorted(near, key=lambda place: abs(place - here))]

    def own(self, trial: str) -> tuple[Trials, int]:
        """A trial's Trials, and its row there."""
        return self._own[trial]

    def when(self, trial: str) -> tuple[int, int]:
        """When it was recorded: which recording, and the sample of its cue."""
        return self._when[trial]

    def look(self, trials: Trials) -> Look:
        """That of the person's session which some trials are of, made when it is first asked for."""
        number, batches = self._groups[id(trials)]
        if number not in self._looks:
            self._looks[number] = Look(number, batches, self._session)
        return self._looks[number]

    def looks_at(self, trials: Sequence[str]) -> Iterator[tuple[Look, str]]:
        """The looks made so far of some trials."""
        for trial in trials:
            look = self._looks.get(self._groups[id(self._own[trial][0])][0])
            if look is not None:
                yield look, trial

    def demand_seen(self, trial: str, seen: Mapping[str, Any], needed: Sequence[str]) -> None:
        """Refuse to accept marks that are not those on the screen (another screen, a move that was refused …)."""
        state = self._session.state(trial)
        unseen = [channel for channel in needed if channel not in seen]
        if unseen:
            raise DecisionError(f"{', '.join(unseen)} was taken for decided on the screen, and is not; look again.")
        for channel, marks in seen.items():
            demand_channel(self.own(trial)[0], channel)
            stand = [[burst.id, burst.onset_s, burst.offset_s] for burst in state.channels[channel].active]
            if json.loads(json.dumps(stand)) != marks:
                raise DecisionError(
                    "the marks on the screen were not those that stand; they are shown anew, look again."
                )


def demand_channel(trials: Trials, label: str) -> None:
    """UnknownNameError unless some trials have a channel."""
    if label not in trials.labels:
        raise UnknownNameError("channel", label, trials.labels)
