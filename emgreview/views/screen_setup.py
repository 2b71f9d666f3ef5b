"""What a trial review's screen is told once, and the figure it draws on.

demand_alike        ParameterError unless trials fit on one screen
demand_setup        ParameterError unless what the screen is to shade and to propose makes sense
standing_facts      channels, spans, keys, lists to choose from, as JSON values
Look                scales and typical envelopes of one person's session
make_figure         axes, pan and zoom; the traces are painted by the browser's own layer
"""

import dataclasses
from collections.abc import Iterable, Sequence
from itertools import zip_longest
from typing import Any

from bokeh.core.validation import silence
from bokeh.core.validation.warnings import MISSING_RENDERERS
from bokeh.models import Range1d
from bokeh.plotting import figure

from emgreview import evidence
from emgreview.annotations.events import BEHAVIOURS, CAUTIONS, KINDS, REASONS, Choice
from emgreview.checks import likely_unit, perhaps, refusal
from emgreview.errors import ParameterError
from emgreview.keys import Key
from emgreview.model import Trials
from emgreview.second_look.adjudication import CHOICES, Adjudication
from emgreview.session import Session
from emgreview.signal.onset import METHODS
from emgreview.trial_lists import AUDIT, OWN, TRIAL_LISTS
from emgreview.views import packing, texts
from emgreview.views.cards import SIGNS

silence(MISSING_RENDERERS, True)  # the traces are painted by our own layer: a figure without renderers is meant

_CODES = (
    *(f"Digit{n}" for n in range(1, 10)),
    *("Digit0", "Minus", "Equal"),
    *(f"Key{letter}" for letter in "QWERTYUIOPASDFGHJKLZXCVBNM"),
)
"""Keys of the entries of a list to choose from, in order. What stands beyond them has none of its own: arrows and the
space bar reach every entry."""
FURTHER_LISTS = ("KeyM", "KeyR", "KeyB")
"""Keys that trial_lists.js gives to lists that ask something more."""


def demand_alike(batches: Sequence[Trials]) -> None:
    """One screen has one set of channels, one rate and one span of time."""
    first = batches[0]
    for other in batches[1:]:
        for what in ("labels", "auxiliary_labels", "rate_hz", "cue", "unit"):
            one, two = getattr(first, what), getattr(other, what)
            if one != two:
                raise ParameterError(
                    f"{first.recording.name} came with {what} {one}, {other.recording.name} with {two}; the recordings "
                    "on one screen must have the same, in the same order; open a review for each kind."
                )
        if first.time_s.shape != other.time_s.shape or first.before != other.before:
            raise ParameterError(
                f"trials of {first.recording.name} and {other.recording.name} came with different times around the "
                "cue; cut them all with the same before_s and after_s."
            )


def demand_setup(
    span_s: tuple[float, float], plausible_s: tuple[float, float] | None, break_after_min: float | None
) -> None:
    """ParameterError unless the window to shade is in seconds and meets the trials, which reach over ``span_s`` from
    the cue, and the minutes are some."""
    if break_after_min is not None and not break_after_min > 0:
        raise refusal("break_after_min", break_after_min, "minutes above 0, None for never")
    if plausible_s is None:
        return
    if not (len(plausible_s) == 2 and plausible_s[0] < plausible_s[1]):
        raise refusal("plausible_s", plausible_s, "(start, stop) in seconds from the cue, start first")
    likely_unit("plausible_s", plausible_s)
    first_s, last_s = span_s
    if plausible_s[0] > last_s or plausible_s[1] < first_s:
        raise ParameterError(
            f"plausible_s came as {tuple(plausible_s)!r}; the trials run from {first_s:g} to {last_s:g} s from the "
            f"cue, and none of it lies there; give a window inside{perhaps(plausible_s)}."
        )


def standing_facts(session: Session, keys: Sequence[Key]) -> dict[str, Any]:
    """What the screen is told once: channels, spans, keys, lists to choose from."""
    first = session.trials[0]
    start, stop = float(first.time_s[0]), float(first.time_s[-1])
    settling = isinstance(session, Adjudication)
    step_s, smear = evidence.envelope_step(first.processing, first.rate_hz)
    return {
        "channels": _channels(first),
        "rate_hz": first.rate_hz,
        "start_s": start,
        "height": figure_height(first),
        "spans": [[start, stop], [max(start, -0.1), min(stop, 0.6)]],
        "rest_s": list(first.processing.rest_s),
        "cursor_s": min(0.25, stop / 2),
        "processing": f"{first.processing.words}. Mains is shown, not notched away.",
        "method": session.method_words,
        "smear": {"time_s": step_s.tolist(), "value": smear.tolist()},
        "keys": [dataclasses.asdict(key) for key in keys],
        "choices": {
            "unusable": choices(REASONS),
            "caution": choices(CAUTIONS),
            "behaviour": choices(BEHAVIOURS),
            "kind": choices(KINDS),
            "settle": _with_keys(CHOICES, ("KeyA", "KeyB", "KeyC", "KeyD")),
            "list": _with_keys(TRIAL_LISTS, [code for code in _CODES if code not in FURTHER_LISTS]),
            "method": _with_keys((OWN, *sorted(METHODS))),
            "change_method": _with_keys(sorted(METHODS)),
        },
        "audit_list": AUDIT,
        "signs": SIGNS,
        "n_trials": len(session.queue),
        "progress": session.progress[:2],
        "counted": session.counted,
        "none_left": "No dispute is left open" if settling else "No trial is left unreviewed",
        "blind": session.blind,
        "reviewer": session.reviewer,
        "convention": (session.convention or "").replace("\n", "\n\n"),
        "next_version": session.next_version,
    }


class Look:
    """What the screen needs of the trials of one person's session: scales, computed once, and the typical envelopes of
    those accepted by now, which :meth:`take` keeps."""

    def __init__(self, number: int, batches: Sequence[Trials], session: Session):
        self.number, self.batches = number, batches
        self.full_scale = evidence.full_scale(batches).tolist()
        self.level_words = evidence.level_words(batches)
        self.limits = [packing.band_of(*limits) for limits in evidence.auxiliary_limits(batches).tolist()]
        self._places = {trial: (part, row) for part in batches for row, trial in enumerate(part.ids)}
        self.rest_z = dict(zip(self._places, evidence.rest_z(batches), strict=True))
        self.reviewed: set[str] = set()
        self._accepted: dict[str, set[str]] = {label: set() for label in batches[0].labels}
        self._typical: dict[str, tuple[set[str], evidence.Typical | None]] = {}
        for trial in self._places:
            self.take(session, trial)

    def take(self, session: Session, trial: str) -> None:
        """Take note of a trial's state; one that is shown again is not counted twice."""
        if trial not in self._places:
            return
        state = session.state(trial)
        (self.reviewed.add if state.reviewed else self.reviewed.discard)(trial)
        for label, channel in state.channels.items():
            accepted = channel.reviewed and channel.active and channel.signal != "unusable"
            (self._accepted[label].add if accepted else self._accepted[label].discard)(trial)

    def typical(self) -> list[tuple[Trials, int, int, evidence.Typical]]:
        """Typical envelopes of the channels that have enough accepted trials."""
        out = []
        for channel, (label, accepted) in enumerate(self._accepted.items()):
            if label not in self._typical or self._typical[label][0] != accepted:
                rows = [
                    (part, [row for row, trial in enumerate(part.ids) if trial in accepted]) for part in self.batches
                ]
                self._typical[label] = set(accepted), evidence.typical_envelope(rows, label)
            found = self._typical[label][1]
            if found is not None:
                out.append((self.batches[0], self.number, channel, found))
        return out


def _channels(trials: Trials) -> list[dict[str, Any]]:
    out = []
    for label in (*trials.labels, *trials.auxiliary_labels):
        channel = trials.recording.channel(label)
        auxiliary = label in trials.auxiliary_labels
        over = "" if channel.over == label else channel.over
        out.append({"label": label, "over": over, "unit_label": channel.unit_label, "auxiliary": auxiliary})
    return out


def choices(choices: Sequence[Choice]) -> list[dict[str, Any]]:
    """A list to choose from, with a key for each entry as far as there are keys; no entry is ever left out."""
    entries = _with_keys([choice.word for choice in choices])
    for entry, choice in zip(entries, choices, strict=True):
        entry |= {"shown": choice.words, "text": choice.word == "other"}
    return entries


def _with_keys(words: Iterable[str], codes: Sequence[str] = _CODES) -> list[dict[str, Any]]:
    """Entries by their words; ``code`` "" beyond the last key."""
    pairs = zip_longest(listed := tuple(words), codes[: len(listed)], fillvalue="")
    return [{"code": code, "words": word, "shown": word, "text": False} for word, code in pairs]


def figure_height(trials: Trials) -> int:
    """Of the picture, in CSS pixels, where the window has room for it."""
    return min(920, max(500, 100 * len(trials.labels) + 50 * len(trials.auxiliary_labels) + 40))


def make_figure(trials: Trials) -> figure:
    """Axes, pan and zoom: one axis in time for all channels; the traces are painted by the browser's own layer."""
    plot = figure(
        x_range=Range1d(float(trials.time_s[0]), float(trials.time_s[-1])),
        y_range=Range1d(0, 1),
        height=figure_height(trials),
        sizing_mode="stretch_width",
        tools="xpan,xwheel_zoom,reset",
        active_scroll=None,
        toolbar_location=None,
        output_backend="canvas",
        lod_threshold=None,
        lod_interval=0,
        min_border=4,
        border_fill_color=None,  # the ground of the page; a filled one leaves a white seam in a dark theme
    )
    plot.xaxis.axis_label = f"time from {texts.on_axis(trials.cue)} (s)"
    plot.yaxis.visible = False
    plot.ygrid.visible = False
    return plot
