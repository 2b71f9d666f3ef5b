"""Which channels cannot be judged without a look at them, and which bursts are clipped.

Judging         unfit, clipped
"""

import math
from collections.abc import Iterable, Sequence

from emgreview.evidence import Fitness
from emgreview.model import to_sample
from emgreview.session.around import Around
from emgreview.session.lock import one_at_a_time

_PRESENT = 0.5
"""From this ``present`` on a method says that there is activity; see :class:`emgreview.model.Onsets`."""

_WITHOUT_OFFSET_S = 0.1
"""Of a burst without an offset so much, from its onset, is looked at for clipped samples."""


@one_at_a_time
class Judging(Around):
    """What cannot be judged without a look at it, and what is clipped."""

    _fitness: Fitness

    def unfit(self, trial: str, channel: str) -> str:
        """Why a channel of a trial cannot be judged without a look at it.

        It is marked bad in its recording; it holds codes for missing samples (``Trials.codes``);
        it is dead, flat, missing, or clipped so near to its rest that not even an onset can be
        judged (:mod:`emgreview.signal.unfit` says what that means); it is clipped where nobody
        marked a burst, nor did the method; a stretch of it in this trial was set aside; the
        method could not tell, or found activity without an onset. What decides on several
        channels at once passes over these and says so. Of an automatic mark that is hidden
        nothing is told.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        str
            A few words; "" where it can be judged.
        """
        place = self._proposals.place(trial, channel)
        source = place.recording.channel(channel)
        if source.status == "bad":
            why = f" ({source.status_description})" if source.status_description and not self.blind else ""
            return f"marked bad in the recording{why}"
        if words := self._fitness.words(place.trials, place.row, channel):
            return words
        if any(
            (name, label) == (place.recording.name, channel) and start < place.stop and place.first < stop
            for name, label, start, stop, _ in self.aside
        ):
            return "a stretch of it was set aside"
        if self.hides_automatic(trial, channel):
            return ""
        bursts = self._activity(trial, channel).bursts
        whole = self._fitness.clipped(place.trials, place.row, channel, 0, place.stop - place.first)
        if not bursts and whole > 0:
            return f"clipped in {share_words(whole)} of its samples, and no burst was found"
        found = self._proposals.automatic(trial, channel)
        if found.undecided:
            return f"the method could not tell: {found.note}"
        if math.isnan(found.onset_s) and found.present >= _PRESENT:
            return "the method found activity, but no onset: it may have begun before the cue"
        return ""

    def clipped(self, trial: str, channel: str) -> str:
        """What is to be known of a channel whose bursts can be judged, but are clipped.

        Of a clipped burst the onset can be used and the size cannot: amplitudes come out too
        small. What decides on several channels at once says these words. Of an automatic mark
        that is hidden nothing is told.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        str
            "" where no burst that stands is clipped.
        """
        bursts = self.state(trial).channels[channel].active
        share = max((self._clipped(trial, channel, one.onset, one.offset) for one in bursts), default=0.0)
        return f"clipped in {share_words(share)} of its burst: onset usable, size not" if share > 0 else ""

    def automatic_clipped(self, trial: str, channel: str) -> float:
        """Share of the samples of the automatic mark that are clipped, whatever anybody decided.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        float
            0 to 1; 0 without a mark, and where it is hidden.
        """
        found, place = self.automatic(trial, channel), self._proposals.place(trial, channel)
        if math.isnan(found.onset_s):
            return 0.0
        onset, offset = (
            None if math.isnan(s) else place.cue + to_sample(s, place.rate_hz) for s in (found.onset_s, found.offset_s)
        )
        return self._clipped(trial, channel, onset, offset)

    def _clipped(self, trial: str, channel: str, onset: int | None, offset: int | None) -> float:
        """Share of a burst's samples that are clipped, of its first 100 ms without an offset; 0 where not known."""
        place = self._proposals.place(trial, channel)
        if onset is None:
            return 0.0
        stop = onset + max(1, to_sample(_WITHOUT_OFFSET_S, place.rate_hz)) if offset is None else offset
        share = self._fitness.clipped(place.trials, place.row, channel, onset - place.first, stop - place.first)
        return 0.0 if math.isnan(share) else share

    def _unfit(self, trial: str, labels: Sequence[str]) -> dict[str, str]:
        """Those of some channels that cannot be judged without a look at them, and why."""
        return {label: why for label in labels if (why := self.unfit(trial, label))}

    def _cut(self, trial: str, labels: Iterable[str]) -> dict[str, str]:
        """Those of some channels of which a burst is clipped, and how much."""
        return {label: words for label in labels if (words := self.clipped(trial, label))}


def share_words(share: float) -> str:
    """A share above 0 in per cent, never 0 %."""
    return f"{share:.0%}" if share >= 0.005 else "less than 1%"
