"""How far two reviewers agree: in words, in time, and in what only one of them has.

Everything is read from the logs, so it needs neither recordings nor an open review. A channel-trial counts once both
have finished it; those that only one has are counted and named, never dropped. Differences are second minus first, in
seconds. What either keeps out of every analysis (a participant, recording or channel excluded, a cue that is none) is
left out of the comparison, counted and named; stretches set aside leave nothing out. Each reviewer's own SD, from
hidden repeats, stands beside: two reviewers cannot agree better than each agrees with themselves. Trials of one person
resemble each other, so true intervals are somewhat wider than those given here.

    agreement       compare two reviewers of a folder: Agreement
    compare         the same, from logs read before
    plain           a result as plain JSON values
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from emgreview.annotations import scales
from emgreview.cohort import statistics
from emgreview.cohort.keeping_out import keepers, kept_out
from emgreview.cohort.marks import SIGNALS, STATES, UNFINISHED, Logs, Unit, cue_in, read_logs
from emgreview.cohort.repeats import told, twice
from emgreview.cohort.statistics import Estimate
from emgreview.errors import LogError, ParameterError

ICC_FORM: statistics.Form = "(2,1)"
WITHIN_MS = (5.0, 10.0, 20.0)


@dataclass(frozen=True, slots=True)
class Words:
    """Agreement in words. ``counts`` (words, words): the first reviewer's down, the second's across."""

    what: str
    words: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    raw: Estimate
    kappa: Estimate
    ac1: float
    prevalence: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Times:
    """Agreement in time, in seconds, second minus first, over the channel-trials where both gave one.

    ``only_first`` and ``only_second`` count those where one gave none; ``within`` holds the share of pairs no further
    apart than so many milliseconds, ``within_all`` the same with those counted as further apart. ``icc`` is
    ICC(2,1) of Shrout & Fleiss: reviewers as a sample, absolute agreement, one reviewer's mark; of times from the cue.
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

    @property
    def n(self) -> int:
        return self.bias.n


@dataclass(frozen=True, eq=False)
class Agreement:
    """What :func:`agreement` found. ``str()`` says it in words; ``table`` has one row a channel-trial that at least one
    has finished. ``not_first`` and ``not_second`` count those that only the other has finished, ``bulk_first`` and
    ``bulk_second`` marks accepted in bulk: nobody looked at them, so they say nothing of agreement and count as not
    finished; ``out_both``, ``out_first``, ``out_second`` those that both or one alone keep out. ``sampled`` is the
    number of trials drawn for the second reviewer, None where all were to be reviewed. ``own_first`` and
    ``own_second``: SD of an onset about the reviewer's own mean, from hidden repeats, in seconds; None where no repeats
    were planned, or no version was sealed since, before which it is not told."""

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
    states: Words
    signals: Words
    onsets: Times
    offsets: Times
    heads: Mapping[str, Mapping[str, Any]]
    table: pd.DataFrame

    def __str__(self) -> str:
        return "\n".join(_lines(self))

    def to_dict(self) -> dict[str, Any]:
        """Everything but the table, as plain JSON values; missing numbers are null."""
        named = {field.name: getattr(self, field.name) for field in dataclasses.fields(self) if field.name != "table"}
        return dict(plain(named))


def agreement(folder: str | Path, first: str, second: str, *, within_ms: Sequence[float] = WITHIN_MS) -> Agreement:
    """How far two reviewers of a folder agree, as their logs stand now.

    Where a sample was drawn for one of them (:func:`emgreview.draw_sample`), only its trials are compared.
    Raises UnknownNameError where a reviewer has no log, LogBrokenError, LogError where the two reviewed different
    samples under one name, ParameterError for one reviewer named twice.
    """
    if first == second:
        raise ParameterError(
            f"reviewer {first!r} came twice; give two reviewers; one reviewer's own spread is what self_check measures."
        )
    return compare(read_logs(folder, first), read_logs(folder, second), within_ms=within_ms)


def compare(one: Logs, two: Logs, *, within_ms: Sequence[float] = WITHIN_MS) -> Agreement:
    """Agreement of two reviewers from their logs."""
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
        states=_words("state", finished["first_state"], finished["second_state"], STATES),
        signals=_words("signal", finished["first_signal"], finished["second_signal"], SIGNALS),
        onsets=_times("onset", finished, within_ms),
        offsets=_times("offset", finished, within_ms),
        heads={**one.heads, **two.heads},
        table=table,
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


def sampled_trials(one: Logs, two: Logs) -> frozenset[str] | None:
    """The trials drawn for one of two reviewers, None where no sample was drawn."""
    draws = [note.new["only"] for note in (one.note("draw sample"), two.note("draw sample")) if note]
    return frozenset.intersection(*map(frozenset, draws)) if draws else None


def pair_table(one: Logs, two: Logs, trials: frozenset[str] | None) -> pd.DataFrame:
    """One row a channel-trial that at least one reviewer has finished: both states, both times, and how far apart.

    Times are seconds from the recorded cue, NaN where there is none; a state is "" where it is not finished;
    "kept_out" says who keeps it out of every analysis: "both", "first", "second", or None.
    """
    ones, twos, kept = one.marks(), two.marks(), kept_out(one, two)
    rows = []
    for unit in sorted({*ones, *twos}):
        first, second = (UNFINISHED if logs.in_bulk(unit) else logs.mark(unit) for logs in (one, two))
        if (trials is None or unit[1] in trials) and (first.reviewed or second.reviewed):
            rate = one.rates_hz.get(unit[0]) or two.rates_hz[unit[0]]
            participant = one.participants.get(unit[0]) or two.participants.get(unit[0])
            by = keepers(kept, unit, participant)
            rows.append(
                {
                    "participant": participant,
                    **dict(zip(("recording", "trial", "channel"), unit, strict=True)),
                    "first_state": first.state,
                    "second_state": second.state,
                    "first_signal": first.signal,
                    "second_signal": second.signal,
                    "first_onset_s": _seconds(first.onset, unit, rate),
                    "second_onset_s": _seconds(second.onset, unit, rate),
                    "onset_difference_s": _apart(first.onset, second.onset, rate),
                    "first_offset_s": _seconds(first.offset, unit, rate),
                    "second_offset_s": _seconds(second.offset, unit, rate),
                    "offset_difference_s": _apart(first.offset, second.offset, rate),
                    "kept_out": _who(one.reviewer in by, two.reviewer in by),
                }
            )
    return pd.DataFrame(rows, columns=_COLUMNS).astype(
        {name: "float64" if name.endswith("_s") else "object" for name in _COLUMNS}
    )


_COLUMNS = (
    "participant", "recording", "trial", "channel", "first_state", "second_state", "first_signal", "second_signal",
    "first_onset_s", "second_onset_s", "onset_difference_s", "first_offset_s", "second_offset_s", "offset_difference_s",
    "kept_out",
)  # fmt: skip


def _who(first: bool, second: bool) -> str | None:
    return "both" if first and second else "first" if first else "second" if second else None


def _seconds(sample: int | None, unit: Unit, rate_hz: float) -> float:
    cue = cue_in(unit[1])
    return math.nan if sample is None or cue is None else (sample - cue) / rate_hz


def _apart(first: int | None, second: int | None, rate_hz: float) -> float:
    return math.nan if first is None or second is None else (second - first) / rate_hz


def _words(what: str, first: pd.Series, second: pd.Series, words: tuple[str, ...]) -> Words:
    counts = statistics.cross_table(list(first), list(second), words)
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


# In words --------------------------------------------------------------------------------------------------------


def _lines(found: Agreement) -> list[str]:
    one, two = found.first, found.second
    among = "" if found.sampled is None else f" of the {found.sampled} trials drawn for a second review"
    lines = [
        f"Agreement of {one} and {two}: {found.both} channel-trials in {found.trials} trials{among}, finished by both; "
        f"{found.not_second} more by {one} alone, {found.not_first} by {two} alone."
    ]
    if found.bulk_first or found.bulk_second:
        lines.append(
            f"Accepted in bulk, so that nobody looked: {found.bulk_first} by {one}, {found.bulk_second} by {two}; "
            "these count as not finished."
        )
    if found.out_both or found.out_first or found.out_second:
        lines.append(
            f"Kept out of every analysis, and of this comparison: {found.out_both} channel-trials by both, "
            f"{found.out_first} by {one} alone, {found.out_second} by {two} alone."
        )
    for part in (found.states, found.signals):
        used = [f"{word} {_percent(share)}" for word, share in part.prevalence.items() if share > 0]
        lines.append(
            f"{part.what.capitalize()}: same word {show_share(part.raw)}; kappa {_kappa(part, one, two)}; "
            f"AC1 {_number(part.ac1)}; share of each word: {', '.join(used) or 'none'}."
        )
    for times in (found.onsets, found.offsets):
        lower, upper = show_ms(times.lower), show_ms(times.upper)
        within = "; ".join(f"within {ms:g} ms {show_share(share)}" for ms, share in times.within.items())
        lines.append(
            f"{times.what.capitalize()} ({two} minus {one}), {times.n} pairs: bias {show_ms(times.bias)}; limits of "
            f"agreement {lower} to {upper}; {within}; ICC{ICC_FORM} {_estimate(times.icc)}."
        )
        if times.only_first or times.only_second:
            within = ", ".join(f"{_percent(share.value)} within {ms:g} ms" for ms, share in times.within_all.items())
            lines.append(
                f"{times.what.capitalize()} marked by {one} alone {times.only_first}, by {two} alone "
                f"{times.only_second}; with these counted as apart: {within}."
            )
    for who, own in ((one, found.own_first), (two, found.own_second)):
        lines.append(
            f"Own SD of an onset of {who}, from {own.n} marks made twice: {show_ms(own)}."
            if own
            else f"Own SD of {who} is not known: no hidden repeats were planned, or no version was sealed since."
        )
    lines.append(
        "Brackets hold 95 % intervals, which take channel-trials as independent. A high ICC alone says little: it "
        "rises with the spread of the trials."
    )
    return lines


def _number(value: float, digits: int = 3) -> str:
    return "n/a" if math.isnan(value) else f"{round(value, digits) + 0.0:.{digits}f}"  # + 0.0: never "-0.000"


def _percent(value: float) -> str:
    return "n/a" if math.isnan(value) else f"{100 * value:.1f} %"


def _estimate(part: Estimate) -> str:
    return _number(part.value) + ("" if math.isnan(part.low) else f" [{_number(part.low)}, {_number(part.high)}]")


def _kappa(part: Words, first: str, second: str) -> str:
    """Kappa, and where it has no interval, why."""
    counts = np.array(part.counts)
    said = {first: np.count_nonzero(counts.sum(axis=1)), second: np.count_nonzero(counts.sum(axis=0))}
    alone = [reviewer for reviewer, words in said.items() if words == 1]
    if not alone:
        return _estimate(part.kappa)
    if len(alone) == 1:
        return f"{_number(part.kappa.value)} (interval n/a: {alone[0]} used one word only, which makes it 0)"
    return f"{_number(part.kappa.value)} (each used one word only)"


def show_share(part: Estimate) -> str:
    """A share in per cent, with its interval."""
    return _percent(part.value) + ("" if math.isnan(part.low) else f" [{100 * part.low:.1f}, {100 * part.high:.1f}]")


def show_ms(part: Estimate) -> str:
    """Seconds as milliseconds, with their interval."""
    if math.isnan(part.value):
        return "n/a"
    value, low, high = (_number(1000 * end, 1) for end in (part.value, part.low, part.high))
    return f"{value} ms" + ("" if math.isnan(part.low) else f" [{low}, {high}]")


def plain(value: Any) -> Any:
    """Any value of this package as plain JSON; missing numbers are null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {f"{name:g}" if isinstance(name, float) else str(name): plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
