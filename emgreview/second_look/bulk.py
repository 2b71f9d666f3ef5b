"""Accept by a rule what a random audit vouches for, with a bound that is stated and logged.

The lot is every open channel-trial that meets the rule. A sample of it is decided by eye while the automatic mark is
hidden. Size and acceptance number of the sample follow from the wanted bound and are logged before the draw. A mark
further than ``moved_by_s`` from the automatic one, removed, none visible, not locatable, unusable, or decided while
the automatic mark was seen counts as moved; a distance is compared as it is, and never rounded to samples. If more are
moved than allowed, nothing is accepted in bulk, and no second draw can touch that lot, by whichever reviewer in this
folder. If not, the rest of the lot can be accepted, and the log says:

    At most p % of the n bulk-accepted onsets would have been moved by more than t ms (95 % upper bound).

The bound is exact (hypergeometric) for marks as this reviewer would place them; it says nothing of another reviewer.

Which are drawn follows from the recordings alone (``cohort.drawing``): nobody gives a seed, and planning again, under
another code, in a copy of the folder or after deleting an audit draws the same. A rule changed a little draws nearly
the same. What is left to choose is the lot, so what was taken out of it counts: where the draw passes over a
channel-trial that meets the rule by what the method says, one that was found moved by eye before counts as moved, and
one that is only kept out by a caution, or set aside, is told, and so is how many trials were not open. Earlier audits
in the folder are told too, because each bound is meant for one. No draw protects wholly against somebody who knows
every mark and looks for a rule whose lowest numbers are good, though it is hard: of 60 simulated lots with 13 % bad
marks, none had a rule, of 1,196 tried, that passed for 5 %. Choose the rule before you look, and keep to it.
Not closed: a file that was cut, filtered, or saved anew in another format or with other decimals has other stored
samples, and so other numbers; cues some tenths of a second elsewhere have others; and whoever leaves cues out, and
begins in a new folder, has another lot. Nothing in the folder can see that, so every sentence says it. It also says how
many trials a narrowed review (``draw_sample``) keeps out of the queue, and how many marks a self-check hides: neither
can be in the lot.

    BulkRule        what a channel-trial must meet
    plan_bulk       fix lot and plan, draw the audit
    bulk_audit      the audit that was planned last
    BulkAudit       what is left to look at, the result, and the acceptance

Over 400 lines with what its public names say of themselves.
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Any

from emgreview.annotations.events import Event
from emgreview.annotations.state import ACCEPTANCE
from emgreview.checks import LONGEST_TOLERANCE_S, kind, likely_unit, refusal
from emgreview.cohort.drawing import Numbers, refuse_seed, shuffled
from emgreview.cohort.marks import Logs, Unit, read_logs
from emgreview.cohort.statistics import acceptance_plan, most_bad
from emgreview.errors import DecisionError, LogError
from emgreview.model import longest
from emgreview.second_look.adjudication import Adjudication
from emgreview.second_look.besides import besides
from emgreview.second_look.bulk_rule import BulkRule, found_before, recordings_of
from emgreview.second_look.earlier import DRAW, PLAN, RESULT, Pair, earlier, near, not_open, refuse_after_others
from emgreview.session import Session, nobody_named
from emgreview.showing import Shown

PURPOSE = "audit"


@nobody_named
def plan_bulk(
    session: Session,
    rule: BulkRule,
    *,
    at_most: float = 0.05,
    moved_by_s: float = 0.01,
    expected: float = 0.01,
    passes: float = 0.9,
    confidence: float = 0.95,
    **options: Any,
) -> "BulkAudit":
    """Fix the lot and the size of its audit, then draw it; both are logged, in this order.

    Plan at the start of a review, and choose before you plan: a lot is audited once.

    Parameters
    ----------
    session : Session
        The review.
    rule : BulkRule
        What a channel-trial must meet.
    at_most : float, default 0.05
        The share of bulk-accepted onsets that may at most have to be moved by more than
        ``moved_by_s``.
    moved_by_s : float, default 0.01
        How far an onset may be moved and still count as the same, in seconds.
    expected : float, default 0.01
        The share that you think has to be moved.
    passes : float, default 0.9
        The sample is the smallest that lets a lot of the share ``expected`` pass with this
        probability; it is larger the nearer ``expected`` is to ``at_most``.
    confidence : float, default 0.95
        Confidence of the bound ``at_most``.
    **options
        None is allowed; a seed is refused by name.

    Returns
    -------
    BulkAudit
        What is to be looked at, and what came of it.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    DecisionError
        Nothing meets the rule; more than allowed of what would have been drawn was found
        moved by eye already; or any of it was in the lot of an earlier audit, whatever came
        of that, or in one of another reviewer's in this folder that failed or is not
        finished: a second draw is not a way round a failed one, under no code.
    LogError
        Another reviewer's log is broken, or cannot be read.
    ParameterError
        A number is out of range, or a seed came.

    Notes
    -----
    Of a small lot the sample can be most: of 260 with at_most=0.05, 220 are looked at for
    expected=0.01, 111 for 0.005, 67 for 0; with at_most=0.1 and expected=0.01, 48 (of a lot
    of 1000: 158, 96, 60 and 47). So for a small lot lower ``expected``, at the price that one
    mark too many fails the audit, or raise ``at_most``.

    A sample of n with up to c moved passes; (n, c) is the smallest with
    P(X <= c) <= 1 - ``confidence``, X hypergeometric, for every lot whose rest would hold
    more than ``at_most``, and P(X <= c) >= ``passes`` where ``expected`` of the lot are
    moved. The bound is for marks as this reviewer would place them.

    No seed is taken: the draw follows from the recordings, as the head of the module
    (``emgreview/second_look``, ``bulk``) says. What you decided by eye before, and moved,
    counts where it would have been drawn; at the start of a review this is nothing.

    References
    ----------
    Exact hypergeometric: sampling without replacement, any textbook; Samohyl 2018, on
    acceptance sampling; both cited from memory.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 12, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> rule = er.BulkRule(interval_below_s=0.1, level_above_db=10)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         audit = er.plan_bulk(session, rule, at_most=0.3, expected=0.0)
    ...         len(audit.open) == len(audit.sample) < len(audit.lot)
    True
    """
    refuse_seed(options, "which are drawn follows from the recordings")
    kind("session", session, (Session, Adjudication), "the session that open_review returns")
    session.demand_all("Accepting in bulk")
    kind("rule", rule, BulkRule, "a BulkRule, as BulkRule(interval_below_s=0.03, level_above_db=6)")
    if not moved_by_s > 0:
        raise refusal("moved_by_s", moved_by_s, "above 0 s")
    likely_unit("moved_by_s", moved_by_s, most_s=LONGEST_TOLERANCE_S)
    likely_unit("interval_below_s", rule.interval_below_s, most_s=LONGEST_TOLERANCE_S)
    meant = [
        (trial, channel)
        for trial in session.queue
        if session.source(trial) == trial
        for channel in session.state(trial).channels
        if not session.hides_automatic(trial, channel) and rule.says(session, trial, channel)
    ]
    lot = [pair for pair in meant if rule.meets(session, *pair)]
    if not lot:
        raise DecisionError(
            f"no open channel-trial meets the rule ({rule.words}), so there is nothing to accept in bulk."
        )
    refuse_after_others(session, lot)
    logs = read_logs(session.folder, session.reviewer)  # those of recordings that are not open now, too
    before = [
        (trial, channel) for note in logs.notes if note.operation == PLAN for trial, channel, _ in note.new["lot"]
    ]
    if shared := len(near(lot, before, recordings_of(session))):
        raise DecisionError(
            f"{shared} of {len(lot)} channel-trials that meet the rule were in the lot of an earlier audit; a lot is "
            "audited once, whatever rule it is reached by; decide these by eye."
        )
    size, sample, allowed, chance = acceptance_plan(
        len(lot), at_most, expected=expected, passes=passes, confidence=confidence
    )
    names = {trial: session.state(trial).recording for trial, _ in meant}
    numbers = Numbers.of(PURPOSE, recordings_of(session).values())
    places = {pair: numbers.order(names[pair[0]], *pair) for pair in meant}
    last = sorted(places[pair] for pair in lot)[sample - 1]
    passed_over = [pair for pair in meant if places[pair] < last and pair not in set(lot)]
    found = [found_before(session, logs, names[pair[0]], pair, moved_by_s) for pair in passed_over]
    if (moved := found.count("moved")) > allowed:
        raise DecisionError(
            f"{moved} that would have been among the {sample} drawn were decided by eye before, and moved by more than "
            f"{1000 * moved_by_s:g} ms or without an onset; {allowed} are allowed, so the audit would fail; decide the "
            "lot by eye, or plan for what you found by a higher expected."
        )
    onsets = {(trial, channel): _automatic_sample(session, trial, channel) for trial, channel in lot}
    audits = earlier(session)
    plan = {
        "rule": dataclasses.asdict(rule),
        "lot": [[trial, channel, onsets[trial, channel]] for trial, channel in lot],
        "lot_size": size,
        "sample": sample,
        "allowed": allowed,
        "at_most": at_most,
        "moved_by_s": moved_by_s,
        "expected": expected,
        "passes": chance,
        "confidence": confidence,
        "drawn_by": {name: numbers.drawn_by[name] for name in sorted({names[trial] for trial, _ in lot})},
        "before": {
            "moved": moved,
            "as they were": found.count("as it was"),
            "kept out": found.count("kept out"),
            "not open": not_open(session),
        },
        "earlier_audits": {"planned": len(audits), "passed": sum(audits)},
    }
    session.note(PLAN, plan, reason=f"{rule.words}: {sample} of {size} to be looked at, at most {allowed} moved")
    return bulk_audit(session)


@nobody_named
def bulk_audit(session: Session) -> "BulkAudit":
    """The audit that was planned last in a review.

    Parameters
    ----------
    session : Session
        The review.

    Returns
    -------
    BulkAudit

    Raises
    ------
    DecisionError
        No audit was planned.
    LogError
        The sample is not the one that follows from the plan and the recordings.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 12, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> rule = er.BulkRule(interval_below_s=0.1, level_above_db=10)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = er.plan_bulk(session, rule, at_most=0.3, expected=0.0)
    ...         er.bulk_audit(session).passed
    False
    """
    plans = [note for note in session.notes if note.operation == PLAN]
    if not plans:
        raise DecisionError("no audit was planned in this review; call plan_bulk first.")
    return BulkAudit(session, plans[-1])


class BulkAudit(Shown):
    """An audit: decide what is ``open`` in the session, by eye; then :meth:`finish`, and if it
    ``passed``, :meth:`accept`.

    Attributes
    ----------
    rule : BulkRule
        What the lot met.
    lot : tuple of (str, str)
        Every (trial, channel) that the audit is about.
    sample : tuple of (str, str)
        Those drawn to be looked at, while their automatic marks are hidden.
    allowed : int
        How many of them may be moved.
    """

    def __init__(self, session: Session, plan: Event):
        self._session, self._plan = session, plan
        self._onsets: dict[Pair, int] = {(trial, channel): onset for trial, channel, onset in plan.new["lot"]}
        self.rule = BulkRule(**plan.new["rule"])
        self.lot: tuple[Pair, ...] = tuple(self._onsets)
        self.allowed: int = plan.new["allowed"]
        drawn = self._note(DRAW)
        self.sample: tuple[Pair, ...] = ()
        if (
            drawn is None
        ):  # a draw that a crash prevented is the same draw: what it follows from was logged with the plan
            pairs = self._draw()
            drawn = session.note(DRAW, {"audit": plan.counter, "hide": [list(pair) for pair in pairs]})
        self.sample = tuple((trial, channel) for trial, channel in drawn.new["hide"])
        self._demand_what_follows()

    def _parts(self) -> list[str]:
        plan = f"{len(self.lot)} marks in the lot, {len(self.sample)} drawn to be looked at"
        return [f"Rule: {self.rule.words}. {plan}; {self.allowed} of these may be moved.", self.sentence]

    @property
    def open(self) -> tuple[Pair, ...]:
        """What is left to be looked at, in the order of the queue."""
        drawn = set(self.sample)
        return tuple(
            (trial, channel)
            for trial in self._session.queue
            for channel, state in self._session.state(trial).channels.items()
            if (trial, channel) in drawn and not state.reviewed
        )

    @property
    def result(self) -> Mapping[str, Any] | None:
        """What came of it: "looked", "moved", "allowed", "passed", "rows"; None before it is finished."""
        note = self._note(RESULT)
        return note.new if note else None

    @property
    def passed(self) -> bool:
        """Whether the audit is finished and passed."""
        return bool(self.result and self.result["passed"])

    @property
    def sentence(self) -> str:
        """What the log and a report say of the bulk acceptance, or why there is none."""
        if note := self._note(ACCEPTANCE):
            return str(note.new["sentence"])
        result = self.result
        if result is None:
            return f"The audit is not finished: {len(self.open)} of {len(self.sample)} are left to be looked at."
        verdict = (
            "passed; nothing is accepted in bulk yet" if result["passed"] else "failed; nothing is accepted in bulk"
        )
        return (
            f"The audit {verdict}: {result['moved']} of {result['looked']} would have been moved by more than "
            f"{self._ms} ms, {self.allowed} were allowed."
        )

    @nobody_named
    def finish(self) -> Mapping[str, Any]:
        """Compare the marks with the hidden ones, log the result, show the automatic marks again.

        The result is final.

        Returns
        -------
        mapping
            As :attr:`result`.

        Raises
        ------
        ReadError
            The folder, or one in it, cannot be looked at.
        DecisionError
            Part of the sample is open.
        LogError
            A log of the reviewer cannot be read.
        """
        if self.result is not None:
            return self.result
        if self.open:
            raise DecisionError(
                f"{len(self.open)} of {len(self.sample)} channel-trials of the audit are open; decide them first, the "
                f"next is {self.open[0][1]} of trial {self.open[0][0]!r}."
            )
        logs = read_logs(self._session.folder, self._session.reviewer)
        rows = list(self._rows(logs))
        moved = sum(row["moved"] for row in rows) + self._moved_before
        result = {
            "audit": self._plan.counter,
            "looked": len(rows) + self._moved_before,
            "moved": moved,
            "allowed": self.allowed,
            "passed": moved <= self.allowed,
            "rows": rows,
            "reveal": [list(pair) for pair in self.sample],
        }
        self._session.note(RESULT, result)
        return result

    @nobody_named
    def accept(self) -> str:
        """Accept what is left of the lot, in bulk.

        Returns
        -------
        str
            The sentence that says what it is worth.

        Raises
        ------
        DecisionError
            The audit is not finished, or failed; the method proposes other onsets by now; or so
            much of the lot was decided by eye meanwhile that the bound no longer holds for the
            rest.
        """
        if not self.passed:
            raise DecisionError(f"{self.sentence} Decide the lot by eye.")
        note = self._note(ACCEPTANCE)
        rest = [tuple(pair) for pair in note.new["accepted"]] if note else self._rest()
        if note is None and rest:
            bound = self._bound(len(rest))
            if bound > self._plan.new["at_most"] + 1e-12:
                raise DecisionError(
                    f"{len(rest)} of the lot are left, and of these up to {100 * bound:.1f} % might have to be moved, "
                    f"more than the {100 * self._plan.new['at_most']:g} % wanted; decide them by eye."
                )
            value = {
                "audit": self._plan.counter,
                "accepted": rest,
                "bound": bound,
                "sentence": self._words(len(rest), bound, sum(bool(self._session.clipped(*pair)) for pair in rest)),
            }
            self._session.note(ACCEPTANCE, {**value, "accepted": [list(pair) for pair in rest]})
        for trial, channel in rest:
            if not self._session.state(trial).channels[channel].reviewed:
                self._session.accept_in_bulk(trial, channel, self._plan.counter)
        return self.sentence

    # Inside ------------------------------------------------------------------------------------------------------

    @property
    def _by_seed(self) -> bool:
        """Whether this is an audit of the package's first version, whose sample came from a seed."""
        return "drawn_by" not in self._plan.new

    def _draw(self) -> list[Pair]:
        plan = self._plan.new
        if self._by_seed:
            return sorted(shuffled(self.lot, plan["seed"])[: plan["sample"]])
        names = {trial: trials.recording.name for trials in self._session.trials for trial in trials.ids}
        numbers = Numbers(PURPOSE, plan["drawn_by"])
        return sorted(sorted(self.lot, key=lambda pair: numbers.order(names[pair[0]], *pair))[: plan["sample"]])

    def _demand_what_follows(self) -> None:
        """Raise LogError where the sample is not the one that follows from the plan and the recordings."""
        drawn_by: Mapping[str, Mapping[str, str]] = self._plan.new.get("drawn_by", {})
        recordings = recordings_of(self._session)
        there = all(
            name in recordings and recordings[name].channel_digests == known for name, known in drawn_by.items()
        )
        if not there or set(self._draw()) != set(self.sample):
            raise LogError(
                f"the sample of audit {self._plan.counter} is not the one that follows from its lot and the recordings "
                "that are open; it was not drawn by plan_bulk, or the review was opened on other files; open it on all "
                "those that were audited, or decide the lot by eye."
            )

    @property
    def _ms(self) -> str:
        return f"{1000 * self._plan.new['moved_by_s']:g}"

    def _note(self, operation: str) -> Event | None:
        notes = (note for note in self._session.notes if note.operation == operation)
        return next((note for note in notes if note.new["audit"] == self._plan.counter), None)

    def _rows(self, logs: Logs) -> Iterator[dict[str, Any]]:
        names = {trial: trials.recording.name for trials in self._session.trials for trial in trials.ids}
        for trial, channel in self.sample:
            unit: Unit = (names[trial], trial, channel)
            mark, entry = logs.mark(unit), logs.entry(*unit, "activity")
            by = None if mark.onset is None else mark.onset - self._onsets[trial, channel]
            seen = entry is None or entry.visible.get("automatic") is not False
            seen = seen and mark.state != "unusable"
            moved = by is None or seen or abs(by) > longest(self._plan.new["moved_by_s"], logs.rates_hz[unit[0]])
            yield {"trial": trial, "channel": channel, "state": mark.state, "by": by, "seen": seen, "moved": moved}

    def _rest(self) -> list[Pair]:
        """What of the lot is still open and as it was."""
        drawn, session = set(self.sample), self._session
        rest = []
        for trial, channel in self.lot:
            state = session.state(trial).channels[channel]
            if (trial, channel) in drawn or state.reviewed:
                continue
            if [burst.onset for burst in state.active if burst.origin == "automatic"] != [self._onsets[trial, channel]]:
                raise DecisionError(
                    f"{channel} of trial {trial!r} is no longer as it was when the audit was planned: its mark was "
                    "touched, or the method has changed; decide it by eye first."
                )
            if why := session.unfit(trial, channel):  # set aside since, for instance
                session.say(trial, f"not accepted in bulk: {channel} ({why}). Decide by eye.")
            elif state.signal == "usable":
                rest.append((trial, channel))
        return rest

    @property
    def _moved_before(self) -> int:
        """Those that the draw passed over because they had been found moved by eye. They count as looked at and moved,
        and as part of the lot, so that the bound is that of a lot from which nothing bad was taken before."""
        return int(self._plan.new.get("before", {}).get("moved", 0))

    def _bound(self, accepted: int) -> float:
        plan, result = self._plan.new, self.result
        assert result is not None
        lot = plan["lot_size"] + self._moved_before
        worst = most_bad(lot, result["looked"], result["moved"], confidence=plan["confidence"])
        return min(1.0, (worst - result["moved"]) / accepted)

    def _words(self, accepted: int, bound: float, clipped: int) -> str:
        plan, result = self._plan.new, self.result
        assert result is not None
        percent = math.ceil(bound * 1000 - 1e-9) / 10
        lot = plan["lot_size"] + self._moved_before
        cut = f"; clipped, and so without a size: {clipped} of the {accepted}" if clipped else ""
        audited = f"{result['moved']} of {result['looked']} audited from a lot of {lot} were moved"
        return (
            f"At most {percent:g} % of the {accepted} bulk-accepted onsets would have been moved by more than "
            f"{self._ms} ms ({100 * plan['confidence']:g} % upper bound, exact hypergeometric: {audited}; rule: "
            f"{self.rule.words}{cut}{besides(self._session, self._plan)})."
        )


def _automatic_sample(session: Session, trial: str, channel: str) -> int:
    (burst,) = session.state(trial).channels[channel].active
    return burst.onset
