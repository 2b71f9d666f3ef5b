"""Everybody of a study in one table, with flags: who to look at first, and why.

summarise       the table and the flags of a study
Summary         what it returns
COLUMNS         the columns of its table
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.detecting import METHOD
from emgreview.errors import ParameterError, tell
from emgreview.intervals import wilson
from emgreview.model import Processing
from emgreview.people.features import drift, median, median_frequency, spread
from emgreview.people.flags import Odd, odd_people
from emgreview.people.person import AUTOMATIC, MARKS, REVIEWED, Person, gathered
from emgreview.people.recorded import RESPONSE, RecordedJob
from emgreview.people.rules import Flag, contracted, expected
from emgreview.running import Runner
from emgreview.showing import Prose, Sheet, Shown
from emgreview.signal.onset import checked_method

BEFORE_S, AFTER_S = 1.0, 1.5

COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "participant": ("", "Participant; the recording's name where it names none"),
        "session": ("", "Session, empty where there is none"),
        "channel": ("", "Channel"),
        "recordings": ("", "Recordings of the session that have the channel"),
        "cues": ("", "Cues of the session that were cut"),
        "cues_expected": ("", "Cues that were expected, or that most recordings have, times its recordings"),
        "marks": ("", "Whose marks the numbers rest on: automatic, or reviewed where a trial was reviewed"),
        "unreviewed_share": ("", "Share of trials that nobody reviewed: their marks are automatic"),
        "none_share": ("", "Share of usable trials without a burst"),
        "unusable_share": ("", "Share of trials called unusable"),
        "caution_share": ("", "Share of trials that carry a caution"),
        "moved_share": ("", "Share of reviewed trials whose mark was moved or added"),
        "onset_median_s": ("s", "Median onset from the cue"),
        "onset_spread_s": ("s", "Scaled median absolute deviation (1.4826 MAD) of the onset"),
        "offset_median_s": ("s", "Median offset from the cue"),
        "offset_spread_s": ("s", "Scaled MAD of the offset"),
        "duration_median_s": ("s", "Median duration, onset to offset"),
        "duration_spread_s": ("s", "Scaled MAD of the duration"),
        "size_median": ("unit", "Median RMS of the burst, onset to offset; its unit stands in the column unit"),
        "size_spread": ("", "Scaled MAD of the logarithm of that RMS"),
        "slope_median": ("unit/s", "Median slope of the envelope from the onset to its largest value"),
        "slope_spread": ("", "Scaled MAD of the logarithm of that slope"),
        "unit": ("", "Unit of amplitudes"),
        "rest_median": ("unit", "Median RMS at rest"),
        "rest_spread": ("", "Scaled MAD of the logarithm of the RMS at rest"),
        "rest_drift": ("times", "Change of the rest from the first to the last trial: exp of its Theil-Sen slope"),
        "level_median_db": ("dB", "Median level of the burst over rest"),
        "floor_db": ("dB", "Detection floor: the smallest burst found in 95 % of trials; missing unless asked for"),
        "frequency_median_hz": ("Hz", "Median frequency from the cue on, 20 to 450 Hz"),
        "above_rest_share": ("", "Share of trials above the person's own rest range (involvement)"),
        "above_rest_low": ("", "Lower end of its 95 % interval"),
        "above_rest_high": ("", "Upper end of its 95 % interval"),
        "motor_time_median_s": ("s", "Median of response less onset"),
        "after_response_share": ("", "Share of trials with a response whose burst begins after it"),
        "largest_alike": ("", "Largest correlation with another channel, by size, with its sign"),
        "agreement": ("", "Cohen's kappa of two reviewers on the activity; missing unless a folder with two came"),
        "agreement_within_20_ms": ("", "Share of onsets of both that are no more than 20 ms apart"),
        "findings": ("", "Codes of what check found, between '; '"),
        "flags": ("", "Codes of the flags of the channel, and of the person in all rows, between '; '"),
        "kept_out": ("", "Why it is kept out of every analysis"),
    }
)
"""Unit and meaning of every column."""


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

    def _parts(self) -> Iterator[Sheet | str]:
        whole = self.table.drop_duplicates(["participant", "session"])
        yield f"{len(whole)} people's sessions, {int(whole['cues'].sum())} trials, {self.marks} marks."
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
        "automatic" or "reviewed": whose marks the numbers rest on; None: reviewed where ``decisions`` are given. Trials
        that nobody reviewed keep automatic ones, and their share stands in the table.
    method : str, default "ramp"
        The onset method of automatic marks.
    parameters : mapping or None
        What the method takes beside its defaults.
    response : str, default "response"
        Label of the markers of the response.
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
    people = gathered(recorded, decisions if marks == REVIEWED else None)
    odd = odd_people(people, expect=expect, more=contracted([*recorded, *asides], people))
    table = _table(people, odd.flags, expect=expect, marks=marks)
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


def _table(people: Sequence[Person], flags: Sequence[Flag], *, expect: int | None, marks: str) -> pd.DataFrame:
    usual = expected(people) if expect is None else expect
    rows = [row for one in people for row in _rows(one, flags, usual, marks)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows(one: Person, flags: Sequence[Flag], usual: int | None, marks: str) -> Iterator[dict[str, Any]]:
    mine = [flag for flag in flags if (flag.participant, flag.session) == (one.participant, one.session)]
    frequency = median_frequency(one.weighted("spectra")[1])
    alike = one.weighted("alike")
    drifts = np.exp(drift(one.rest))
    n = len(one.ids)
    for place, label in enumerate(one.labels):
        own = [rec for rec in one.recordings if label in rec.labels]
        usable, none = one.signal[place] < 2, np.isnan(one.onset_s[place])
        both = np.isfinite(one.onset_s[place]) & np.isfinite(one.response_s)
        motor = np.where(both, one.response_s - one.onset_s[place], np.nan)
        others = np.delete(alike[place], place)
        above = [rec.above[rec.labels.index(label)] for rec in own]
        share, low, high = _pooled(above)
        floors = [rec.floor_db[rec.labels.index(label)] for rec in own]
        row: dict[str, Any] = {
            "participant": one.participant,
            "session": one.session,
            "channel": label,
            "recordings": len(own),
            "cues": n,
            "cues_expected": math.nan if usual is None else usual * len(one.recordings),
            "marks": marks,
            "unreviewed_share": float(np.mean(~one.reviewed[place])),
            "none_share": float(np.mean(none[usable])) if usable.any() else math.nan,
            "unusable_share": float(np.mean(one.signal[place] == 2)),
            "caution_share": float(np.mean(one.signal[place] == 1)),
            "moved_share": _share(one.moved[place], one.reviewed[place]),
            "unit": "µV" if one.unit == "uV" else one.unit,
            "rest_drift": float(drifts[place]),
            "floor_db": float(np.nanmax(floors)) if np.isfinite(floors).any() else math.nan,
            "frequency_median_hz": float(frequency[place]),
            "above_rest_share": share,
            "above_rest_low": low,
            "above_rest_high": high,
            "motor_time_median_s": float(median(motor, 1)),
            "after_response_share": _share(motor <= 0, both),
            "largest_alike": float(others[np.nanargmax(np.abs(others))]) if np.isfinite(others).any() else math.nan,
            "agreement": math.nan,
            "agreement_within_20_ms": math.nan,
            "findings": "; ".join(dict.fromkeys(f.code for q in one.quality(label) for f in q.found)),
            "flags": "; ".join(dict.fromkeys(flag.code for flag in mine if flag.channel in ("", label))),
            "kept_out": one.kept_out.get(label, ""),
        }
        for name, values in (("onset", one.onset_s), ("offset", one.offset_s), ("duration", one.duration_s)):
            row[f"{name}_median_s"] = float(median(values[place], 1))
            row[f"{name}_spread_s"] = float(spread(values[place]))
        for name, values in (("size", one.size), ("slope", one.slope), ("rest", one.rest)):
            row[f"{name}_median"] = float(median(values[place], 1))
            with np.errstate(invalid="ignore", divide="ignore"):
                row[f"{name}_spread"] = float(spread(np.log(np.where(values[place] > 0, values[place], np.nan))))
        row["level_median_db"] = float(median(one.level_db[place], 1))
        yield row


def _share(which: Any, of: Any) -> float:
    return float(np.mean(which[of])) if np.any(of) else math.nan


def _pooled(above: Sequence[Any]) -> tuple[float, float, float]:
    """Trials above the rest range of several recordings, as one share with Wilson's interval."""
    counts = np.array(list(above), dtype=np.float64).reshape(-1, 2)
    counts = counts[np.isfinite(counts).all(axis=1)]
    if not len(counts) or counts[:, 1].sum() == 0:
        return math.nan, math.nan, math.nan
    found = wilson(int(counts[:, 0].sum()), int(counts[:, 1].sum()))
    return found.value, found.low, found.high
