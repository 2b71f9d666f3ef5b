"""Does a muscle take part: in how many trials activity over it exceeds the person's own rest range.

    involvement     from trials, and what was decided on them
    Involvement     what it returns; ``compare`` for two postures or conditions, ``groups`` over participants
    Paired          what ``compare`` returns

L = 20 log10(R / B), R the RMS in the response window, B that of the baseline window of the same length that ends where
the rest ends. The rest range is the same statistic between two baseline windows, the later over the earlier, of the
same person, channel and posture: its 95th or 99th percentile. By chance alone 5 or 1 % of trials exceed it.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.intervals import cluster_mean, mcnemar, median, most_when_none, wilson
from emgreview.measuring.aside import Aside
from emgreview.measuring.ground import Ground
from emgreview.measuring.marked import MarkedBursts
from emgreview.measuring.missing import Reason, missing_words
from emgreview.measuring.rests import untouched
from emgreview.measuring.rows import (
    FloatArray,
    column,
    kept_out,
    numbers,
    rows_to_measure,
    said_of,
    tell_all,
    trials_of,
    unit_of,
)
from emgreview.measuring.stretches import NEAR_S
from emgreview.model import Trials, to_sample
from emgreview.showing import Sheet, Shown, number, percent
from emgreview.signal import measures

ENOUGH: Mapping[int, int] = MappingProxyType({95: 60, 99: 300})
"""Pairs of baseline windows from which on a percentile is taken without a word (practitioners' judgement, no
publication)."""
FEWEST: Mapping[int, int] = MappingProxyType({95: 20, 99: 100})
"""With fewer, the percentile is beyond the largest value, and no share is given."""
MOST_CV = 0.10
"""A baseline whose RMS varies by more than this from chance alone is refused (our own choice, no source)."""
FEW_PEOPLE = 10
KEYS = ["participant", "channel", "condition", "posture"]


@dataclass(frozen=True, eq=False, repr=False)
class Paired(Shown):
    """Two postures or conditions, trial by trial; :meth:`Involvement.compare` makes it.

    Attributes
    ----------
    table : DataFrame
        One row a participant, channel and level of the other factor: pairs, in how many
        both, the first alone, the second alone and neither exceeded the rest range, the
        difference of the shares, and the exact p of McNemar's test.
    notes : tuple of str
        How trials were paired, and what was left without a partner.
    """

    table: pd.DataFrame
    notes: tuple[str, ...]

    def _parts(self) -> Sequence[Sheet | str]:
        rows = [tuple(number(v) if isinstance(v, float) else str(v) for v in row) for row in self.table.to_numpy()]
        return [Sheet("Pairs of trials that exceeded the rest range", tuple(self.table.columns), rows), *self.notes]


@dataclass(frozen=True, eq=False, repr=False)
class Involvement(Shown):
    """How often activity exceeded its own rest range; :func:`emgreview.involvement` makes it.

    Attributes
    ----------
    table : DataFrame
        One row a participant, channel, condition and posture: trials, above, share with its
        Wilson interval (low, high), most_if_none (exact one-sided 95 % upper bound where none
        was above), chance, limit_db with the number of pairs it rests on, and the median
        level with its interval.
    trials : DataFrame
        One row a trial and channel: baseline and response RMS, level_db, above, and why it was
        left out.
    sentences : tuple of str
        One sentence a row of the table.
    cv : float
        How much the RMS of the baseline varies from chance alone.
    notes : tuple of str
        What was left out, is missing, or rests on little.
    """

    table: pd.DataFrame
    trials: pd.DataFrame
    sentences: tuple[str, ...]
    cv: float
    notes: tuple[str, ...]
    _details: Mapping[tuple[str, str], Mapping[str, str]] = field(repr=False)

    def _parts(self) -> Iterator[Sheet | str]:
        columns = (*KEYS, "trials", "above", "share %", "95 % CI", "chance %", "rest range dB", "pairs", "median L dB")
        rows = [
            (
                *(str(getattr(one, key)) for key in KEYS),
                str(one.trials),
                str(one.above),
                percent(one.share),
                f"{percent(one.low)} to {percent(one.high)}",
                percent(one.chance),
                number(one.limit_db),
                str(one.pairs),
                f"{number(one.median_db)} ({number(one.median_low_db)} to {number(one.median_high_db)})",
            )
            for one in self.table.itertuples()
        ]
        yield Sheet("Trials above the person's own rest range", columns, rows)
        yield from self.sentences
        yield f"Chance alone varies the RMS of a baseline by {100 * self.cv:.2g} % (1 / sqrt(4 B T))."
        yield from self.notes

    @property
    def groups(self) -> pd.DataFrame:
        """One row a channel, condition and posture over participants: the mean of their shares,
        each of the same weight, with a percentile interval of participants drawn again.
        """
        rows = []
        for key, mine in self.table.groupby(KEYS[1:], sort=False):
            shares = mine["share"].dropna().to_numpy(dtype=np.float64)
            mean = cluster_mean(shares)
            rows.append(
                dict(zip(KEYS[1:], key, strict=True))
                | {"participants": len(shares), "share": mean.value, "low": mean.low, "high": mean.high}
                | {"few": len(shares) < FEW_PEOPLE}
            )
        return pd.DataFrame(rows)

    def compare(self, factor: str, first: str, second: str, *, pair: str | None = None) -> Paired:
        """Two postures, or two conditions, by pairs of trials: McNemar's exact test.

        Parameters
        ----------
        factor : {"posture", "condition"}
            What they are.
        first, second : str
            The two.
        pair : str or None
            The detail of the cues ("item", for example) whose value two trials of a pair
            share. None pairs the k-th trial of the one with the k-th of the other, of the same
            participant and otherwise alike.

        Returns
        -------
        Paired

        Raises
        ------
        ParameterError
            ``factor`` is neither, or no cue has that detail.
        UnknownNameError
            No trial has that posture or condition.
        """
        demand(factor in ("posture", "condition"), "factor", factor, "'posture' or 'condition'")
        other = "condition" if factor == "posture" else "posture"
        there = sorted(set(self.trials[factor]))
        for name in (first, second):
            if name not in there:
                raise UnknownNameError(factor, name, there)
        rows = self.trials[self.trials["above"].notna()].copy()
        if pair is None:
            rows["pair"] = rows.groupby([*KEYS]).cumcount()
            notes = [
                f"Trials were paired in their order within {factor}: that pairing is an assumption, and p holds where "
                "they are as alike as any two."
            ]
        else:
            keys = zip(rows["recording"], rows["trial"], strict=True)
            rows["pair"] = [self._details[key].get(pair) for key in keys]
            if rows["pair"].isna().all():
                raise ParameterError(
                    f"pair came as {pair!r}, and no cue has such a detail; give a column of the events, or None."
                )
            rows = rows[rows["pair"].notna()]
            notes = [f"Trials were paired by {pair!r} of their cues."]
        out, alone = [], 0
        for key, mine in rows.groupby(["participant", "channel", other], sort=False):
            sides = [mine[mine[factor] == name].drop_duplicates("pair").set_index("pair")["above"] for name in (first, second)]
            a, b = sides[0].align(sides[1], join="inner")
            alone += len(sides[0]) + len(sides[1]) - 2 * len(a)
            if not len(a):
                continue
            x, y = a.to_numpy(dtype=bool), b.to_numpy(dtype=bool)
            only = int((x & ~y).sum()), int((y & ~x).sum())
            out.append(
                dict(zip(("participant", "channel", other), key, strict=True))
                | {"pairs": len(a), "both": int((x & y).sum()), f"only {first}": only[0], f"only {second}": only[1]}
                | {"neither": int((~x & ~y).sum()), "difference": float(x.mean() - y.mean()), "p": mcnemar(*only)}
            )
        if alone:
            notes.append(f"{alone} trials of channels have no partner and count in no pair.")
        return Paired(pd.DataFrame(out), tuple(notes))


def involvement(
    trials: Trials | Sequence[Trials],
    decisions: pd.DataFrame | None = None,
    *,
    window_s: tuple[float, float],
    percentile: int = 95,
    condition: str = "condition",
    posture: str = "posture",
    antagonists: Mapping[str, Sequence[str]] | None = None,
) -> Involvement:
    """In how many trials activity over a muscle exceeds the person's own rest range.

    Parameters
    ----------
    trials : Trials or sequence of Trials
        What cut_trials returns; several recordings of one person are pooled.
    decisions : DataFrame or None
        Decisions of one reviewer: unusable and excluded signals, and windows that a stretch
        set aside touches, are left out and counted; a baseline that holds a marked burst too.
    window_s : (float, float)
        The response window, in seconds from the cue. The baseline is as long.
    percentile : {95, 99}
        Of the rest range.
    condition, posture : str
        The details of the cues that hold them; a cue without counts as "".
    antagonists : mapping of str to sequence of str, or None
        By condition, the channels whose muscle opposes that movement. What is active there is
        told as co-activation.

    Returns
    -------
    Involvement

    Raises
    ------
    ParameterError
        A window is too short for its baseline to say anything, does not fit the trials, or a
        value is out of range.
    UnitError, UnknownNameError, RateError, VersionError
        As for :func:`emgreview.measure`, by trials and decisions.
    SignalError
        Samples of the trials are too large to be a voltage.

    Warns
    -----
    SignalWarning
        Every note.

    Notes
    -----
    ::

        L = 20 log10(R / B)        rest range: the same of two baseline windows

    Of n trials, x are above the 95th (99th) percentile of the rest range; the share x / n has a
    Wilson interval. Where x is 0 the exact one-sided upper bound 1 - 0.05^(1/n) stands beside
    it. The rest range needs 60 (300) pairs of baseline windows (practitioners' judgement, no
    publication): with fewer it is told, with fewer than 20 (100) there is no share. A baseline
    whose RMS varies by more than 10 % from chance alone, 1 / sqrt(4 B T) with B the width of
    the band, is refused.

    Activity over a muscle is not activity of that muscle: see :func:`emgreview.selectivity`.

    References
    ----------
    Wilson 1927; Newcombe 1998, Stat Med 17:857-872. McNemar 1947. CV of the RMS: Bendat &
    Piersol, Random Data (from memory).

    Examples
    --------
    >>> import warnings
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 30, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with warnings.catch_warnings(action="ignore"):  # they stay in the notes
    ...     found = er.involvement(trials, window_s=(0.1, 0.35))
    >>> bool((found.table.query("channel == 'prime mover'")["share"] > 0.9).all())
    True
    """
    parts = trials_of(trials)
    unit = unit_of(parts)
    window_s = checks.span("window_s", window_s)
    longest_s = max(len(part.time_s) / part.rate_hz for part in parts)
    checks.likely_unit("window_s", window_s, most_s=longest_s)
    demand(percentile in ENOUGH, "percentile", percentile, "95 or 99")
    opposed = _antagonists(antagonists, parts)
    cv = max(_demand_long_enough(part, window_s) for part in parts)
    notes: list[str] = []
    mine = None
    if decisions is not None:
        names = [part.recording.name for part in parts]
        mine = decisions[decisions["recording"].isin(names)] if "recording" in decisions else decisions
        notes += rows_to_measure(parts, mine, accepted_only=False, included_only=False, one_reviewer=True)[1]
    ground = Ground()
    tables, nulls = [], []
    for part in parts:
        for place in range(len(part.labels)):
            table, null, said = _of_channel(part, place, mine, window_s, ground, (condition, posture))
            tables.append(table)
            nulls.append(null)
            notes += said
    every = pd.concat(tables, ignore_index=True)
    pairs = pd.concat(nulls, ignore_index=True)
    limits = _limits(pairs, percentile)
    every["limit_db"] = [limits[key][0] for key in zip(every["participant"], every["channel"], every["posture"], strict=True)]
    known = every["level_db"].notna() & every["limit_db"].notna() & every["left_out"].isna()
    every["above"] = pd.array(every["level_db"] > every["limit_db"], dtype="boolean")
    every.loc[~known, "above"] = pd.NA
    notes += _few(limits, percentile)
    described = _described(unit)
    if count := int(every["left_out"].notna().sum()):
        why = every["left_out"].value_counts().sort_index()
        notes.append(
            f"{count} trials are left out because of what was decided on a channel, by reason: "
            f"{', '.join(f'{words!r} {n}' for words, n in why.items())}."
        )
    notes += missing_words(every, described, _reasons(every))
    notes += ground.notes("trials")
    every.attrs |= {"columns": described}
    table = _grouped(every, limits, percentile)
    details = {
        (part.recording.name, trial): dict(cue.details)
        for part in parts
        for trial, cue in zip(part.ids, part.cues, strict=True)
    }
    told = tell_all(notes, decisions)
    every.attrs |= {"notes": told}
    sentences = tuple(_sentence(row, opposed) for row in table.itertuples())
    return Involvement(table, every, sentences, cv, tuple(told), details)


def _demand_long_enough(part: Trials, window_s: tuple[float, float]) -> float:
    """CV of the baseline's RMS by chance; ParameterError where the window is too short or does not fit."""
    n = to_sample(window_s[1], part.rate_hz) - to_sample(window_s[0], part.rate_hz)
    end = part.before + to_sample(part.processing.rest_s[1], part.rate_hz)
    inside = part.before + to_sample(window_s[1], part.rate_hz) <= len(part.time_s)
    reaches = part.before / part.rate_hz, (len(part.time_s) - part.before) / part.rate_hz
    demand(
        inside and part.before + to_sample(window_s[0], part.rate_hz) >= 0 and n >= 1 and n <= end,
        "window_s",
        window_s,
        f"a window inside the trials ({-reaches[0]:g} to {reaches[1]:g} s) and no longer than what lies before their "
        f"rest ends ({end / part.rate_hz:g} s)",
    )
    upper = min(part.processing.high_hz or math.inf, part.rate_hz / 2)
    width_hz = upper - part.processing.low_hz
    cv = measures.rms_cv(width_hz, n / part.rate_hz)
    if cv > MOST_CV:
        least_s = 1 / (4 * width_hz * MOST_CV**2)
        raise ParameterError(
            f"window_s came as {window_s}: the RMS of a baseline of {1000 * n / part.rate_hz:.4g} ms varies by "
            f"{100 * cv:.2g} % from chance alone (1 / sqrt(4 B T), band of {width_hz:g} Hz); allowed: {100 * MOST_CV:g} "
            f"% at most, a window of {1000 * least_s:.3g} ms or more; give a longer one."
        )
    return cv


def _of_channel(
    part: Trials,
    place: int,
    decisions: pd.DataFrame | None,
    window_s: tuple[float, float],
    ground: Ground,
    columns: tuple[str, str],
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Rows of one channel, the rest range's pairs, and sentences."""
    label, count = part.labels[place], len(part)
    trial = np.arange(count, dtype=np.intp)
    begin = np.array([cue.sample - part.before for cue in part.cues], dtype=np.intp)
    cue = np.full(count, float(part.before))
    rows = pd.DataFrame({"trial": list(part.ids)})
    left = pd.Series([None] * count, dtype=object)
    spoilt, notes = np.zeros((count, len(part.time_s)), dtype=bool), []
    unusable = np.zeros(count, dtype=bool)
    start, stop = (to_sample(edge, part.rate_hz) for edge in window_s)
    n = stop - start
    rest_end = to_sample(part.processing.rest_s[1], part.rate_hz)
    if decisions is not None:
        cue = _cues(part, decisions, begin, cue)
        signal, _ = said_of(decisions, part, label)
        unusable = (signal == "unusable").fillna(False).to_numpy(dtype=bool)
        left = kept_out(decisions, part, label).reset_index(drop=True)
        left[unusable & left.isna().to_numpy()] = "unusable signal"
        aside = Aside(decisions)
        notes += aside.notes
        touched = aside.touch(
            part.recording.name, label, begin + cue + start, begin + cue + stop, near=to_sample(NEAR_S, part.rate_hz)
        )
        left[touched & left.isna().to_numpy()] = "a stretch set aside touches the window"
        spoilt = aside.spoilt(part, label, trial) | MarkedBursts([part], decisions).spoilt(
            part, label, trial, until=cue + rest_end + begin
        )
    kept = left.isna().to_numpy()
    ground.use(part, place, np.flatnonzero(kept))
    windows = int((part.before + rest_end) // n)
    levels = np.full((windows, count), np.nan)
    for back in range(windows):
        late = cue + rest_end - back * n
        if back == 0:  # what the filter carried back of the response is seen to
            x, _, lost = untouched(part, place, trial, late - n, late, spoilt)
        else:
            data = np.asarray(part.data[:, place], dtype=np.float64)
            x, _ = measures.stretches(data, late - n, late)
            gone = measures.stretches(spoilt.astype(np.float64), late - n, late)[0] == 1
            lost = gone.any(axis=1)
        levels[back] = np.where(lost > 0, np.nan, _rms(x))
    held = np.isnan(levels[0]) & _any(spoilt, cue + rest_end - n, cue + rest_end)
    left[held & left.isna().to_numpy()] = "activity or a stretch set aside in the baseline"
    levels[:, ~kept] = np.nan
    response, _ = measures.stretches(np.asarray(part.data[:, place], dtype=np.float64), cue + start, cue + stop)
    said = [_said(part, one.details, columns) for one in part.cues]
    above = _rms(response)
    keep = left.isna().to_numpy()
    clipped = ground.share(part, place, np.flatnonzero(keep), (cue + start)[keep], (cue + stop)[keep]) > 0
    if clipped.any():
        notes.append(
            f"In {int(clipped.sum())} trials {label} of {part.recording.name} is clipped in the window: its level is too "
            "low there, and still counts."
        )
    whose = part.recording.entities.get("sub") or part.recording.name
    table = pd.DataFrame(
        {
            "participant": whose,
            "recording": part.recording.name,
            "trial": rows["trial"],
            "channel": label,
            "condition": [one for one, _ in said],
            "posture": [two for _, two in said],
            "left_out": left,
            "baseline_rms": np.where(keep, levels[0], np.nan),
            "response_rms": np.where(keep, above, np.nan),
            "level_db": np.where(keep, _db(above, levels[0]), np.nan),
        }
    )
    later, earlier = levels[0 : 2 * (windows // 2) : 2], levels[1 : 2 * (windows // 2) : 2]
    null = pd.DataFrame(
        {
            "participant": whose,
            "channel": label,
            "posture": np.tile([two for _, two in said], len(later)),
            "level_db": _db(later, earlier).ravel(),
        }
    )
    return table, null, notes


def _rms(x: FloatArray) -> FloatArray:
    """RMS of each row, (rows, samples); NaN where a sample is missing."""
    return np.asarray(np.where(np.isnan(x).any(axis=1), np.nan, measures.rms(x)), dtype=np.float64)


def _db(above: FloatArray, below: FloatArray) -> FloatArray:
    """Level in dB; NaN where either is 0 or missing."""
    good = (above > 0) & (below > 0)
    return np.asarray(20 * np.log10(np.where(good, above, np.nan) / np.where(good, below, 1.0)), dtype=np.float64)


def _any(which: Any, first: FloatArray, last: FloatArray) -> Any:
    return (measures.stretches(which.astype(np.float64), first, last)[0] == 1).any(axis=1)


def _cues(part: Trials, decisions: pd.DataFrame, begin: Any, cue: FloatArray) -> FloatArray:
    """Samples from each trial's first to its cue, corrected where a person corrected it."""
    mine = decisions[decisions["recording"] == part.recording.name]
    at = mine.groupby("trial")["cue_sample"].first().reindex(list(part.ids))
    found = numbers(at) - begin
    return np.where(np.isnan(found), cue, found)


def _said(part: Trials, details: Mapping[str, str], columns: tuple[str, str]) -> tuple[str, str]:
    """Condition and posture of a cue; hidden in a blind review."""
    if part.blind:
        return "", ""
    return details.get(columns[0], ""), details.get(columns[1], "")


Limits = dict[tuple[str, str, str], tuple[float, int]]


def _limits(pairs: pd.DataFrame, percentile: int) -> Limits:
    """Rest range and number of pairs of each participant, channel and posture."""
    out = {}
    for key, mine in pairs.groupby(["participant", "channel", "posture"]):
        values = mine["level_db"].dropna().to_numpy(dtype=np.float64)
        enough = len(values) >= FEWEST[percentile]
        out[tuple(map(str, key))] = (float(np.quantile(values, percentile / 100)) if enough else math.nan, len(values))
    return _Missing(out)


class _Missing(Limits):
    """Limits; NaN and 0 pairs where there is none."""

    def __missing__(self, key: tuple[str, str, str]) -> tuple[float, int]:
        return math.nan, 0


def _few(limits: Limits, percentile: int) -> list[str]:
    """Sentences on rest ranges of few pairs."""
    out = []
    for words, chosen in (
        (
            f"so that there is no {percentile}th percentile and no share",
            {key: n for key, (_, n) in limits.items() if n < FEWEST[percentile]},
        ),
        (
            f"fewer than {ENOUGH[percentile]}, so that the share above it is shaky",
            {key: n for key, (_, n) in limits.items() if FEWEST[percentile] <= n < ENOUGH[percentile]},
        ),
    ):
        if chosen:
            told = ", ".join(
                " ".join(filter(None, [channel, "of", whose, f"({posture})" * bool(posture), str(n)]))
                for (whose, channel, posture), n in sorted(chosen.items())[:12]
            )
            out.append(
                f"Rest ranges rest on few pairs of baseline windows, {words}: {told}. Cut longer trials before the cue, "
                "take a shorter window, or more trials."
            )
    return out


def _reasons(every: pd.DataFrame) -> list[Reason]:
    baseline, response = (every[name].to_numpy(dtype=np.float64) for name in ("baseline_rms", "response_rms"))
    out = every["left_out"].notna().to_numpy()
    both = ["baseline_rms", "level_db"]
    return [
        Reason(["baseline_rms", "response_rms", "level_db"], out, ""),
        Reason(both, np.isnan(baseline), "the baseline reaches beyond the trial or lacks samples"),
        Reason(["response_rms", "level_db"], np.isnan(response), "the window lacks samples"),
        Reason(["level_db"], (baseline == 0) | (response == 0), "the baseline or the window is 0 throughout"),
        Reason(["limit_db"], every["limit_db"].isna().to_numpy(), "there are too few pairs of baseline windows"),
    ]


def _grouped(every: pd.DataFrame, limits: Limits, percentile: int) -> pd.DataFrame:
    rows = []
    for key, mine in every.groupby(KEYS, sort=False):
        above = mine["above"].dropna().astype(bool)
        levels = mine["level_db"].dropna().to_numpy(dtype=np.float64)
        limit_db, pairs = limits[key[0], key[1], key[3]]
        share, middle = wilson(int(above.sum()), len(above)), median(levels)
        rows.append(
            dict(zip(KEYS, key, strict=True))
            | {"trials": len(above), "above": int(above.sum()), "left_out": int(len(mine) - len(above))}
            | {"share": share.value, "low": share.low, "high": share.high}
            | {"most_if_none": math.nan if above.any() else most_when_none(len(above))}
            | {"chance": 1 - percentile / 100, "limit_db": limit_db, "pairs": pairs}
            | {"median_db": middle.value, "median_low_db": middle.low, "median_high_db": middle.high}
        )
    return pd.DataFrame(rows)


def _sentence(row: Any, opposed: Mapping[str, Sequence[str]]) -> str:
    where = ", ".join(filter(None, [row.condition, row.posture]))
    who = f"{row.participant}{f', {where}' if where else ''}: "
    if not row.trials:
        return f"{who}whether activity over {row.channel} exceeds its own rest range is not known."
    share = f"{100 * row.share:.0f} %, 95 % CI {100 * row.low:.0f} to {100 * row.high:.0f}"
    chance = f"chance alone gives {100 * row.chance:.0f} %"
    if not row.above:
        return (
            f"{who}activity over {row.channel} exceeded its own rest range in none of {row.trials} trials ({share}; exact "
            f"one-sided upper bound {100 * row.most_if_none:.1f} %), which does not show that it was inactive."
        )
    text = (
        f"{who}activity over {row.channel} exceeded its own rest range in {row.above} of {row.trials} trials ({share}; "
        f"{chance})."
    )
    if row.low <= row.chance:
        return f"{text} That many may be chance."
    if row.channel in opposed.get(row.condition, ()):
        text += f" It lies over the antagonist of {row.condition}: co-activation, which is no error."
    return text


def _antagonists(given: Any, parts: Sequence[Trials]) -> dict[str, tuple[str, ...]]:
    if given is None:
        return {}
    demand(isinstance(given, Mapping), "antagonists", given, "a mapping of conditions to lists of channels")
    labels = {label for part in parts for label in part.labels}
    out = {}
    for condition, channels in given.items():
        demand(not isinstance(channels, str), f"antagonists[{condition!r}]", channels, "a list of channels")
        for label in channels:
            if label not in labels:
                raise UnknownNameError("channel of antagonists", label, sorted(labels))
        out[str(condition)] = tuple(channels)
    return out


def _described(unit: str) -> dict[str, dict[str, str]]:
    return {
        "participant": column("text", "", "Code of the participant, or the recording's name without one"),
        "recording": column("text", "", "Name of the recording"),
        "trial": column("text", "", "Id of the trial"),
        "channel": column("text", "", "Label of the channel"),
        "condition": column("text", "", "Condition, of the cue's details"),
        "posture": column("text", "", "Posture, of the cue's details"),
        "left_out": column("text", "", "Why it is left out by what was decided; missing where it is not"),
        "baseline_rms": column("number", unit, "RMS in the baseline window"),
        "response_rms": column("number", unit, "RMS in the response window"),
        "level_db": column("number", "dB", "20 log10 of response over baseline"),
        "limit_db": column("number", "dB", "The person's own rest range for this channel and posture"),
        "above": column("truth", "", "Whether the level is above it"),
    }
