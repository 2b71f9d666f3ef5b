"""The commands of a review. A script calls them by name, a screen by :meth:`Session.apply`; both are the same.

Those on trials stand in ``bursts`` and ``trials``; those on recordings and people are here. A field that is set as a
whole (see ``annotations.fields``) has its command from its own module.

    COMMANDS        the names of all
    Commands        the commands
"""

import math
from collections.abc import Callable, Sequence
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations.events import KINDS, REASONS, check_choice, check_reasons, check_text
from emgreview.annotations.fields.added_cue import AddedCue
from emgreview.annotations.fields.field import CHANNEL as OF_CHANNEL
from emgreview.annotations.fields.field import Field
from emgreview.annotations.fields.marked_burst import MarkedBurst
from emgreview.annotations.fields.set_aside import Stretch
from emgreview.checks import real
from emgreview.errors import DecisionError, UnknownNameError
from emgreview.model import to_sample
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time
from emgreview.session.subjects import CHANNEL, CHANNEL_OF_RECORDING, NOTHING, RECORDING, SUBJECTS, TRIAL, command
from emgreview.session.trials import OnTrials


@one_at_a_time
class Commands(OnTrials):
    """The commands, each registered with its subject."""

    @command(RECORDING)
    def add_cue(self, recording: str, time_s: float, label: str, reason: str | None = None) -> Ids:
        """Add a cue that the recording lacks.

        The recorded markers stay; trials cut from :meth:`with_added_cues` have it, and the ids of
        all others stay the same.

        Parameters
        ----------
        recording : str
            The recording.
        time_s : float
            In seconds from its first sample.
        label : str
            Label of the cue.
        reason : str or None
            Why, in words that the log keeps.

        Returns
        -------
        tuple of str
            Ids of the trials that hold it.

        Raises
        ------
        DecisionError
            The time lies outside the recording, the label is empty, or a cue with that label lies
            at that sample.
        ParameterError
            The time is no number.
        UnknownNameError
            No recording has that name.
        """
        source, label = self._recording(recording), check_text(label)
        time_s = real("time_s", time_s, "seconds from the first sample of the recording")
        sample = to_sample(time_s, source.rate_hz) if math.isfinite(time_s) else -1
        taken = {(marker.sample, marker.label) for marker in self.with_added_cues(recording).markers}
        if not 0 <= sample < source.n_samples or not label.strip() or (sample, label) in taken:
            raise DecisionError(
                f"a cue {label!r} came at {time_s} s; allowed: a time within 0 to {source.duration_s:g} s of recording "
                f"{recording!r}, a label, and no second cue with that label at one sample; correct it."
            )
        new = AddedCue(sample, label)
        return self._keep_in(recording, "add cue", "added cue", "cue", new, None, reason and check_text(reason))

    @command(CHANNEL_OF_RECORDING)
    def mark_burst(self, recording: str, channel: str, onset_s: float, offset_s: float, kind: str = "response") -> Ids:
        """Mark a burst by hand, anywhere in a recording.

        Every trial that holds its onset gets it as an added burst, without its offset where that
        lies beyond the trial; each of these is a command of its own. Where no trial does, it is
        kept with the recording (:attr:`marked`).

        Parameters
        ----------
        recording, channel : str
            The EMG channel of a recording.
        onset_s, offset_s : float
            In seconds from the first sample of the recording.
        kind : str, default "response"
            A word of KINDS, as for :meth:`add`.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The stretch does not lie in the recording.
        UnknownNameError
            No recording, EMG channel or kind has that name.

        Warns
        -----
        DecisionWarning
            It goes on in trials that do not know of it; or lies inside another burst, or has
            become the response, as for :meth:`add`.
        """
        start, stop = self._stretch(recording, channel, onset_s, offset_s)
        if channel not in (known := self._recording(recording).emg_labels):
            raise UnknownNameError("EMG channel", channel, known)
        check_choice("kind", kind, KINDS)
        touched = self._touched(recording, start, start + 1)
        own = [
            trial
            for trial in touched
            if self._proposals.source(trial)[1] == 1 and channel in self._places[trial].labels
        ]
        if not own:
            new = MarkedBurst(start, stop, kind)
            return self._keep_in(recording, "mark burst", "marked burst", "marked", new, channel)
        ids: Ids = ()
        for trial in own:
            place = self._places[trial]
            onset, offset = ((sample - place.cue) / place.rate_hz for sample in (start, stop))
            ids += self.add(trial, channel, onset_s=onset, offset_s=offset if stop < place.stop else None, kind=kind)
            after = {self._proposals.source(other)[0] for other in self._touched(recording, place.stop, stop)}
            if others := len(after - set(own)):
                self.say(
                    trial,
                    f"{channel}: the burst ends beyond the trial, which does not keep its offset, and goes on in "
                    f"{others} other{'s' * (others > 1)}, whose rest does not know of it. Set that stretch aside "
                    "there, or cut longer trials.",
                )
        return ids

    @command(CHANNEL_OF_RECORDING)
    def set_aside(
        self, recording: str, channel: str, start_s: float, stop_s: float, reasons: Sequence[str] = ()
    ) -> Ids:
        """Set a stretch of one channel aside.

        Parameters
        ----------
        recording, channel : str
            The channel of a recording.
        start_s, stop_s : float
            In seconds from the first sample of the recording.
        reasons : sequence of str
            Of REASONS, as for :meth:`unusable`.

        Returns
        -------
        tuple of str
            Ids of the trials that it touches.

        Raises
        ------
        DecisionError
            The stretch does not lie in the recording, or no reason is given.
        UnknownNameError
            No recording, channel or reason has that name.
        """
        start, stop = self._stretch(recording, channel, start_s, stop_s)
        new = Stretch(start, stop, tuple(check_reasons(reasons, REASONS)))
        return self._keep_in(recording, "set aside", "set aside", "aside", new, channel)

    @command(CHANNEL_OF_RECORDING)
    def exclude(
        self,
        reason: str,
        *,
        participant: str | None = None,
        recording: str | None = None,
        channel: str | None = None,
    ) -> Ids:
        """Keep a participant, a recording, or one channel of a recording out of every analysis.

        Decisions about its trials stay, and may go on.

        Parameters
        ----------
        reason : str
            Why, in words that the log keeps.
        participant : str or None
            A participant,
        recording : str or None
            or a recording,
        channel : str or None
            or a recording and one of its channels.

        Returns
        -------
        tuple of str
            Ids of the trials that it is about.

        Raises
        ------
        DecisionError
            No reason is given, or not just one of these.
        UnknownNameError
            No participant, recording or channel has that name.
        """
        if not reason or not check_text(reason).strip():
            raise DecisionError("exclude came without a reason; say in a few words why it is kept out.")
        return self._exclude("exclude", check_text(reason.strip()), participant, recording, channel)

    @command(CHANNEL_OF_RECORDING)
    def readmit(
        self,
        reason: str | None = None,
        *,
        participant: str | None = None,
        recording: str | None = None,
        channel: str | None = None,
    ) -> Ids:
        """Take an exclusion back.

        Parameters
        ----------
        reason : str or None
            Why, in words that the log keeps.
        participant : str or None
            A participant,
        recording : str or None
            or a recording,
        channel : str or None
            or a recording and one of its channels.

        Returns
        -------
        tuple of str
            Ids of the trials that it is about.

        Raises
        ------
        DecisionError
            Not just one of these is given.
        UnknownNameError
            No participant, recording or channel has that name.
        """
        return self._exclude("readmit", None, participant, recording, channel, reason and check_text(reason))

    @command(NOTHING)
    def undo(self) -> Ids:
        """Take the last command back, whichever recording it was on, without limit.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed; () if there is nothing to take back.
        """
        return self._again("undo", self._ledger.to_undo)

    @command(NOTHING)
    def redo(self) -> Ids:
        """Do the last undone command again. A new decision empties this list.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed; () if there is none.
        """
        return self._again("redo", self._ledger.to_redo)


_SAYS = """Say the {name} of {whose}.

        Parameters
        ----------
        trial : str
            The trial.
        value : object or None
            What it is; None takes it back.{channel}

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            It cannot be said in this session.
        UnknownNameError
            No trial, channel or word has that name.
        """


def _of_field(field: Field) -> Callable[..., Ids]:
    """The command of a field that is set as a whole, with its docstring."""

    def of_trial(self: Commands, trial: str, value: Any) -> Ids:
        with self.lock:
            return self._say_field(field, trial, value)

    def of_channel(self: Commands, trial: str, value: Any, channel: str) -> Ids:
        with self.lock:
            return self._say_field(field, trial, value, channel)

    def of_either(self: Commands, trial: str, value: Any, channel: str | None = None) -> Ids:
        with self.lock:
            return self._say_field(field, trial, value, channel)

    run: Callable[..., Ids]
    if field.also:
        run, whose, kind = of_either, "a trial, or one channel of it", "str or None\n            None: the trial."
    elif field.of == OF_CHANNEL:
        run, whose, kind = of_channel, "a channel of a trial", "str\n            The channel."
    else:
        run, whose, kind = of_trial, "a trial", ""
    channel = kind and f"\n        channel : {kind}"
    run.__name__, run.__doc__ = field.name, _SAYS.format(name=field.name, whose=whose, channel=channel)
    run.__qualname__ = f"{Commands.__name__}.{field.name}"
    return command(CHANNEL if channel else TRIAL)(run)


for _field in fields.FIELDS.values():
    if _field.say is not None and not hasattr(Commands, _field.name):
        setattr(Commands, _field.name, _of_field(_field))

COMMANDS: tuple[str, ...] = tuple(SUBJECTS)
"""The commands that :meth:`Session.apply` knows."""
