"""Several logs of one reviewer, appended to as one: what the disk has, memory has, or nothing more is decided.

Appending       logs and what they add up to; one command, or several lines that are no use by halves
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import Event
from emgreview.annotations.ledger import Ledger
from emgreview.annotations.log import Log
from emgreview.errors import EmgreviewError, LogWriteError, ParameterError
from emgreview.model import Recording

_ANY_TIME = "2000-01-01T00:00:00.000Z"
"""Stands in a line that is held against the schema before its own time is known."""


class Appending:
    """Logs by the names of their recordings, and the ``ledger`` that they add up to.

    ``visible`` is what is written as on screen. ``heed`` is handed every event that was appended, when the ledger has
    it; what is raised between the first byte and its end ends the writer, of all logs.
    """

    _recordings: Mapping[str, Recording]
    _counter: int

    def __init__(self, reviewer: str, blind: bool):
        self.reviewer, self.blind = reviewer, blind
        self.ledger = Ledger()
        self.visible: Mapping[str, Any] = {}
        self.heed: Callable[[Event], object] = lambda event: None
        self._logs: dict[str, Log] = {}
        self._half = ""

    @property
    def problem(self) -> str | None:
        """Why nothing can be appended, in a sentence, or None."""
        return self._half or next((log.problem for log in self._logs.values() if log.problem), None)

    @property
    def next_counter(self) -> int:
        """The counter of the next event."""
        return self._counter + 1

    def append(
        self,
        recording: str,
        operation: str,
        field: str,
        old: Any,
        new: Any,
        *,
        trial: str | None = None,
        channel: str | None = None,
        burst: str | None = None,
        reason: str | None = None,
        target: int | None = None,
        showing: int = 1,
        visible: Mapping[str, Any] | None = None,
        within: str = "",
    ) -> Event:
        """One command: written, flushed, then replayed. ``visible`` is written beside what is on screen; ``within`` are
        the words of :meth:`as_one`, inside it.

        Raises the errors of :meth:`Log.append`.
        """
        if self._half != within:
            raise LogWriteError(f"{self._half} The decision was not saved.")
        for one in self._logs.values():  # memory may lack what the disk has, so that no other log may go on either
            one.demand_alive()
        entities = self._recordings[recording].entities
        self._counter += 1  # a number is never used twice, even if its line may be lost
        fields = {
            "counter": self._counter,
            "reviewer": self.reviewer,
            "operation": operation,
            "subject": {
                "dataset": entities.get("dataset"),
                "participant": entities.get("sub"),
                "recording": recording,
                "channel": channel,
                "trial": trial,
                "burst": burst,
            },
            "showing": showing,
            "field": field,
            "old": old,
            "new": new,
            "reason": reason,
            "visible": {**self.visible, **(visible or {})},
            "blind": self.blind,
        }
        fields |= {} if target is None else {"target": target}
        log = self._logs[recording]
        line = {**fields, "seq": len(log), "prev": "", "self": "", "time": _ANY_TIME}
        if log.problem is None and (why := misfit(line)):
            raise ParameterError(f"this cannot be written to a log: {why}; correct it.")
        return log.append(fields, self._take)

    def _take(self, event: Event) -> None:
        self.ledger.apply(event)
        self.ledger.settle()
        self.heed(event)

    @contextmanager
    def as_one(self, what: str) -> Iterator[str]:
        """Several lines, and what goes with them, that are no use by halves: all, or nothing more may be decided. The
        words that it yields are the ``within`` of :meth:`append`."""
        before = sum(map(len, self._logs.values()))
        self._half = (
            f"{what} was interrupted half-way: some logs may say it, others not, so no more decisions are taken. Close "
            "the review, and open it again: that tells how it stands."
        )
        try:
            yield self._half
        except EmgreviewError:
            if before == sum(map(len, self._logs.values())):  # refused before anything was written
                self._half = ""
            raise
        self._half = ""
