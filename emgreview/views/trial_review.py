"""Trial review in a notebook: one component that owns the focus and the keys, around one Bokeh figure.

What goes down beside the wire (see wire.py, which also takes the decisions), all by synced properties:

    setup   JSON, once: channels, keys, choices, spans, one summary a trial
    pack    bytes: some trials (see packing.py), asked for by the browser ahead of need
    sound   bytes: a stretch to hear
    news    the wire's: cards, summaries, progress …

A decision is applied through the session, which returns when it is on disk. An acceptance carries the marks that were
seen; it is refused where others stand.

    review          the widget for a session
"""

import json
import weakref
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, ClassVar, Literal

import panel as pn
import param
from panel.custom import Child, JSComponent

from emgreview import evidence
from emgreview.checks import kind
from emgreview.errors import EmgreviewError, UnknownNameError
from emgreview.keys import KEYS, SETTLE_KEYS, Key, by_former_name, key_table
from emgreview.model import Trials
from emgreview.reading.dataset import NAMELESS
from emgreview.second_look.adjudication import Adjudication
from emgreview.session import COMMANDS, Session
from emgreview.views import cards, host, packing, screen_setup, texts
from emgreview.views.known_trials import KnownTrials, demand_channel
from emgreview.views.listing import Listing
from emgreview.views.messages import bound, needs
from emgreview.views.wire import Wire

_JS = Path(__file__).parent / "js"
_NEEDS = {
    "seal": ("name",),
    "unblind": ("reason",),
    "change_method": ("method",),
    "exclude": ("what", "reason"),
    "readmit": ("what", "reason"),
}
"""What commands that a screen has of its own come with."""
_FEW = 20
"""More trials than this changed at once are told as "ask anew", not one by one."""
_PAGE = 100
"""So many trials' summaries are told at once."""


def review(
    session: Session,
    *,
    handedness: Literal["right", "left"] = "right",
    keys: Mapping[str, str] | None = None,
    plausible_s: tuple[float, float] | None = None,
    break_after_min: float | None = 25.0,
    hand: Literal["right", "left"] | None = None,
) -> "TrialReview":
    """The review widget of a session: show it as the last line of a notebook cell.

    Parameters
    ----------
    session : Session
        What :func:`emgreview.open_review` returns.
    handedness : {"right", "left"}
        The hand that moves the mark.
    keys : mapping of str to str, or None
        Changes single keys (see :func:`emgreview.keys.key_table`).
    plausible_s : (float, float) or None
        Shades the window, in seconds from the cue, in which the study expects responses.
    break_after_min : float or None, default 25.0
        Propose a break every so many minutes; None for never.
    hand : {"right", "left"} or None, default None
        The former name of ``handedness``.

    Returns
    -------
    TrialReview
        The widget.

    Raises
    ------
    ParameterError
        A value is not what it must be.
    UnknownNameError
        A key to move has a name that no key has.

    Notes
    -----
    Works in JupyterLab, Notebook 7, ``panel serve`` (call ``.servable()``) and hosts that
    know ipywidgets alone (``.as_ipywidget()`` puts it into an ipywidgets layout). Nothing is
    asked of any network.
    """
    kind("session", session, (Session, Adjudication), "the session that open_review returns, or adjudicate")
    screen_setup.demand_alike(session.trials)
    span_s = float(session.trials[0].time_s[0]), float(session.trials[0].time_s[-1])
    screen_setup.demand_setup(span_s, plausible_s, break_after_min)
    host.prepare()
    every = (*SETTLE_KEYS, *KEYS) if isinstance(session, Adjudication) else KEYS
    table = key_table(by_former_name(handedness, hand), keys, every)
    options = {"plausible_s": plausible_s, "break_after_min": break_after_min}
    former = _SCREENS.pop(session, None)
    if former is not None:
        former.retire()
    _SCREENS[session] = made = TrialReview(session, table, options)
    return made


_SCREENS: "weakref.WeakKeyDictionary[Session, TrialReview]" = weakref.WeakKeyDictionary()
"""The screen of each session: a session has one at a time, so that two never decide past each other."""


class TrialReview(Wire, JSComponent):
    """The component. Its only state is what it has told the browser; decisions live in the
    session.
    """

    picture = Child()
    setup = param.String()
    pack = param.Bytes(b"")
    sound = param.Bytes(b"")
    news = param.String()
    pulse = param.String()

    _esm = host.MODULE
    _stylesheets: ClassVar[list[str]] = [(_JS / "review.css").read_text("utf-8")]

    def __init__(self, session: Session, keys: Sequence[Key], options: Mapping[str, Any], **params: Any):
        self._session = session
        self._known = KnownTrials(session)
        self._listing, self._mains = Listing(session, self._known.number), texts.Mains()
        self._told: dict[int, list[Any]] = {}
        self.start_wire(session)
        self._clients: dict[str, None] = {}
        self._noticed, self._awaited = session.notices, self._still_to_come()
        params.setdefault("sizing_mode", "stretch_width")
        page = self._known.around(session.where, _PAGE, _PAGE)
        here = {"where": self._known.number[session.where], "order": self._known.order, "awaited": self._awaited}
        first = {"summaries": self._summaries(page), **here}
        facts = screen_setup.standing_facts(session, keys)
        setup = {"screen": "review", **facts, **first, **self._to_be_known(), **options}
        super().__init__(setup=json.dumps(setup), picture=screen_setup.make_figure(session.trials[0]), **params)
        session.changed.append(self._on_change)

    def as_ipywidget(self) -> Any:
        """This widget as an ipywidget, for ipywidgets layouts and hosts.

        Returns
        -------
        ipywidget
        """
        return pn.ipywidget(self)

    def show_trial(self, trial: str, channel: str = "") -> None:
        """Go to a trial, and to one of its channels, on every page that shows this review.

        Parameters
        ----------
        trial : str
            Its id.
        channel : str, default ""
            A label; "" for the first open one.

        Raises
        ------
        UnknownNameError
            The review has no such trial.
        """
        self._session.go_to(trial)
        trials, _ = self._known.own(trial)
        row = trials.labels.index(channel) if channel in trials.labels else None
        for client in self._clients:
            self.tell(go_to={"client": client, "index": self._known.number[trial], "row": row})

    def retire(self) -> None:
        """Take no further decision: a newer screen of the same session has taken over."""
        if self._on_change in self._session.changed:
            self._session.changed.remove(self._on_change)
        self.stop_taking("A newer screen shows this review; decisions are taken there. This one can be closed.")

    def _preprocess(self, root: Any, changed: Any = None, old_models: Any = None) -> None:
        super()._preprocess(root, changed, old_models)
        host.inline_styles(root)

    # --- messages from the browser -----------------------------------------------------------------------------

    def _on_hello(self, data: Mapping[str, Any]) -> None:
        session, known = self._session, self._known
        self._clients[data["client"]] = None
        start = {"client": data["client"], "where": known.number[session.where]}
        self.tell(start=start, **self._to_be_known(), next_version=session.next_version)
        self._send_trials([known.number[trial] for trial in known.around(session.where, 8, 8)[:8]])
        self._on_everything(data)

    def _on_everything(self, data: Mapping[str, Any]) -> None:
        """What a browser that has missed news needs: the cards it holds, anew, with their summaries, and what is
        settled; it asks for all other summaries anew, a page at a time."""
        held = [self._known.at(number) for number in self._known.those(data.get("held", ()))]
        cards = [self._card(trial) for trial in held]
        news = {"cards": cards, "summaries": self._summaries(held), "page_anew": True, "joined": self._joined()}
        self.tell_settled(data["client"], **news, **self._status())

    def _on_page(self, data: Mapping[str, Any]) -> None:
        numbers = self._known.those(data["trials"][:_PAGE])
        self.tell(summaries=self._summaries([self._known.at(number) for number in numbers]))

    def _on_want(self, data: Mapping[str, Any]) -> None:
        self._send_trials(self._known.those(data["trials"]))

    def _on_beat(self, data: Mapping[str, Any]) -> None:
        try:
            self._session.take_arrived()
        except EmgreviewError as why:
            self.tell(said={"client": data["client"], "words": self._neutral(str(why))})
        if self._awaited != (awaited := self._still_to_come()):
            self._awaited = awaited
            self.tell(awaited=awaited)
        super()._on_beat(data)

    def _on_list(self, data: Mapping[str, Any]) -> None:
        self.tell(**self._listing.find(data))

    def _on_compare(self, data: Mapping[str, Any]) -> None:
        self.tell(**self._listing.compare(data))

    def _on_spectrum(self, data: Mapping[str, Any]) -> None:
        trials, row = self._of(data)
        demand_channel(trials, data["channel"])
        found = evidence.spectra(trials, row, data["channel"], onset_s=data["onset_s"], offset_s=data["offset_s"])
        shown = {name: getattr(found, name).tolist() for name in ("frequency_hz", "burst", "rest")}
        unit = trials.recording.channel(data["channel"]).unit_label
        self.tell(spectrum={"client": data["client"], "unit": f"{unit}²/Hz", "for": data["for"], **shown})

    def _on_listen(self, data: Mapping[str, Any]) -> None:
        trials, row = self._of(data)
        demand_channel(trials, data["channel"])
        full = self._known.look(trials).full_scale[trials.labels.index(data["channel"])]
        heard, rate_hz = evidence.listening(
            trials, row, data["channel"], start_s=data["start_s"], stop_s=data["stop_s"], full=full
        )
        self.sound = packing.pack_sound(heard, rate_hz, f"{data['client']} {data['n']}")

    def _apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        with self._session.on_screen(**data["visible"]) as remarks:
            answer = self._decide(data)
        if not remarks:
            return answer
        rank = self._known.rank
        words = [f"Trial {rank[trial] + 1}, {said}" if trial in rank else said for trial, said in remarks]
        before = answer.get("said", {}).get("words", "")
        said = {"client": data["client"], "words": self._neutral(" ".join([before, *words]).strip())}
        return {**answer, "said": said}

    def _decide(self, data: Mapping[str, Any]) -> dict[str, Any]:
        session, command, arguments = self._session, data["command"], dict(data["args"])
        needs("a decision", data, "index", "channel", "seen")
        trial = self._known.at(data["index"])
        trials, _ = self._known.own(trial)
        if data["channel"] is not None:
            demand_channel(trials, data["channel"])
        needs(command, arguments, *_NEEDS.get(command, ()))
        needed = session.open_channels(trial) if command == "accept_rest" else ()
        self._known.demand_seen(trial, data["seen"] or {}, needed)
        if command == "seal":
            sealed = session.seal(arguments["name"])
            words = f"Sealed as {arguments['name']!r}: {sealed.path} (SHA-256 {sealed.sha256[:16]}…)"
            return {"said": {"client": data["client"], "words": words}, "next_version": session.next_version}
        if command == "finish_audit":
            return self._listing.finish_audit(data["client"])
        if command == "unblind":
            session.unblind(arguments["reason"])
            return {"renew": True}
        if command == "change_method":
            words = f"Onsets are found by {session.method_words} already; nothing was changed."
            if session.change_method(arguments["method"]):
                words = self._neutral(" ".join(session.notices))
            return {"said": {"client": data["client"], "words": words}}
        if command in ("exclude", "readmit"):
            whole = texts.whole(trials, arguments["what"], data["channel"])
            session.apply(command, reason=arguments["reason"] or None, **whole)
            return {}
        before = dict(self._told)
        settles = command == "settle" and isinstance(session, Adjudication)  # of a trial, too: without a channel
        if command not in COMMANDS and not settles:
            raise UnknownNameError("command", command, COMMANDS)
        bound(getattr(session, command), command, arguments, "" if settles else data["channel"])
        changed = session.apply(command, trial, data["channel"], **arguments)
        if command in ("undo", "redo") and changed:
            index = self._known.number[trial if trial in changed else changed[0]]
            pairs = zip(before.get(index, []), self._told.get(index, []), strict=False)
            row = next((row for row, (old, new) in enumerate(pairs) if old != new), None)
            return {"go_to": {"client": data["client"], "index": index, "row": row}}
        session.go_to(trial)
        return {}

    def _to_be_known(self) -> dict[str, list[str]]:
        """What stays in the list of notes, and what of it is also said aloud at the start: not that nobody is named,
        which is as long as it is lasting."""
        said = [self._neutral(words) for words in self._session.notices if words != NAMELESS]
        bare = NAMELESS.partition(" (")[0] + "."  # without its example of a name, in a review that shows none
        nameless = [bare] if NAMELESS in self._session.notices else []
        return {"notices": said, "notes": [*said, *nameless, *self._session.noted]}

    def _neutral(self, words: str) -> str:
        """Words without the names of recordings, while the review is blind."""
        return self._session.neutral(words)

    def _problem(self) -> str | None:
        changed = self._session.queue != self._known.queue
        queue = "The list of trials has changed since this screen was opened: run the cell again." if changed else None
        problem = self.retired or self._session.problem or queue or self._known.unlike
        return problem and self._neutral(problem)

    # --- news to the browser -----------------------------------------------------------------------------------

    def _on_change(self, trials: tuple[str, ...]) -> None:
        if self._known.behind:
            self.tell(forget=self._known.take(), joined=self._joined(), **self._to_be_known(), **self._status())
            return  # nothing else has changed
        known = [trial for trial in trials if trial in self._known.number]
        if len(known) > _FEW:
            self.tell(renew=True, **self._status())
        else:
            cards = [self._card(trial) for trial in known]
            self.tell(cards=cards, summaries=self._summaries(known), **self._status())
        self._refresh_typical(known)
        if self._noticed != self._session.notices:  # the method was changed
            self._noticed = self._session.notices
            self.tell(**self._to_be_known())
            for client in self._clients:
                self.tell(said={"client": client, "words": self._neutral(" ".join(self._noticed))})

    def _refresh_typical(self, trials: Sequence[str]) -> None:
        """Send a session's typical envelopes anew with every fifth of its trials that is reviewed."""
        pairs = list(self._known.looks_at(trials))
        looks = {look: None for look, _ in pairs}
        before = [len(look.reviewed) // 5 for look in looks]
        for look, trial in pairs:
            look.take(self._session, trial)
        grown = [look for look, fives in zip(looks, before, strict=True) if len(look.reviewed) // 5 != fives]
        if grown and not self._session.blind:
            self.pack = packing.pack_trials([], [one for look in grown for one in look.typical()])

    def _still_to_come(self) -> str:
        """In words; what failed of it is among the notices once nothing is still to come."""
        return "" if self._session.complete else self._neutral(self._session.awaited)

    def _joined(self) -> dict[str, Any]:
        """How many trials there are, and their order."""
        return {"n_trials": len(self._known), "order": self._known.order}

    def _status(self) -> dict[str, Any]:
        session = self._session
        status = {"progress": session.progress[:2], "counted": session.counted, "blind": session.blind}
        return {**status, "problem": self._problem(), "method": session.method_words}

    def _send_trials(self, wanted: list[int]) -> None:
        entries, typical = [], []
        for index in wanted:
            trial = self._known.at(index)
            trials, row = self._known.own(trial)
            look = self._known.look(trials)
            head = {"index": index, "card": self._card(trial), "recording": look.number, "full_scale": look.full_scale}
            head["level_words"] = look.level_words
            entries.append((trials, row, look.limits, head))
        if not self._session.blind:
            for look in {look.number: look for look in (self._known.look(entry[0]) for entry in entries)}.values():
                typical += look.typical()
        if entries:
            self.pack = packing.pack_trials(entries, typical)

    def _of(self, data: Mapping[str, Any]) -> tuple[Trials, int]:
        return self._known.own(self._known.at(data["index"]))

    def _card(self, trial: str) -> dict[str, Any]:
        trials, _ = self._known.own(trial)
        z = self._known.look(trials).rest_z[self._session.source(trial)]
        card = cards.trial_card(self._session, trials, trial, z, self._known.number[trial], self.serial)
        card["mains"] = None if self._session.blind else self._mains.words(trials)
        self._told[card["index"]] = card["channels"]
        return card

    def _summaries(self, trials: Sequence[str]) -> dict[int, list[Any]]:
        """By number: what map and overview show, and when the trial was recorded, unless the review is blind."""
        return {
            self._known.number[trial]: [
                *cards.trial_summary(self._session, self._known.own(trial)[0], trial),
                None if self._session.blind else self._known.when(trial),
            ]
            for trial in trials
        }
