"""Settling what two reviewers disagree on: a third reviewer's session that holds nothing else.

The two decisions come as candidates "A" and "B", without names, in an order drawn anew for every item; the automatic
mark is hidden, because it would tell who had accepted it. Each item is settled by one of them, by both (then what lies
between stands), by a decision of the third reviewer's own through the ordinary commands, or not at all. The third log
names the base and the heads of both others; whose decision stood is in its reasons, which the screen does not show.

What either of the two keeps out of every analysis, or set aside, is kept out here too, unnamed; the third reviewer may
readmit, or say that a cue stands, where one of the two alone keeps it out. A dispute that was settled is open again
where one of the two has decided otherwise since.

    adjudicate      open such a session: Adjudication
    reopen          open a review as its logs say: an adjudication, or an ordinary session
    Adjudication    holds a session whose policy is that of disputes (``disputed``), and settles them
    Dispute         one item: what it is about, and its two candidates; see ``disputes``
"""

import hashlib
import warnings
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal, Self

from emgreview.annotations import state as states
from emgreview.annotations.events import check_reviewer, check_text
from emgreview.checks import tolerance_ms
from emgreview.cohort.drawing import new_seed, refuse_seed
from emgreview.cohort.keeping_out import keepers
from emgreview.cohort.marks import Logs, check_reviewed, read_logs
from emgreview.cohort.merged import Merge, rule_of
from emgreview.cohort.merging import decided, merge
from emgreview.cohort.settling import ADJUDICATE, Item, since
from emgreview.errors import DecisionError, ParameterError, SignalWarning, UnknownNameError
from emgreview.model import Trials
from emgreview.second_look.disputed import DisputesAlone
from emgreview.second_look.disputes import CHOICES, LETTERS, Candidate, Dispute, began_with, unnamed
from emgreview.session import Ids, Session, one_at_a_time, open_review

if TYPE_CHECKING:
    _LikeSession = Session  # whatever takes a session takes an Adjudication
else:
    _LikeSession = object


def adjudicate(
    trials: Trials | Sequence[Trials],
    folder: str | Path,
    first: str,
    second: str,
    *,
    reviewer: str,
    within_ms: float = 10.0,
    blind: bool = True,
    **options: Any,
) -> "Adjudication":
    """Open a session of a third reviewer about what two others disagree on, or continue it.

    Parameters
    ----------
    trials : Trials or sequence of Trials
        As both reviewed them.
    folder : str or Path
        The review folder, with the logs of both.
    first, second : str
        The two reviewers who disagree.
    reviewer : str
        The third.
    within_ms : float, default 10.0
        Onsets no further apart than this, in milliseconds, count as the same.
    blind : bool, default True
        Hide condition and participant.
    **options
        Other options of :func:`emgreview.open_review`.

    Returns
    -------
    Adjudication
        A :class:`Session` whose queue holds the disputes alone.

    Raises
    ------
    DecisionError
        The two disagree on nothing.
    ParameterError
        Two of the three reviewers are the same, a disputed trial is not among ``trials``, or
        a seed came.
    UnknownNameError
        A reviewer has no log.
    LogError
        A recording is not the one that the two reviewed, or comes in another scale.
    EmgreviewError
        What :func:`emgreview.open_review` raises.

    Notes
    -----
    The order of the candidates is drawn, by a seed that is logged and that nobody may give:
    with one of one's own the two could be told apart.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5, blind=True)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for code in ("r1", "r2"):
    ...         with er.open_review(trials, folder, reviewer=code) as session:
    ...             _ = [session.accept_rest(trial) for trial in session.queue]
    ...             if code == "r2":
    ...                 _ = session.unusable(session.queue[0], "antagonist", ["heart beats"])
    ...     with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3") as third:
    ...         _ = third.settle(third.where, "antagonist", "A")
    ...         third.progress_words
    '1 of 1 disputes settled'
    """
    if "seed" in options:
        refuse_seed({"seed": options["seed"]}, "the order of the candidates is drawn anew for every adjudication")
    return _adjudicate(trials, folder, first, second, reviewer=reviewer, within_ms=within_ms, blind=blind, **options)


def _adjudicate(
    trials: Trials | Sequence[Trials],
    folder: str | Path,
    first: str,
    second: str,
    *,
    reviewer: str,
    within_ms: float,
    blind: bool,
    whole: bool = True,
    **options: Any,
) -> "Adjudication":
    """The same; ``whole`` False: it is known that the logs lack no lines."""
    if len({first, second, check_reviewer(reviewer)}) < 3:
        raise ParameterError(f"reviewers {first!r}, {second!r} and {reviewer!r} came; give three that differ.")
    one, two = (read_logs(folder, who, whole=whole) for who in (first, second))
    rounded, within_s = began_with(folder, reviewer)
    if within_s is None or within_ms != 1000 * within_s:
        within_s = tolerance_ms("within_ms", within_ms) / 1000
    merged = merge(one, two, within_s=within_s, rounded=rounded)
    if not merged.conflicts:
        raise DecisionError(
            f"{first!r} and {second!r} disagree on nothing by these rules (onsets within {within_ms:g} ms count as "
            "the same), so there is nothing to settle."
        )
    parts = (trials,) if isinstance(trials, Trials) else tuple(trials)
    for part in parts:
        check_reviewed(one, part.recording)
        check_reviewed(two, part.recording)
    known = {trial for part in parts for trial in part.ids}
    if lost := sorted({conflict.item[1] for conflict in merged.conflicts} - known):
        raise ParameterError(
            f"{len(lost)} disputed trials, {lost[0]!r} the first, are not among the trials that came; give "
            "all that the two reviewed."
        )
    options = {"order": "random", "blind": blind, **options}
    session = Adjudication(parts, Path(folder), one, two, merged, reviewer=reviewer, **options)
    session.tell_notices()
    return session


def reopen(
    trials: Trials | Sequence[Trials], folder: str | Path, *, reviewer: str, whole: bool = True, **options: Any
) -> Session:
    """Open a review again as its logs say: as an :class:`Adjudication` between the same reviewers, or an ordinary one.
    Options as for :func:`emgreview.open_review`; notices are not told. ``whole`` False: it is known that the logs lack
    no lines. Raises UnknownNameError without a log."""
    note = read_logs(folder, reviewer, whole=False).note(ADJUDICATE)  # opening tells what it lacks
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SignalWarning)
        if note is None:
            return open_review(trials, folder, reviewer=reviewer, **options)
        first, second = (note.new[who]["reviewer"] for who in ("first", "second"))
        options = {"blind": True, **options, "within_ms": 1000 * note.new["within_s"], "whole": whole}
        return _adjudicate(trials, folder, first, second, reviewer=reviewer, **options)


@one_at_a_time
class Adjudication(_LikeSession):
    """A :class:`Session` about disputes alone; see :func:`adjudicate`.

    It holds that (``session``), and whatever a session has can be had of it, too, so that a
    front end takes either. It has three things more: ``disputes``, ``settle`` (also as a
    command of ``apply``), and no automatic mark where ``hides_automatic`` says so.
    """

    def __init__(
        self,
        trials: tuple[Trials, ...],
        folder: Path,
        one: Logs,
        two: Logs,
        merged: Merge,
        **options: Any,
    ):
        self._one, self._two, self._merged = one, two, merged
        self._about = DisputesAlone(one, two, merged)
        self.session = Session(trials, folder, policy=self._about, **options)
        try:
            self._seed = self._begin()
            self._about.hold_since(since(self.session.notes, merged.sides))
            self.session.keep_to(self._about.channels)
        except BaseException:
            self.session.close()
            raise

    def __getattr__(self, name: str) -> Any:
        if name == "session":  # asked for before there is one
            raise AttributeError(name)
        return getattr(self.session, name)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> Literal[False]:
        self.session.close()
        return False

    def __repr__(self) -> str:
        return repr(self.session)

    def disputes(self, trial: str | None = None) -> tuple[Dispute, ...]:
        """The disputes of a trial, or all of them in the order of the queue.

        Parameters
        ----------
        trial : str or None
            A trial; None for all.

        Returns
        -------
        tuple of Dispute
        """
        if trial is not None:
            self.session.place(trial)
        trials = self.session.queue if trial is None else (trial,)
        return tuple(self._dispute(item) for one in trials for item in self._about.items.get(one, ()))

    def settle(self, trial: str, channel: str | None, choice: str, reason: str | None = None) -> Ids:
        """Settle a dispute by a choice; the third reviewer's own decision comes by the ordinary
        commands instead.

        Parameters
        ----------
        trial : str
            The trial.
        channel : str or None
            Its channel; None for what is about the trial.
        choice : {"A", "B", "both acceptable", "cannot be settled"}
            "both acceptable": the midpoint of the two stands where they differ in time, and the
            more careful state of the signal. "cannot be settled": nothing stands, and the item is
            put on the list to discuss.
        reason : str or None
            Why, in words that the log keeps.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        UnknownNameError
            There is no such choice.
        DecisionError
            Nothing is in dispute there, or both are acceptable in kind, where nothing lies
            between.
        """
        session, item = self.session, self._about.item(trial, channel)
        if choice not in CHOICES:
            raise UnknownNameError("choice", choice, CHOICES)
        said = f"; {check_text(reason)}" if reason else ""
        if choice == "cannot be settled":
            old = session.value(trial, channel, "discuss")
            return session.record(choice, trial, channel, "discuss", old, True, reason=reason)
        if choice == "both acceptable":
            words = f"both acceptable: what lies between {self._one.reviewer} and {self._two.reviewer} stands"
            values = self._between(item)
        else:
            chosen = self._behind(item)[LETTERS.index(choice)]
            words = f"{choice}, the decision of {chosen.reviewer}, stands"
            values = self._decided(chosen, item)
        if channel is not None:
            return session.record_many("settle", trial, {channel: values}, words + said)
        ids: Ids = ()
        for field, value in values.items():
            old = session.value(trial, None, field)
            ids += session.record("settle", trial, None, field, old, value, reason=words + said)
        return ids[:1]

    def apply(self, command: str, trial: str | None = None, channel: str | None = None, **arguments: Any) -> Ids:
        """As :meth:`Session.apply`, with the command "settle" (``choice``, ``reason``) besides.

        Parameters
        ----------
        command : str
            Name of the command.
        trial, channel : str or None
            What it is about.
        **arguments
            Its other arguments, by name.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.
        """
        if command == "settle" and trial is not None:
            return self.settle(trial, channel, **arguments)
        return self.session.apply(command, trial, channel, **arguments)

    # Inside ------------------------------------------------------------------------------------------------------

    def _begin(self) -> str:
        """Name base and heads in the log, once and whenever they have changed; the seed is the first one's for ever."""
        session, about = self.session, self._about
        last = next((note for note in reversed(session.notes) if note.operation == ADJUDICATE), None)
        recordings = {part.recording.name: part.recording for part in session.trials}
        plan = {
            "seed": last.new["seed"] if last else new_seed(),
            "within_s": self._merged.within_s,
            **({} if self._merged.rounded else {"rounded": False}),
            "first": {"reviewer": self._one.reviewer, "heads": self._one.heads},
            "second": {"reviewer": self._two.reviewer, "heads": self._two.heads},
            "base": {name: {"fingerprint": one.digest, **session.method(name)} for name, one in recordings.items()},
            "disputes": [list(item) for item in about.conflicts],
            "sides": [self._merged.sides[item] for item in about.conflicts],
        }
        if not session.read_only and (last is None or dict(last.new) != plan):
            session.note(ADJUDICATE, plan)
        return str(plan["seed"])

    def _behind(self, item: Item) -> tuple[Logs, Logs]:
        """Whose decisions are A and B."""
        drawn = hashlib.sha256(f"{self._seed}/{item!r}".encode()).digest()[0] % 2
        return (self._two, self._one) if drawn else (self._one, self._two)

    def _decided(self, logs: Logs, item: Item) -> dict[str, Any]:  # type: ignore[override]
        """What one reviewer decided about an item."""
        fields = ("signal", "activity") if item[2] else self._about.fields(item)
        values = {field: decided(logs, item, field) for field in fields}
        return {field: value for field, value in values.items() if value is not None}

    def _between(self, item: Item) -> dict[str, Any]:
        one, two = self._decided(self._one, item), self._decided(self._two, item)
        values = {**two, **one}
        for field in values.keys() & one.keys() & two.keys():
            if one[field] != two[field]:
                values[field] = rule_of(field).join(one[field], two[field])
        return values

    def _dispute(self, item: Item) -> Dispute:
        _, trial, channel = item
        about = self._about
        a, b = (self._candidate(letter, logs, item) for letter, logs in zip(LETTERS, self._behind(item), strict=True))
        settled = about.how(item)
        why = [f"{conflict.field}: {conflict.why}" for conflict in about.conflicts[item]]
        if keepers(self._merged.kept_out, item, self._merged.participants.get(item[0])):
            why.append("one of the two keeps it out")
        if not settled and about.was_settled_before(item):
            why.append("settled before, but one of the two has decided otherwise since")
        return Dispute(trial, channel, about.fields(item), "; ".join(why), (a, b), settled)

    def _candidate(self, letter: str, logs: Logs, item: Item) -> Candidate:
        _, trial, channel = item
        place, values = self.session.place(trial), self._decided(logs, item)
        if channel is None:
            cue = values.get("cue")
            cue_s = None if cue is None else (cue - place.cue) / place.rate_hz
            return Candidate(letter, behaviour=values.get("behaviour"), cue_s=cue_s, values=values)
        activity = unnamed(values.get("activity") or states.proposal(None))
        signal = values.get("signal") or states.USABLE
        shown = states.channel_state(channel, signal, activity, None, False, place.cue, place.rate_hz)
        return Candidate(letter, channel=shown)
