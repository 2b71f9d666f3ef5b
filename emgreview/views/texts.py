"""What stands on a trial's card from outside the trial: stretches set aside, cues corrected, exclusions, notes.

Times are seconds from the recorded cue. In a blind review nothing here names a person, a condition or a time; reasons
are left out too, since they may.

    aside           stretches of one channel that were set aside
    lines           the trial's markers and cues, as lines with words
    cue_words       what was decided about its cue
    excluded, …     whether its participant, recording or a channel is kept out, and why ("" in a blind review)
    because         a reason after what it is for
    whole           what is kept out, by the names that the session knows
    notes           what cutting the trial had to say
    Mains           the mains measured in its recording
    on_axis         a text from a file, for where Bokeh writes it
"""

import math
import re
import unicodedata
from typing import Any

from emgreview.annotations.state import TrialState
from emgreview.checking import mains
from emgreview.errors import EmgreviewError, UnknownNameError
from emgreview.model import Trials
from emgreview.muscles.wording import card_of
from emgreview.session import Session
from emgreview.trials import notes_on

Line = dict[str, Any]


def aside(session: Session, trials: Trials, state: TrialState, channel: str) -> list[list[Any]]:
    """Stretches of a channel that reach into the trial: start and stop in seconds, and that and why they were set
    aside."""
    first, stop = session.stretch(state.id)
    return [
        [
            (start - state.cue) / trials.rate_hz,
            (end - state.cue) / trials.rate_hz,
            f"set aside{because('' if session.blind else ', '.join(reasons))}",
        ]
        for recording, label, start, end, reasons in session.aside
        if (recording, label) == (state.recording, channel) and start < stop and first < end
    ]


def lines(session: Session, trials: Trials, state: TrialState) -> list[Line]:
    """Markers and cues inside a trial: {"at_s", "words", "kind"}.

    Kinds: "cue" (the trial's own), "recorded" (its own where it was corrected), "none" (it is none), "corrected",
    "added" (a cue by hand), "response", "other". In a blind review only cues, without their labels, which might tell
    the condition.
    """
    source = session.source(state.id)
    own, blind = trials.cues[trials.index(source)], session.blind
    none = because("" if blind else session.no_cues.get(source, ""))
    by_hand = {(at, label) for name, at, label in session.added_cues if name == state.recording}
    (first, stop), why = session.stretch(state.id), session.no_cues.get(source)
    inside = {(marker.sample, marker.label) for marker in trials.markers(source)}
    inside |= {(sample, label) for sample, label in by_hand if first <= sample < stop}
    found = []

    def add(sample: int, kind: str, label: str, more: str = "") -> None:
        words = ("cue" if blind else label) + more
        found.append({"at_s": (sample - own.sample) / trials.rate_hz, "words": words, "kind": kind})

    for sample, label in sorted(inside):
        if (sample, label) == (own.sample, own.label):
            kind = "none" if why else "cue" if state.corrected_cue is None else "recorded"
            added = " (added)" if (sample, label) in by_hand else ""
            add(sample, kind, label, {"none": f" is none{none}", "cue": added, "recorded": " (recorded)"}[kind])
        elif (sample, label) in by_hand:
            add(sample, "added", label, " (added)")
        elif not blind:
            add(sample, "response" if label == "response" else "other", label)
    if state.corrected_cue is not None:
        add(state.corrected_cue, "corrected", own.label, " (corrected)")
    return found


def cue_words(session: Session, trials: Trials, state: TrialState, bare: bool) -> list[str]:
    """What was decided about a trial's cue, for its title; ``bare`` without numbers in ms."""
    words = []
    if why := session.no_cues.get(session.source(state.id)):
        words.append(f"✕ cue is none{because('' if session.blind else why)}")
    if state.corrected_cue is not None:
        by_ms = 1000 * (state.corrected_cue - state.cue) / trials.rate_hz
        by = "" if session.blind or bare else f" by {by_ms:+z.0f} ms"
        words.append(f"▸ cue corrected{by}; times here count from the recorded one")
    return words


def excluded(session: Session, trials: Trials) -> dict[str, str | None]:
    """Why the "recording" and the "participant" of trials are kept out, None where they are not; no "participant" where
    the recording does not say whose it is."""
    found: dict[str, str | None] = {"recording": None}
    recording, participant = trials.recording.name, trials.recording.entities.get("sub")
    if participant:
        found["participant"] = None
    for what, name, channel, reason in session.excluded:
        if channel is None and (what, name) in (("recording", recording), ("participant", participant)):
            found[what] = "" if session.blind else reason
    return found


def excluded_channels(session: Session, trials: Trials) -> dict[str, str]:
    """Why channels of a recording are kept out, by label."""
    own = trials.recording.name
    return {
        channel: "" if session.blind else why
        for what, name, channel, why in session.excluded
        if channel and (what, name) == ("recording", own)
    }


def because(why: str) -> str:
    """A reason after what it is for; nothing where it is not told."""
    return f": {why}" if why else ""


def whole(trials: Trials, what: str, channel: str | None) -> dict[str, str]:
    """What "channel", "recording" or "participant" of some trials is, as the session's exclude names it."""
    wholes = ["channel", "recording", *(["participant"] if trials.recording.entities.get("sub") else [])]
    if what not in wholes:
        raise UnknownNameError("whole to keep out", what, wholes)
    if what == "participant":
        return {"participant": str(trials.recording.entities["sub"])}
    names = {"recording": trials.recording.name}
    return names | {"channel": str(channel)} if what == "channel" else names


def notes(session: Session, trials: Trials, trial: str, channel: str | None = None) -> list[str]:
    """What was noted when the trial was cut: of itself, or of one of its channels, its card last."""
    found = notes_on(trials, session.source(trial), channel)
    told = [session.neutral(note if channel is not None else f"This trial {note.words}") for note in found]
    card = "" if channel is None else card_of(trials.recording.channel(channel))
    if card and session.blind:
        card = (
            f"{card.partition(';')[0]}; what else it hears is hidden in a blind review: it could tell recordings apart"
        )
    return [*told, *([session.neutral(f"{card[0].upper()}{card[1:]}.")] if card else [])]


def on_axis(words: str, most: int = 60) -> str:
    """A text from a file as Bokeh writes it beside an axis: cut, isolated from what stands around it, and signs in the
    place of what is not seen or turns the order of letters. All other texts: js/shared/texts.js."""
    kept = "".join(
        "\ufffd" if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") else letter for letter in words
    )
    kept = kept if len(kept) <= most else f"{kept[: most - 1]}…"
    return f"\u2068{kept}\u2069" if re.search(r"[\u0590-\u08ff\ufb1d-\ufefc\U00010800-\U0001efff]", kept) else kept


class Mains:
    """The mains in the channels of recordings, in words; each recording is measured once, when it is first shown."""

    def __init__(self) -> None:
        self._words: dict[str, dict[str, str]] = {}

    def words(self, trials: Trials) -> dict[str, str]:
        """By label; where the recording cannot be read, the reason."""
        recording = trials.recording
        if recording.name not in self._words:
            try:
                measured = mains(recording)
            except (EmgreviewError, OSError) as reason:
                self._words[recording.name] = dict.fromkeys(trials.labels, f"not measured: {reason}")
            else:
                self._words[recording.name] = {label: _mains_words(*found) for label, found in measured.items()}
        return self._words[recording.name]


def _mains_words(hz: float, share: float, prominence_db: float) -> str:
    if math.isnan(hz):
        return "not measured: the recording has no stretch of 2 s"
    return f"at {hz:g} Hz {share:.0%} of the unfiltered power, {prominence_db:+z.0f} dB to its neighbours"
