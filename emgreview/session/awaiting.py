"""What a review still waits for, where it was opened before all of its recordings were there.

Awaiting        what is still to come, and refusing what needs all
"""

from collections.abc import Mapping

from emgreview.errors import DecisionError
from emgreview.many.arriving import Arrivals
from emgreview.session.around import Around
from emgreview.session.lock import one_at_a_time


@one_at_a_time
class Awaiting(Around):
    """What is still to come; of an ordinary review nothing."""

    _coming: Arrivals | None
    _asked_order: str
    _came_to_grief: str = ""
    _put_in_order: bool = False

    @property
    def awaited(self) -> str:
        """What is still to come, in a sentence, "" where all are there; and what then has failed."""
        if self._coming is None:
            return ""
        if self._came_to_grief:
            return self._came_to_grief
        words, order = self._coming.words, self._asked_order
        if self._coming.left and order != "recorded":
            words += f" The order {order!r} needs all: until then trials stand as they were recorded."
        return words

    @property
    def not_come(self) -> Mapping[str, str]:
        """By name, why recordings that were to come have no trials, as far as is known by now."""
        return {} if self._coming is None else dict(self._coming.failed)

    @property
    def complete(self) -> bool:
        """Whether nothing is still to come."""
        return self._coming is None or bool(self._came_to_grief) or not self._coming.left

    def demand_all(self, what: str) -> None:
        """Refuse what needs all recordings while some are still to come.

        Parameters
        ----------
        what : str
            What would be done, as "sealing".

        Raises
        ------
        DecisionError
            Some are still to come.
        """
        coming = self._coming
        if coming is None or (self._put_in_order and not self._came_to_grief and not coming.problem):
            return
        ended = self._came_to_grief or coming.problem
        advice = "Open the review again." if ended else "Wait for them: session.wait_for_all()."
        raise DecisionError(f"{what} needs all recordings. {self.awaited or 'The last are just joining.'} {advice}")
