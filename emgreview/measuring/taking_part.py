"""Does a muscle take part: in how many trials activity over it exceeds the person's own rest range.

    involvement     from trials, and what was decided on them
    Involvement     what it returns; ``compare`` for two postures or conditions, ``groups`` over participants
    Paired          what ``compare`` returns

L = 20 log10(R / B), R the RMS in the response window, B that of the baseline window of the same length that ends where
the rest ends. The rest range is the same statistic between two baseline windows, the later over the earlier, of the
same person, channel and posture: its 95th or 99th percentile. By chance alone 5 or 1 % of trials exceed it.

A few lines more than 400 lines: the numbers and the sentences that may be said of them stand together.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.intervals import cluster_mean, mcnemar, median, most_when_none, wilson
from emgreview.measuring.ground import Ground
from emgreview.measuring.missing import missing_words
from emgreview.measuring.rest_range import (
    ENOUGH,
    Limits,
    demand_long_enough,
    described_in,
    few_pairs,
    limits_of,
    of_channel,
    reasons_of,
)
from emgreview.measuring.rows import rows_to_measure, tell_all, trials_of, unit_of
from emgreview.model import Trials
from emgreview.showing import Sheet, Shown, number

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
                _percent(one.share),
                f"{_percent(one.low)} to {_percent(one.high)}",
                _percent(one.chance),
                number(one.limit_db),
                str(one.pairs),
                f"{number(one.median_db)} ({number(one.median_low_db)} to {number(one.median_high_db)})",
            )
            for one in _rows(self.table)
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
            sides = [
                mine[mine[factor] == name].drop_duplicates("pair").set_index("pair")["above"]
                for name in (first, second)
            ]
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
    condition, posture : str, default "condition" and "posture"
        The details of the cues that hold them; a cue without counts as "".
    antagonists : mapping or None
        By condition, a list of the channels whose muscle opposes that movement. What is active
        there is told as co-activation.

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
    there = sorted({name for part in parts for cue in part.cues for name in cue.details})
    for name, usual in ((condition, "condition"), (posture, "posture")):
        if name != usual and name not in there:
            raise UnknownNameError("detail of the cues", name, there)
    conditions = sorted({cue.details.get(condition, "") for part in parts for cue in part.cues})
    for name in () if any(part.blind for part in parts) else opposed:  # blind trials have no conditions
        if name not in conditions:
            raise UnknownNameError("condition of antagonists", name, conditions)
    cv = max(demand_long_enough(part, window_s) for part in parts)
    notes: list[str] = []
    hidden = [name for name in (condition, posture) if name in there and any(part.blind for part in parts)]
    if hidden:
        notes.append(
            f"Trials were cut blind: {' and '.join(hidden)} of their cues is hidden, and all trials of a channel count "
            "together; cut them without blind=True once the review is over."
        )
    mine = None
    if decisions is not None:
        names = [part.recording.name for part in parts]
        mine = decisions[decisions["recording"].isin(names)] if "recording" in decisions else decisions
        notes += rows_to_measure(parts, mine, accepted_only=False, included_only=False, one_reviewer=True)[1]
    ground = Ground()
    tables, nulls = [], []
    for part in parts:
        for place in range(len(part.labels)):
            table, null, said = of_channel(part, place, mine, window_s, ground, (condition, posture))
            tables.append(table)
            nulls.append(null)
            notes += said
    every = pd.concat(tables, ignore_index=True)
    pairs = pd.concat(nulls, ignore_index=True)
    limits = limits_of(pairs, percentile)
    every["limit_db"] = [
        limits[key][0] for key in zip(every["participant"], every["channel"], every["posture"], strict=True)
    ]
    known = every["level_db"].notna() & every["limit_db"].notna() & every["left_out"].isna()
    every["above"] = (every["level_db"] > every["limit_db"]).astype("boolean")
    every.loc[~known, "above"] = pd.NA
    notes += few_pairs(limits, percentile)
    described = described_in(unit)
    if count := int(every["left_out"].notna().sum()):
        why = every["left_out"].value_counts().sort_index()
        notes.append(
            f"{count} trials are left out because of what was decided on a channel, by reason: "
            f"{', '.join(f'{words!r} {n}' for words, n in why.items())}."
        )
    notes += missing_words(every, described, reasons_of(every))
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
    sentences = tuple(_sentence(row, opposed) for row in _rows(table))
    return Involvement(table, every, sentences, cv, tuple(told), details)


def _rows(table: pd.DataFrame) -> Iterator[Any]:
    """Rows, each with the columns as its fields."""
    yield from table.itertuples()


def _grouped(every: pd.DataFrame, limits: Limits, percentile: int) -> pd.DataFrame:
    rows = []
    for key, mine in every.groupby(KEYS, sort=False):
        above = mine["above"].dropna().astype(bool)
        levels = mine["level_db"].dropna().to_numpy(dtype=np.float64)
        limit_db, pairs = limits[str(key[0]), str(key[1]), str(key[3])]
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
            f"{who}activity over {row.channel} exceeded its own rest range in none of {row.trials} trials ({share}; "
            f"exact one-sided upper bound {100 * row.most_if_none:.1f} %), which does not show that it was inactive."
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


def _percent(share: float) -> str:
    return "n/a" if math.isnan(share) else f"{100 * share:.0f}"


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
