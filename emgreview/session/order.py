"""The order of a review, and how far it is.

Order       queue, progress, what comes next
LINES_UP    what a note says by which the queue is another one
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Any

from emgreview.annotations import state as states
from emgreview.annotations.events import Event
from emgreview.annotations.hidden import Hiding
from emgreview.errors import ParameterError
from emgreview.session.awaiting import Awaiting
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time

LINES_UP = frozenset(("hide", "reveal", "show_again", "only"))
"""What a note says by which the queue is another one."""


@one_at_a_time
class Order(Awaiting):
    """The queue, how far it is, and where the reviewer is in it."""

    queue: Ids
    where: str
    changed: list[Callable[[Ids], object]]
    _due: Mapping[str, Collection[str]] | None
    _order: Ids
    _open: dict[str, set[str]]

    @property
    def progress(self) -> tuple[int, int, int, int]:
        """Channel-trials reviewed, channel-trials, trials reviewed, trials.

        Reviewed are those decided by a person and those accepted in bulk: :attr:`unlooked` says
        how many of them nobody looked at.
        """
        counts = [self._left(trial) for trial in self.queue]
        left, total = (sum(count) for count in zip(*counts, strict=True))
        return total - left, total, sum(not left for left, _ in counts), len(counts)

    def _left(self, trial: str) -> tuple[int, int]:
        """How much of a trial is open, and how much there is."""
        return self._policy.left(trial) or (len(self._open[trial]), len(self._labels_due(trial)))

    @property
    def unlooked(self) -> int:
        """How many of the channel-trials reviewed were accepted in bulk, and nobody has looked at
        since.
        """
        return sum(
            self._in_bulk(trial, label)
            for trial in self.queue
            for label in self._labels_due(trial)
            if label not in self._open[trial]
        )

    @property
    def counted(self) -> str:
        """What :attr:`progress` counts, in words, with those that nobody looked at."""
        if self._policy.counted is not None:
            return self._policy.counted
        unlooked = self.unlooked if self._ledger.bulk else 0
        return f"channel-trials reviewed{f', {unlooked} of them in bulk and looked at by nobody' if unlooked else ''}"

    @property
    def progress_words(self) -> str:
        """How far the review is, in a sentence's part: "40 of 40 reviewed, 12 of them …"."""
        done, total = self.progress[:2]
        words = f"{done} of {total} {self.counted.removeprefix('channel-trials ')}"
        return f"{words}; {self.awaited.rstrip('.')}" if self.awaited else words

    def next_unreviewed(self, after: str | None = None) -> str | None:
        """The next trial in the queue with a channel not yet reviewed, starting after one and going
        round.

        Parameters
        ----------
        after : str or None
            The trial to start after; None for the beginning.

        Returns
        -------
        str or None
            None where nothing is open.
        """
        if after is not None:
            self._proposals.place(after)
        start = 0 if after is None else self._rank.get(after, -1) + 1
        return next((trial for trial in self.queue[start:] + self.queue[:start] if self._left(trial)[0]), None)

    def go_to(self, trial: str) -> str:
        """Make a trial the present one. Not an event: a review resumes where decisions were taken.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        str
            Its id.
        """
        self._proposals.place(trial)
        self.where = trial
        return trial

    def asked(self, trial: str) -> tuple[str, ...]:
        """The channels of a trial that this review is about: all, unless it was narrowed.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        tuple of str
        """
        return tuple(label for label in self._proposals.place(trial).labels if label in self._labels_due(trial))

    def open_channels(self, trial: str) -> tuple[str, ...]:
        """Those of :meth:`asked` that wait for a decision.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        tuple of str
        """
        found = self._policy.open_channels(trial)
        return tuple(label for label in self.asked(trial) if label in self._open[trial]) if found is None else found

    @property
    def relook(self) -> Ids:
        """Trials with a mark that was reviewed under another method or processing, which saw another
        value than the present one says; how far away counts is told to :func:`open_review`.
        """
        return tuple(dict.fromkeys(trial for trial, _ in self._stale_marks()))

    def _stale_marks(self) -> Iterator[tuple[str, str]]:
        for trial in self.queue:
            yield from ((trial, label) for label in self._places[trial].labels if self._stale(trial, label))

    def keep_to(self, due: Mapping[str, Collection[str]]) -> None:
        """Narrow the review to some channels of some trials: the queue, the progress and what comes
        next. Not an event: whoever narrows it notes why.

        Parameters
        ----------
        due : mapping of str to collection of str
            Trials and their channels.

        Raises
        ------
        ParameterError
            No trial is named.
        """
        self.demand_all("Narrowing the review")
        for trial, labels in due.items():
            for label in labels:
                self._proposals.place(trial, label)
        if not due:
            raise ParameterError("a review of no trial was asked for; name at least one.")
        self._due, self._states = dict(due), (0, None, {})
        self._line_up()
        self.where = self._resume()

    def note(self, operation: str, value: Mapping[str, Any], reason: str | None = None) -> Event:
        """Write an event about the review itself, with what it hides or shows again; see
        ``annotations.hidden``.

        Parameters
        ----------
        operation : str
            What it is called.
        value : mapping
            What it says, plain JSON.
        reason : str or None
            Why.

        Returns
        -------
        Event
        """
        self.demand_all("What is about the review as a whole")
        event = self._logs.append(next(iter(self._proposals.recordings)), operation, "log", None, value, reason=reason)
        if LINES_UP & set(value):
            self._tell(self.queue)
        return event

    def _labels_due(self, trial: str) -> Collection[str]:
        """The channels of a trial that this review is about: all, unless it was narrowed."""
        return self._places[trial].labels if self._due is None else self._due[self._proposals.source(trial)[0]]

    def _entry(self, trial: str | None, showing: int) -> str | None:
        """The id in the queue of a trial's showing; None where it is not to be shown again."""
        return trial if trial is None or showing == 1 else self._entries.get((trial, showing))

    def _line_up(self) -> None:
        """The queue, and what is open in it, with what is hidden and shown again by now."""
        self._hiding = Hiding.of(self._ledger.notes)
        self._entries = {
            (trial, showing): self._proposals.show_again(trial, showing) if showing > 1 else trial
            for trial, showing in self._hiding.queue(self._order)
            if self._due is None or trial in self._due
        }
        self.queue = tuple(self._entries.values())
        self._rank = {trial: number for number, trial in enumerate(self.queue)}
        self._places = {trial: self._proposals.place(trial) for trial in self.queue}
        self._open = {trial: set(self._labels_due(trial)) for trial in self.queue}
        for showing in self._ledger.showings:
            for _, trial, label, _, _ in self._ledger.decided(showing):
                self._count(self._entry(trial, showing), label)

    def _heed(self, event: Event) -> None:
        """What an event, which is on disk and in the ledger, changes of the queue and of what is open in it."""
        if event.field == "log":
            if LINES_UP & set(event.new):
                self._line_up()
            return
        trial = self._entry(event.subject["trial"], event.showing)
        for (_, _, label, _, _), _ in states.keyed(event, event.new) if trial is not None else ():
            self._count(trial, label)

    def _count(self, trial: str | None, label: str | None) -> None:
        if trial is not None and trial in self._places and label is not None and label in self._labels_due(trial):
            done = states.reviewed(self._activity(trial, label), self._value(trial, label, "signal"))
            (self._open[trial].discard if done else self._open[trial].add)(label)

    def _resume(self) -> str:
        if self._policy.resumes_at_first_open and (first := self.next_unreviewed()):
            return first
        step = self._ledger.last
        last = self._entry(step.trial, step.showing) if step else None
        if last is None or last not in self._places:
            return self.next_unreviewed() or self.queue[0]
        return last if self._open[last] else self.next_unreviewed(last) or last

    def _tell(self, ids: Ids) -> Ids:
        for observer in tuple(self.changed):
            observer(ids)
        return ids

    def _touched(self, recording: str, start: int, stop: int) -> Ids:
        """Trials that overlap with some samples of a recording."""
        return tuple(
            trial
            for trial in self.queue
            if (place := self._places[trial]).recording.name == recording and place.first < stop and start < place.stop
        )

    def _belonging(self, event: Event) -> Ids:
        """Trials of the recording, or of all recordings of the participant, that an exclusion is about."""
        recordings = self._proposals.recordings
        name, participant = event.subject["recording"], event.subject["participant"]
        return tuple(
            trial
            for trial in self.queue
            if (own := self._places[trial].recording.name) == name
            or (event.field == states.OF_PARTICIPANT and recordings[own].entities.get("sub") == participant)
        )
