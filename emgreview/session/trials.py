"""Commands on what else stands of a trial: its signals, behaviour, comment and cue."""

import dataclasses
from collections.abc import Sequence
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.events import CAUTIONS, REASONS, check_reasons, check_text
from emgreview.checks import truth
from emgreview.errors import DecisionError
from emgreview.session.bursts import OnBursts
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time
from emgreview.session.recording import listed_why
from emgreview.session.subjects import CHANNEL, TRIAL, command


@one_at_a_time
class OnTrials(OnBursts):
    """Signals that are unusable, what the person did, comments, cues that were wrong."""

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

        Raises
        ------
        ParameterError
            ``on`` is neither True, False nor None.
        """
        old = self._value(trial, channel, "discuss")
        return self._record("discuss", trial, channel, "discuss", old, (not old) if on is None else truth("on", on))

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
        reason = None if reason is None else check_text(reason)
        if reason is not None and not reason.strip():
            raise DecisionError(
                "no_cue came without a reason; say in a word why the cue is none, for example 'double'."
            )
        if reason is None:
            self._policy.demand_back(states.Key(self._proposals.place(trial).recording.name, trial, None, "no cue"))
        new = reason and reason.strip()
        return self._record("no cue", trial, None, "no cue", self._value(trial, None, "no cue"), new, reason=new)
