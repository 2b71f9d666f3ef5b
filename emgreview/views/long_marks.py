"""What is decided on one recording, for the long view: session to JSON values, and the browser's decisions to commands.

Times here are seconds from the first sample of the recording, rows are places among its channels.

    Marks           of one recording in a session
"""

from collections.abc import Mapping, Sequence
from typing import Any

from emgreview.annotations.scales import compare, stated
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.model import Processing, Recording
from emgreview.session import Session
from emgreview.views.messages import needs

_STRETCH, _BURST = ("row", "start_s", "stop_s"), ("trial", "burst", "row")
_NEEDS = {
    "mark_burst": _STRETCH,
    "set_aside": (*_STRETCH, "reasons"),
    "move": (*_BURST, "onset_s", "offset_s"),
    "remove": _BURST,
    "kind": (*_BURST, "kind"),
    "correct_cue": ("trial", "at_s", "reason"),
    "no_cue": ("trial", "reason"),
    "add_cue": ("at_s", "label"),
    "undo": (),
    "redo": (),
}
"""Every decision of a long view, and what it comes with."""


class Marks:
    """Trials, bursts, stretches and cues of one recording, as they stand in a session."""

    def __init__(self, session: Session, recording: Recording):
        """Raises UnknownNameError and ParameterError where the session is about another recording, or blind."""
        if session.blind:
            raise ParameterError(
                "this session is blind, and a long view shows order, times and responses; open it without the session, "
                "or after session.unblind()."
            )
        parts = [trials for trials in session.trials if trials.recording.name == recording.name]
        if not parts:
            known = [trials.recording.name for trials in session.trials]
            raise UnknownNameError("recording of this session", recording.name, known)
        own = parts[0].recording
        if own is not recording and not recording.is_of(own.digest):
            raise ParameterError(
                f"recording {recording.name!r} came with other samples than the one that the session reviews; "
                "give the recording that its trials were cut from."
            )
        if other := compare(stated(own), stated(recording)).decisive:
            raise ParameterError(
                f"recording {recording.name!r} comes in another scale than the one that the session reviews: "
                f"{'; '.join(other)}; give the recording that its trials were cut from."
            )
        self.session, self._recording = session, recording
        self.processing: Processing = parts[0].processing
        self.cues = tuple(dict.fromkeys(part.cue for part in parts))
        self._cue_of = {trial: part.cue for part in parts for trial in part.ids}
        self._rows = {channel.label: row for row, channel in enumerate(recording.channels)}
        self._rate_hz = recording.rate_hz

    def trials(self) -> list[str]:
        """Ids of this recording's trials, each once, in order of time."""
        session = self.session
        own = [
            t for t in session.queue if session.source(t) == t and session.state(t).recording == self._recording.name
        ]
        return sorted(own, key=lambda trial: session.state(trial).cue)

    def notes(self) -> list[str]:
        """What reviewer and reader are to know: notices of the session, and notes of the recording and of its cuts."""
        parts = [part for part in self.session.trials if part.recording.name == self._recording.name]
        told = [note for part in parts for note in (*part.recording.notes, *part.notes)]
        return list(dict.fromkeys((*self.session.notices, *self._recording.notes, *told)))

    def cards(self, trials: Sequence[str]) -> list[dict[str, Any]]:
        """Those of some trials that are this recording's, as the browser draws them."""
        own = set(self.trials())
        return [self._card(trial) for trial in trials if trial in own]

    def status(self) -> dict[str, Any]:
        """What stands in the recording outside trials."""
        name, session = self._recording.name, self.session
        return {
            "aside": [
                {
                    "row": self._rows[label],
                    "start_s": self._s(start),
                    "stop_s": self._s(stop),
                    "words": ", ".join(reasons),
                }
                for recording, label, start, stop, reasons in session.aside
                if recording == name
            ],
            "marked": [
                {"row": self._rows[label], "start_s": self._s(start), "stop_s": self._s(stop), "words": kind}
                for recording, label, start, stop, kind in session.marked
                if recording == name
            ],
            "added": [[self._s(sample), label] for recording, sample, label in session.added_cues if recording == name],
        }

    def apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Carry out one decision of the browser; what its screen should know beyond the change itself."""
        with self.session.on_screen(**data["visible"]) as remarks:
            answer = self._decide(data)
        if not remarks:
            return answer
        words = [answer.get("said", {}).get("words", "")]
        words += [f"Trial at {self._s(self.session.state(trial).cue):.3f} s, {said}" for trial, said in remarks]
        return {**answer, "said": {"client": data["client"], "words": " ".join(words).strip()}}

    def _decide(self, data: Mapping[str, Any]) -> dict[str, Any]:
        command, args = data["command"], data["args"]
        session, name = self.session, self._recording.name
        if command not in _NEEDS:
            raise UnknownNameError("decision of a long view", command, _NEEDS)
        needs(command, args, *_NEEDS[command])
        label = self._label(args["row"]) if "row" in args else None
        if "trial" in args and args["trial"] not in self._cue_of:
            raise UnknownNameError("trial of this recording", args["trial"], self._cue_of)
        if command in ("mark_burst", "set_aside"):
            given = {"onset_s": args["start_s"], "offset_s": args["stop_s"], "kind": args.get("kind", "response")}
            if command == "set_aside":
                given = {"start_s": args["start_s"], "stop_s": args["stop_s"], "reasons": args["reasons"]}
            touched = session.apply(command, name, label, **given)
            return {"said": {"client": data["client"], "words": _reached(command, touched)}}
        if command == "move":
            times = {side: self._from_cue(args["trial"], args[side]) for side in ("onset_s", "offset_s")}
            session.move(args["trial"], str(label), burst=args["burst"], **times)
        elif command in ("remove", "kind"):
            more = {"kind": args["kind"]} if command == "kind" else {}
            session.apply(command, args["trial"], label, burst=args["burst"], **more)
        elif command == "correct_cue":
            session.correct_cue(args["trial"], self._from_cue(args["trial"], args["at_s"]), args["reason"] or None)
        elif command == "no_cue":
            session.no_cue(args["trial"], args["reason"])
        elif command == "add_cue":
            session.add_cue(name, args["at_s"], args["label"])
            words = "The cue is added. Its trial comes when trials are cut from session.with_added_cues(…)."
            return {"said": {"client": data["client"], "words": words}}
        else:
            changed = session.apply(command)
            here = self.cards(changed[:1])
            return {"go_to": {"client": data["client"], "s": here[0]["cue_s"]}} if here else {}
        return {}

    def _label(self, row: int) -> str:
        labels = [channel.label for channel in self._recording.channels]
        if row < len(labels):
            return labels[row]
        raise ParameterError(f"channel {row + 1} was named; there are {len(labels)}; reload the page.")

    def _card(self, trial: str) -> dict[str, Any]:
        state = self.session.state(trial)
        place = self.session.stretch(trial)
        left = self.session.open_channels(trial)
        status = "reviewed" if not left else "begun" if len(left) < len(state.channels) else "open"
        bursts = [
            {
                "row": self._rows[label],
                "id": burst.id,
                "kind": burst.kind,
                "onset_s": self._s(burst.onset),
                "offset_s": None if burst.offset is None else self._s(burst.offset),
                "sure": burst.accepted,
            }
            for label, channel in state.channels.items()
            for burst in channel.active
        ]
        return {
            "trial": trial,
            "cue": self._cue_of[trial],
            "cue_s": self._s(state.cue),
            "corrected_s": None if state.corrected_cue is None else self._s(state.corrected_cue),
            "none": self.session.no_cues.get(trial),
            "start_s": self._s(place[0]),
            "stop_s": self._s(place[1]),
            "status": status,
            "bursts": bursts,
        }

    def _s(self, sample: int) -> float:
        return sample / self._rate_hz

    def _from_cue(self, trial: str, seconds: float | None) -> float | None:
        return None if seconds is None else seconds - self._s(self.session.state(trial).cue)


def _reached(command: str, touched: Sequence[str]) -> str:
    """What a stretch did, in words."""
    what = "burst" if command == "mark_burst" else "stretch set aside"
    if not touched:
        return f"The {what} lies in no trial; it is kept with the recording."
    return f"The {what} is carried over to {len(touched)} trial{'s' * (len(touched) > 1)}."
