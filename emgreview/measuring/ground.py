"""The samples that numbers rest on: which of them were cut at a rail, and which signals nobody can judge at all.

Every measure comes from rows to samples through a ``Ground``, so that what spoils its numbers is told in the same words
everywhere. It looks at the recording as it is, for the trials' filter rounds off what was cut, and reads each trial
once.

Ground          from rows to samples, remembering what was asked for
Told            what it met, as plain values: of several recordings, wherever each was measured, taken together
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from emgreview.evidence import CODES, Fitness
from emgreview.measuring.rows import FloatArray, IntArray, places
from emgreview.model import Recording, Trials
from emgreview.muscles.wording import card_of, hears_others
from emgreview.reading.settled import listed
from emgreview.trials import level_says

SHOWN = 3
"""Cards of one channel that a note tells; the others are counted (our own choice, no source)."""


@dataclass
class Told:
    """What numbers rest on, by channel and recording: how often signals that cannot be judged, by kind; for how long
    others stand still, in seconds; levels that no surface EMG has. By label and the words of its card, recordings; and
    recordings that could not be read for it."""

    doubtful: dict[tuple[str, str, str], int] = field(default_factory=dict)
    still: dict[tuple[str, str], list[float]] = field(default_factory=dict)
    impossible: dict[tuple[str, str], str] = field(default_factory=dict)
    cards: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)

    def take(self, other: "Told") -> None:
        """Take in what was met elsewhere, of other recordings."""
        self.doubtful |= other.doubtful
        self.still |= other.still
        self.impossible |= other.impossible
        self.unread += [name for name in other.unread if name not in self.unread]
        for label, cards in other.cards.items():
            mine = self.cards.setdefault(label, {})
            for words, names in cards.items():
                known = mine.setdefault(words, [])
                known += [name for name in names if name not in known]

    def notes(self, what: str, channel: str | None = None) -> list[str]:
        """Sentences on the signals that cannot be judged, with how many ``what`` rest on each, on those that hold codes
        for missing samples or stand still for a while, on levels that no surface EMG has, and on recordings that could
        not be read for it; of one channel, or of all."""
        told = ", ".join(
            f"{label} of {name} ({kind}) {count}"
            for (label, name, kind), count in sorted(self.doubtful.items())
            if channel in (None, label)
        )
        coded = self.coded(channel)
        still = ", ".join(
            f"{label} of {name} {len(lengths)} (up to {1000 * max(lengths):.3g} ms)"
            for (label, name), lengths in sorted(self.still.items())
            if channel in (None, label)
        )
        levels = [
            f"{name}: Channel {label} {level_says(words)}"
            for (label, name), words in sorted(self.impossible.items())
            if channel in (None, label)
        ]
        gone = ", ".join(sorted(self.unread))
        notes = []
        if told:
            notes.append(
                f"Measured are {what} of signals that cannot be judged, and that nobody calls unusable: {told}."
            )
        if coded:
            notes.append(
                f"{coded}: there the signal holds codes for missing samples, which are no voltage: amplitudes and "
                "onsets are not of a muscle."
            )
        if still:
            notes.append(
                f"Measured are {what} where the signal stands still for a while, somewhere in the trial, as where "
                f"packets were lost: {still}. What of that lies in a rest or a burst, and is not set aside, makes its "
                "amplitude too small, and a burst may end there: look at these trials."
            )
        notes += levels
        notes += self._heard(channel)
        if gone:
            notes.append(
                "Whether samples are clipped, and whether signals can be judged at all, is not known of "
                f"{gone}: it can no longer be read."
            )
        return notes

    def coded(self, channel: str | None = None) -> str:
        """Which channels, of which recordings, hold codes for missing samples where numbers rest on them; of one
        channel, or of all. "" where none does."""
        found = [(label, name) for label, name, kind in sorted(self.doubtful) if kind == CODES]
        return ", ".join(f"{label} of {name}" for label, name in found if channel in (None, label))

    def _heard(self, channel: str | None) -> list[str]:
        """A sentence for each channel that hears others, with the recordings it was so in, SHOWN of them at most."""
        out = []
        for label, cards in sorted(self.cards.items()):
            if channel not in (None, label):
                continue
            told = [f"{words} ({listed(names)})" for words, names in sorted(cards.items(), key=lambda pair: pair[1])]
            more = f"; and {len(told) - SHOWN} cards more, in contractions.json" if len(told) > SHOWN else ""
            out.append(f"{label} in test contractions: {'; '.join(told[:SHOWN])}{more}.")
        return out


class Ground:
    """What the numbers of one table rest on, channel by channel.

    Whoever makes numbers of rows of decisions takes the samples' places from :meth:`places` or :meth:`by_channel`; of
    whole trials, tells them by :meth:`use`; and puts :meth:`notes` among the notes of the table. ``channels`` are the
    only ones looked at, where it is known which; all without it.
    """

    def __init__(self, channels: Collection[str] | None = None) -> None:
        self.told = Told()
        self._fitness = Fitness(channels)
        self._unread: set[tuple[Trials, int]] = set()

    def by_channel(
        self, parts: Sequence[Trials], rows: pd.DataFrame
    ) -> Iterator[tuple[Trials, int, pd.DataFrame, IntArray, IntArray]]:
        """Trials, channel, that channel's rows, the trial of each row, and each trial's first sample in its
        recording."""
        for part in parts:
            for place, label in enumerate(part.labels):
                mine = rows[(rows["recording"] == part.recording.name) & (rows["channel"] == label)]
                if len(mine):
                    yield part, place, mine, *self.places(part, mine)

    def places(self, part: Trials, rows: pd.DataFrame) -> tuple[IntArray, IntArray]:
        """The trial of each of some rows of one recording, and that trial's first sample in the recording. Rows of
        signals that somebody called unusable are not counted as doubtful: they say so themselves."""
        trial, start = places(part, rows)
        usable = (rows["signal"] != "unusable").to_numpy(dtype=bool, na_value=True)
        for label in dict.fromkeys(rows["channel"]):
            self.use(part, part.labels.index(label), trial[usable & (rows["channel"] == label).to_numpy(dtype=bool)])
        return trial, start

    def use(self, part: Trials, place: int, trial: IntArray) -> None:
        """Numbers rest on these trials (rows,) of a channel, each counted as often as it stands there: signals that
        cannot be judged, and others that stand still for a while."""
        label = part.labels[place]
        if len(trial) and label in part.impossible:
            self.told.impossible[label, part.recording.name] = part.impossible[label]
        if len(trial):
            self._take_card(part.recording, label)
        for row in map(int, trial):
            if not self._known(part, row):
                continue
            if kind := self._fitness.kind(part, row, label):
                kinds = self.told.doubtful
                kinds[label, part.recording.name, kind] = kinds.get((label, part.recording.name, kind), 0) + 1
            elif still := self._fitness.still(part, row, label):
                self.told.still.setdefault((label, part.recording.name), []).append(still / part.rate_hz)

    def share(self, part: Trials, place: int, trial: IntArray, first: FloatArray, stop: FloatArray) -> FloatArray:
        """Share of the samples ``first`` to ``stop`` (excluded) of some trials of one channel that lie at a rail
        (``signal.clip``).

        ``trial`` (rows,) says which trial, ``first`` and ``stop`` (rows,) count from its first sample. Rows that are
        not whole, or cannot be read, are NaN.
        """
        out = np.full(len(trial), np.nan)
        whole = (first >= 0) & (stop <= len(part.time_s)) & (first < stop)  # False for NaN
        for row in np.flatnonzero(whole):
            if self._known(part, int(trial[row])):
                ends = int(first[row]), int(np.ceil(stop[row]))
                out[row] = self._fitness.clipped(part, int(trial[row]), part.labels[place], *ends)
        return out

    def notes(self, what: str, channel: str | None = None) -> list[str]:
        """As :meth:`Told.notes`."""
        return self.told.notes(what, channel)

    def coded(self, channel: str | None = None) -> str:
        """As :meth:`Told.coded`."""
        return self.told.coded(channel)

    def _take_card(self, recording: Recording, label: str) -> None:
        """Remember what else a channel hears, as its test contractions showed, once for each recording."""
        one = recording.channel(label)
        if hears_others(one.heard):
            names = self.told.cards.setdefault(label, {}).setdefault(card_of(one), [])
            names += [] if recording.name in names else [recording.name]

    def _known(self, part: Trials, row: int) -> bool:
        """Whether the trial could be read; one that could not is not tried again."""
        if (part, row) in self._unread:
            return False
        if good := self._fitness.readable(part, row):
            return good
        self._unread.add((part, row))
        if part.recording.name not in self.told.unread:
            self.told.unread.append(part.recording.name)
        return False
