"""The commands of a review. A script calls them by name, a screen by :meth:`Session.apply`; both are the same.

A command is registered with its subject where it is defined, and nowhere else. A field that is set as a whole (see
``annotations.fields``) has its command from its own module.

    COMMANDS        the names of all, and of what each is: Subject
    Commands        the commands
"""

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, TypeVar

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.events import CAUTIONS, CONFIDENCES, KINDS, REASONS, check_choice, check_reasons, check_text
from emgreview.annotations.fields.added_cue import AddedCue
from emgreview.annotations.fields.field import CHANNEL as OF_CHANNEL
from emgreview.annotations.fields.field import Field
from emgreview.annotations.fields.marked_burst import MarkedBurst
from emgreview.annotations.fields.set_aside import Stretch
from emgreview.errors import DecisionError, UnknownNameError
from emgreview.model import to_sample
from emgreview.session.lock import one_at_a_time
from emgreview.session.recording import Recorder, listed_why
from emgreview.session.standing import Ids


class Subject(NamedTuple):
    """Of what a command is: the name of its first argument, or None, and whether it may name a channel."""

    first: str | None
    channel: bool


CHANNEL, TRIAL = Subject("trial", True), Subject("trial", False)
CHANNEL_OF_RECORDING, RECORDING = Subject("recording", True), Subject("recording", False)
NOTHING = Subject(None, False)

SUBJECTS: dict[str, Subject] = {}
"""Every command, with its subject."""

_Run = TypeVar("_Run", bound=Callable[..., Ids])


def command(subject: Subject) -> Callable[[_Run], _Run]:
    """Register a method as a command on a subject."""

    def register(run: _Run) -> _Run:
        SUBJECTS[run.__name__] = subject
        return run

    return register


@one_at_a_time
class Commands(Recorder):
    """The commands, each registered with its subject."""

    @command(CHANNEL)
    def accept(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Accept a burst where it stands.

        Where nothing was detected or all was removed, this records "none visible", with what the
        method said as the old value.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        burst : str or None
            Id of the burst; None: all that stand.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The automatic mark is hidden, and there is no mark of the reviewer's own.
        UnknownNameError
            No trial, channel or burst has that name.
        """
        self._demand_own_mark(trial, [channel])
        before = self._activity(trial, channel).found
        ids = self._act("accept", trial, channel, lambda now: states.accept(now, burst), burst)
        nothing = ids and before != "none visible" and self._activity(trial, channel).found == "none visible"
        if nothing and (why := self.unfit(trial, channel)):
            self.say(trial, f"{channel}: recorded as none visible, but: {why}. Unusable may say it better.")
        return ids

    def accept_in_bulk(self, trial: str, channel: str, audit: int) -> Ids:
        """Accept an automatic mark that nobody looked at, because an audit vouches for it; see
        ``second_look.bulk``.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        audit : int
            The number of the audit's plan.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The log does not say that this audit accepts this mark.
        """
        vouched = [note.new for note in self.notes if note.operation == states.ACCEPTANCE]
        if not any(note["audit"] == audit and [trial, channel] in note["accepted"] for note in vouched):
            raise DecisionError(
                f"no audit {audit!r} that passed accepts {channel} of trial {trial!r} in bulk; accept it by eye, or "
                "plan an audit with plan_bulk."
            )
        activity = self._activity(trial, channel)
        new = states.accept(activity, states.RESPONSE)
        looked = {"looked": False}
        return self._record(
            states.IN_BULK, trial, channel, "activity", activity, new, reason=f"audit {audit}", visible=looked
        )

    @command(TRIAL)
    def accept_rest(self, trial: str) -> Ids:
        """Accept every channel of a trial that is not yet reviewed, in one step that one undo takes
        back.

        Parameters
        ----------
        trial : str
            The trial.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            An automatic mark is hidden, and there is no mark of the reviewer's own.

        Warns
        -----
        DecisionWarning
            A channel that cannot be judged without a look at it (:meth:`unfit`: dead, flat, set
            aside …) stays open: which, and why; and which bursts were accepted though
            :meth:`clipped`.
        """
        labels = [label for label in self._proposals.place(trial).labels if label in self._open[trial]]
        left = self._unfit(trial, labels)
        labels = [label for label in labels if label not in left]
        self._demand_own_mark(trial, labels)
        new = {label: {"activity": states.accept(self._activity(trial, label))} for label in labels}
        cut = self._cut(trial, labels)
        ids = self._record_many("accept rest", trial, new)
        if left:
            self.say(trial, f"left open: {listed_why(left)}. Decide by eye: unusable and why, or none visible.")
        self._say_clipped(trial, cut, "accepted")
        return ids

    @command(CHANNEL)
    def move(
        self,
        trial: str,
        channel: str,
        *,
        onset_s: float | None = None,
        offset_s: float | None = None,
        burst: str | None = None,
    ) -> Ids:
        """Move a burst's onset, offset or both. It is then confirmed by accept, like an untouched
        one.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        onset_s, offset_s : float or None
            Where to, in seconds from the recorded cue; at least one of them.
        burst : str or None
            Id of the burst; None: the response, the standing one that begins first.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            Neither is given, there is no response, a time lies outside the trial, or the onset
            would not lie before the offset.
        UnknownNameError
            No trial, channel or burst has that name.
        """
        if onset_s is None and offset_s is None:
            raise DecisionError("move came without onset_s and offset_s; give one of them, in seconds from the cue.")
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        return self._act("move", trial, channel, lambda now: states.move(now, burst, onset, offset), burst)

    @command(CHANNEL)
    def add(
        self, trial: str, channel: str, *, onset_s: float, offset_s: float | None = None, kind: str = "response"
    ) -> Ids:
        """Mark a burst that the method missed. Its id is "added-" and the number of the command.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        onset_s : float
            In seconds from the recorded cue.
        offset_s : float or None
            Likewise; None where it is not marked.
        kind : str, default "response"
            A word of KINDS: "response", "early small", "other hand", "braking", "tonic", "MEP",
            "after-discharge".

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            No onset is given, a time lies outside the trial, or the onset does not lie before the
            offset.
        UnknownNameError
            No trial, channel or kind has that name.
        """
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        if onset is None:
            raise DecisionError("add came without onset_s; give it in seconds from the cue.")
        check_choice("kind", kind, KINDS)
        name = f"added-{self._book.next_counter}"
        return self._act("add", trial, channel, lambda now: states.add(now, name, onset, offset, kind), name)

    @command(CHANNEL)
    def remove(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Take a burst away; the automatic value stays on record.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        burst : str or None
            Id of the burst; None: the response, the standing one that begins first.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            There is no response, or the burst named does not stand.
        UnknownNameError
            No trial, channel or burst has that name.
        """
        return self._act("remove", trial, channel, lambda now: states.remove(now, burst), burst)

    @command(CHANNEL)
    def none_visible(self, trial: str, channel: str) -> Ids:
        """No activity can be seen.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.
        """
        return self._act("none visible", trial, channel, states.none_visible)

    @command(CHANNEL)
    def not_locatable(self, trial: str, channel: str, *, earliest_s: float, latest_s: float) -> Ids:
        """There is activity, but its onset can only be said to lie between two moments.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        earliest_s, latest_s : float
            The two moments, in seconds from the recorded cue.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            One is missing or lies outside the trial, or they are not in order.
        """
        earliest, latest = self._sample(trial, "earliest_s", earliest_s), self._sample(trial, "latest_s", latest_s)
        if earliest is None or latest is None:
            raise DecisionError("not_locatable needs earliest_s and latest_s, in seconds from the cue; give both.")
        return self._act("not locatable", trial, channel, lambda now: states.not_locatable(now, earliest, latest))

    @command(CHANNEL)
    def kind(self, trial: str, channel: str, kind: str, burst: str | None = None) -> Ids:
        """Say what a burst is.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        kind : str
            A word of KINDS, as for :meth:`add`.
        burst : str or None
            Id of the burst; None: the response, the standing one that begins first.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        UnknownNameError
            No trial, channel, kind or burst has that name.
        DecisionError
            There is no response, or the burst named does not stand.
        """
        check_choice("kind", kind, KINDS)
        return self._act("kind", trial, channel, lambda now: states.set_of_burst(now, burst, "kind", kind), burst)

    @command(CHANNEL)
    def confidence(self, trial: str, channel: str, confidence: str | None, burst: str | None = None) -> Ids:
        """How sure the reviewer is of a burst, or of a verdict without bursts.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        confidence : {"sure", "fairly", "unsure"} or None
            None to clear.
        burst : str or None
            Id of the burst; None: the response, the standing one that begins first.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        UnknownNameError
            No trial, channel, word or burst has that name.
        DecisionError
            There is no response nor verdict, or the burst named does not stand.
        """
        if confidence is not None:
            check_choice("confidence", confidence, CONFIDENCES)
        return self._act(
            "confidence", trial, channel, lambda now: states.set_of_burst(now, burst, "confidence", confidence), burst
        )

    @command(CHANNEL)
    def half_width(self, trial: str, channel: str, half_width_ms: float | None, burst: str | None = None) -> Ids:
        """How far a burst's onset may lie to either side of its mark, by the reviewer's own word.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        half_width_ms : float or None
            In milliseconds, above 0 and up to the trial's length; None takes it back. Kept in
            whole samples, rounded up: never narrower than what was said.
        burst : str or None
            Id of the burst; None: the response, the standing one that begins first.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            It is out of range, there is no response, or the burst named does not stand.
        UnknownNameError
            No trial, channel or burst has that name.
        """
        samples = None
        if half_width_ms is not None:
            place = self._proposals.place(trial, channel)
            longest_ms = 1000 * len(place.trials.time_s) / place.rate_hz
            number = isinstance(half_width_ms, (int, float)) and not isinstance(half_width_ms, bool)
            if not (number and 0 < half_width_ms <= longest_ms):
                raise DecisionError(
                    f"half_width_ms came as {half_width_ms!r}; allowed: milliseconds above 0, up to the trial's length "
                    f"({longest_ms:g} ms), or None to take it back."
                )
            samples = math.ceil(half_width_ms / 1000 * place.rate_hz * (1 - 1e-9))
        return self._act("half-width", trial, channel, lambda now: states.half_width(now, burst, samples), burst)

    @command(CHANNEL)
    def unusable(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal cannot be used. Marks stay.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        reasons : sequence of str
            Of REASONS, the main one first: "mains hum", "clipped", "heart beats" … "other" needs
            its text: "other: strap slipped".

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            No reason is given, or "other" without its text.
        UnknownNameError
            No trial, channel or reason has that name.
        """
        return self._signal("unusable", trial, channel, check_reasons(reasons, REASONS))

    @command(CHANNEL)
    def caution(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal can be used with caution.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        reasons : sequence of str
            Of CAUTIONS, the main one first: "not relaxed before go", "weak" …

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            No reason is given.
        UnknownNameError
            No trial, channel or caution has that name.
        """
        return self._signal("caution", trial, channel, check_reasons(reasons, CAUTIONS, "caution"))

    @command(CHANNEL)
    def usable(self, trial: str, channel: str) -> Ids:
        """The signal can be used after all.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.
        """
        return self._signal("usable", trial, channel, [])

    @command(CHANNEL)
    def copy_to_all(self, trial: str, channel: str) -> Ids:
        """Give every channel of the trial this one's signal state, and its verdict if that is "none
        visible" or "not locatable", in one step. Marks are never copied nor erased: each muscle
        keeps its own.

        Parameters
        ----------
        trial, channel : str
            The channel to copy from.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Warns
        -----
        DecisionWarning
            To another channel that cannot be judged without a look at it (:meth:`unfit`) only
            "unusable" is copied: which got nothing, and why; and which bursts are clipped.
        """
        signal, activity = self._value(trial, channel, "signal"), self._activity(trial, channel)
        others = [label for label in self._proposals.place(trial, channel).labels if label != channel]
        left = self._unfit(trial, others)
        new: dict[str, dict[str, Any]] = {}
        for label in others:
            if label not in left or signal.state == "unusable":
                new[label] = {"signal": signal}
            if label not in left and activity.found in states.VERDICTS:
                new[label]["activity"] = dataclasses.replace(activity, bursts=self._activity(trial, label).bursts)
        cut = self._cut(trial, new)
        ids = self._record_many("copy to all", trial, new)
        if left and (signal.state != "unusable" or activity.found in states.VERDICTS):
            what = "the verdict was not copied to" if signal.state == "unusable" else "nothing was copied to"
            self.say(trial, f"{what}: {listed_why(left)}. Decide these by eye.")
        if signal.state != "unusable":
            self._say_clipped(trial, cut, "copied to")
        return ids

    @command(CHANNEL)
    def comment(self, trial: str, text: str | None, channel: str | None = None) -> Ids:
        """A comment on a trial or one channel of it.

        Parameters
        ----------
        trial : str
            The trial.
        text : str or None
            One line of any text; empty or None removes it.
        channel : str or None
            The channel; None for the trial.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The text holds a control character or line break.
        """
        return self._say_field(fields.FIELDS["comment"], trial, text, channel)

    @command(CHANNEL)
    def discuss(self, trial: str, channel: str | None = None, on: bool | None = None) -> Ids:
        """Put a trial, or one channel of it, on the list to discuss, or take it off.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str or None
            The channel; None for the trial.
        on : bool or None
            On or off; None turns it over.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.
        """
        old = self._value(trial, channel, "discuss")
        return self._record("discuss", trial, channel, "discuss", old, (not old) if on is None else bool(on))

    @command(TRIAL)
    def behaviour(self, trial: str, behaviour: str | None) -> Ids:
        """What the participant did.

        Parameters
        ----------
        trial : str
            The trial.
        behaviour : str or None
            A word of BEHAVIOURS: "as instructed", "anticipation", "no response", "late" …; None
            to clear.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        UnknownNameError
            No trial or behaviour has that name.
        """
        return self._say_field(fields.FIELDS["behaviour"], trial, behaviour)

    @command(TRIAL)
    def correct_cue(self, trial: str, time_s: float | None, reason: str | None = None) -> Ids:
        """Say where the cue really lies.

        The recorded marker stays, and so do all other times of the session; the table of
        decisions counts from the corrected cue.

        Parameters
        ----------
        trial : str
            The trial.
        time_s : float or None
            In seconds from the recorded cue; None goes back to that.
        reason : str or None
            Why, in words that the log keeps.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The time lies outside the trial.
        """
        new, old = self._sample(trial, "time_s", time_s), self._value(trial, None, "cue")
        return self._record("correct cue", trial, None, "cue", old, new, reason=reason and check_text(reason))

    @command(TRIAL)
    def no_cue(self, trial: str, reason: str | None) -> Ids:
        """Say that the trial's recorded cue is none.

        The recorded marker stays. The trial can still be looked at, but every rule for inclusion
        leaves it out.

        Parameters
        ----------
        trial : str
            The trial.
        reason : str or None
            Why, for example "double"; None: it stands after all.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        DecisionError
            The reason is empty.
        """
        if reason is not None and not reason.strip():
            raise DecisionError(
                "no_cue came without a reason; say in a word why the cue is none, for example 'double'."
            )
        if reason is None:
            self._policy.demand_back(states.Key(self._proposals.place(trial).recording.name, trial, None, "no cue"))
        new = reason and check_text(reason.strip())
        return self._record("no cue", trial, None, "no cue", self._value(trial, None, "no cue"), new, reason=new)

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
        UnknownNameError
            No recording has that name.
        """
        source = self._recording(recording)
        sample = to_sample(time_s, source.rate_hz) if math.isfinite(time_s) else -1
        taken = {(marker.sample, marker.label) for marker in self.with_added_cues(recording).markers}
        if not 0 <= sample < source.n_samples or not label.strip() or (sample, label) in taken:
            raise DecisionError(
                f"a cue {label!r} came at {time_s} s; allowed: a time within 0 to {source.duration_s:g} s of recording "
                f"{recording!r}, a label, and no second cue with that label at one sample; correct it."
            )
        new = AddedCue(sample, check_text(label))
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
        if not reason or not reason.strip():
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

    def _say_field(self, field: Field, trial: str, value: Any, channel: str | None = None) -> Ids:
        """Set a field as a whole to what a person says."""
        assert field.say is not None
        return self._record(
            field.name, trial, channel, field.name, self._value(trial, channel, field.name), field.say(value)
        )


def _of_field(field: Field) -> Callable[..., Ids]:
    """The command of a field that is set as a whole."""

    def run(self: Commands, trial: str, value: Any, channel: str | None = None) -> Ids:
        with self.lock:
            return self._say_field(field, trial, value, channel)

    run.__name__, run.__doc__ = field.name, f"Say the {field.name} of a trial; None takes it back."
    return command(CHANNEL if field.is_of(OF_CHANNEL) else TRIAL)(run)


for _field in fields.FIELDS.values():
    if _field.say is not None and not hasattr(Commands, _field.name):
        setattr(Commands, _field.name, _of_field(_field))

COMMANDS: tuple[str, ...] = tuple(SUBJECTS)
"""The commands that :meth:`Session.apply` knows."""
