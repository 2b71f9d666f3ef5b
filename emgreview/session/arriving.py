"""A review of many recordings that opens with the first of them, while the others arrive.

Arriving        taking in what has come
first_of        the trials that a review of arriving ones opens with
"""

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import logs_in, recording_in
from emgreview.annotations.unblinding import last_line
from emgreview.errors import EmgreviewError, LogError, ParameterError, tell
from emgreview.many.arriving import Arrivals, ArrivingTrials
from emgreview.many.cut import left_out
from emgreview.model import Trials
from emgreview.recutting import method_begun
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time
from emgreview.session.order import LINES_UP, Order


@one_at_a_time
class Arriving(Order):
    """Trials that join a review while it is under way; none of an ordinary one.

    Until all are there they stand as they were recorded, whatever order was asked for: those
    that come change no place of those that are there, but for the recording with which a
    review is gone on.
    """

    def take_arrived(self) -> Ids:
        """Let join what has arrived since it was asked last; screens ask by themselves.

        Returns
        -------
        tuple of str
            The ids of the trials that joined.

        Raises
        ------
        EmgreviewError
            They cannot be reviewed with the others; :attr:`awaited` says so from then on.
        """
        if self._coming is None or self._came_to_grief:
            return ()
        parts = self._coming.take()
        ended = self._coming.left == 0 and not self._put_in_order
        if not parts and not ended:
            return ()
        before = set(self._proposals.places)
        try:
            if parts:
                self._join(parts, self._coming.names)
        except EmgreviewError as why:
            self._coming.stop()
            missing = len(self._coming.names) - len({part.recording.name for part in self.trials})
            self._came_to_grief = f"{missing} of {len(self._coming.names)} recordings did not join the review: {why}"
            raise
        if ended:
            self._put_in_order = True
            self._settle_order(self._asked_order)
        self._line_up()
        new = tuple(trial for trial in self.queue if trial not in before)
        self._tell(new)
        return new

    def wait_for_all(self) -> None:
        """Wait until all have joined, with the progress of their runner.

        Raises
        ------
        EmgreviewError
            The work on them ended before its end, or :meth:`take_arrived` raises it.

        Warns
        -----
        SignalWarning
            A recording that was waited for has failed, and is left out.
        """
        coming, waited = self._coming, not self._put_in_order
        while coming is not None and not self._came_to_grief and not self.complete:
            coming.until_over()
            self.take_arrived()
        if coming is not None and (self._came_to_grief or coming.problem):
            raise EmgreviewError(self.awaited)
        self.take_arrived()
        if waited and self.awaited:  # a script sees no notice
            tell(self.neutral(self.awaited))

    def _join(self, parts: Sequence[Trials], names: Sequence[str]) -> None:
        raise NotImplementedError

    def _settle_order(self, order: str) -> None:
        raise NotImplementedError


def first_of(
    coming: ArrivingTrials,
    folder: Path,
    reviewer: str,
    *,
    all_at_once: bool,
    method: str | None,
    parameters: Mapping[str, Any] | None,
) -> tuple[Arrivals, list[Trials]]:
    """What comes of them, and the trials that a review opens with: those of the recording with the last decision, or
    the first that can be cut; all of them where it must be ``all_at_once``, or hides or narrows anything. Raises
    ParameterError where there are none."""
    begun = (method, parameters) if method is not None or coming.method is not None else method_begun(folder, reviewer)
    arrivals = coming.begin(first=_last_recording(folder, reviewer, coming.names), method=begun[0], parameters=begun[1])
    try:
        if all_at_once or _needs_all(folder, reviewer):
            found = arrivals.all()
        else:
            found = []
            while not found and arrivals.wait():
                found = arrivals.take()
    except BaseException:  # interrupted: nothing goes on behind
        arrivals.stop()
        raise
    if found:
        return arrivals, found
    why = arrivals.problem or " ".join(left_out(arrivals.failed)[:3])
    raise ParameterError(
        f"not one of {len(coming.names)} recordings could be cut; at least one must have the cue and fit the window; "
        f"{why}"
    )


def _last_recording(folder: Path, reviewer: str, names: Collection[str]) -> str | None:
    """That of some recordings whose log was decided in last; None before the first line."""
    found = []
    for path in logs_in(folder, reviewer):
        line = last_line(path) or {}
        if isinstance(counter := line.get("counter"), int) and recording_in(path.name) in names:
            found.append((line.get("field") not in ("log", "method", "blind"), counter, recording_in(path.name)))
    return max(found)[2] if found else None


def _needs_all(folder: Path, reviewer: str) -> bool:
    """Whether any log of the reviewer hides, shows again or narrows anything: which that is must be known at once."""
    notes: list[Any] = []
    for path in logs_in(folder, reviewer):
        try:
            read_log(path, lambda event: notes.append(event.new) if event.field == "log" else None)
        except (LogError, OSError):  # opening it says what is amiss
            return True
    return any(LINES_UP & set(new) for new in notes if isinstance(new, Mapping))
