"""Everybody of a study in one table, with flags: who to look at first, and why.

summarise       the table and the flags of a study
Summary         what it returns
COLUMNS         the columns of its table
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from emgreview import checks
from emgreview.cohort.agreement import Agreement
from emgreview.detecting import METHOD
from emgreview.errors import ParameterError, UnknownNameError, tell
from emgreview.model import Processing
from emgreview.people.cues import expected
from emgreview.people.flags import Odd, odd_people
from emgreview.people.groups import with_and_without
from emgreview.people.person import AUTOMATIC, MARKS, REVIEWED, Person, gathered, whose
from emgreview.people.recorded import RESPONSE, Recorded, RecordedJob
from emgreview.people.reviewed import MovedJob, moved_marks
from emgreview.people.rules import Flag, contracted
from emgreview.people.table import table_of
from emgreview.running import Runner
from emgreview.showing import Prose, Sheet, Shown
from emgreview.signal.onset import checked_method

BEFORE_S, AFTER_S = 1.0, 1.5


@dataclass(frozen=True, eq=False, repr=False)
class Summary(Shown):
    """A study at a glance; :func:`summarise` returns it.

    Attributes
    ----------
    table : DataFrame
        One row a person, session and channel.
    flags : DataFrame
        Who is odd: participant, session, channel ("" for the person), code, reason, value,
        limit, kind.
    unlike : DataFrame
        Those most unlike the others whom no rule flags, most unlike first, likewise.
    notes : tuple of str
        What is common to most, and what was left out.
    rules : tuple of str
        The rules behind the flags, with their limits for this study.
    failed : mapping of str to str
        By name, why a recording takes no part.
    people : tuple of Person
        Trials and envelopes behind the table.
    odd : Odd
        The flags as values, with the trials that show them.
    cue, marks : str
        What was asked.
    """

    table: pd.DataFrame
    flags: pd.DataFrame
    unlike: pd.DataFrame
    notes: tuple[str, ...]
    rules: tuple[str, ...]
    failed: Mapping[str, str]
    people: tuple[Person, ...] = field(repr=False)
    odd: Odd = field(repr=False)
    cue: str = ""
    marks: str = AUTOMATIC

    def without(self, *participants: str) -> pd.DataFrame:
        """The result with everybody, and without some people: medians over people, both ways.

        Parameters
        ----------
        *participants : str
            Who is left out; none: everybody with a flag.

        Returns
        -------
        DataFrame
            One row a channel and measure: people, median and quartiles with and without, and
            the difference of the medians.

        Raises
        ------
        UnknownNameError
            Nobody has that name.
        """
        known = list(dict.fromkeys(self.table["participant"]))
        for one in participants:
            if one not in known:
                raise UnknownNameError("participant", one, known)
        return with_and_without(self.table, participants or set(self.flags["participant"]))

    def _parts(self) -> Iterator[Sheet | str]:
        trials = sum(len(one.ids) for one in self.people)
        yield f"{len(self.people)} people's sessions, {trials} trials, {self.marks} marks."
        if len(self.flags):
            rows = [
                (_whose(one), one["channel"] or "all", one["code"], one["reason"])
                for one in self.flags.to_dict("records")
            ]
            yield Prose(
                "Flags: look there first; a flag excludes nobody", ("person", "channel", "code", "reason"), rows
            )
        else:
            yield "No flag."
        if len(self.unlike):
            near = [
                (_whose(one), one["channel"] or "all", one["code"], f"{one['value']:.1f}", f"{one['limit']:.1f}")
                for one in self.unlike.to_dict("records")
            ]
            yield Sheet("Most unlike the others, below the limit", ("person", "channel", "what", "SD", "limit"), near)
        yield from self.rules
        yield from self.notes


def _whose(row: Mapping[Any, Any]) -> str:
    return f"{row['participant']}, session {row['session']}" if row["session"] else str(row["participant"])


def summarise(
    data: Any,
    *,
    cue: str,
    before_s: float = BEFORE_S,
    after_s: float = AFTER_S,
    processing: Processing | None = None,
    expect: int | None = None,
    decisions: pd.DataFrame | None = None,
    marks: str | None = None,
    method: str = METHOD,
    parameters: Mapping[str, Any] | None = None,
    response: str = RESPONSE,
    agreement: Agreement | None = None,
    floor: bool = False,
    runner: Runner | None = None,
) -> Summary:
    """Everybody of a study at a glance, and who is odd.

    Parameters
    ----------
    data : Dataset or iterable of Recording
        A dataset, its recordings, or a list.
    cue : str
        Label of the markers that start a trial.
    before_s, after_s : float, default 1.0 and 1.5
        How far a trial reaches before and after its cue, in seconds.
    processing : Processing or None
        Filter, envelope and rest window; None for the defaults.
    expect : int or None
        How many cues each recording should have; None: as many as most have.
    decisions : DataFrame or None
        Decisions of one reviewer, as a session or a sealed version gives them.
    marks : str or None
        "automatic" or "reviewed": whose marks the numbers rest on; None: reviewed where
        ``decisions`` are given. Trials that nobody reviewed keep automatic ones, and their
        share stands in the table.
    method : str, default "ramp"
        The onset method of automatic marks.
    parameters : mapping or None
        What the method takes beside its defaults.
    response : str, default "response"
        Label of the markers of the response.
    agreement : Agreement or None
        What :func:`emgreview.agreement` found of two reviewers, for its columns in the table.
    floor : bool, default False
        Whether each channel's detection floor is measured, which takes seconds a channel.
    runner : Runner or None
        Where the work runs and its results are kept; None: in this process, kept nowhere.

    Returns
    -------
    Summary

    Raises
    ------
    ParameterError
        An argument is not what it must be, or not one recording could be used.
    UnknownNameError
        No method or parameter has that name.
    ReadError, RunStoppedError, ClusterError
        As :meth:`emgreview.Runner.run`.

    Warns
    -----
    SignalWarning
        A recording was left out, and what opening the recordings had to tell.

    Notes
    -----
    Conditions and groups are not looked at: people are compared blind to both, over all
    trials. Sessions of one person are rows of their own, since electrodes are put on anew.

    Physical rules need no other people. All else is compared with the other people: how
    many SDs of theirs somebody is from their mean, where those that stand out themselves
    (0.6745 (x - median) / MAD beyond 3.5, more where people are few) count not. Limits are
    such that a clean study has any flag in at most 5 % of cases, whatever the number of
    people and features. Below them nobody is flagged; :attr:`Summary.unlike` is in order,
    and says no more.

    A flag excludes nobody: a person decides, :meth:`emgreview.Session.exclude`, and the
    result is shown with and without.

    References
    ----------
    Iglewicz & Hoaglin 1993, How to detect and handle outliers (from memory). Sen 1968, JASA
    63:1379. Deciding on exclusions within conditions raises false positives: Andre 2022.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(2, 6, 1000, seed=1)
    >>> found = er.summarise(study.recordings, cue="go")
    >>> found.table[["participant", "channel", "cues"]].to_numpy().tolist()[0]
    ['01', 'prime mover', 6]
    """
    checks.kind("runner", runner, (Runner, type(None)), "a Runner, or None")
    checks.kind("cue", cue, str, "the label of the markers that start a trial")
    checks.truth("floor", floor)
    checks.kind("agreement", agreement, (Agreement, type(None)), "what emgreview.agreement returns, or None")
    checks.kind("decisions", decisions, (pd.DataFrame, type(None)), "a table of decisions, or None")
    if expect is not None:
        expect = checks.whole("expect", expect, least=1)
    if marks is None:
        marks = AUTOMATIC if decisions is None else REVIEWED
    if marks not in MARKS or (marks == REVIEWED and decisions is None):
        raise ParameterError(
            f"marks came as {marks!r}{' without decisions' if marks in MARKS else ''}; allowed: 'automatic', or "
            "'reviewed' with decisions=session.decisions(); correct it."
        )
    checked_method(method, dict(parameters or {}))
    job = RecordedJob(
        cue,
        checks.number("before_s", before_s, above=0, unit="s"),
        checks.number("after_s", after_s, above=0, unit="s"),
        Processing() if processing is None else processing,
        method,
        dict(parameters or {}),
        response,
        floor,
    )
    where = Runner() if runner is None else runner
    outcomes = where.run(job, data)
    outcomes.tell()
    recorded = [one.value for one in outcomes if not one.problem and one.value.ids]
    asides = [one.value for one in outcomes if not one.problem and not one.value.ids]
    if not recorded:
        reasons = "; ".join(f"{name}: {why}" for name, why in list(outcomes.failed.items())[:3])
        cues = f"none has a marker {cue!r}" if asides and not reasons else reasons or "give recordings"
        raise ParameterError(f"not one recording could be summarised; at least one must have the cue: {cues}")
    for name, why in outcomes.failed.items():
        tell(f"{name} is left out: {why}")
    sizes: dict[str, list[list[Any]]] = {}
    if decisions is not None and marks == REVIEWED and (moved := moved_marks(decisions)):
        again = MovedJob(cue, job.before_s, job.after_s, job.processing, moved)
        sizes = {one.name: one.value for one in where.run(again, data) if not one.problem}
    people = gathered(recorded, decisions if marks == REVIEWED else None, sizes)
    odd = odd_people(people, expect=expect, more=contracted([*recorded, *asides], people))
    odd = replace(odd, flags=(*odd.flags, *_absent(asides, recorded, expected([*recorded, *asides], expect))))
    table = table_of(people, odd.flags, expect=expect, marks=marks, agreement=agreement)
    alone = tuple(
        f"{one.name} has no marker {cue!r}: it takes no part{', but its test contractions do' * bool(one.contracted)}."
        for one in asides
    )
    return Summary(
        table=table,
        flags=_flags(odd.flags),
        unlike=_flags(odd.unlike),
        notes=(*odd.notes, *alone),
        rules=odd.rules,
        failed=dict(outcomes.failed),
        people=tuple(people),
        odd=odd,
        cue=cue,
        marks=marks,
    )


def _flags(flags: Sequence[Flag]) -> pd.DataFrame:
    names = ("participant", "session", "channel", "code", "reason", "value", "limit", "kind")
    return pd.DataFrame([{name: getattr(one, name) for name in names} for one in flags], columns=list(names))


def _absent(
    asides: Sequence[Recorded], recorded: Sequence[Recorded], usual: Mapping[str, int | None]
) -> Iterator[Flag]:
    """People of whom no recording has the cue: their test contractions may be all there is, or the cues were lost."""
    there = {whose(one) for one in recorded}
    for participant, session in dict.fromkeys(whose(one) for one in asides):
        if (participant, session) not in there:
            names = [one.name for one in asides if whose(one) == (participant, session)]
            numbers = [number for name in names if (number := usual[name]) is not None]
            yield Flag(
                participant=participant,
                session=session,
                code="cues",
                reason=f"{', '.join(names)}: no cue at all.",
                value=0.0,
                limit=float(max(numbers)) if numbers else math.nan,
            )
