"""Trial review in a notebook: one component that owns the focus and the keys, around one Bokeh figure.

Everything goes down by three synced properties and comes up by messages, in every host alike:

    setup   JSON, once: channels, keys, choices, spans, map of all trials
    pack    bytes: some trials (see packing.py), asked for by the browser ahead of need
    news    JSON: the last updates, each with a serial number (cards, map, progress, what is saved, what was refused)

A decision carries its screen's own running number and is applied through the session, which returns when it is on disk;
only then does ``news`` say that it is saved. Decisions arrive in order; one that came before is not taken twice.

    review          the widget for a session
"""

import dataclasses
import json
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import panel as pn
import param
from bokeh.models import Range1d
from bokeh.plotting import figure
from panel.custom import Child, JSComponent

from emgreview.annotations.events import BEHAVIOURS, CAUTIONS, KINDS, REASONS, Choice
from emgreview.errors import EmgreviewError
from emgreview.keys import KEYS
from emgreview.model import Trials
from emgreview.session import Session
from emgreview.views import cards, host, packing

_JS = Path(__file__).parent / "js"
_MODULES = ("layer.js", "draw.js", "store.js", "keys.js", "screen.js", "review.js")  # one scope, in this order
_DIGITS = (*(f"Digit{n}" for n in range(1, 10)), "Digit0", "Minus", "Equal")
_KEPT_NEWS = 40


def review(session: Session) -> "TrialReview":
    """The review widget of a session: show it as the last line of a notebook cell.

    Works in JupyterLab, Notebook 7, ``panel serve`` (call ``.servable()``) and hosts that know ipywidgets alone
    (``.as_ipywidget()`` puts it into an ipywidgets layout). Nothing is asked of any network.
    """
    host.prepare()
    return TrialReview(session)


class TrialReview(JSComponent):
    """The component. Its only state is what it has told the browser; decisions live in the session."""

    picture = Child()
    setup = param.String()
    pack = param.Bytes(b"")
    news = param.String()

    _esm = "\n".join((_JS / name).read_text() for name in _MODULES)
    _stylesheets: ClassVar[list[str]] = [(_JS / "review.css").read_text()]

    def __init__(self, session: Session, **params: Any):
        self._session = session
        self._trials = {trial: trials for trials in session.trials for trial in trials.ids}
        self._place = {trial: index for index, trial in enumerate(session.queue)}
        self._scales = {id(trials): packing.full_scale(trials).tolist() for trials in session.trials}
        self._limits = {id(trials): packing.auxiliary_limits(trials) for trials in session.trials}
        self._serial = 0
        self._updates: deque[dict[str, Any]] = deque(maxlen=_KEPT_NEWS)
        self._taken: dict[str, int] = {}
        params.setdefault("sizing_mode", "stretch_width")
        super().__init__(setup=json.dumps(self._setup()), picture=_figure(session.trials[0]), **params)
        session.changed.append(self._on_change)

    def as_ipywidget(self) -> Any:
        """This widget as an ipywidget, for ipywidgets layouts and hosts."""
        return pn.ipywidget(self)

    def _preprocess(self, root: Any, changed: Any = None, old_models: Any = None) -> None:
        super()._preprocess(root, changed, old_models)
        host.inline_styles(root)

    # --- messages from the browser -----------------------------------------------------------------------------

    def _handle_msg(self, data: Mapping[str, Any]) -> None:
        handler = {"hello": self._hello, "everything": self._hello, "beat": self._beat, "want": self._want}
        if data["kind"] == "decide":
            self._decide(data)
        else:
            handler[data["kind"]](data)

    def _hello(self, data: Mapping[str, Any]) -> None:
        here = self._place[self._session.where]
        self._send_trials(sorted(range(len(self._place)), key=lambda index: abs(index - here))[:8])
        changed = {index: self._status(trial) for trial, index in self._place.items()}
        self._tell(overview=changed, progress=self._session.progress[:2], problem=self._session.problem)

    def _beat(self, data: Mapping[str, Any]) -> None:
        self._tell(beat={"client": data["client"]})

    def _want(self, data: Mapping[str, Any]) -> None:
        self._send_trials([index for index in data["trials"] if 0 <= index < len(self._place)])

    def _decide(self, data: Mapping[str, Any]) -> None:
        client, n = data["client"], data["n"]
        if n <= self._taken.get(client, 0):
            return
        self._taken[client] = n
        answer: dict[str, Any] = {}
        try:
            answer = self._apply(data)
        except EmgreviewError as refusal:
            answer = {"refused": [{"client": client, "words": str(refusal)}]}
        finally:
            self._tell(saved={"client": client, "n": n}, problem=self._session.problem, **answer)

    def _apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        session, command, arguments = self._session, data["command"], dict(data["args"])
        session.showing(**data["visible"])
        trial = session.queue[data["index"]]
        if command == "seal":
            sealed = session.seal(arguments["name"])
            words = f"Sealed as {arguments['name']!r}: {sealed.path} (SHA-256 {sealed.sha256[:16]}…)"
            return {"said": {"client": data["client"], "words": words}, "next_version": session.next_version}
        changed = session.apply(command, trial, data["channel"], **arguments)
        if command in ("undo", "redo") and changed:
            return {"go_to": {"client": data["client"], "index": self._place[changed[0]]}}
        session.go_to(trial)
        return {}

    # --- news to the browser -----------------------------------------------------------------------------------

    def _on_change(self, trials: tuple[str, ...]) -> None:
        self._tell(
            cards=[self._card(trial) for trial in trials],
            overview={self._place[trial]: self._status(trial) for trial in trials},
            progress=self._session.progress[:2],
        )

    def _tell(self, **update: Any) -> None:
        self._serial += 1
        self._updates.append({"serial": self._serial, **{k: v for k, v in update.items() if v is not None}})
        self.news = json.dumps({"serial": self._serial, "updates": list(self._updates)}, allow_nan=False)

    def _send_trials(self, wanted: list[int]) -> None:
        entries = []
        for index in wanted:
            trial = self._session.queue[index]
            trials = self._trials[trial]
            head = {"index": index, "card": self._card(trial), "full_scale": self._scales[id(trials)]}
            entries.append((trials, trials.index(trial), self._limits[id(trials)], head))
        if entries:
            self.pack = packing.pack_trials(entries)

    def _card(self, trial: str) -> dict[str, Any]:
        return cards.trial_card(self._session, self._trials[trial], trial, self._place[trial], self._serial)

    def _status(self, trial: str) -> str:
        return cards.trial_status(self._session.state(trial))

    def _setup(self) -> dict[str, Any]:
        session, first = self._session, self._session.trials[0]
        start, stop = float(first.time_s[0]), float(first.time_s[-1])
        return {
            "channels": _channels(first),
            "rate_hz": first.rate_hz,
            "start_s": start,
            "spans": [[start, stop], [max(start, -0.1), min(stop, 0.6)]],
            "rest_s": list(first.processing.rest_s),
            "cursor_s": min(0.25, stop / 2),
            "processing": f"{first.processing.words}. Mains is shown, not notched away.",
            "keys": [dataclasses.asdict(key) for key in KEYS],
            "choices": {
                "unusable": _choices(REASONS),
                "caution": _choices(CAUTIONS),
                "behaviour": _choices(BEHAVIOURS),
                "kind": _choices(KINDS),
            },
            "n_trials": len(session.queue),
            "overview": [self._status(trial) for trial in session.queue],
            "progress": session.progress[:2],
            "where": self._place[session.where],
            "next_version": session.next_version,
            "serial": self._serial,
        }


def _channels(trials: Trials) -> list[dict[str, Any]]:
    out = []
    for label in (*trials.labels, *trials.auxiliary_labels):
        channel = trials.recording.channel(label)
        auxiliary = label in trials.auxiliary_labels
        out.append(
            {"label": label, "over": channel.over, "unit_label": channel.unit_label, "auxiliary": auxiliary},
        )
    return out


def _choices(choices: tuple[Choice, ...]) -> list[dict[str, Any]]:
    return [
        {"code": code, "words": choice.word, "shown": choice.words, "text": choice.word == "other"}
        for code, choice in zip(_DIGITS, choices, strict=False)
    ]


def _figure(trials: Trials) -> figure:
    """Axes, pan and zoom: one axis in time for all channels; the traces are painted by the browser's own layer."""
    plot = figure(
        x_range=Range1d(float(trials.time_s[0]), float(trials.time_s[-1])),
        y_range=Range1d(0, 1),
        height=min(920, max(500, 100 * len(trials.labels) + 50 * len(trials.auxiliary_labels) + 40)),
        sizing_mode="stretch_width",
        tools="xpan,xwheel_zoom,reset",
        active_scroll=None,
        toolbar_location=None,
        output_backend="canvas",
        lod_threshold=None,
        lod_interval=0,
        min_border=4,
    )
    plot.xaxis.axis_label = f"time from {trials.cue} (s)"
    plot.yaxis.visible = False
    plot.ygrid.visible = False
    return plot
