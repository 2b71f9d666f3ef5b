"""What a review is about: what is hidden, what may be decided, and what stands in the end.

Policy      of an ordinary review: everything may be decided, and what was decided stands
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from emgreview.annotations.ledger import Key, Ledger
from emgreview.tables import Decided

if TYPE_CHECKING:
    from emgreview.session.around import Around


class Policy:
    """Of an ordinary review. Whoever holds a session for another purpose hands it a policy of its own: a class that
    derives from this one says what is different."""

    session: "Around"
    counted: str | None = None
    """What is counted, in words, where that is not channel-trials reviewed."""
    resumes_at_first_open = False
    """Whether a review opened again goes on at the first open trial, not where it was left."""
    others_decided = False
    """Whether what others decided stands too, so that a version holds decisions where this reviewer took none."""

    def hides(self, trial: str, channel: str) -> bool:
        """Whether the automatic mark of a channel of a trial is hidden, beside what the log says."""
        return False

    def demand(self, trial: str, channel: str | None, field: str) -> None:
        """Raise DecisionError where a field of a trial, or of a channel of it, may not be decided."""

    def demand_back(self, key: Key) -> None:
        """Raise DecisionError where what keeps something out may not be taken back."""

    def current(self, ledger: Ledger, key: Key) -> Any:
        """The value that stands of a first showing, None where nothing was said."""
        return ledger.value(key)

    def rare(self, ledger: Ledger) -> Mapping[Key, Any]:
        """The values that stand in recordings or keep something out."""
        return ledger.rare

    def in_bulk(self, key: Key) -> bool:
        """Whether a value was accepted in bulk by others than the reviewer."""
        return False

    def decided_by(self, trial: str, channel: str) -> Mapping[str, Decided] | None:
        """Who decided what of a channel-trial; None: this reviewer alone."""
        return None

    def left(self, trial: str) -> tuple[int, int] | None:
        """How much of a trial is open, and how much there is; None: its channels."""
        return None

    def open_channels(self, trial: str) -> tuple[str, ...] | None:
        """The channels of a trial that wait for a decision; None: those not yet reviewed."""
        return None

    @property
    def notices(self) -> tuple[str, ...]:
        """Sentences that the reviewer should see beside those of the session."""
        return ()

    @property
    def bulk_sentences(self) -> tuple[str, ...]:
        """What acceptances in bulk by others are worth."""
        return ()
