"""People of a study on a screen: who is odd, why, and one key to the trial.

The browser has everybody's means and the table at once, and asks for the trials of whoever is looked at. What goes down
beside the wire (see wire.py), all by synced properties:

    setup       JSON, once: people_facts.py
    overview    bytes, once: mean envelopes of everybody
    pack        bytes: some people's trials, or single trials for the small pictures
    news        the wire's: what is said to a screen, and that the review shows a trial

    participants    the widget
"""

import dataclasses
import inspect
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, ClassVar

import panel as pn
import param
from panel.custom import Child, JSComponent

from emgreview.checks import kind
from emgreview.errors import DecisionError, ParameterError, UnknownNameError
from emgreview.keys import PEOPLE_KEYS, Key, key_table
from emgreview.people import Summary, summarise
from emgreview.running import Runner
from emgreview.second_look.adjudication import Adjudication
from emgreview.session import Session
from emgreview.views import host, people_facts
from emgreview.views.trial_review import review
from emgreview.views.wire import Wire

_JS = Path(__file__).parent / "js"
_MOST = 40
"""People whose trials are sent for one question."""
_OPTIONS = tuple(name for name in inspect.signature(summarise).parameters if name != "data")
NO_REVIEW = (
    "Nothing was given to open trials in. Give er.participants(data, …, session=er.open_review(…)), or open_trial=a "
    "function of the trial's id and the channel."
)
BLIND = (
    "The review is blind: it shows neither conditions nor times; whose trial it shows, this screen has told. Take its "
    "decisions by the trial alone."
)


def participants(
    data: Any,
    *,
    cue: str | None = None,
    session: Session | None = None,
    open_trial: Callable[[str, str], object] | None = None,
    keys: Mapping[str, str] | None = None,
    runner: Runner | None = None,
    **options: Any,
) -> "Participants":
    """People of a study on a screen, who is odd and why: show it as the last line of a notebook
    cell.

    Parameters
    ----------
    data : Summary, Dataset or iterable of Recording
        What :func:`emgreview.summarise` returned, or what it takes.
    cue : str or None
        Label of the markers that start a trial; needed unless a Summary is given.
    session : Session or None
        A review of these trials, in which Enter opens the chosen one.
    open_trial : callable or None
        Called with a trial's id and a channel instead, for a screen of your own.
    keys : mapping of str to str, or None
        Changes single keys, as for :func:`emgreview.review`.
    runner : Runner or None
        Where the work runs and its results are kept.
    **options
        What else :func:`emgreview.summarise` takes: before_s, decisions, expect …

    Returns
    -------
    Participants
        The widget.

    Raises
    ------
    ParameterError
        An argument is not what it must be, or :func:`emgreview.summarise` says so.
    UnknownNameError
        A key to move, or an option, has a name that none has.
    ReadError, RunStoppedError, ClusterError
        As :func:`emgreview.summarise`.

    Notes
    -----
    Conditions and groups are not looked at. Nothing here excludes anybody: that is a decision
    in the review. Works where :func:`emgreview.review` does.
    """
    kind("session", session, (Session, Adjudication, type(None)), "the session that open_review returns, or None")
    if open_trial is not None and not callable(open_trial):
        raise ParameterError(f"open_trial came as {open_trial!r}; give a function of a trial's id and a channel.")
    if open_trial is not None and session is not None:
        raise ParameterError("both session and open_trial came; give one: a trial is opened in one place.")
    found = _summary(data, cue, runner, options)
    host.prepare()
    return Participants(found, key_table("right", keys, PEOPLE_KEYS), session, open_trial)


def _summary(data: Any, cue: str | None, runner: Runner | None, options: Mapping[str, Any]) -> Summary:
    if not isinstance(data, Summary):
        if cue is None:
            raise ParameterError("no cue came; give the label of the markers that start a trial, or a Summary.")
        for name in options:
            if name not in _OPTIONS:
                raise UnknownNameError("option of summarise", name, _OPTIONS)
        return summarise(data, cue=cue, runner=runner, **options)
    given = [name for name, value in {"cue": cue, "runner": runner, **options}.items() if value is not None]
    if given:
        raise ParameterError(
            f"{', '.join(given)} came beside a Summary, which is made already; leave it out, or give the recordings."
        )
    return data


class Participants(Wire, JSComponent):
    """The component. It decides nothing: what is decided of a trial, the review decides."""

    setup = param.String()
    overview = param.Bytes(b"")
    pack = param.Bytes(b"")
    news = param.String()
    pulse = param.String()
    opened = Child()

    _esm = host.MODULE
    _stylesheets: ClassVar[list[str]] = [(_JS / name).read_text("utf-8") for name in ("review.css", "people.css")]

    def __init__(
        self,
        found: Summary,
        keys: Sequence[Key],
        session: Session | None,
        open_trial: Callable[[str, str], object] | None,
        **params: Any,
    ):
        self._found, self._open_trial = found, open_trial
        self._review = None if session is None else review(session)
        self._labels = tuple(dict.fromkeys(label for one in found.people for label in one.labels))
        self._sent = 0
        self.start_wire(session)
        params.setdefault("sizing_mode", "stretch_width")
        setup = {"screen": "people", **people_facts.facts(found), "keys": [dataclasses.asdict(key) for key in keys]}
        setup |= {"opens": session is not None or open_trial is not None, "within": session is not None}
        if session is not None and session.blind:
            setup["notes"] = [*setup["notes"], BLIND]
        if self._review is not None:
            params["opened"] = self._review
        super().__init__(setup=json.dumps(setup, allow_nan=False), overview=people_facts.overview(found), **params)

    def as_ipywidget(self) -> Any:
        """This widget as an ipywidget, for ipywidgets layouts and hosts.

        Returns
        -------
        ipywidget
        """
        return pn.ipywidget(self)

    def _preprocess(self, root: Any, changed: Any = None, old_models: Any = None) -> None:
        super()._preprocess(root, changed, old_models)
        host.inline_styles(root)

    # --- messages from the browser -----------------------------------------------------------------------------

    def _on_hello(self, data: Mapping[str, Any]) -> None:
        self.tell_settled(data["client"])

    _on_everything = _on_hello

    def _apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        raise DecisionError("nothing is decided on this screen; open the trial in the review.")

    def _status(self) -> dict[str, Any]:
        return {}

    def _on_person(self, data: Mapping[str, Any]) -> None:
        self._sent += 1
        self.pack = people_facts.person_pack(self._found.people, self._those(data), self._sent)

    def _on_panels(self, data: Mapping[str, Any]) -> None:
        label = self._label(data)
        self._sent += 1
        row = self._labels.index(label)
        self.pack = people_facts.panel_pack(self._found.people, self._those(data), label, row, self._sent)

    def _on_open(self, data: Mapping[str, Any]) -> None:
        """Show a trial in the review, or hand it to the function that was given."""
        label, (person,) = self._label(data), self._those({"people": [data["person"]]}) or (None,)
        if person is None or data["trial"] >= len(self._found.people[person].ids):
            raise ParameterError("a trial was asked for that is not there; reload the page.")
        trial = self._found.people[person].ids[data["trial"]]
        if self._open_trial is not None:
            self._open_trial(trial, label)
            self.tell(said={"client": data["client"], "words": f"Handed over: {trial}, {label}."})
        elif self._review is None:
            raise ParameterError(NO_REVIEW)
        else:
            self._review.show_trial(trial, label)
            self.tell(shown={"client": data["client"], "trial": data["trial"], "person": person})

    def _those(self, data: Mapping[str, Any]) -> list[int]:
        return [number for number in dict.fromkeys(data["people"]) if number < len(self._found.people)][:_MOST]

    def _label(self, data: Mapping[str, Any]) -> str:
        if data["channel"] not in self._labels:
            raise UnknownNameError("channel", data["channel"], self._labels)
        return str(data["channel"])
