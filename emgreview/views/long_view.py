"""A whole recording in a notebook, however long: pan, zoom, jump; read from its file as it is looked at.

The browser asks for stretches ahead of need and draws them; Python reads, conditions and outlines them block by block
(:mod:`emgreview.scroll`). What goes down beside the wire (see wire.py, which also takes the decisions):

    setup     JSON, once: channels and their usual scales, markers, keys
    stretch   bytes: outlines of one stretch, with the number of the question
    ribbon    bytes: outlines of the whole recording, coarse, as far as it was read
    news      the wire's: trials, what stands outside them, how much was read …

    long_view       the widget for a recording
"""

import dataclasses
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, ClassVar, Literal

import numpy as np
import panel as pn
import param
from bokeh.models import Range1d
from bokeh.plotting import figure
from panel.custom import Child, JSComponent

from emgreview import checks
from emgreview.annotations import events
from emgreview.checks import RECORDING
from emgreview.errors import DecisionError, EmgreviewError, ParameterError
from emgreview.keys import DECIDING, LONG_KEYS, Key, by_former_name, key_table
from emgreview.model import Processing, Recording
from emgreview.muscles.wording import card_of
from emgreview.scroll import KINDS, Outlines, Stretch
from emgreview.second_look.adjudication import Adjudication
from emgreview.session import Session
from emgreview.views import host
from emgreview.views.long_marks import Marks
from emgreview.views.packing import Traces
from emgreview.views.screen_setup import choices
from emgreview.views.wire import Wire

_JS = Path(__file__).parent / "js"
_VIEW_S = 10.0
_RIBBON_WORDS = "The whole recording, the chosen channel; ticks are markers. Click or drag to go there."
_RIBBON_TRIALS = (
    " Blocks are trials: full when reviewed, half when begun, a line when open; hatched: set aside. Under the traces, "
    "bars of bursts are full where a person has accepted or marked them, hollow where not yet."
)
_RIBBON_COLUMNS = 1000
_BLOCKS_A_READ = 2


def long_view(
    recording: Recording,
    session: Session | None = None,
    *,
    processing: Processing | None = None,
    handedness: Literal["right", "left"] = "right",
    keys: Mapping[str, str] | None = None,
    hand: Literal["right", "left"] | None = None,
) -> "LongView":
    """The whole of a recording: show it as the last line of a notebook cell.

    Every EMG channel can be shown raw, band-passed, rectified or as its envelope; other
    channels as recorded. Nothing is loaded whole: an hour of 16 channels needs seconds to be
    read in the background, and its first picture does not wait for that.

    Parameters
    ----------
    recording : Recording
        The recording.
    session : Session or None
        A review of trials of this recording: its trials, marks and progress are then shown,
        and decided on.
    processing : Processing or None
        How EMG channels are conditioned; None for the defaults or, with a session, for what
        its trials were made of.
    handedness : {"right", "left"}
        The hand that moves the mark.
    keys : mapping of str to str, or None
        Changes single keys, as for :func:`emgreview.review`.
    hand : {"right", "left"} or None, default None
        The former name of ``handedness``.

    Returns
    -------
    LongView
        The widget.

    Raises
    ------
    RateError
        The sampling rate is too low for the band.
    SignalError
        The recording is too short for it.
    ParameterError
        The session is blind, or the processing is not that of its trials.
    UnknownNameError
        A key to move has a name that no key has.

    Notes
    -----
    With a session, bursts marked by hand and stretches set aside carry over to the trials
    they touch, and cues can be said to be late, double or missing. Every decision is logged;
    recorded markers stay. Works where :func:`emgreview.review` does.
    """
    checks.kind("recording", recording, Recording, RECORDING)
    checks.kind(
        "session", session, (Session, Adjudication, type(None)), "the session that open_review returns, or None"
    )
    host.prepare()
    marks = None if session is None else Marks(session, recording)
    if marks is not None:
        for old in [getattr(observer, "__self__", None) for observer in marks.session.changed]:
            if isinstance(old, LongView) and old.shows(recording):
                old.retire()
        if processing not in (None, marks.processing):
            raise ParameterError(
                f"processing came as {processing.words!r}, but the session reviews trials with "
                f"{marks.processing.words!r}; leave it out: the long view shows what the trials were made of."
            )
        processing = marks.processing
    every = key_table(by_former_name(handedness, hand), keys, LONG_KEYS)
    table = [key for key in every if marks or key.group not in DECIDING]
    return LongView(recording, processing or Processing(), table, marks)


class LongView(Wire, JSComponent):
    """The component. It holds what was read of the file; decisions live in the session."""

    picture = Child()
    setup = param.String()
    stretch = param.Bytes(b"")
    ribbon = param.Bytes(b"")
    news = param.String()
    pulse = param.String()

    _esm = host.MODULE
    _stylesheets: ClassVar[list[str]] = [(_JS / name).read_text("utf-8") for name in ("review.css", "long.css")]

    def __init__(
        self, recording: Recording, processing: Processing, keys: Sequence[Key], marks: Marks | None, **params: Any
    ):
        self._recording, self._marks = recording, marks
        self._outlines = Outlines(recording, processing=processing)
        self._told = -1
        self.start_wire(marks.session if marks else None)
        params.setdefault("sizing_mode", "stretch_width")
        super().__init__(setup=json.dumps(self._setup(keys)), picture=_figure(recording), **params)
        if marks is not None:
            marks.session.changed.append(self._on_change)

    def as_ipywidget(self) -> Any:
        """This widget as an ipywidget, for ipywidgets layouts and hosts.

        Returns
        -------
        ipywidget
        """
        return pn.ipywidget(self)

    def shows(self, recording: Recording) -> bool:
        """Whether it shows a recording of that name.

        Parameters
        ----------
        recording : Recording
            The recording.

        Returns
        -------
        bool
        """
        return self._recording.name == recording.name

    def retire(self) -> None:
        """Take no further decision: a newer long view of the same recording and session has taken
        over.
        """
        if self._marks is not None and self._on_change in self._marks.session.changed:
            self._marks.session.changed.remove(self._on_change)
        self.stop_taking("A newer long view shows this recording; decisions are taken there. This one can be closed.")

    def _preprocess(self, root: Any, changed: Any = None, old_models: Any = None) -> None:
        super()._preprocess(root, changed, old_models)
        host.inline_styles(root)

    # --- messages from the browser -----------------------------------------------------------------------------

    def _on_hello(self, data: Mapping[str, Any]) -> None:
        shown = {} if self._marks is None else {"trials": self._marks.cards(self._marks.trials())}
        self.tell_settled(data["client"], share=self._outlines.share, **shown, **self._status())

    _on_everything = _on_hello

    def _apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        if self._marks is None:
            raise DecisionError("this long view has no session, so nothing can be decided in it.")
        return self._marks.apply(data)

    def _on_look(self, data: Mapping[str, Any]) -> None:
        """Answer with the stretch asked for; where the file cannot be read, with the reason."""
        channels = self._recording.channels
        if len(data["kinds"]) != len(channels):
            raise ParameterError(
                f"{len(data['kinds'])} kinds of traces came; allowed: one for each of {len(channels)} channels."
            )
        traces = [(channel.label, kind) for channel, kind in zip(channels, data["kinds"], strict=True)]
        view, want = tuple(data["view"]), tuple(data["want"])
        try:
            found = self._outlines.stretch(view, want, width=data["width"], traces=traces)
        except (EmgreviewError, OSError) as reason:
            self._unread(data, reason)
            return
        limits = {row: list(limits) for row, limits in self._limits().items()}
        self.stretch = _packed(found, data["kinds"], client=data["client"], n=data["n"], limits=limits)

    def _on_read(self, data: Mapping[str, Any]) -> None:
        """Read on a little into the outline of the whole; show it at every tenth."""
        try:
            more = all(self._outlines.read_on(data["near"]) for _ in range(_BLOCKS_A_READ))
        except (EmgreviewError, OSError) as reason:
            self._unread(data, reason)
            return
        tenth = int(10 * self._outlines.share)
        if tenth > self._told or not more:
            self._told = tenth
            self._send_ribbon()
        self.tell(read={"client": data["client"]}, share=self._outlines.share)

    def _unread(self, data: Mapping[str, Any], reason: Exception) -> None:
        words = f"The recording cannot be read: {reason} It is tried again every two seconds."
        self.tell(unread={"client": data["client"], "words": words})

    # --- what goes down ----------------------------------------------------------------------------------------

    def _on_change(self, trials: Sequence[str]) -> None:
        if self._marks is not None:
            self.tell(trials=self._marks.cards(trials), **self._status())

    def _status(self) -> dict[str, Any]:
        if self._marks is None:
            return {"problem": self.retired or None}
        return {"status": self._marks.status(), "problem": self.retired or self._marks.session.problem}

    def _send_ribbon(self) -> None:
        recording = self._recording
        n, width = recording.n_samples, max(self._outlines.coarsest, recording.n_samples // _RIBBON_COLUMNS)
        kinds = ["band-passed" if channel.kind == "EMG" else "raw" for channel in recording.channels]
        traces = [(channel.label, kind) for channel, kind in zip(recording.channels, kinds, strict=True)]
        self.ribbon = _packed(self._outlines.stretch((0, n), (0, n), width=width, traces=traces), kinds)

    def _limits(self) -> dict[int, tuple[float, float]]:
        """Lowest and highest value so far of the channels that are shown as recorded, by row."""
        channels = enumerate(self._recording.channels)
        return {row: self._outlines.limits(channel.label) for row, channel in channels if channel.kind != "EMG"}

    def _setup(self, keys: Sequence[Key]) -> dict[str, Any]:
        recording, outlines = self._recording, self._outlines
        rate_hz = recording.rate_hz
        limits = self._limits()
        channels = []
        for row, channel in enumerate(recording.channels):
            auxiliary = row in limits
            over = card_of(channel).removeprefix("recorded over ") or channel.over
            shown = {"label": channel.label, "over": over, "unit_label": channel.unit_label}
            if auxiliary:
                channels.append({**shown, "auxiliary": True, "limits": list(limits[row])})
            else:
                kinds = {kind: outlines.full_scale(channel.label, kind) for kind in KINDS}
                middle = outlines.middle(channel.label)
                level = outlines.level_words(channel.label)
                channels.append({**shown, "auxiliary": False, "kinds": kinds, "middle": middle, "level_words": level})
        return {
            "screen": "long",
            "title": f"{recording.name} · {len(channels)} channel{'s' * (len(channels) > 1)} · {rate_hz:g} Hz",
            "channels": channels,
            "kinds": KINDS,
            "rate_hz": rate_hz,
            "n_samples": recording.n_samples,
            "duration_s": recording.duration_s,
            "height": _height(recording),
            "view_s": [0.0, min(_VIEW_S, recording.duration_s)],
            "markers": [[marker.sample / rate_hz, marker.label] for marker in recording.markers],
            "keys": [dataclasses.asdict(key) for key in keys],
            "processing": f"{outlines.processing.words}. Raw is drawn around its median; mains is not notched away.",
            "ribbon_words": _RIBBON_WORDS + (_RIBBON_TRIALS if self._marks else ""),
            "notes": list(recording.notes if self._marks is None else self._marks.notes()),
            "decides": self._marks is not None,
            "cues": self._marks.cues if self._marks else (),
            "choices": {"reasons": choices(events.REASONS), "kind": choices(events.KINDS)},
            "share": outlines.share,
        }


def _packed(found: Stretch, kinds: Sequence[str], **head: Any) -> bytes:
    """A stretch as bytes: for each trace its lowest values, then its highest unless a column is one sample, each around
    the middle of what is shown, so that an offset costs no precision."""
    traces, described = Traces(), []
    for row, kind in enumerate(kinds):
        low, high = found.low[row], found.high[row]
        present = low[np.isfinite(low)]
        offset = float(present.min() / 2 + np.nanmax(high) / 2) if present.size else 0.0
        x = (low if found.width == 1 else np.concatenate([low, high])) - offset
        described.append(traces.add(x, 0.0, row=row, kind=kind, offset=offset))
    place = {"start": found.start, "stop": found.stop, "width": found.width, "unread": found.unread}
    return traces.bytes({**head, **place, "traces": described})


def _height(recording: Recording) -> int:
    """Of the figure, in CSS pixels; the browser makes it taller where larger letters need it."""
    n_auxiliary = sum(channel.kind != "EMG" for channel in recording.channels)
    n_emg = len(recording.channels) - n_auxiliary
    return max(320, min(840, 110 * n_emg + 70 * n_auxiliary + 60))


def _figure(recording: Recording) -> figure:
    """One axis in time for all channels; panning, zooming and the traces are the browser's own."""
    plot = figure(
        x_range=Range1d(0, min(_VIEW_S, recording.duration_s)),
        y_range=Range1d(0, 1),
        height=_height(recording),
        sizing_mode="stretch_width",
        tools="",
        toolbar_location=None,
        output_backend="canvas",
        lod_threshold=None,
        lod_interval=0,
        min_border=4,
        border_fill_color=None,  # the ground of the page; a filled one leaves a white seam in a dark theme
    )
    plot.xaxis.axis_label = "time from the start of the recording (s)"
    plot.xaxis.formatter.use_scientific = False
    plot.yaxis.visible = False
    plot.ygrid.visible = False
    return plot
