"""Who hears whom: the selectivity matrix of test contractions, with intervals, findings and a card for each channel.

    selectivity     from recordings with contractions
    Selectivity     what it returns

S[t, c] = RMS(t, c) / max over t of RMS(t, c), RMS in the band, its geometric mean over repeats; the same in dB over
rest. Beside it the share of the own contraction, from which the power of rest is taken out:
sqrt((r^2 - q^2) / (1 - q^2)) with r the RMS over that of the own contraction and q that of rest. Intervals are Welch's
t on log RMS over repeats (:func:`emgreview.intervals.geometric_ratio`); what rest itself varies by is not in them.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from emgreview.checking import impossible
from emgreview.contractions.asked import Asked, asked_of
from emgreview.contractions.findings import LIMITS, Column, Finding, find
from emgreview.contractions.hints import geometric, quiet_hints, shared_hints
from emgreview.contractions.levels import levels_of, middle, processing_of, recordings_of, stretches_of_rest
from emgreview.errors import tell
from emgreview.intervals import Estimate, geometric_ratio
from emgreview.model import FloatArray, Processing, Recording
from emgreview.reading.channel_cards import LEAST_HEARD, ChannelCard
from emgreview.reading.settled import listed
from emgreview.showing import Sheet, Shown, number

UNRESOLVED = 0.05
"""Below this a share is shown as "< 5": rest and model cannot tell it from none (our own choice, no source)."""
CAUTION = (
    "Test contractions need no great force: stop on pain. What arrives while another muscle is contracted may be that "
    "muscle, or the own one joining in; a channel without a finding is not shown to be selective. For research; not a "
    "medical device."
)


@dataclass(frozen=True, eq=False, repr=False)
class Selectivity(Shown):
    """Who hears whom, from test contractions; :func:`emgreview.selectivity` makes it.

    Arrays are (contractions, channels), NaN where not known.

    Attributes
    ----------
    contractions, channels : tuple of str
        Muscles that were contracted, and the EMG channels.
    rms : ndarray
        RMS in the band, geometric mean over repeats, in ``unit``.
    matrix : ndarray
        S, the largest of each column 1.
    over_rest_db : ndarray
        RMS over that of rest, in dB.
    share, share_low, share_high : ndarray
        Share of the channel's own contraction, rest taken out, with its 95 % interval.
    rest_rms : ndarray, shape (channels,)
        RMS at rest.
    repeats : tuple of int
        How often each contraction was done.
    unit : str
        Unit of the levels.
    findings : tuple of Finding
        What stands out, each with ``channel``, ``code``, ``words`` and ``todo``.
    hints : tuple of str
        Sentences on signals that channels share, and on quiet movements: no findings.
    notes : tuple of str
        What was passed over, assumed or is missing.
    cards : mapping of str to ChannelCard
        A card a channel.
    """

    contractions: tuple[str, ...]
    channels: tuple[str, ...]
    rms: FloatArray
    matrix: FloatArray
    over_rest_db: FloatArray
    share: FloatArray
    share_low: FloatArray
    share_high: FloatArray
    rest_rms: FloatArray
    repeats: tuple[int, ...]
    unit: str
    findings: tuple[Finding, ...]
    hints: tuple[str, ...]
    notes: tuple[str, ...]
    cards: Mapping[str, ChannelCard]

    @property
    def table(self) -> pd.DataFrame:
        """One row a contraction and channel, with all numbers."""
        rows = [
            {
                "contraction": contraction,
                "channel": channel,
                "repeats": self.repeats[row],
                "rms": self.rms[row, place],
                "selectivity": self.matrix[row, place],
                "over_rest_db": self.over_rest_db[row, place],
                "share": self.share[row, place],
                "share_low": self.share_low[row, place],
                "share_high": self.share_high[row, place],
            }
            for row, contraction in enumerate(self.contractions)
            for place, channel in enumerate(self.channels)
        ]
        return pd.DataFrame(rows)

    def _parts(self) -> Sequence[Sheet | str]:
        unit = {"uV": "µV"}.get(self.unit, self.unit)
        head = ("contracted", *self.channels)
        shares = [
            (f"{name} ({self.repeats[row]})", *(self._cell(row, place) for place in range(len(self.channels))))
            for row, name in enumerate(self.contractions)
        ]
        levels = [
            (name, *(number(value) for value in self.over_rest_db[row])) for row, name in enumerate(self.contractions)
        ]
        matrix = [
            (name, *(number(value, 2) for value in self.matrix[row])) for row, name in enumerate(self.contractions)
        ]
        rest = ("rest", *(f"{number(value)} {unit}" for value in self.rest_rms))
        return [
            Sheet("% of each channel's own contraction, rest taken out (95 % CI over repeats)", head, shares),
            Sheet("RMS of each column over its largest", head, matrix),
            Sheet("dB over rest", head, [*levels, rest]),
            *(f"{one.channel}: {one}" for one in self.findings),
            *(() if self.findings else ("Nothing stands out.",)),
            *self.hints,
            *self.notes,
            CAUTION,
        ]

    def _cell(self, row: int, place: int) -> str:
        value, low, high = (float(x[row, place]) for x in (self.share, self.share_low, self.share_high))
        if math.isnan(value):
            return "n/a"
        if self.contractions[row] == self.channels[place]:
            return "100"
        shown = "< 5" if value < UNRESOLVED else f"{100 * value:.0f}"
        return shown if math.isnan(low) else f"{shown} ({100 * low:.0f} to {100 * high:.0f})"


def selectivity(
    recordings: Recording | Sequence[Recording],
    contractions: Any = None,
    *,
    lasting_s: float | None = None,
    processing: Processing | None = None,
    shared: bool = True,
) -> Selectivity:
    """Who hears whom: what each channel shows while one muscle after the other is contracted.

    Parameters
    ----------
    recordings : Recording or sequence of Recording
        Test contractions of one person, with the same electrodes.
    contractions : mapping, DataFrame, sequence or None
        When what was contracted. None: by markers that name it ("test FCR", "quiet FCR",
        "rest", or the details contraction and target). A mapping gives the meaning of each
        marker: ``{"A": "FCR", "B": ("quiet", "FCR"), "pause": "rest"}``. A table has the
        columns recording, target, start_s, stop_s and, where needed, kind.
        ``session.marked`` holds bursts that a person marked in the long view, each over the
        channel of the muscle that was contracted.
    lasting_s : float or None
        How long a contraction lasts whose marker does not say it, in seconds.
    processing : Processing or None
        The band; None for the defaults.
    shared : bool, default True
        Whether what arrives at 10 % or more is compared with the signal of the muscle that
        is contracted (largest correlation within ± 30 ms).

    Returns
    -------
    Selectivity

    Raises
    ------
    MarkerError
        No contraction is there, or nobody says how long one lasts.
    ParameterError
        The recordings do not go together, or a table or value is not as it must be.
    UnknownNameError
        No marker is called so.
    SignalError, RateError, UnitError
        The recordings cannot be filtered or compared.

    Warns
    -----
    SignalWarning
        Every note: contractions passed over, rest that nobody named, fewer than three
        repeats, clipped or missing samples, levels that no surface EMG has (a wrong unit).

    Notes
    -----
    S[t, c] = RMS(t, c) / max RMS(t, c) over t, with RMS in the band over the middle of each
    stretch (from 30 to 90 %), its geometric mean over repeats. ``share`` takes the power of
    rest out. Intervals: Welch's t on log RMS over repeats.

    Found are: a channel without signal or without contraction; leads that are exchanged; a
    column that is loudest in another row; an own contraction below 10 dB over rest; another
    contraction that arrives at 30 % or more; a rest above 10 µV. The limits are practitioners'
    judgement, no publication. A low correlation between channels acquits nobody. Amplitudes do
    not show whether the two electrodes of a pair are the wrong way round.

    References
    ----------
    R and R² as the share in common: Winter, Biomechanics and Motor Control of Human Movement,
    ch. 10, citing Winter, Fuglevand & Archer 1994. That correlation is no reliable measure of
    crosstalk: Farina et al. 2004, Methods Inf Med 43:30-35 (volume and pages from memory).

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "ED", "BR"]).recording
    >>> found = er.selectivity(rec)
    >>> found.findings, found.matrix.shape
    ((), (3, 3))
    """
    recs, how = recordings_of(recordings), processing_of(processing)
    asked, notes = asked_of(recs, contractions, lasting_s=lasting_s)
    labels, unit = recs[0].emg_labels, recs[0].channel(recs[0].emg_labels[0]).unit
    tests = [one for one in asked if one.kind == "test"]
    targets = sorted({one.target for one in tests}, key=lambda t: (labels.index(t) if t in labels else len(labels), t))
    rests = [one for one in asked if one.kind == "rest"]
    at_rest = stretches_of_rest(recs, asked)
    if not rests:
        notes.append(
            "Nobody said when the person rested: rest is taken from the "
            f"{len(at_rest)} gaps between contractions, and may hold activity."
            if at_rest
            else "Nobody said when the person rested, and no gap between contractions is long enough: nothing is known "
            "over rest."
        )
    found = levels_of(recs, [middle(one) for one in tests], how)
    resting = levels_of(recs, at_rest, how)
    by_target = {t: [row for row, one in enumerate(tests) if one.target == t] for t in targets}
    rest_rms = np.array([geometric(resting.rms[:, place]) for place in range(len(labels))])
    notes += [f"{rec.name}: {label}: {words}" for rec in recs for label, words in impossible(rec).items()]
    notes += _told_of(found.unfit, found.clipped, tests, labels)
    few = [f"{t} {len(by_target[t])}" for t in targets if len(by_target[t]) < LIMITS["repeats"].value]
    if few:
        notes.append(f"Fewer than three repeats, so that intervals are wide or missing: {listed(few)}.")

    level = np.array([[geometric(found.rms[by_target[t], p]) for p in range(len(labels))] for t in targets])
    level = level.reshape(len(targets), len(labels))
    columns, shares = [], np.full((3, *level.shape), np.nan)
    for place, label in enumerate(labels):
        own = found.rms[by_target.get(label, []), place]
        column = _column(label, place, own, found.rms, by_target, rest_rms[place], bool(rests), unit, level)
        reasons = [str(one) for row in by_target.get(label, []) if (one := found.unfit[row, place])]
        if column.has_own and not np.isfinite(own).any():
            column = _unfit(column, reasons)
        columns.append(column)
        for row, t in enumerate(targets):
            one = column.share.get(t, Estimate(math.nan))
            shares[:, row, place] = one.value, one.low, one.high
    findings = find(columns)
    hints = quiet_hints(recs, asked, how, labels, {one.label: one for one in columns})
    if shared:
        hints += shared_hints(recs, tests, how, {one.label: one for one in columns})
    notes = list(dict.fromkeys(notes))
    for note in notes:
        tell(note)
    return Selectivity(
        tuple(targets),
        labels,
        level,
        level / _largest(level),
        20 * np.log10(level / rest_rms),
        shares[0],
        shares[1],
        shares[2],
        rest_rms,
        tuple(len(by_target[t]) for t in targets),
        unit,
        findings,
        tuple(hints),
        tuple(notes),
        {one.label: _card(one, recs, findings) for one in columns},
    )


def _largest(level: FloatArray) -> FloatArray:
    """The largest of each column; NaN where none is known."""
    largest = np.max(np.where(np.isnan(level), -np.inf, level), axis=0, initial=-np.inf)
    return np.where(np.isfinite(largest), largest, np.nan)


def _column(
    label: str,
    place: int,
    own: FloatArray,
    rms: FloatArray,
    by_target: Mapping[str, Sequence[int]],
    rest: float,
    named_rest: bool,
    unit: str,
    level: FloatArray,
) -> Column:
    own = own[np.isfinite(own)]
    ratio = {}
    for t, rows in by_target.items():
        other = rms[list(rows), place]
        ratio[t] = Estimate(1.0, n=own.size) if t == label else geometric_ratio(other[np.isfinite(other)], own)
    mean = geometric(own)
    quiet = 0.0 if math.isnan(rest) else (rest / mean if mean > 0 else math.nan)
    share = {t: _without_rest(one, quiet, t == label) for t, one in ratio.items()} if own.size else {}
    others = [level[row, place] for row, t in enumerate(by_target) if t != label]
    quietest = min((float(one) for one in others if np.isfinite(one)), default=math.nan)
    own_db = 20 * math.log10(mean / rest) if mean > 0 and rest > 0 else math.nan
    return Column(label, label in by_target, ratio, share, own_db, rest, quietest, named_rest, "", unit)


def _without_rest(one: Estimate, quiet: float, own: bool) -> Estimate:
    """A ratio with the power of rest, ``quiet`` times the own contraction, taken out; 0 where it is all rest."""
    if own or not quiet < 1:
        return Estimate(1.0 if own else math.nan, n=one.n)

    def taken_out(ratio: float) -> float:
        return ratio if math.isnan(ratio) else math.sqrt(max(ratio**2 - quiet**2, 0.0) / (1 - quiet**2))

    return Estimate(taken_out(one.value), taken_out(one.low), taken_out(one.high), one.n)


def _unfit(column: Column, reasons: Sequence[str]) -> Column:
    why = ", ".join(dict.fromkeys(reasons)) or "its samples are missing"
    return Column(
        column.label,
        True,
        column.ratio,
        {},
        math.nan,
        column.rest,
        column.quietest,
        column.named_rest,
        why,
        column.unit,
    )


def _told_of(unfit: Any, clipped: Any, tests: Sequence[Asked], labels: Sequence[str]) -> list[str]:
    """Sentences on stretches that cannot be judged, and on clipped ones."""
    gone = [f"{labels[p]} in {tests[r].target} ({unfit[r, p]})" for r, p in np.argwhere(unfit != "")]
    out = []
    if gone:
        out.append(f"{len(gone)} stretches of channels cannot be judged and are left out: {listed(gone, 4)}.")
    if clipped.any():
        cut = dict.fromkeys(f"{labels[p]} in {tests[r].target}" for r, p in np.argwhere(clipped))
        out.append(
            f"{int(clipped.sum())} stretches of channels are clipped, and their levels too small: "
            f"{listed(list(cut), 4)}."
        )
    return out


def _card(one: Column, recs: Sequence[Recording], findings: Sequence[Finding]) -> ChannelCard:
    others = {t: e for t, e in one.share.items() if t != one.label}
    untold = [t for t, e in others.items() if _cannot_tell(e)]
    heard = [(t, e) for t, e in others.items() if e.value >= LEAST_HEARD and t not in untold]
    return ChannelCard(
        one.label,
        recs[0].channel(one.label).over,
        recs[0].entities.get("sub", ""),
        recs[0].entities.get("ses", ""),
        tuple(sorted(heard, key=lambda pair: -pair[1].value)),
        one.own_db,
        tuple(str(finding) for finding in findings if finding.channel == one.label),
        tuple(rec.name for rec in recs),
        tuple(untold),
        bool(others),
        one.has_own and not one.unfit,
    )


def _cannot_tell(share: Estimate) -> bool:
    """Whether a contraction may arrive loudly or not at all, for all that is known: not judged, or an interval from
    next to nothing to a loud neighbour's share."""
    loud = LIMITS["neighbour"].value
    low = share.value < LEAST_HEARD or (share.low <= 0 and share.value < loud)
    return math.isnan(share.value) or (low and share.high >= loud)
