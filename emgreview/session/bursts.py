"""Commands on the bursts of a channel-trial: accept, move, add, remove, none visible, kind, confidence, width."""

import math

from emgreview.annotations import state as states
from emgreview.annotations.events import CONFIDENCES, KINDS, check_choice
from emgreview.errors import DecisionError
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time
from emgreview.session.recording import Recorder, listed_why
from emgreview.session.subjects import CHANNEL, TRIAL, command


@one_at_a_time
class OnBursts(Recorder):
    """Accept, move, add, remove bursts, and say more of them."""

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
            Id of the burst; None: the response, the active one that begins first.

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
        name = f"added-{self._logs.next_counter}"
        return self._act("add", trial, channel, lambda now: states.add(now, name, onset, offset, kind), name)

    @command(CHANNEL)
    def remove(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Take a burst away; the automatic value stays on record.

        Parameters
        ----------
        trial, channel : str
            The channel-trial.
        burst : str or None
            Id of the burst; None: the response, the active one that begins first.

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
            Id of the burst; None: the response, the active one that begins first.

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
            Id of the burst; None: the response, the active one that begins first.

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
            Id of the burst; None: the response, the active one that begins first.

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
