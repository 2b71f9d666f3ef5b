"""What lies before the reviewer: every trial, where it is in its recording, and what the method proposes there.

Seconds run from the trial's recorded cue; samples are those of the recording.

    Place           one trial's place
    Automatic       what the method said, in seconds
    check_order     an order of review, or an error
    Proposals       all trials of a review, by id; look-ups, checks, orders
"""

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from emgreview.annotations.fields.activity import RESPONSE, Activity, proposal
from emgreview.annotations.scales import compare, stated
from emgreview.checks import is_number, perhaps, short
from emgreview.errors import DecisionError, ParameterError, UnknownNameError
from emgreview.model import Onsets, Recording, Trials, to_sample

ORDERS = ("recorded", "random", "least certain")


def check_order(order: str) -> str:
    if order not in ORDERS:
        raise UnknownNameError("order", order, ORDERS)
    return order


@dataclass(frozen=True, slots=True)
class Automatic:
    """What the method said of one channel of one trial, NaN where it has no such number; ``present`` an index
    from 0 to 1 of how much stands out, no probability (:class:`emgreview.model.Onsets`), ``note`` a word where the rest
    cannot be trusted."""

    onset_s: float
    low_s: float
    high_s: float
    offset_s: float
    level_db: float
    present: float
    note: str

    @property
    def undecided(self) -> bool:
        """Whether the method could not tell if there is activity, because of the rest before it."""
        return bool(self.note) and math.isnan(self.onset_s) and math.isnan(self.present)

    @property
    def width_s(self) -> float:
        """How uncertain the onset is: the width of its interval, infinite where the method could not tell, -1 where it
        has no interval."""
        width = self.high_s - self.low_s
        return math.inf if self.undecided else width if math.isfinite(width) else -1.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a trial is found: its Trials and its row there; the samples of its cue, and of its first and past-last."""

    trials: Trials
    row: int
    cue: int
    first: int
    stop: int

    @property
    def recording(self) -> Recording:
        return self.trials.recording

    @property
    def labels(self) -> tuple[str, ...]:
        return self.trials.labels

    @property
    def rate_hz(self) -> float:
        return self.trials.rate_hz


class Proposals:
    """All trials of a review. ``found``, set later, holds what the method found, by Trials and channel label.

    ``again`` names further showings of a trial, each under an id of its own that every look-up takes.
    """

    found: Mapping[tuple[Trials, str], Onsets]

    def __init__(self, trials: tuple[Trials, ...]):
        self.places: dict[str, Place] = {}
        self.again: dict[str, tuple[str, int]] = {}
        self.recordings: dict[str, Recording] = {}
        processing: dict[str, str] = {}
        for part in trials:
            if processing.setdefault(part.recording.name, part.processing.hash) != part.processing.hash:
                raise ParameterError(
                    f"trials of {part.recording.name!r} came with two different processings; one review of a recording "
                    "has one; cut them all with the same."
                )
            known = self.recordings.setdefault(part.recording.name, part.recording)
            if known is not part.recording and not known.is_of(part.recording.digest):
                raise ParameterError(
                    f"two different recordings are called {known.name!r}; names must differ, because each has its own "
                    "log; rename one of them."
                )
            if other := compare(stated(known), stated(part.recording)).decisive:
                raise ParameterError(
                    f"trials of {known.name!r} came from two readings of it: {'; '.join(other)}; one review has one "
                    "scale; read the recording once, and cut all its trials from that."
                )
            for row, (trial, cue) in enumerate(zip(part.ids, part.cues, strict=True)):
                if trial in self.places:
                    raise ParameterError(f"trial {trial!r} came twice; give each trial once.")
                first = cue.sample - part.before
                self.places[trial] = Place(part, row, cue.sample, first, first + len(part.time_s))
        if not self.places:
            raise ParameterError("no trial came; a review needs at least one; check the cue given to cut_trials.")

    def demand_others(self, more: "Proposals") -> None:
        """ParameterError where a recording or a trial of others is here already."""
        for what, here, there in (
            ("recording", self.recordings, more.recordings),
            ("trial", self.places, more.places),
        ):
            if twice := [name for name in there if name in here]:
                raise ParameterError(f"{what} {twice[0]!r} came twice; give each {what} once.")

    def add(self, more: "Proposals", trials: Sequence[Trials]) -> None:
        """Take in others, in the order of ``trials``, which are all."""
        self.recordings |= more.recordings
        places = self.places | more.places
        self.places = {trial: places[trial] for part in trials for trial in part.ids}

    def source(self, trial: str) -> tuple[str, int]:
        """The trial itself and the number of its showing: 1, but for the ids in ``again``."""
        return self.again.get(trial, (trial, 1))

    def show_again(self, trial: str, showing: int) -> str:
        """An id for another showing of a trial: the same place under another name."""
        name = f"{trial}#{showing}"
        while name in self.places:
            name += "#"
        self.again[name] = (trial, showing)
        return name

    def place(self, trial: str, channel: str | None = None) -> Place:
        """A trial's place; raises UnknownNameError for the trial, or for a channel that it does not have."""
        return self.at(trial, channel)[0]

    def at(self, trial: str, channel: str | None) -> tuple[Place, str, int]:
        """A trial's place and :meth:`source`; raises as :meth:`place`."""
        try:
            source, showing = self.again.get(trial) or (trial, 1)
            place = self.places[source]
        except (KeyError, TypeError):
            added = isinstance(trial, str) and "/added/" in trial
            where = (
                "the trials as they were cut; a cue that was added by hand has one once its recording is cut again, "
                "as session.with_added_cues(recording) gives it"
            )
            raise UnknownNameError("trial", trial, self.places, where if added else "") from None
        if channel is not None and channel not in place.labels:
            raise UnknownNameError("channel", channel, place.labels)
        return place, source, showing

    def sample(self, trial: str, what: str, seconds: object) -> int:
        """The sample at a time from the recorded cue; raises DecisionError outside the trial or the recording."""
        place = self.place(trial)
        first, stop = max(place.first, 0), min(place.stop, place.recording.n_samples)
        if is_number(seconds):
            sample = place.cue + to_sample(float(seconds), place.rate_hz)  # type: ignore[arg-type]
            if first <= sample < stop:
                return sample
        shown = [f"{(sample - place.cue) / place.rate_hz:g}" for sample in (first, stop - 1)]
        raise DecisionError(
            f"{what} came as {short(seconds)}; allowed is {shown[0]} to {shown[1]} s from the cue, the "
            "stretch of the trial; correct it, or cut longer trials"
            f"{perhaps(seconds) if self._in_ms(seconds, place, first, stop) else ''}."
        )

    @staticmethod
    def _in_ms(came: object, place: Place, first: int, stop: int) -> bool:
        """Whether a time outside a trial would lie inside it as milliseconds, and is too long a way off in seconds."""
        if not isinstance(came, int | float) or not is_number(came) or abs(came) < 5:
            return False
        return first <= place.cue + to_sample(came / 1000, place.rate_hz) < stop

    def proposal(self, trial: str, channel: str) -> Activity:
        """The activity as the method proposes it."""
        place = self.place(trial)
        found, row = self.found[place.trials, channel], place.row
        if not math.isfinite(found.onset_s[row]):
            return proposal(None)
        arrays = {"onset": found.onset_s, "offset": found.offset_s, "low": found.low_s, "high": found.high_s}
        times = {name: float(array[row]) for name, array in arrays.items()}
        return proposal(
            {
                name: place.first + to_sample(time, place.rate_hz) if math.isfinite(time) else None
                for name, time in times.items()
            }
        )

    def differs(self, trial: str, channel: str, seen: Activity, by_s: Mapping[str, float | None]) -> bool:
        """Whether the method says another onset or offset than the automatic one that a decided activity keeps.

        ``by_s`` holds, for "onset" and "offset", the seconds beyond which they count as others, or None: never looked
        at. Where only one of the two is there, they are others.
        """
        now, rate = self.proposal(trial, channel), self.place(trial).rate_hz
        before, after = (
            burst.automatic if (burst := one.bursts.get(RESPONSE)) is not None else None for one in (seen, now)
        )
        for name, limit in by_s.items():
            was, found = getattr(before, name, None), getattr(after, name, None)
            if limit is None or was == found:
                continue
            if was is None or found is None or abs(was - found) > limit * rate + 1e-6:
                return True
        return False

    def automatic(self, trial: str, channel: str) -> Automatic:
        """What the method said of one channel of one trial."""
        place = self.place(trial, channel)
        found, row = self.found[place.trials, channel], place.row
        before = (place.cue - place.first) / place.rate_hz
        return Automatic(
            onset_s=float(found.onset_s[row]) - before,
            low_s=float(found.low_s[row]) - before,
            high_s=float(found.high_s[row]) - before,
            offset_s=float(found.offset_s[row]) - before,
            level_db=float(found.level_db[row]),
            present=float(found.present[row]),
            note=str(found.baseline_note[row]),
        )

    def queue(self, order: str, *, seed: str, blind: bool) -> tuple[str, ...]:
        """Trial ids in the order of review.

        A random order is that of the digests of seed and id, so that a trial more or less moves no other; a blind
        review is never in recorded order. "least certain": first where the method could not tell, last where it has no
        interval.
        """
        ids = tuple(self.places)
        if order == "least certain":
            return tuple(sorted(ids, key=self._width, reverse=True))
        if order == "random" or blind:
            return tuple(sorted(ids, key=lambda trial: hashlib.sha256(f"{seed}/{trial}".encode()).digest()))
        return ids

    def _width(self, trial: str) -> float:
        return max(self.automatic(trial, label).width_s for label in self.places[trial].labels)
