"""What the reviewer should know of a review beside its trials.

Notices     notices, noted
"""

from collections import Counter

from emgreview.annotations.telling import NAMES, sentences
from emgreview.errors import tell
from emgreview.reading.dataset import NAMELESS
from emgreview.session.arriving import Arriving
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time


@one_at_a_time
class Notices(Arriving):
    """What the reviewer should know."""

    _asked_read_only: bool
    _of_method: Ids
    _of_trials: Ids

    @property
    def notices(self) -> tuple[str, ...]:
        """Sentences the reviewer should see: what opening had to set aside, what is not as it was,
        decisions whose trials are not here, what a change of method asks for, and whom a blind
        review cannot hide.
        """
        nameless = all(not one.entities.get("sub") for one in self._proposals.recordings.values())
        told = (*self._logs.notices, *self._of_method, *self._of_trials)
        told = (*told, NAMELESS) if self.blind and nameless else told
        told = (*told, self.awaited) if self.complete and self.awaited else told  # what failed of those that arrived
        return (*told, *self._policy.notices)

    @property
    def noted(self) -> tuple[str, ...]:
        """What reading the recordings and cutting the trials had to say, each sentence once, with
        whose it is; but for what is of one trial alone, which its card says.

        In a blind review without names: see :meth:`neutral`.
        """
        told = [
            (part.recording.name, f"{NAMES}: {note}")
            for part in self.trials
            for note in dict.fromkeys((*part.recording.notes, *part.notes))
            if not note.startswith("The trial at sample ")
        ]
        if not self.blind:
            return tuple(sentences(told))
        counts = Counter(self.neutral(words) for _, words in told)
        return tuple(
            words.replace(NAMES, "a recording" if n == 1 else f"{n} recordings") for words, n in counts.items()
        )

    def tell_notices(self) -> None:
        """A SignalWarning for each of :attr:`notices`: a script and a notebook see no field of an
        object.
        """
        if self.problem and not self._asked_read_only:
            tell(f"Nothing can be decided in this review: {self.neutral(self.problem)}")
        for words in self.notices:
            tell(words if words == NAMELESS else self.neutral(words))
        cut_by_name = {
            part.recording.name for part in self.trials if not part.blind and (part.notes or part.recording.notes)
        }
        if self.blind and cut_by_name and not self._asked_read_only:
            tell(
                f"Notes on {len(cut_by_name)} of {len(self._proposals.recordings)} recordings may have been told by "
                "name when these were read and cut, which says whose trials are shown; clear what that cell printed "
                "before you review, and cut them with cut_all(…, blind=True), which tells notes without names."
            )

    def _not_given(self) -> tuple[str, ...]:
        """That decisions of the logs are about trials, or channels of trials, that are not among those given."""
        recordings, places = self._proposals.recordings, self._proposals.places
        lost = {
            trial: recording
            for (recording, trial, label, field, _), value in self._ledger.values.items()
            if trial
            and recording in recordings
            and field not in ("no cue", "cue")
            and value is not None
            and (trial not in places or (label is not None and label not in places[trial].labels))
        }
        if not lost:
            return ()
        return (
            f"{len(lost)} trials that were decided on are not here as they were, {next(iter(lost))} the first: another "
            "cue label, level, or choice of channels than before. Their decisions stay in the logs, and are in no "
            "table; to see them, cut the trials as they were.",
        )

    def _relook_words(self) -> tuple[str, ...]:
        marks = list(self._stale_marks())
        if not marks:
            return ()
        far = [
            f"{name} by more than {limit * 1000:g} ms" for name, limit in self._relook_s.items() if limit is not None
        ]
        return (
            f"Reviewed marks to look at again: {len(marks)}, trials: {len({trial for trial, _ in marks})}. They were "
            "decided under another method or processing, and the automatic mark that was seen is not the present one "
            f"({' or '.join(far)}, or only one of the two is there). They keep the value that was decided.",
        )
