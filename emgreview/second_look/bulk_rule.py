"""What a channel-trial must meet to be accepted in bulk, and what was found out about it before.

BulkRule        the rule
found_before    what is known of a channel-trial that a draw passes over
recordings_of   the recordings of a session, by name
"""

import math
from dataclasses import dataclass

from emgreview.cohort.marks import Logs, Unit
from emgreview.errors import ParameterError
from emgreview.model import Recording, longest, to_sample
from emgreview.session import Session


@dataclass(frozen=True, slots=True, kw_only=True)
class BulkRule:
    """What a channel-trial must meet to be accepted in bulk.

    Parameters
    ----------
    interval_below_s : float
        The 90 % interval of the automatic onset is narrower than this, in seconds.
    level_above_db : float
        Its level is above this.
    clean : bool, default True
        The signal is clean: no note about its baseline, the channel not marked bad, the
        burst not clipped, no caution, nothing set aside there.

    Raises
    ------
    ParameterError
        The interval is not above 0 s, or the level is no number.

    Notes
    -----
    A channel-trial that nobody can judge without a look (:meth:`Session.unfit`) never meets
    it.

    Examples
    --------
    >>> import emgreview as er
    >>> er.BulkRule(interval_below_s=0.02, level_above_db=15).words
    'interval narrower than 20 ms, level above 15 dB, signal clean'
    """

    interval_below_s: float
    level_above_db: float
    clean: bool = True

    def __post_init__(self) -> None:
        if not (self.interval_below_s > 0 and math.isfinite(self.level_above_db)):
            raise ParameterError(
                f"the rule came with interval_below_s={self.interval_below_s!r} and level_above_db="
                f"{self.level_above_db!r}; allowed: an interval above 0 s, and any level in dB; correct it."
            )

    @property
    def words(self) -> str:
        """The rule in words."""
        clean = ", signal clean" if self.clean else ""
        return (
            f"interval narrower than {1000 * self.interval_below_s:g} ms, level above {self.level_above_db:g} dB{clean}"
        )

    def meets(self, session: Session, trial: str, channel: str) -> bool:
        """Whether an open, untouched channel-trial meets the rule.

        Parameters
        ----------
        session : Session
            The review.
        trial, channel : str
            The channel-trial.

        Returns
        -------
        bool
        """
        state = session.state(trial).channels[channel]
        open_ = not state.reviewed and [burst.origin for burst in state.active] == ["automatic"]
        open_ = open_ and not _out(session, trial, channel)
        said = self.says(session, trial, channel) and (not self.clean or _clean(session, trial, channel))
        return open_ and said and not session.unfit(trial, channel)

    def says(self, session: Session, trial: str, channel: str) -> bool:
        """Whether a channel-trial meets what the rule asks of the method and of the recording,
        whatever anybody has decided about it.

        Parameters
        ----------
        session : Session
            The review.
        trial, channel : str
            The channel-trial.

        Returns
        -------
        bool
        """
        found = session.automatic(trial, channel)
        sure = found.high_s - found.low_s < self.interval_below_s and found.level_db > self.level_above_db
        if not self.clean:
            return sure
        recording = recordings_of(session)[session.state(trial).recording]
        good = sure and not found.note and recording.channel(channel).status == "good"
        return good and not session.automatic_clipped(trial, channel)


def _out(session: Session, trial: str, channel: str) -> bool:
    """Whether the channel, its recording or its participant is excluded, or the trial has no cue."""
    name = session.state(trial).recording
    who = recordings_of(session)[name].entities.get("sub")
    return trial in session.no_cues or any(
        (named == name and label in (None, channel)) if what == "recording" else named == who
        for what, named, label, _ in session.excluded
    )


def _clean(session: Session, trial: str, channel: str) -> bool:
    """Whether no reviewer has said anything against the signal."""
    state = session.state(trial)
    here = state.channels[channel]
    onsets = [burst.onset for burst in here.active]
    aside = any(
        name == state.recording and label == channel and any(start <= onset < stop for onset in onsets)
        for name, label, start, stop, _ in session.aside
    )
    return here.signal == "usable" and not aside


def recordings_of(session: Session) -> dict[str, Recording]:
    return {trials.recording.name: trials.recording for trials in session.trials}


def found_before(session: Session, logs: Logs, recording: str, pair: tuple[str, str], moved_by_s: float) -> str:
    """What is known of a channel-trial that the draw passes over: "moved", "as it was", "kept out" (by a caution or a
    stretch set aside, its mark open and untouched), or "bulk"."""
    unit: Unit = (recording, *pair)
    state = session.state(pair[0]).channels[pair[1]]
    if logs.in_bulk(unit):
        return "bulk"
    mark = logs.mark(unit)
    if not mark.reviewed and [burst.origin for burst in state.active] == ["automatic"]:
        return "kept out"
    shown = state.response
    onset = mark.onset if mark.reviewed else None if shown is None else shown.onset
    rate, cue = logs.rates_hz[recording], session.state(pair[0]).cue
    automatic = cue + to_sample(session.automatic(*pair).onset_s, rate)
    if onset is None or abs(onset - automatic) > longest(moved_by_s, rate):
        return "moved"
    return "as it was"
