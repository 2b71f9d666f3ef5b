"""What bench_pan.py compares with: the same hour drawn with one Bokeh line a channel, alone or with the markers and
their words that the long view shows too, and an empty figure.

The lines hold the extremes of every pixel column of three widths of the view. When less than 0.4 of a width is left,
the browser asks Python, which answers from the same outlines as the long view does.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import panel as pn
import param
from bokeh.models import ColumnDataSource, Range1d
from bokeh.plotting import figure
from panel.custom import Child, JSComponent

from emgreview.model import Processing, Recording
from emgreview.scroll import Outlines


class Lines(JSComponent):
    """A figure that counts its paints where the benchmark looks for them, and asks for more while it is panned."""

    picture = Child()
    known = param.List()

    _esm = """
    export function render({model, view}) {
      const root = document.createElement("div")
      root.className = "compared"
      root.style.width = "100%"
      root.append(model.get_child("picture"))
      let asked = false
      model.on("known", () => { asked = false })
      const look = () => {
        const plot = [...view._child_views.values()].find((v) => v.canvas_view?.primary && v.frame)
        if (!plot) return requestAnimationFrame(look)
        const range = plot.model.x_range
        for (const name of ["start", "end"]) range.properties[name].internal = true
        let paints = 0
        plot.repainted.connect(() => {
          root.dataset.paints = String(++paints)
          if (asked || !model.known.length) return
          const reach = 0.4 * (range.end - range.start)
          if (range.start - reach >= model.known[0] && range.end + reach <= model.known[1]) return
          asked = true
          model.send_msg({start: range.start, end: range.end})
        })
      }
      look()
      return root
    }
    """

    def __init__(self, rec: Recording, *, lines: bool, marked: bool, start_s: float, span_s: float, height: int = 840):
        plot = figure(
            x_range=Range1d(start_s, start_s + span_s), y_range=Range1d(-len(rec.channels), 0), height=height,
            sizing_mode="stretch_width", tools="xpan,xwheel_zoom", active_drag="xpan", active_scroll="xwheel_zoom",
            toolbar_location=None, output_backend="canvas", lod_threshold=None, lod_interval=0, min_border=4,
        )  # fmt: skip
        plot.yaxis.visible = False
        super().__init__(picture=plot, sizing_mode="stretch_width")
        if not lines:
            plot.scatter([], [])
            return
        self._rec, self._outlines = rec, Outlines(rec, processing=Processing())
        self._traces = [(c.label, "band-passed" if c.kind == "EMG" else "raw") for c in rec.channels]
        self._source = ColumnDataSource()
        self._handle_msg({"start": start_s, "end": start_s + span_s})
        for row in range(len(self._traces)):
            plot.line("x", f"y{row}", source=self._source, color="#2b2b30")
        if marked:
            at = [marker.sample / rec.rate_hz for marker in rec.markers]
            words = [marker.label for marker in rec.markers]
            source = ColumnDataSource({"x": at, "words": words, "y": [0.0] * len(at)})
            plot.vspan(x="x", source=source, line_dash="dashed", line_color="#2b2b30")
            plot.text("x", "y", "words", source=source, text_font_size="11px", x_offset=3, y_offset=12)

    def _handle_msg(self, data: Mapping[str, Any]) -> None:
        rate_hz, n_samples = self._rec.rate_hz, self._rec.n_samples
        start, stop = max(0, int(data["start"] * rate_hz)), min(n_samples, int(data["end"] * rate_hz))
        n = stop - start
        want = max(0, start - n), min(n_samples, stop + n)
        found = self._outlines.stretch(want, want, width=max(1, n // 1200), traces=self._traces)
        columns = found.start + found.width * np.arange(found.low.shape[1])
        made = {"x": np.repeat(columns / rate_hz, 2)}
        for row, trace in enumerate(self._traces):
            scale = 0.5 / self._outlines.full_scale(*trace)
            y = np.stack([found.low[row], found.high[row]], axis=1).ravel() * scale - row - 0.5
            made[f"y{row}"] = y.astype(np.float32)
        self._source.data = made
        self.known = [found.start / rate_hz, found.stop / rate_hz]


def compared(
    rec: Recording, *, lines: bool, marked: bool = False, start_s: float = 100.0, span_s: float = 10.0
) -> Lines:
    pn.extension(inline=True)
    return Lines(rec, lines=lines, marked=marked, start_s=start_s, span_s=span_s)
