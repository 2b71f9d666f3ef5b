"""What stands in a review now, of each trial and channel, and what of it is shown.

Current             values and states of trials and channels
NOTHING_SHOWN       the automatic mark where it is hidden

A few lines more than 400 lines: what stands and what of it may be shown is asked together; parting them would open a
door between the two.
"""

import math
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.events import Event
from emgreview.annotations.fields.field import CHANNEL, TRIAL
from emgreview.annotations.hidden import Hiding, mask
from emgreview.annotations.ledger import Ledger
from emgreview.annotations.methods import Method
from emgreview.annotations.proposals import Automatic as Automatic
from emgreview.annotations.proposals import Place, Proposals
from emgreview.annotations.reviewer_logs import ReviewerLogs
from emgreview.annotations.state import Activity, TrialState
from emgreview.errors import EmgreviewError
from emgreview.model import Trials
from emgreview.session.lock import one_at_a_time
from emgreview.session.policy import Policy
from emgreview.unnamed import unname, unnamed

Ids = tuple[str, ...]

NOTHING_SHOWN = Automatic(math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, note="")
"""What :meth:`Session.automatic` gives where the automatic mark is hidden."""


@one_at_a_time
class Current:
    """What stands now, of trials and around them; what is hidden is not shown."""

    lock: threading.RLock
    trials: tuple[Trials, ...]
    folder: Path
    reviewer: str
    _policy: Policy
    _proposals: Proposals
    _logs: ReviewerLogs
    _ledger: Ledger
    _hiding: Hiding
    _places: Mapping[str, Place]
    _relook_s: Mapping[str, float | None]
    _states: tuple[int, object, dict[str, TrialState]] = (0, None, {})

    @property
    def problem(self) -> str | None:
        """Why no decision can be taken, in a sentence, or None."""
        return self._logs.problem

    @property
    def read_only(self) -> bool:
        """Whether no decision can be taken; :attr:`problem` says why."""
        return self.problem is not None

    @property
    def blind(self) -> bool:
        """Whether condition and participant are hidden."""
        return self._logs.blind

    @property
    def convention(self) -> str | None:
        """How the study marks an onset, in its own words, one paragraph a line, or None."""
        return self._logs.convention

    @property
    def notes(self) -> tuple[Event, ...]:
        """The events of the logs that are about the review itself, in order."""
        return tuple(self._ledger.notes)

    def neutral(self, words: str) -> str:
        """Words as they may be shown: while the review is blind without the names of recordings and
        participants, and without what a recording says of a channel that it marks bad.

        Parameters
        ----------
        words : str
            The words.

        Returns
        -------
        str
        """
        return unnamed(words, self._proposals.recordings.values()) if self.blind else words

    @contextmanager
    def nobody_named(self) -> Iterator[None]:
        """A block in which errors of the package name no recording and no participant while the
        review is blind; for whoever works on a session from outside.

        Yields
        ------
        None
        """
        try:
            yield
        except EmgreviewError as error:
            self._unname(error)
            raise

    def _unname(self, error: EmgreviewError) -> None:
        logs = getattr(self, "_logs", None)
        if logs is not None and logs.blind:
            unname(error, self._proposals.recordings.values())

    def state(self, trial: str) -> TrialState:
        """The state of one trial, frozen, as it is to be shown: without automatic marks that are
        hidden.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        TrialState
            Its ``channels`` by label; marks in samples of the recording.
        """
        now = self._logs.next_counter, self._proposals.found  # a state changes by a command or another method alone
        if self._states[0] != now[0] or self._states[1] is not now[1]:
            self._states = (*now, {})
        known = self._states[2]
        if not isinstance(trial, str):
            self._proposals.place(trial)  # which says that there is none
        if trial not in known:
            known[trial] = self._state(trial, self._shown)
        return known[trial]

    def _state(self, trial: str, activity_of: Callable[[str, str], Activity]) -> TrialState:
        place = self._proposals.place(trial)
        name = place.recording.name
        channels = {
            label: states.channel_state(
                label,
                self._value(trial, label, "signal"),
                activity_of(trial, label),
                self._value(trial, label, "comment"),
                self._value(trial, label, "discuss"),
                place.cue,
                place.rate_hz,
                self._in_bulk(trial, label),
                self._values(trial, label, fields.of(CHANNEL)),
            )
            for label in place.labels
        }
        return TrialState(
            trial,
            name,
            self._value(trial, None, "behaviour"),
            self._value(trial, None, "comment"),
            self._value(trial, None, "discuss"),
            place.cue,
            self._value(trial, None, "cue"),
            place.rate_hz,
            MappingProxyType(channels),
            self._values(trial, None, fields.of(TRIAL)),
        )

    def _values(self, trial: str, channel: str | None, names: Iterable[str]) -> Mapping[str, Any]:
        """The values of some fields; what is marked is in the state already."""
        return MappingProxyType({name: self._value(trial, channel, name) for name in names if name != "activity"})

    def automatic(self, trial: str, channel: str) -> Automatic:
        """What the method says of one channel of one trial.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        Automatic
            Seconds from the recorded cue; NaN where nothing was found, and throughout where the
            mark is hidden.
        """
        found = self._proposals.automatic(trial, channel)
        return NOTHING_SHOWN if self.hides_automatic(trial, channel) else found

    def hides_automatic(self, trial: str, channel: str | None = None) -> bool:
        """Whether the automatic mark of a channel, or of any channel of the trial, is hidden from
        the reviewer.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str or None
            Its channel; None for any of them.

        Returns
        -------
        bool
        """
        return self._hides(trial, channel)

    def _hides(self, trial: str, channel: str | None) -> bool:
        if channel is None:
            return any(self._hides(trial, label) for label in self._proposals.place(trial).labels)
        if not isinstance(channel, str):
            self._proposals.place(trial, channel)  # which says that there is none
        source = self._proposals.source(trial)[0]
        return (source, channel) in self._hiding.automatic or self._policy.hides(source, channel)

    def source(self, trial: str) -> str:
        """The trial itself, as its Trials name it, for any id in the queue; a silent repeat has an
        id of its own.

        Parameters
        ----------
        trial : str
            An id in the queue.

        Returns
        -------
        str
        """
        self._proposals.place(trial)
        return self._proposals.source(trial)[0]

    def stretch(self, trial: str) -> tuple[int, int]:
        """First and past-last sample of a trial in its recording; they may lie beyond its ends.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        (int, int)
        """
        place = self._proposals.place(trial)
        return place.first, place.stop

    def place(self, trial: str, channel: str | None = None) -> Place:
        """Where a trial is found.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str or None
            A channel that it must have.

        Returns
        -------
        Place
            Its Trials, its row in them, and its samples in the recording.

        Raises
        ------
        UnknownNameError
            There is no such trial, or it does not have that channel.
        """
        return self._proposals.place(trial, channel)

    def method(self, recording: str) -> Method:
        """Processing and detection that the log of a recording names last.

        Parameters
        ----------
        recording : str
            The recording.

        Returns
        -------
        mapping
            "processing" and "detection", each with parameters and hash.
        """
        return self._logs.method(recording)

    @property
    def next_counter(self) -> int:
        """The counter of the next command."""
        return self._logs.next_counter

    def counter(self, key: states.Key) -> int:
        """By which command a value of a first showing was set.

        Parameters
        ----------
        key : Key
            What the value is of.

        Returns
        -------
        int
            The number of the command, 0 where none did.
        """
        return self._ledger.counter(key)

    def own_value(self, key: states.Key) -> Any:
        """What this reviewer decided of a first showing, whatever stands in the end.

        Parameters
        ----------
        key : Key
            What the value is of.

        Returns
        -------
        object
            None where nothing was decided.
        """
        return self._ledger.value(key)

    def value(self, trial: str, channel: str | None, field: str) -> Any:
        """The value of a field as decided, or its default.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str or None
            Its channel; None for what is about the trial.
        field : str
            The field.

        Returns
        -------
        object
        """
        return self._value(trial, channel, field)

    def activity(self, trial: str, channel: str) -> Activity:
        """The activity as decided or, where nobody has decided, as the present method proposes it;
        hidden or not.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str
            Its channel.

        Returns
        -------
        Activity
        """
        return self._activity(trial, channel)

    def _value(self, trial: str, channel: str | None, field: str) -> Any:
        found = self._decided(trial, channel, field)
        return states.DEFAULTS[field] if found is None else found

    def _current(self, key: states.Key) -> Any:
        """The value that stands of a first showing, None where nothing was said."""
        return self._policy.current(self._ledger, key)

    @property
    def _rare(self) -> Mapping[states.Key, Any]:
        """Those that stand in recordings or keep something out."""
        return self._policy.rare(self._ledger)

    def _decided(self, trial: str, channel: str | None, field: str) -> Any:
        place, source, showing = self._proposals.at(trial, channel)
        key = states.Key(place.recording.name, source, channel, field)
        return self._policy.current(self._ledger, key) if showing == 1 else self._ledger.value(key, showing)

    def _activity(self, trial: str, channel: str) -> Activity:
        value = self._decided(trial, channel, "activity")
        return self._proposals.proposal(trial, channel) if value is None or states.untouched(value) else value

    def _shown(self, trial: str, channel: str) -> Activity:
        """The activity without an automatic mark that is hidden."""
        activity = self._activity(trial, channel)
        return mask(activity) if self._hides(trial, channel) else activity

    def _sealed(self, trial: str, channel: str) -> Activity:
        """The activity for a sealed version: a hidden mark is told as soon as the reviewer's own stands beside it."""
        activity = self._activity(trial, channel)
        return activity if states.reviewed(activity, states.USABLE) else self._shown(trial, channel)

    def _unseen(self, trial: str | None, channel: str | None) -> Mapping[str, Any] | None:
        """What an event says of an automatic mark that was hidden."""
        return {"automatic": False} if trial in self._places and self._hides(str(trial), channel) else None

    def _in_bulk(self, trial: str, channel: str | None) -> bool:
        """Whether the mark was accepted in bulk, and nobody has looked at it since."""
        place, source, showing = self._proposals.at(trial, channel)
        key = states.Key(place.recording.name, source, channel, "activity")
        return showing == 1 and (self._ledger.in_bulk(key) or self._policy.in_bulk(key))

    def _stale(self, trial: str, channel: str | None) -> bool:
        """Whether the activity was decided before the last change of method, and the method now says otherwise."""
        recording = self._proposals.place(trial, channel).recording.name
        decided = self._ledger.entry(states.Key(recording, trial, channel, "activity"))  # none of one shown again
        since = self._logs.method_since(recording)
        if decided is None or decided.counter >= since or states.untouched(value := decided.value):
            return False
        return self._proposals.differs(trial, str(channel), value, self._relook_s)

    def _sample(self, trial: str, what: str, seconds: float | None) -> int | None:
        return None if seconds is None else self._proposals.sample(trial, what, seconds)
