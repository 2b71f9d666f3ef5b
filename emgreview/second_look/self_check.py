"""The reviewer's own spread, drift, and pull towards the automatic mark, measured without the reviewer noticing.

Some trials come a second time; of some others the automatic mark is hidden. Both are drawn before they are needed and
spread through the queue. What came of it is told only after a version was sealed, so that it cannot change the review.
Repeats come as in the review itself, with the automatic mark shown, so that the spread is that of the marks as they are
used. They pass unnoticed only where trials are shuffled: in a blind review, or with order="random".

The drift is a slope against the time between the two showings, told in ms an hour; where no trial came again after 10
minutes or more, it would be read off by extension from seconds, and is not given.

    plan_self_check     draw both, and write the plan to the log
    self_check          the report, from the logs alone: SelfCheck
"""

import dataclasses
import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from emgreview.annotations.events import digest_of
from emgreview.annotations.fields.activity import Activity
from emgreview.checks import kind, refusal
from emgreview.cohort import statistics
from emgreview.cohort.drawing import refuse_seed, repeats, spread
from emgreview.cohort.marks import Logs, Unit, read_logs
from emgreview.cohort.repeats import PLAN, told, twice
from emgreview.cohort.saying import plain, show_ms, show_share
from emgreview.cohort.statistics import Estimate
from emgreview.errors import DecisionError
from emgreview.second_look.adjudication import Adjudication
from emgreview.session import Session, nobody_named
from emgreview.showing import Shown

FEWEST_REPEATS = 20
"""A spread is known to about 1/sqrt(2 n) of itself: 16 % from 20 repeats of one channel, 10 % from 50."""

DRIFT_LEAST_MIN = 10.0
"""Where no trial came again after this many minutes or more, a drift an hour is an extension sixfold and more."""


@nobody_named
def plan_self_check(
    session: Session, *, repeats_share: float = 0.08, hidden_share: float = 0.1, **options: Any
) -> tuple[int, int]:
    """Draw trials to show again, and trials whose automatic marks are hidden.

    The plan goes to the log; which trials they are is not told.

    Parameters
    ----------
    session : Session
        The review; repeats pass unnoticed only where it is blind, or ``order="random"``.
    repeats_share : float, default 0.08
        Share of the trials not yet begun that come again: at least 20, but never more than a
        third of them.
    hidden_share : float, default 0.1
        Share of them whose automatic marks are hidden.
    **options
        None is allowed; a seed is refused by name.

    Returns
    -------
    (int, int)
        How many of each.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    DecisionError
        A plan was made before, or fewer than 12 trials are left.
    ParameterError
        A share is out of range, or a seed came: none is taken.
    LogError
        A log of the reviewer cannot be read.

    Notes
    -----
    Repeats come a quarter of the queue or more after the first showing; no trial is both.
    The draw is fixed by the heads of the reviewer's logs before it: nobody chooses it, and
    taking the plan out of the log, or planning in a copy, draws the same. A review begun
    anew, in a fresh folder, draws others (so that a first try does not tell which ones come),
    and the report says so. Channels whose mark is hidden cannot be accepted in bulk: plan the
    audit first, or read in its sentence how many they are.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 12, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1", order="random") as session:
    ...         er.plan_self_check(session), len(session.queue)
    ((4, 2), 16)
    """
    refuse_seed(options, "which trials come again follows from what the logs hold")
    kind("session", session, (Session, Adjudication), "the session that open_review returns")
    session.demand_all("A self-check")
    for name, share in (("repeats_share", repeats_share), ("hidden_share", hidden_share)):
        if not 0 <= share <= 0.5:
            raise refusal(name, share, "0 to 0.5")
    if any(note.operation == PLAN for note in session.notes):
        raise DecisionError("a self-check was planned for this review already; it goes on by itself.")
    queue = [trial for trial in session.queue if not any(c.reviewed for c in session.state(trial).channels.values())]
    if len(queue) < 12:
        raise DecisionError(
            f"{len(queue)} trials are left that are not begun; a self-check needs 12 or more; plan it at the start "
            "of a review."
        )
    heads = read_logs(session.folder, session.reviewer).heads
    seed = digest_of({where: head["sha256"] for where, head in heads.items()})
    hidden = spread(queue, math.ceil(hidden_share * len(queue)), f"{seed}/hidden")
    rest = [trial for trial in queue if trial not in set(hidden)]
    wanted = max(FEWEST_REPEATS, math.ceil(repeats_share * len(queue))) if repeats_share else 0
    again = repeats(rest, min(wanted, len(queue) // 3), f"{seed}/again")
    pairs = [[trial, channel] for trial in hidden for channel in session.state(trial).channels]
    plan = {"seed": seed, "heads": heads, "hide": pairs, "show_again": [list(pair) for pair in again]}
    session.note(PLAN, plan)
    return len(again), len(hidden)


@dataclass(frozen=True, slots=True, repr=False)
class SelfCheck(Shown):
    """What :func:`self_check` found; times in seconds. ``str()`` says it in words.

    Attributes
    ----------
    reviewer : str
        Whose self-check.
    planned_repeats : int
        Trials planned to come again.
    repeated : int
        Channel-trials decided twice.
    bulk_first : int
        Repeats whose first showing was accepted in bulk, which say nothing of the reviewer
        and are left out.
    own_sd : Estimate
        SD of one mark about the reviewer's own mean.
    left_automatic : int
        Marks that stayed where the method had put them both times, and say nothing of the
        reviewer's hand.
    own_sd_judged : Estimate
        ``own_sd`` without these.
    bias : Estimate
        Second minus first showing.
    drift : Estimate
        Seconds of mark an hour of review, NaN where no two showings lie 10 minutes or more
        apart.
    longest_min : float
        The longest time between two showings, in minutes.
    changed : Estimate
        Share of channel-trials that got another state the second time.
    only_once : int
        Repeats with an onset in one showing alone.
    hidden, shown : float
        Median distance from the automatic onset where it was hidden, and shown.
    pull : Estimate
        The difference of the two, above 0 where seeing the automatic mark draws one's own
        towards it.
    n_hidden, n_shown : int
        How many marks these rest on.
    missing_hidden, missing_shown : int
        Channel-trials with an automatic onset that got none.
    """

    reviewer: str
    planned_repeats: int
    repeated: int
    bulk_first: int
    own_sd: Estimate
    left_automatic: int
    own_sd_judged: Estimate
    bias: Estimate
    drift: Estimate
    longest_min: float
    changed: Estimate
    only_once: int
    hidden: float
    shown: float
    pull: Estimate
    n_hidden: int
    n_shown: int
    missing_hidden: int
    missing_shown: int

    def _parts(self) -> list[str]:
        return str(self).split("\n")

    def __str__(self) -> str:
        pull = (
            f"Distance from the automatic onset, median: hidden {_plain_ms(self.hidden)} ({self.n_hidden} marks; "
            f"{self.missing_hidden} more got none), shown {_plain_ms(self.shown)} ({self.n_shown}; "
            f"{self.missing_shown}); pull towards it {show_ms(self.pull)}."
        )
        judged = ""
        if self.left_automatic:
            judged = (
                f" (without the {self.left_automatic} left where the method had put them both times: "
                f"{show_ms(self.own_sd_judged)})"
            )
        bulk = f" {self.bulk_first} more were accepted in bulk the first time, and left out." if self.bulk_first else ""
        return "\n".join(
            [
                f"Self-check of {self.reviewer}: {self.repeated} channel-trials decided twice "
                f"({self.planned_repeats} trials planned to come again), {self.own_sd.n} with an onset both times, "
                f"{self.only_once} with one only once.{bulk}",
                f"Own SD of an onset {show_ms(self.own_sd)}{judged}; second minus first {show_ms(self.bias)}; drift "
                f"{self._drift_words()}; another state the second time {show_share(self.changed)}.",
                pull,
                "Brackets hold 95 % intervals, which take channel-trials as independent; the pull's is a bootstrap.",
                "Which trials came again or were hidden follows from the logs as they stood: in a new folder another "
                "draw comes, which nothing here can see; report the first.",
            ]
        )

    def _drift_words(self) -> str:
        if math.isnan(self.longest_min) or not math.isnan(self.drift.value):
            return f"{show_ms(self.drift)} an hour"
        apart = f"{self.longest_min:.0f} min" if self.longest_min >= 1 else f"{60 * self.longest_min:.0f} s"
        if self.longest_min >= DRIFT_LEAST_MIN:
            return "n/a (one mark made twice is too few)"
        return f"n/a (no trial came again later than {apart} after; {DRIFT_LEAST_MIN:g} min are needed)"

    def to_dict(self) -> dict[str, Any]:
        """Everything as plain JSON values; missing numbers are null.

        Returns
        -------
        dict
        """
        return dict(plain(dataclasses.asdict(self)))


def self_check(folder: str | Path, reviewer: str) -> SelfCheck:
    """What the self-check of a reviewer found, from the logs.

    Parameters
    ----------
    folder : str or Path
        The review folder.
    reviewer : str
        Whose self-check.

    Returns
    -------
    SelfCheck
        Own spread, drift, and pull towards the automatic mark, in seconds, with 95 %
        intervals.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    DecisionError
        No version was sealed yet, or no self-check was planned.
    UnknownNameError
        The reviewer has no log.
    LogError
        A log is broken, or cannot be read.
    ParameterError
        ``folder`` is no path, or ``reviewer`` no code.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 12, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1", order="random") as session:
    ...         _ = er.plan_self_check(session, hidden_share=0.0)
    ...         _ = [session.accept_rest(trial) for trial in session.queue]
    ...         _ = session.seal("v1")
    ...     er.self_check(folder, "r1").own_sd.value
    0.0
    """
    logs = read_logs(folder, reviewer)
    plan = logs.note(PLAN)
    if plan is None:
        raise DecisionError(
            f"no self-check was planned for reviewer {reviewer!r}; call plan_self_check at the start of a review."
        )
    if not told(logs):
        raise DecisionError(
            "a self-check is told after sealing only, so that it cannot change the review; seal a version first."
        )
    both = twice(logs)
    hours = [_hours(logs, unit) for unit in both.marked]
    longest_min = 60 * max(hours, default=math.nan)
    hidden_pairs = {(trial, channel) for trial, channel in plan.new["hide"]}
    hidden, missing_hidden = _distances(logs, hidden_pairs, inside=True)
    shown, missing_shown = _distances(logs, _hidden_ever(logs), inside=False)
    return SelfCheck(
        reviewer,
        len(plan.new["show_again"]),
        len(both.units),
        both.in_bulk,
        both.own_sd,
        sum(both.left),
        both.own_sd_judged,
        statistics.limits_of_agreement(both.differences_s).bias,
        statistics.drift(both.differences_s, hours)
        if longest_min >= DRIFT_LEAST_MIN
        else Estimate(math.nan, n=len(hours)),
        longest_min,
        statistics.wilson(both.changed, len(both.units)),
        both.only_once,
        float(np.median(hidden)) if hidden else math.nan,
        float(np.median(shown)) if shown else math.nan,
        statistics.median_difference(hidden, shown),
        len(hidden),
        len(shown),
        missing_hidden,
        missing_shown,
    )


def _hidden_ever(logs: Logs) -> set[tuple[str, str]]:
    return {(trial, channel) for note in logs.notes for trial, channel in note.new.get("hide", ())}


def _distances(logs: Logs, pairs: set[tuple[str, str]], *, inside: bool) -> tuple[list[float], int]:
    """How far marks lie from the automatic onset, inside or outside some (trial, channel); and how many have none.
    Marks accepted in bulk were seen by nobody and are left out, unusable signals too."""
    found, missing = [], 0
    for unit, mark in logs.marks().items():
        entry = logs.entry(*unit, "activity")
        if entry is None or not mark.reviewed or mark.state == "unusable" or ((unit[1:] in pairs) != inside):
            continue
        automatic = _automatic(entry.value)
        if automatic is None or logs.in_bulk(unit):
            continue
        if mark.onset is None:
            missing += 1
        else:
            found.append(abs(mark.onset - automatic) / logs.rates_hz[unit[0]])
    return found, missing


def _automatic(activity: Activity) -> int | None:
    """The sample of the method's onset."""
    marks = [burst.automatic.onset for burst in activity.bursts.values() if burst.automatic]
    return marks[0] if marks else None


def _hours(logs: Logs, unit: Unit) -> float:
    times = [entry.time for showing in (1, 2) if (entry := logs.entry(*unit, "activity", showing))]
    first, second = map(datetime.fromisoformat, times)
    return (second - first).total_seconds() / 3600


def _plain_ms(seconds: float) -> str:
    return "n/a" if math.isnan(seconds) else f"{1000 * seconds:.1f} ms"
