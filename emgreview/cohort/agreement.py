"""How far two reviewers agree: in words, in time, and in what only one of them has.

Everything is read from the logs, so it needs neither recordings nor an open review. A channel-trial counts once both
have finished it; those that only one has are counted and named, never dropped. Differences are second minus first, in
seconds. Pairs that both left as the method had proposed (``untouched``) say that both let it stand, not that two
people see the same: they are counted apart, and every statistic stands once with and once without them. What either
keeps out of every analysis (a participant, recording or channel excluded, a cue that is none) is left out of the
comparison, counted and named; stretches set aside leave nothing out. Each reviewer's own SD, from hidden repeats,
stands beside: two reviewers cannot agree better than each agrees with themselves. Trials of one person resemble each
other, so true intervals are somewhat wider than those given here.

    agreement       compare two reviewers of a folder: Agreement
    compare         the same, from logs read before

Over 400 lines with what its public names say of themselves.
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from emgreview.annotations import scales
from emgreview.annotations.telling import scales_not_kept
from emgreview.checks import likely_unit, tolerance_ms
from emgreview.cohort import statistics
from emgreview.cohort.keeping_out import keepers, kept_out
from emgreview.cohort.marks import SIGNALS, STATES, UNFINISHED, Logs, Unit, cue_in, read_logs, told_beside
from emgreview.cohort.repeats import told, twice
from emgreview.cohort.saying import lines, parts, plain
from emgreview.cohort.statistics import Estimate
from emgreview.cohort.untouched import Left, left
from emgreview.errors import LogError, ParameterError, tell
from emgreview.legible import legible
from emgreview.showing import Sheet, Shown

ICC_FORM: statistics.Form = "(2,1)"
WITHIN_MS = (5.0, 10.0, 20.0)

FEW_RATINGS = 10
"""Where a word was used less often, by both together, kappa hangs on single ratings."""


@dataclass(frozen=True, slots=True)
class Words:
    """Agreement in words. ``counts`` (words, words): the first reviewer's down, the second's across. ``left`` counts
    the pairs that both left as the method had them, and ``judged`` is the same without these (None there itself)."""

    what: str
    words: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    raw: Estimate
    kappa: Estimate
    ac1: float
    prevalence: Mapping[str, float]
    left: int = 0
    judged: "Words | None" = None

    @property
    def n(self) -> int:
        return self.raw.n

    @property
    def rare(self) -> tuple[str, int] | None:
        """The word used least of those used, and how often by both together, where that is less than FEW_RATINGS."""
        place, times = statistics.rarest(self.counts)
        return (self.words[place], times) if 0 < times < FEW_RATINGS else None


@dataclass(frozen=True, slots=True)
class Times:
    """Agreement in time, in seconds, second minus first, over the channel-trials where both gave one.

    ``only_first`` and ``only_second`` count those where one gave none; ``within`` holds the share of pairs no further
    apart than so many milliseconds, ``within_all`` the same with those counted as further apart. ``icc`` is ICC(2,1) of
    Shrout & Fleiss: reviewers as a sample, absolute agreement, one reviewer's mark; of times from the cue, which each
    reviewer may have corrected. ``left`` counts the pairs that both left where the method had put them, and ``judged``
    is the same without these (None there itself).
    """

    what: str
    bias: Estimate
    sd: float
    lower: Estimate
    upper: Estimate
    within: Mapping[float, Estimate]
    within_all: Mapping[float, Estimate]
    icc: Estimate
    only_first: int
    only_second: int
    left: int = 0
    judged: "Times | None" = None

    @property
    def n(self) -> int:
        return self.bias.n


@dataclass(frozen=True, eq=False, repr=False)
class Agreement(Shown):
    """What :func:`agreement` found, shown as two short tables. ``str()`` says it in words.

    Attributes
    ----------
    first, second : str
        The two reviewers.
    both, trials : int
        Channel-trials that both have finished, and the trials these lie in.
    not_first, not_second : int
        Channel-trials that only the other has finished.
    bulk_first, bulk_second : int
        Marks accepted in bulk: nobody looked at them, so they say nothing of agreement and
        count as not finished.
    out_both, out_first, out_second : int
        Channel-trials that both or one alone keep out.
    sampled : int or None
        Trials drawn for the second reviewer, None where all were to be reviewed.
    own_first, own_second : Estimate or None
        SD of an onset about the reviewer's own mean, from hidden repeats, in seconds; None
        where no repeats were planned, or no version was sealed since, before which it is not
        told.
    own_first_judged, own_second_judged : Estimate or None
        The same without marks left where the method had put them both times.
    states, signals : Words
        Agreement in words: on the activity and on the signal.
    onsets, offsets : Times
        Agreement in time, in seconds, second minus first.
    heads : mapping
        The heads of the logs that were read.
    table : DataFrame
        One row a channel-trial that at least one has finished.
    notes : tuple of str
        What could not be checked: the scale of a log that kept none; who was withdrawn from
        the review, and which versions and copies of logs were passed over.
    cues_apart : int
        Channel-trials of both whose cue the two have at different places.
    """

    first: str
    second: str
    both: int
    trials: int
    not_first: int
    not_second: int
    bulk_first: int
    bulk_second: int
    out_both: int
    out_first: int
    out_second: int
    sampled: int | None
    own_first: Estimate | None
    own_second: Estimate | None
    own_first_judged: Estimate | None
    own_second_judged: Estimate | None
    states: Words
    signals: Words
    onsets: Times
    offsets: Times
    heads: Mapping[str, Mapping[str, Any]]
    table: pd.DataFrame
    notes: tuple[str, ...] = ()
    cues_apart: int = 0

    def __str__(self) -> str:
        return legible("\n".join(lines(self)))

    def _parts(self) -> Iterator[Sheet | str]:
        return parts(self)

    def to_dict(self) -> dict[str, Any]:
        """Everything but the table, as plain JSON values; missing numbers are null.

        Returns
        -------
        dict
        """
        named = {field.name: getattr(self, field.name) for field in dataclasses.fields(self) if field.name != "table"}
        return dict(plain(named))


def agreement(folder: str | Path, first: str, second: str, *, within_ms: Sequence[float] = WITHIN_MS) -> Agreement:
    """How far two reviewers of a folder agree, as their logs stand now; needs no recordings.

    Parameters
    ----------
    folder : str or Path
        The review folder, with the logs of both.
    first, second : str
        The two reviewers. Differences are second minus first.
    within_ms : sequence of float, default (5.0, 10.0, 20.0)
        Tolerances, in milliseconds: the share of pairs no further apart is given for each.

    Returns
    -------
    Agreement
        In words (kappa, AC1), in time (bias, limits of agreement, ICC(2,1), shares within
        each tolerance, in seconds), and in what only one of the two has.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    UnknownNameError
        A reviewer has no log.
    LogBrokenError
        A log is broken.
    LogError
        The two reviewed different samples under one name, or read them in different scales.
    ParameterError
        One reviewer came twice, or ``within_ms`` look like seconds.

    Warns
    -----
    SignalWarning
        A log kept no scale, so that it cannot be checked; people were withdrawn, or something
        in the folder was passed over. This stays in ``notes``.

    Notes
    -----
    A channel-trial counts once both have finished it; those that only one has are counted
    and named, never dropped. Where a sample was drawn for one of them
    (:func:`emgreview.draw_sample`), only its trials are compared. Pairs that both left as
    the method had proposed say that both let it stand, not that two people see the same:
    they are counted apart, and every statistic stands once with and once without them. What
    either keeps out of every analysis is left out of the comparison, counted and named;
    stretches set aside leave nothing out. Trials of one person resemble each other, so true
    intervals are somewhat wider than those given here.

    The ICC is of times from the cue, as the tables of decisions give them: from the corrected
    cue where a reviewer corrected it. Bias, limits and shares are of the marks themselves;
    ``cues_apart`` counts the pairs whose cues the two have at different places.

    kappa = (po - pe) / (1 - pe), with po the share of equal words and pe that expected by
    chance; limits of agreement are mean ± 1.96 SD of the differences.

    References
    ----------
    Cohen 1960 (kappa); Gwet 2008 (AC1); Shrout & Fleiss 1979 (ICC); Bland & Altman 1986
    (limits); all cited from memory. Every formula stands in ``emgreview/cohort`` beside its
    source (``statistics``).

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for code in ("r1", "r2"):
    ...         with er.open_review(trials, folder, reviewer=code) as session:
    ...             _ = [session.accept_rest(trial) for trial in session.queue]
    ...     found = er.agreement(folder, "r1", "r2")
    >>> found.both, found.onsets.bias.value
    (6, 0.0)
    """
    if first == second:
        raise ParameterError(
            f"reviewer {first!r} came twice; give two reviewers; one reviewer's own spread is what self_check measures."
        )
    found = compare(read_logs(folder, first), read_logs(folder, second), within_ms=within_ms)
    found = dataclasses.replace(found, notes=(*found.notes, *told_beside(folder, first, second)))
    for note in found.notes:
        tell(note)
    return found


def compare(one: Logs, two: Logs, *, within_ms: Sequence[float] = WITHIN_MS) -> Agreement:
    """Agreement of two reviewers from their logs."""
    likely_unit("within_ms", within_ms, most_s=None)
    for part in within_ms:
        tolerance_ms("within_ms", part)
    check_same_recordings(one, two)
    drawn = sampled_trials(one, two)
    table = pair_table(one, two, drawn)
    compared = table[table["kept_out"].isna()]
    finished = compared[(compared["first_state"] != "") & (compared["second_state"] != "")]
    out = table["kept_out"].value_counts()
    return Agreement(
        first=one.reviewer,
        second=two.reviewer,
        both=len(finished),
        trials=finished[["recording", "trial"]].drop_duplicates().shape[0],
        not_first=int((compared["first_state"] == "").sum()),
        not_second=int((compared["second_state"] == "").sum()),
        bulk_first=sum(map(one.in_bulk, one.marks())),
        bulk_second=sum(map(two.in_bulk, two.marks())),
        out_both=int(out.get("both", 0)),
        out_first=int(out.get("first", 0)),
        out_second=int(out.get("second", 0)),
        sampled=None if drawn is None else len(drawn),
        own_first=twice(one).own_sd if told(one) else None,
        own_second=twice(two).own_sd if told(two) else None,
        own_first_judged=twice(one).own_sd_judged if told(one) else None,
        own_second_judged=twice(two).own_sd_judged if told(two) else None,
        states=_words("state", finished, STATES),
        signals=_words("signal", finished, SIGNALS),
        onsets=_times("onset", finished, within_ms),
        offsets=_times("offset", finished, within_ms),
        heads={**one.heads, **two.heads},
        table=table,
        notes=unknown_scales(one, two),
        cues_apart=_cues_apart(one, two, finished),
    )


def check_same_recordings(one: Logs, two: Logs) -> None:
    """Raises LogError where the two logs of a recording are about different samples, or read in different scales."""
    for name in sorted(set(one.fingerprints) & set(two.fingerprints)):
        if one.fingerprints[name] != two.fingerprints[name]:
            raise LogError(
                f"reviewers {one.reviewer!r} and {two.reviewer!r} reviewed different samples under the name {name!r} "
                f"({one.fingerprints[name][:12]}… and {two.fingerprints[name][:12]}…); they cannot be compared; find "
                "out which recording is the right one."
            )
        scales.refuse(
            scales.compare(one.scales.get(name), two.scales.get(name)),
            f"recording {name!r} was read by reviewer {two.reviewer!r}",
            f"(first {one.reviewer!r}, then {two.reviewer!r}); they cannot be compared; find out which reading is "
            "the right one, and open the other's review on it with scale_corrected='why'.",
        )


def unknown_scales(one: Logs, two: Logs) -> tuple[str, ...]:
    """A sentence a reviewer on recordings of both whose scale that reviewer's log never stated; often none."""
    both = sorted(set(one.fingerprints) & set(two.fingerprints))
    told = []
    for logs in (one, two):
        if names := [name for name in both if not logs.scales.get(name)]:
            told.append(f"Reviewer {logs.reviewer}: {scales_not_kept(names, '')}")
    return tuple(told)


def sampled_trials(one: Logs, two: Logs) -> frozenset[str] | None:
    """The trials drawn for one of two reviewers, None where no sample was drawn."""
    draws = [note.new["only"] for note in (one.note("draw sample"), two.note("draw sample")) if note]
    return frozenset.intersection(*map(frozenset, draws)) if draws else None


def pair_table(one: Logs, two: Logs, trials: frozenset[str] | None) -> pd.DataFrame:
    """One row a channel-trial that at least one reviewer has finished: both states, both times, and how far apart.

    Times are seconds from the cue as each reviewer's table of decisions has it, corrected where that reviewer corrected
    it, NaN where there is none; differences are those of the marks themselves, wherever the cue lies; a state is ""
    where it is not finished; "kept_out" says who keeps it out of every analysis: "both", "first", "second", or None;
    "state_left", "signal_left", "onset_left" and "offset_left" who left that as the method had it.
    """
    ones, twos, kept = one.marks(), two.marks(), kept_out(one, two)
    rows = []
    for unit in sorted({*ones, *twos}):
        first, second = (UNFINISHED if logs.in_bulk(unit) else logs.mark(unit) for logs in (one, two))
        if (trials is None or unit[1] in trials) and (first.reviewed or second.reviewed):
            rate = one.rates_hz.get(unit[0]) or two.rates_hz[unit[0]]
            participant = one.participants.get(unit[0]) or two.participants.get(unit[0])
            by = keepers(kept, unit, participant)
            as_it_was = [left(logs, unit) for logs in (one, two)]
            rows.append(
                {
                    "participant": participant,
                    **dict(zip(("recording", "trial", "channel"), unit, strict=True)),
                    "first_state": first.state,
                    "second_state": second.state,
                    "first_signal": first.signal,
                    "second_signal": second.signal,
                    "first_onset_s": _seconds(one, first.onset, unit, rate),
                    "second_onset_s": _seconds(two, second.onset, unit, rate),
                    "onset_difference_s": _apart(first.onset, second.onset, rate),
                    "first_offset_s": _seconds(one, first.offset, unit, rate),
                    "second_offset_s": _seconds(two, second.offset, unit, rate),
                    "offset_difference_s": _apart(first.offset, second.offset, rate),
                    "kept_out": _who(one.reviewer in by, two.reviewer in by),
                    **{f"{part}_left": _who(*(getattr(one_s, part) for one_s in as_it_was)) for part in Left._fields},
                }
            )
    return pd.DataFrame(rows, columns=_COLUMNS).astype(
        {name: "float64" if name.endswith("_s") else "object" for name in _COLUMNS}
    )


_COLUMNS = (
    "participant", "recording", "trial", "channel", "first_state", "second_state", "first_signal", "second_signal",
    "first_onset_s", "second_onset_s", "onset_difference_s", "first_offset_s", "second_offset_s", "offset_difference_s",
    "kept_out", "state_left", "signal_left", "onset_left", "offset_left",
)  # fmt: skip


def _cues_apart(one: Logs, two: Logs, finished: pd.DataFrame) -> int:
    """How many pairs have a cue that the two reviewers have at different places."""
    units = finished[["recording", "trial", "channel"]].itertuples(index=False, name=None)
    return sum(_cue(one, unit) != _cue(two, unit) for unit in units)


def _who(first: bool, second: bool) -> str | None:
    return "both" if first and second else "first" if first else "second" if second else None


def _cue(logs: Logs, unit: Unit) -> int | None:
    """Sample of the cue that times of a reviewer count from, as in the table of decisions."""
    corrected: int | None = logs.value(unit[0], unit[1], None, "cue")
    return cue_in(unit[1]) if corrected is None else corrected


def _seconds(logs: Logs, sample: int | None, unit: Unit, rate_hz: float) -> float:
    cue = _cue(logs, unit)
    return math.nan if sample is None or cue is None else (sample - cue) / rate_hz


def _apart(first: int | None, second: int | None, rate_hz: float) -> float:
    return math.nan if first is None or second is None else (second - first) / rate_hz


def _words(what: str, finished: pd.DataFrame, words: tuple[str, ...]) -> Words:
    """Agreement of all pairs, and of those that are left without the ones that nobody changed."""
    found = _words_of(what, finished, words)
    judged = finished[finished[f"{what}_left"] != "both"]
    return dataclasses.replace(found, left=found.n - len(judged), judged=_words_of(what, judged, words))


def _words_of(what: str, finished: pd.DataFrame, words: tuple[str, ...]) -> Words:
    counts = statistics.cross_table(list(finished[f"first_{what}"]), list(finished[f"second_{what}"]), words)
    shares = statistics.prevalence(counts)
    return Words(
        what,
        words,
        tuple(tuple(int(count) for count in row) for row in counts),
        statistics.raw_agreement(counts),
        statistics.kappa(counts),
        statistics.ac1(counts),
        {word: float(share) for word, share in zip(words, shares, strict=True)},
    )


def _times(what: str, finished: pd.DataFrame, within_ms: Sequence[float]) -> Times:
    """Agreement of all pairs, and of those that are left without the ones that nobody moved."""
    found = _times_of(what, finished, within_ms)
    judged = _times_of(what, finished[finished[f"{what}_left"] != "both"], within_ms)
    return dataclasses.replace(found, left=found.n - judged.n, judged=judged)


def _times_of(what: str, finished: pd.DataFrame, within_ms: Sequence[float]) -> Times:
    differences = finished[f"{what}_difference_s"].to_numpy(float)
    paired = np.isfinite(differences)
    first, second = (finished[f"{who}_{what}_s"].to_numpy(float) for who in ("first", "second"))
    only_first = int((~paired & np.isfinite(first)).sum())
    only_second = int((~paired & np.isfinite(second)).sum())
    limits = statistics.limits_of_agreement(differences[paired])
    both = np.column_stack([first, second])
    both = both[np.isfinite(both).all(axis=1)]
    close = {ms: int((np.abs(differences[paired]) <= ms / 1000 + 1e-9).sum()) for ms in within_ms}
    n = int(paired.sum())
    return Times(
        what,
        *limits,
        {ms: statistics.wilson(found, n) for ms, found in close.items()},
        {ms: statistics.wilson(found, n + only_first + only_second) for ms, found in close.items()},
        statistics.icc(both, ICC_FORM),
        only_first,
        only_second,
    )
