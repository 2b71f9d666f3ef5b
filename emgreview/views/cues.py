"""A picture of the cues found in a trigger channel: the channel, its level, every cue, all cues laid over each other.

show_cues       looks for cues as :func:`emgreview.find_cues` does, and draws; nothing is changed
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import panel as pn
from bokeh.layouts import column
from bokeh.models import Div, Range1d, Span
from bokeh.plotting import figure

from emgreview.checks import RECORDING, kind
from emgreview.errors import MarkerError
from emgreview.model import FloatArray, Marker, Recording, to_sample
from emgreview.reading import find_cues
from emgreview.views import host
from emgreview.views.texts import on_axis

_COLUMNS = 1500
_OVERLAID = 200
_AROUND_S = 0.1
_INK, _CUE = "#2b2b30", "#b34700"


def show_cues(rec: Recording, channel: str, *, level: float | None = None, codes: bool = False, **options: Any) -> Any:
    """Draw a channel, its level, and the cues that :func:`emgreview.find_cues` finds.

    Parameters
    ----------
    rec : Recording
        The recording.
    channel : str
        Label of the channel.
    level : float or None
        As for :func:`emgreview.find_cues`. Without it and without ``codes`` only the channel
        is drawn, to choose a level by.
    codes : bool, default False
        The channel holds whole numbers.
    **options
        The other arguments of :func:`emgreview.find_cues`.

    Returns
    -------
    pane
        For the last line of a notebook cell. Where no plausible cues are found the picture
        carries the reason instead.

    Raises
    ------
    ParameterError
        An argument is not what it must be, as for :func:`emgreview.find_cues`.
    SignalError
        With ``codes``: the channel holds fractions, or is read as a voltage.
    """
    kind("rec", rec, Recording, RECORDING)
    kind("channel", channel, str, f"the label of one channel, in quotes: {', '.join(map(repr, rec.labels))}")
    host.prepare()
    cues: Sequence[Marker] = ()
    if level is None and not codes:
        words = "No level given: choose one between the two states of the channel."
    else:
        try:
            cues = find_cues(rec, channel, level=level, codes=codes, **options)
            words = _summary(cues, rec.rate_hz)
        except MarkerError as reason:
            words = str(reason)
    parts = [Div(text="", width=900), _whole(rec, channel, level, cues)]
    parts[0].text = _plain(words)
    if cues:
        parts.append(_overlaid(rec, channel, level, cues))
    shown = column(*parts, sizing_mode="stretch_width", styles={"background": "white", "color": _INK})
    return pn.pane.Bokeh(shown, sizing_mode="stretch_width", stylesheets=[host.IN_THE_DARK])


def _plain(words: str) -> str:
    """Words as text for an element that reads markup."""
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _summary(cues: Sequence[Marker], rate_hz: float) -> str:
    gaps = np.diff([cue.sample for cue in cues]) / rate_hz
    apart = f", {gaps.min():.3f} to {gaps.max():.3f} s apart (median {np.median(gaps):.3f} s)" if len(gaps) else ""
    labels = [on_axis(label) for label in sorted({cue.label for cue in cues})]
    return f"{len(cues)} cues found{apart}: {', '.join(labels[:12])}{' …' if len(labels) > 12 else ''}."


def _axes(rec: Recording, channel: str, height: int, time_label: str) -> figure:
    plot = figure(height=height, sizing_mode="stretch_width", tools="xpan,xwheel_zoom,box_zoom,reset")
    plot.toolbar.logo = None
    plot.xaxis.axis_label = time_label
    plot.yaxis.axis_label = f"{on_axis(channel)} ({on_axis(rec.channel(channel).unit_label, 24)})"
    return plot


def _whole(rec: Recording, channel: str, level: float | None, cues: Sequence[Marker]) -> figure:
    """The whole channel by its extremes in each column, with a triangle over every cue."""
    plot = _axes(rec, channel, 220, "time (s)")
    low, high = _extremes(rec, channel)
    middle = (np.arange(low.size) + 0.5) * rec.duration_s / low.size
    plot.segment(middle, low, middle, high, color=_INK, line_width=1)
    plot.line(middle, (low + high) / 2, color=_INK, line_width=1)
    top, bottom = float(np.nanmax(high)), float(np.nanmin(low))
    room = (top - bottom) or 1.0
    plot.y_range = Range1d(bottom - 0.08 * room, top + 0.2 * room)
    _draw_level(plot, level)
    if cues:
        seconds = [cue.sample / rec.rate_hz for cue in cues]
        plot.scatter(seconds, top + 0.1 * room, marker="inverted_triangle", size=9, color=_CUE)
    return plot


def _overlaid(rec: Recording, channel: str, level: float | None, cues: Sequence[Marker]) -> figure:
    """The channel around every cue, all with the cue at 0: a late, slow or bouncing edge stands out."""
    plot = _axes(rec, channel, 220, "time from cue (ms)")
    reach = to_sample(_AROUND_S, rec.rate_hz)
    shown = [cues[i] for i in np.unique(np.linspace(0, len(cues) - 1, _OVERLAID).astype(int))]
    times, traces = [], []
    for cue in shown:
        start, stop = max(cue.sample - reach, 0), min(cue.sample + reach, rec.n_samples)
        times.append((np.arange(start, stop) - cue.sample) / rec.rate_hz * 1000)
        traces.append(rec.values(start, stop, [channel])[0])
    plot.multi_line(times, traces, color=_INK, alpha=max(0.08, min(0.6, 8 / len(shown))))
    plot.add_layout(Span(location=0, dimension="height", line_color=_CUE, line_width=2))
    _draw_level(plot, level)
    plot.title.text = f"{len(shown)} of {len(cues)} cues laid over each other" if len(shown) < len(cues) else "all cues"
    return plot


def _draw_level(plot: figure, level: float | None) -> None:
    if level is not None:
        plot.add_layout(Span(location=level, dimension="width", line_dash="dashed", line_color=_CUE))


def _extremes(rec: Recording, channel: str) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest value in each of some 1,500 columns, read column by column."""
    edges = np.unique(np.linspace(0, rec.n_samples, min(_COLUMNS, rec.n_samples) + 1).astype(int))
    low, high = np.full(edges.size - 1, np.nan), np.full(edges.size - 1, np.nan)
    for i in range(edges.size - 1):
        x = rec.values(int(edges[i]), int(edges[i + 1]), [channel])[0]
        if np.isfinite(x).any():
            low[i], high[i] = np.nanmin(x), np.nanmax(x)
    return low, high
