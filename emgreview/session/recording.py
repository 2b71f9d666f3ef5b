"""One decision: into the log, and only then into the state; taken back; and what it has to say beside what it does.

Recorder        record, say, on_screen
"""

import os
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.events import Event, digest_of
from emgreview.annotations.fields.added_cue import AddedCue
from emgreview.annotations.fields.field import Field
from emgreview.annotations.fields.marked_burst import MarkedBurst
from emgreview.annotations.fields.set_aside import Stretch
from emgreview.annotations.hidden import mask, unmask
from emgreview.annotations.state import Activity
from emgreview.checks import real
from emgreview.errors import DecisionError, DecisionWarning, UnknownNameError
from emgreview.model import to_sample
from emgreview.remarks import alone, on_bursts
from emgreview.session.current import Ids
from emgreview.session.judging import Judging
from emgreview.session.lock import one_at_a_time
from emgreview.session.order import Order

_HERE = os.path.dirname(__file__)  # noqa: PTH120


@one_at_a_time
class Recorder(Judging, Order):
    """One decision on its way: checked, logged, taken back, and what it has to say."""

    _heard: list[tuple[str, str]] | None

    def say(self, trial: str, words: str) -> None:
        """Tell who called a command, once it is done, what it does not say by itself: a script by a
        DecisionWarning, a screen by its list; see :meth:`on_screen`.

        In a blind review the trial goes by its place in the queue, for its id names the
        recording.

        Parameters
        ----------
        trial : str
            The trial that it is about.
        words : str
            What to say.
        """
        if self._heard is not None:
            self._heard.append((trial, words))
            return
        level, frame = 1, sys._getframe()
        while frame.f_back and os.path.dirname(frame.f_code.co_filename) == _HERE:  # noqa: PTH120  (of many frames)
            level, frame = level + 1, frame.f_back
        which = f"trial {self._rank[trial] + 1} of the queue" if self.blind else f"trial {trial!r}"
        warnings.warn(f"{which}: {self.neutral(words)}", DecisionWarning, stacklevel=level)

    def record(
        self,
        operation: str,
        trial: str,
        channel: str | None,
        field: str,
        old: Any,
        new: Any,
        *,
        reason: str | None = None,
    ) -> Ids:
        """Log a decision on one field under an operation of one's own.

        For those who hold a session; a front end uses the commands.

        Parameters
        ----------
        operation : str
            What the log calls it.
        trial : str
            The trial.
        channel : str or None
            Its channel; None for what is about the trial.
        field : str
            The field.
        old, new : object
            Its value before and from now on, as :meth:`value` gives it.
        reason : str or None
            Why, in words that the log keeps.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed; () where nothing changes.

        Raises
        ------
        DecisionError
            The review is not about that field.
        """
        return self._record(operation, trial, channel, field, old, new, reason=reason)

    def record_many(
        self, operation: str, trial: str, new: Mapping[str, Mapping[str, Any]], reason: str | None = None
    ) -> Ids:
        """As :meth:`record`, of several fields of several channels in one event.

        Parameters
        ----------
        operation : str
            What the log calls it.
        trial : str
            The trial.
        new : mapping
            By channel, then by field: the value from now on. What would not change is left out.
        reason : str or None
            Why, in words that the log keeps.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed; () where nothing changes.

        Raises
        ------
        DecisionError
            The review is not about one of these channels.
        """
        return self._record_many(operation, trial, new, reason)

    def showing(self, **visible: Any) -> None:
        """Say what is on screen; it is recorded with the decisions that follow, until it is said
        anew. A front end uses :meth:`on_screen`.

        Parameters
        ----------
        **visible
            Names and values, which must be plain JSON.

        Raises
        ------
        ParameterError
            A value is not plain JSON.
        """
        digest_of(visible)
        self._logs.visible = visible

    @contextmanager
    def on_screen(self, **visible: Any) -> Iterator[list[tuple[str, str]]]:
        """One decision of a screen: ``visible`` is recorded with what is decided inside the block,
        and with nothing after it.

        Parameters
        ----------
        **visible
            Names and values, which must be plain JSON.

        Yields
        ------
        list of (str, str)
            Fills with what the commands have to say, (trial, words) each, instead of warnings.
        """
        with self.lock:
            before, heard = self._logs.visible, self._heard
            self.showing(**visible)
            said: list[tuple[str, str]] = []
            self._heard = said
            try:
                yield said
            finally:
                self._logs.visible, self._heard = before, heard

    def _record(
        self,
        operation: str,
        trial: str,
        channel: str | None,
        field: str,
        old: Any,
        new: Any,
        *,
        burst: str | None = None,
        reason: str | None = None,
        visible: Mapping[str, Any] | None = None,
    ) -> Ids:
        place, source, showing = self._proposals.at(trial, channel)
        for label in new if field == "channels" else [channel]:
            self._policy.demand(trial, label, field)
        if old == new and not (field == "activity" and (self._stale(trial, channel) or self._in_bulk(trial, channel))):
            return ()
        event = self._logs.append(
            place.recording.name,
            operation,
            field,
            _written(field, old),
            _written(field, new),
            trial=source,
            channel=channel,
            burst=burst,
            reason=reason,
            showing=showing,
            visible=visible or self._unseen(trial, channel),
        )
        return self._after(event)

    def _record_many(
        self, operation: str, trial: str, new: Mapping[str, Mapping[str, Any]], reason: str | None = None
    ) -> Ids:
        """Several fields of several channels in one event; what would not change is left out."""
        old: dict[str, dict[str, Any]] = {}
        changed: dict[str, dict[str, Any]] = {}
        for label, parts in new.items():
            for name, part in parts.items():
                before = self._activity(trial, label) if name == "activity" else self._value(trial, label, name)
                if part != before:
                    old.setdefault(label, {})[name] = before
                    changed.setdefault(label, {})[name] = part
        return self._record(operation, trial, None, "channels", old, changed, reason=reason)

    def _act(
        self, operation: str, trial: str, channel: str, step: Callable[[Activity], Activity], burst: str | None = None
    ) -> Ids:
        old = self._activity(trial, channel)
        new = unmask(step(mask(old)), old) if self._hides(trial, channel) else step(old)
        if burst is None and new.found == "bursts":
            burst = states.find_burst(old if operation == "remove" else new, None)
        ids = self._record(operation, trial, channel, "activity", old, new, burst=burst)
        self._say_of_bursts(trial, channel, old, new)
        return ids

    def _say_field(self, field: Field, trial: str, value: Any, channel: str | None = None) -> Ids:
        """Set a field as a whole to what a person says."""
        assert field.say is not None
        return self._record(
            field.name, trial, channel, field.name, self._value(trial, channel, field.name), field.say(value)
        )

    def _signal(self, operation: str, trial: str, channel: str, reasons: list[str]) -> Ids:
        new = states.Signal(operation, tuple(reasons))
        old = self._value(trial, channel, "signal")
        return self._record(operation, trial, channel, "signal", old, new, reason="; ".join(reasons) or None)

    def _again(self, operation: str, step: states.Step | None) -> Ids:
        if step is None:
            return ()
        event = self._logs.event(step)
        old, new = (event.new, event.old) if operation == "undo" else (event.old, event.new)
        subject = event.subject
        done = self._logs.append(
            str(subject["recording"]),
            operation,
            event.field,
            old,
            new,
            trial=subject["trial"],
            channel=subject["channel"],
            burst=subject["burst"],
            target=event.counter,
            showing=event.showing,
            visible=self._unseen(self._entry(subject["trial"], event.showing), subject["channel"]),
        )
        if event.field in states.IN_RECORDING:
            value = fields.read(event.field, event.new)
            return self._tell(self._touched(str(subject["recording"]), value.start, value.stop))
        if event.field in states.EXCLUDED:
            return self._tell(self._belonging(event))
        ids = self._after(done)
        before = {key[2:4]: value for key, value in states.keyed(event, old)}
        for (_, _, label, field, _), value in states.keyed(event, new):
            if ids and field == "activity":
                seen = (fields.read(field, one) for one in (before[label, field], value))
                self._say_of_bursts(ids[0], str(label), *seen)
        return ids

    def _after(self, event: Event) -> Ids:
        """A command on a trial is on disk and counted: move there, tell the observers."""
        trial = self._entry(event.subject["trial"], event.showing)
        if trial not in self._places:  # undone, but the cue was not cut this time
            return ()
        self.where = str(trial)
        return self._tell((self.where,))

    def _keep_in(
        self,
        recording: str,
        operation: str,
        field: str,
        prefix: str,
        new: Stretch | MarkedBurst | AddedCue,
        channel: str | None,
        reason: str | None = None,
    ) -> Ids:
        """Log what stands in a recording, not in a trial; the trials it touches."""
        name = f"{prefix}-{self._logs.next_counter}"
        stored = fields.write(field, new)
        self._logs.append(recording, operation, field, None, stored, channel=channel, burst=name, reason=reason)
        return self._tell(self._touched(recording, new.start, new.stop))

    def _exclude(
        self,
        operation: str,
        new: str | None,
        participant: str | None,
        recording: str | None,
        channel: str | None,
        reason: str | None = None,
    ) -> Ids:
        recordings = self._proposals.recordings
        if (participant is None) == (recording is None) or (channel is not None and recording is None):
            raise DecisionError(
                f"{operation} came with participant {participant!r}, recording {recording!r} and channel {channel!r}; "
                "give a participant, or a recording, or a recording and one of its channels."
            )
        if recording is not None:
            if recording not in tuple(recordings):
                raise UnknownNameError("recording", recording, recordings)
            key = states.Key(recording, None, channel, "excluded")
            if channel is not None:
                recordings[recording].channel(channel)
        else:
            own = [name for name, one in recordings.items() if one.entities.get("sub") == participant]
            if not own:
                known = {str(one.entities["sub"]) for one in recordings.values() if one.entities.get("sub")}
                raise UnknownNameError("participant", participant, sorted(known))
            recording, key = own[0], states.Key(None, None, None, states.OF_PARTICIPANT, participant)
        if new is None:
            self._policy.demand_back(key)
        old = self._current(key)
        if old == new:
            return ()
        event = self._logs.append(recording, operation, key[3], old, new, channel=channel, reason=new or reason)
        return self._tell(self._belonging(event))

    def _stretch(self, recording: str, channel: str, start_s: float, stop_s: float) -> tuple[int, int]:
        """Samples of a stretch of one channel, checked."""
        source = self._recording(recording)
        source.channel(channel)
        seconds = "seconds from the first sample of the recording"
        start_s, stop_s = real("a start", start_s, seconds), real("a stop", stop_s, seconds)
        if not 0 <= start_s < stop_s <= source.duration_s:
            raise DecisionError(
                f"the stretch {start_s} to {stop_s} s does not lie in recording {recording!r} (0 to "
                f"{source.duration_s:g} s, start before stop); correct it."
            )
        return to_sample(start_s, source.rate_hz), to_sample(stop_s, source.rate_hz)

    def _demand_own_mark(self, trial: str, channels: Sequence[str]) -> None:
        for label in channels:
            if self._hides(trial, label) and not states.reviewed(shown := self._shown(trial, label), states.USABLE):
                if any(map(states.stands, shown.bursts.values())):
                    continue
                raise DecisionError(
                    f"the automatic mark of {label} is hidden in this trial, so there is nothing to accept; mark the "
                    "onset yourself, or say that none is visible."
                )

    def _say_of_bursts(self, trial: str, channel: str, old: Activity, new: Activity) -> None:
        """Say where a burst lies inside another by now, and where another one is the response."""
        if alone(old, new) or old == new:
            return
        if self._hides(trial, channel):
            old, new = mask(old), mask(new)
        place = self._proposals.place(trial)
        timed = self._heard is None and not self.blind  # a screen numbers its marks, and may not show times
        for words in on_bursts(old, new, place.cue, place.rate_hz if timed else None):
            self.say(trial, f"{channel}: {words}")

    def _say_clipped(self, trial: str, cut: Mapping[str, str], what: str) -> None:
        if cut:
            self.say(trial, f"{what}: {listed_why(cut)}. Measures tell it; where no size may be taken, say unusable.")


def _written(field: str, value: Any) -> Any:
    """A value as a log keeps it; of several channels each part."""
    if field != "channels":
        return fields.write(field, value)
    return {label: {name: fields.write(name, one) for name, one in parts.items()} for label, parts in value.items()}


def listed_why(channels: Mapping[str, str]) -> str:
    """Channels, each with why: "FCR (dead: …), BB (…)"."""
    return ", ".join(f"{label} ({why})" for label, why in channels.items())
