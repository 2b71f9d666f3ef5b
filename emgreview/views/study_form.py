"""A form that describes a folder of a lab's own files: it writes the same file as ``write_study`` and the shell.

study_form      the form; what it decides, the reading functions decide

Every field is what a line of the description is. Nothing is written before "Save".
"""

import html
import os
import warnings
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

import panel as pn

from emgreview.checks import kind
from emgreview.errors import EmgreviewError, ParameterError, SignalWarning
from emgreview.legible import legible
from emgreview.plain_files import read_json
from emgreview.reading import Look, look, write_study
from emgreview.reading.looking import ASKED
from emgreview.reading.patterns import Pattern
from emgreview.reading.study_description import Study, study_of
from emgreview.views import host
from emgreview.views.texts import on_axis

NAME = "study.toml"
_UNITS = ["", "uV", "mV", "V", "nV", "arbitrary"]
_NONE, _MARKERS, _PULSES = "none", "markers in the files", "pulses in a channel"
_ARROW = (
    "data:image/svg+xml;utf8,<svg viewBox='0 0 25 20' xmlns='http://www.w3.org/2000/svg'>"
    "<path d='M 0,0 25,0 12.5,20 Z' fill='gray'/></svg>"
)
_ARROWS = (
    f'select.bk-input:not([multiple]) {{ background-image: url("{_ARROW}"); }} '
    ".bk-input-group .bk-spin-btn.bk-spin-btn-up:before { border-bottom-color: gray !important; } "
    ".bk-input-group .bk-spin-btn.bk-spin-btn-down:before { border-top-color: gray !important; }"
)
"""Arrows of lists and numbers, which Panel leaves black on a dark ground: gray is seen on both."""
_HINTS = ".bk-input::placeholder { color: #767676; opacity: 1; }"
_SAID = "font: 13px/1.5 var(--jp-content-font-family, system-ui, sans-serif); white-space: pre-wrap; margin: 0"


def _pairs(text: str, sign: str) -> list[tuple[str, str]]:
    """Names and values that stand as name=value, with a sign between them. Raises ParameterError."""
    pairs = [
        (name.strip(), value.strip())
        for one in text.split(sign)
        if one.strip()
        for name, _, value in [one.partition("=")]
    ]
    if odd := [name for name, value in pairs if not value]:
        raise ParameterError(f"{odd[0]!r} came without a value; give name=value, with {sign!r} between them.")
    return pairs


def _words(text: str) -> list[str]:
    """Words with commas between them."""
    return [one.strip() for one in text.split(",") if one.strip()]


def _value(text: str) -> Any:
    """A value as JSON has it, or else the text itself."""
    try:
        return read_json(text.encode(errors="replace"))
    except EmgreviewError:
        return text


def study_form(folder: str | Path) -> "StudyForm":
    """A form that describes a folder of recordings as a study, and writes its description.

    Parameters
    ----------
    folder : str or Path
        The folder with the recordings.

    Returns
    -------
    StudyForm
        For the last line of a notebook cell.

    Raises
    ------
    ParameterError
        ``folder`` is no path.
    """
    kind("folder", folder, (str, os.PathLike), "the path of a folder of recordings")
    return StudyForm(Path(folder))


class StudyForm:
    """The form; its fields are Panel widgets by name, as a script may set them."""

    def __init__(self, folder: Path):
        host.prepare()
        self.folder = folder
        self.seen: Look | None = None
        text = partial(pn.widgets.TextInput, stylesheets=[_HINTS])
        number, choice, count = (
            partial(sort, stylesheets=[_ARROWS])
            for sort in (pn.widgets.FloatInput, pn.widgets.Select, pn.widgets.IntInput)
        )
        wide = {"sizing_mode": "stretch_width", "max_width": 460}
        self.name = text(label="Name of the study", value=folder.absolute().name, **wide)
        self.pattern = text(label="How its files are called", placeholder="P{participant}_{task}_run{run}.csv", **wide)
        self.rate_hz = number(label="Sampling rate (Hz)", value=None, width=160)
        self.more = text(
            label="What else they must be told", placeholder="time_unit=dmy; rate=trial.fs; unit=mV", **wide
        )
        self.columns: dict[str, dict[str, Any]] = {}
        self.cue_from = choice(label="Cues", options=[_NONE, _MARKERS, _PULSES], value=_NONE, width=220)
        self.label = text(label="What a cue is called", value="go", width=160)
        self.markers = text(label="Markers that are cues, if several", placeholder="go_left, go_right", width=260)
        self.channel = pn.widgets.AutocompleteInput(
            label="Channel of the pulses", options=[], restrict=False, min_characters=0, width=220
        )
        self.level = number(label="Level, in its unit", value=None, width=140)
        self.edge = choice(label="Edge", options=["rising", "falling", "both"], width=120)
        self.hold_off_s = number(label="Hold-off (s)", value=None, width=140)
        self.expect = count(label="Cues expected", value=None, width=140)
        self.people = text(label="Table of participants", placeholder="people.csv", width=220)
        self.code = text(label="Its column of codes", width=160)
        self.trials = text(
            label="Tables of trials, one row a cue", placeholder="behaviour/P{participant}_run{run}.csv", **wide
        )
        self.wanted = text(label="Columns to take (all)", placeholder="condition, block", width=220)
        self.trials_of = text(
            label="Columns that tell recordings apart", placeholder="participant=subject, run=block", width=300
        )
        self.encoding = text(label="Tables not in UTF-8", placeholder="cp1252", width=160)
        self.time = text(label="Its column of times", width=160)
        self.time_unit = choice(label="in", options=["s", "ms", "us"], width=80)
        self.said = host.Said("", sizing_mode="stretch_width")
        self._table = pn.Column(sizing_mode="stretch_width")
        button = pn.widgets.Button
        self.look_button = button(label="Look at the first file", color="primary")
        self.show_button = button(label="Show what it makes")
        self.save_button = button(label=f"Save {NAME}", color="primary")
        self.look_button.on_click(lambda _: self.look())
        self.show_button.on_click(lambda _: self.show())
        self.save_button.on_click(lambda _: self.save())
        self.cue_from.param.watch(lambda _: self._which(), "value")
        self.more.param.watch(lambda _: self._labels(), "value")
        self._cue_row = pn.FlexBox(self.label, self.markers)
        self._pulse_row = pn.FlexBox(self.channel, self.level, self.edge, self.hold_off_s, self.expect)
        self._which()

    def __panel__(self) -> Any:
        part = "### {}".format
        return pn.Column(
            pn.pane.Markdown(part("Files")),
            self.name,
            self.pattern,
            pn.pane.Markdown(
                "Words in braces stand for what names say: **{participant}**, **{session}**, **{task}**, **{run}**, "
                "**{condition}**, **{part}** (files that follow one another), **{side}** (files of other channels); "
                "an asterisk for any signs."
            ),
            self.look_button,
            self.rate_hz,
            self.more,
            self._table,
            pn.pane.Markdown(part("Cues")),
            pn.FlexBox(self.cue_from, self._cue_row),
            self._pulse_row,
            pn.pane.Markdown(part("Participants and trials")),
            pn.FlexBox(self.people, self.code),
            self.trials,
            pn.FlexBox(self.wanted, self.time, self.time_unit, self.trials_of, self.encoding),
            pn.FlexBox(self.show_button, self.save_button),
            self.said,
            sizing_mode="stretch_width",
            max_width=980,
        )

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Any:
        return self.__panel__()._repr_mimebundle_(include, exclude)

    def look(self) -> None:
        """Look at the first file that fits, and fill in what it tells."""
        try:
            files = Pattern(self.pattern.value.strip()).files(self.folder)
            if not files:
                self._tell(f"No file of {self.folder} fits this pattern.")
                return
            seen = look(files[0][0])
        except EmgreviewError as why:
            self._tell(str(why))
            return
        self.seen = seen
        rate = seen.how.get("rate_hz")
        self.rate_hz.value = rate if isinstance(rate, (int, float)) else None
        self._ask_of_columns(seen)
        words = [f"{len(files)} files fit.", *repr(seen).split("\n")[:-1]]
        self._tell("\n".join(words))

    def _ask_of_columns(self, seen: Look) -> None:
        columns = seen.how.get("columns")
        columns = None if columns == ASKED else columns  # nothing names them: columns=["FCR","key"] among what is told
        pairs = (
            columns.items() if isinstance(columns, Mapping) else [(str(k + 1), c) for k, c in enumerate(columns or ())]
        )
        units = seen.how.get("unit")
        self.columns = {}
        rows = []
        for name, label in pairs:
            unit = units.get(label, "") if isinstance(units, Mapping) else units if label not in (None, "time") else ""
            fields = {
                "label": pn.widgets.TextInput(label=f"Column {on_axis(name)} is", value=label or "", width=190),
                "unit": pn.widgets.AutocompleteInput(
                    label="in",
                    value="" if unit in (None, "?") else str(unit),
                    options=_UNITS,
                    restrict=False,
                    min_characters=0,
                    width=90,
                ),
                "muscle": pn.widgets.TextInput(label="over the muscle", width=190),
            }
            self.columns[name] = fields
            rows.append(pn.FlexBox(*fields.values()))
        words = "**time** for times; an empty field leaves a column out. A unit as it stands in the file."
        self._table[:] = [host.Inlined(pn.pane.Markdown(words), *rows, sizing_mode="stretch_width")] if rows else []
        self._labels()

    def _labels(self) -> None:
        labels = [fields["label"].value.strip() for fields in self.columns.values()] or self._labels_told()
        self.channel.options = [label for label in labels if label and label.casefold() != "time"]

    def _labels_told(self) -> list[str]:
        """Labels that stand among what else the files must be told, as columns=["FCR","key"]."""
        try:
            columns = dict(_pairs(self.more.value, ";")).get("columns", "")
        except ParameterError:  # not typed to its end
            return []
        labels = _value(columns)
        return [label for label in labels if isinstance(label, str)] if isinstance(labels, list) else []

    def _which(self) -> None:
        self._cue_row.visible = self.cue_from.value != _NONE
        self._pulse_row.visible = self.cue_from.value == _PULSES
        self._labels()

    def parts(self) -> dict[str, Any]:
        """What the form says, as the arguments of :func:`emgreview.write_study`.

        Returns
        -------
        dict

        Raises
        ------
        ParameterError
            What else files must be told is not written as name=value.
        """
        how = dict(self.seen.how) if self.seen is not None else {}
        more = {name: _value(value) for name, value in _pairs(self.more.value, ";")}
        files: dict[str, Any] = {"pattern": self.pattern.value.strip(), **how, **more}
        if self.rate_hz.value is not None:
            files["rate_hz"] = self.rate_hz.value
        labels = {name: fields["label"].value.strip() or None for name, fields in self.columns.items()}
        if self.columns:
            named = isinstance(how.get("columns"), Mapping)
            files["columns"] = labels if named else list(labels.values())
            units = {labels[name]: fields["unit"].value.strip() for name, fields in self.columns.items()}
            units = {label: unit for label, unit in units.items() if label and label.casefold() != "time" and unit}
            files["unit"] = units or "?"
        muscles = {labels[n]: f["muscle"].value.strip() for n, f in self.columns.items() if labels[n]}
        cues: dict[str, Any] = {"label": self.label.value.strip(), "expect": self.expect.value}
        if self.cue_from.value == _MARKERS:
            cues["markers"] = _words(self.markers.value) or None
        if self.cue_from.value == _PULSES:
            cues |= {
                "channel": self.channel.value,
                "level": self.level.value,
                "edge": self.edge.value,
                "hold_off_s": self.hold_off_s.value,
            }
        wanted = _words(self.wanted.value)
        encoding = self.encoding.value.strip() or None
        trials = {
            "table": self.trials.value.strip(),
            "columns": wanted or None,
            "time": self.time.value.strip() or None,
            "encoding": encoding,
        }
        trials |= {"time_unit": self.time_unit.value} if self.time.value.strip() else {}
        trials |= dict(_pairs(self.trials_of.value, ","))
        people = {"table": self.people.value.strip(), "code": self.code.value.strip()}
        people |= {"encoding": encoding} if encoding else {}
        return {
            "name": self.name.value.strip() or None,
            "files": files,
            "channels": {label: {"muscle": muscle} for label, muscle in muscles.items() if muscle} or None,
            "cues": {k: v for k, v in cues.items() if v is not None} if self.cue_from.value != _NONE else None,
            "participants": people if people["table"] else None,
            "trials": {k: v for k, v in trials.items() if v is not None} if trials["table"] else None,
        }

    def show(self) -> None:
        """Tell what the description would make, without writing it."""
        try:
            said = {key: part for key, part in self.parts().items() if part is not None}
            study = study_of(said, self.folder / NAME)
            lines = [f"{study.name}: {len(study.files)} recordings", *_made(study)]
        except EmgreviewError as why:
            lines = [str(why)]
        self._tell("\n".join(lines))

    def save(self) -> None:
        """Write the description."""
        try:
            path = write_study(self.folder / NAME, **self.parts())
        except EmgreviewError as why:
            self._tell(str(why))
            return
        self._tell(f"Saved. Go on with:\ndata = er.read_study({str(path)!r})")

    def _tell(self, words: str) -> None:
        self.said.object = f'<div role="status" style="{_SAID}">{html.escape(legible(words))}</div>'


def _made(study: Study) -> list[str]:
    """A line for each of the first recordings."""
    lines = []
    for name in list(study.files)[:12]:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SignalWarning)
                rec = study.recording(name)
        except EmgreviewError as why:
            lines.append(f"  {name}: {why}")
            continue
        cues = sum(study.cue_of(marker.label) for marker in rec.markers)
        columns = sorted({column for marker in rec.markers for column in marker.details})
        lines.append(
            f"  {name}: {', '.join(rec.labels)}; {rec.rate_hz:g} Hz, {rec.duration_s:.1f} s; {cues} cues"
            + (f" with {', '.join(columns)}" if columns else "")
        )
    return lines + ([f"  … and {len(study.files) - 12} more"] if len(study.files) > 12 else [])
