"""Maximal efforts: the best half second of each, and the level that amplitudes are divided by.

    maximal_efforts     from recordings with efforts
    MaximalEfforts      what it returns
    LIMITS              when efforts are told as too few, rising, far below the best, hardly above rest, too close

The reference is the RMS in the band in the best window of 0.5 s of all efforts of a channel (common practice, no
source). How efforts are instructed and supervised is nobody's matter but that of a trained person: see CAUTION.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.conditioning import condition
from emgreview.contractions.asked import Asked, asked_of
from emgreview.contractions.findings import Limit
from emgreview.contractions.hints import geometric
from emgreview.contractions.levels import levels_of, processing_of, recordings_of, stretches_of_rest
from emgreview.errors import MarkerError, tell
from emgreview.model import FloatArray, Processing, Recording, to_sample
from emgreview.showing import Sheet, Shown, number
from emgreview.signal.clip import at_rail
from emgreview.signal.unfit import unfit

WINDOW_S = 0.5
CAUTION = (
    "Caution: maximal efforts can hurt. They stop on pain; where there is doubt about heart, blood pressure, joints, "
    "muscles or recent surgery, medical advice comes first; they are instructed and supervised by a trained person, "
    "under the rules of the place. This page describes what was recorded and asks nobody for an effort. For research; "
    "not a medical device."
)
LIMITS: Mapping[str, Limit] = MappingProxyType(
    {
        "efforts": Limit(3, "at least three efforts; common practice, no source"),
        "rising": Limit(1.10, "times the best of the efforts before; practitioners' judgement, no publication"),
        "below": Limit(0.70, "of the best effort; practitioners' judgement, no publication"),
        "over_rest_db": Limit(20.0, "dB of the best effort over rest; our own choice, no source"),
        "rest_s": Limit(30.0, "from one effort to the next; practitioners' judgement, no publication"),
    }
)


@dataclass(frozen=True, eq=False, repr=False)
class MaximalEfforts(Shown):
    """Maximal efforts of one person; :func:`emgreview.maximal_efforts` makes it.

    Attributes
    ----------
    reference : mapping of str to float
        The best window's RMS of each channel, in ``unit``: give it to
        ``er.measure(…, normalise="isometric maximum", reference=…)``.
    table : DataFrame
        One row an effort: recording, channel, effort, start_s, rms, best_at_s (from the
        first sample of the recording), clipped.
    unit : str
        Unit of the levels.
    findings : tuple of str
        What to know before anything is divided by it.
    notes : tuple of str
        What was passed over or is missing.
    """

    reference: Mapping[str, float]
    table: pd.DataFrame
    unit: str
    findings: tuple[str, ...]
    notes: tuple[str, ...]

    def _parts(self) -> Sequence[Sheet | str]:
        unit = {"uV": "µV"}.get(self.unit, self.unit)
        rows = []
        for label, value in self.reference.items():
            mine = self.table[self.table["channel"] == label]["rms"]
            rows.append((label, str(len(mine)), number(value), ", ".join(number(one) for one in mine)))
        columns = ("channel", "efforts", f"reference ({unit})", f"best {WINDOW_S:g} s of each ({unit})")
        return [Sheet("Maximal efforts", columns, rows), *self.findings, *self.notes, CAUTION]


def maximal_efforts(
    recordings: Recording | Sequence[Recording],
    contractions: Any = None,
    *,
    lasting_s: float | None = None,
    window_s: float = WINDOW_S,
    processing: Processing | None = None,
) -> MaximalEfforts:
    """The level of each channel in the best half second of its maximal efforts.

    Parameters
    ----------
    recordings : Recording or sequence of Recording
        Recordings of one person, with the same electrodes.
    contractions : mapping, DataFrame, sequence or None
        When an effort was made, as for :func:`emgreview.selectivity`; those of kind
        "maximal" count.
    lasting_s : float or None
        How long an effort lasts whose marker does not say it, in seconds.
    window_s : float, default 0.5
        Length of the window, in seconds.
    processing : Processing or None
        The band; None for the defaults. Amplitudes to be divided must come of the same.

    Returns
    -------
    MaximalEfforts

    Raises
    ------
    MarkerError
        No maximal effort is there, or nobody says how long one lasts.
    ParameterError
        The recordings do not go together, or a table or value is not as it must be.
    UnknownNameError
        No marker is called so.
    SignalError, RateError, UnitError
        The recordings cannot be filtered or compared.

    Warns
    -----
    SignalWarning
        Every finding and note: fewer than three efforts, efforts that still rise or lie far
        below the best or hardly above rest, less than half a minute between two, a clipped best
        window.

    Notes
    -----
    This describes efforts that were made. Whether anybody makes one is decided by a trained
    person who supervises it: it stops on pain, and medical advice comes first where there is
    doubt.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate_contractions(1000, seed=1, muscles=["FDI", "ADM"], maximal=3)
    >>> found = er.maximal_efforts(sim.recording)
    >>> sorted(found.reference), found.findings
    (['ADM', 'FDI'], ())
    """
    recs, how = recordings_of(recordings), processing_of(processing)
    window_s = checks.number("window_s", window_s, least=0.05, most=5, unit="s")
    asked, notes = asked_of(recs, contractions, lasting_s=lasting_s)
    labels, unit = recs[0].emg_labels, recs[0].channel(recs[0].emg_labels[0]).unit
    efforts = [one for one in asked if one.kind == "maximal" and one.target in labels]
    if not efforts:
        raise MarkerError(
            f"no maximal effort of a channel was found among {len(asked)} contractions and rests; allowed: markers "
            "called 'maximal FCR', or kind 'maximal' in a table; name those that were."
        )
    rows = [_best(recs, one, how, window_s) for one in efforts]
    table = pd.DataFrame(rows).sort_values(["channel", "recording", "start_s"], kind="stable").reset_index(drop=True)
    table.insert(2, "effort", table.groupby("channel").cumcount() + 1)
    reference, findings = {}, []
    at_rest = levels_of(recs, stretches_of_rest(recs, asked), how).rms
    for label in labels:
        mine = table[table["channel"] == label]
        if not len(mine):
            continue
        values = mine["rms"].to_numpy(dtype=np.float64)
        best = float(np.nanmax(values)) if np.isfinite(values).any() else math.nan
        reference[label] = best
        findings += _findings(label, mine, values, best, window_s)
        over_db = 20 * math.log10(best / rest) if (rest := geometric(at_rest[:, labels.index(label)])) > 0 else math.nan
        if over_db < LIMITS["over_rest_db"].value:
            findings.append(
                f"{label}: the best effort stands {over_db:.1f} dB over rest; below "
                f"{LIMITS['over_rest_db'].value:g} dB that is little: look at site, lead and effort."
            )
    if without := [label for label in labels if label not in reference]:
        notes.append(f"No maximal effort of {', '.join(without)}.")
    for said in (*findings, *notes):
        tell(said)
    return MaximalEfforts(MappingProxyType(reference), table, unit, tuple(findings), tuple(dict.fromkeys(notes)))


def _best(recs: Sequence[Recording], one: Asked, how: Processing, window_s: float) -> dict[str, Any]:
    """The best window of one effort in its own channel; NaN where the effort is shorter, or cannot be judged."""
    rec = recs[one.place]
    raw = rec.values(one.start, one.stop, [one.target])[0]
    x = condition(rec, one.start, one.stop, channels=[one.target], processing=how)[0][0]
    n = to_sample(window_s, rec.rate_hz)
    row = {"recording": rec.name, "channel": one.target, "start_s": one.start / rec.rate_hz}
    level, at, clipped = math.nan, math.nan, False
    if x.size >= n and not unfit(raw, x, rec.rate_hz, unit=rec.channel(one.target).unit)[0]:
        level, first = best_window(x, n)
        if first >= 0:
            at, clipped = (one.start + first) / rec.rate_hz, bool(at_rail(raw)[first : first + n].any())
    return row | {"rms": level, "best_at_s": at, "clipped": clipped}


def best_window(x: FloatArray, n: int) -> tuple[float, int]:
    """RMS of the loudest ``n`` samples in a row of x (samples,), and where they begin; (NaN, -1) if none is whole."""
    means = np.convolve(np.square(x), np.full(n, 1 / n), mode="valid") if np.isfinite(x).all() else _with_gaps(x, n)
    if not np.isfinite(means).any():
        return math.nan, -1
    first = int(np.nanargmax(means))
    return float(np.sqrt(np.mean(np.square(x[first : first + n])))), first


def _with_gaps(x: FloatArray, n: int) -> FloatArray:
    """Mean squares of ``n`` samples in a row, NaN where one is missing."""
    return np.asarray(np.square(np.lib.stride_tricks.sliding_window_view(x, n)).mean(axis=-1))


def _findings(label: str, mine: pd.DataFrame, values: FloatArray, best: float, window_s: float) -> list[str]:
    out = []
    good = values[np.isfinite(values)]
    if lost := len(values) - len(good):
        out.append(f"{label}: {lost} of {len(values)} efforts cannot be judged, or are shorter than {window_s:g} s.")
    if len(good) < LIMITS["efforts"].value:
        out.append(
            f"{label}: {len(good)} efforts; with fewer than {LIMITS['efforts'].value:g} nobody knows whether the best "
            "is the most there is."
        )
    if len(good) > 1 and good[-1] > LIMITS["rising"].value * good[:-1].max():
        out.append(
            f"{label}: efforts still rise: the last is {100 * (good[-1] / good[:-1].max() - 1):.0f} % above the best "
            "before it, so the reference may be too low."
        )
    if low := int((good < LIMITS["below"].value * best).sum()):
        out.append(
            f"{label}: {low} of {len(good)} efforts lie below {100 * LIMITS['below'].value:.0f} % of the best "
            f"({100 * good.min() / best:.0f} % the lowest): not maximal, or the best is no muscle: look at it."
        )
    begun = zip(mine["recording"], mine["start_s"].to_numpy(dtype=np.float64), strict=True)
    between = [b - a for (one, a), (other, b) in pairwise(begun) if one == other]
    near = [apart for apart in between if apart < LIMITS["rest_s"].value]
    if near:
        out.append(
            f"{label}: {min(near):.3g} s from the start of one effort to that of the next; below "
            f"{LIMITS['rest_s'].value:g} s a muscle may not have recovered."
        )
    if (best_rows := mine[mine["rms"] == best])["clipped"].any() and len(best_rows):
        out.append(f"{label}: the best window is clipped, so the reference is too low by what was cut.")
    return out
