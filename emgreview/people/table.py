"""The table of everybody: one row a person, session and channel.

    COLUMNS         its columns, with unit and meaning
    table_of        the table

Shares are from 0 to 1; NaN is what could not be measured, or was not asked for.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview.cohort.agreement import Agreement
from emgreview.intervals import wilson
from emgreview.people.cues import expected
from emgreview.people.features import drift, median, median_frequency, spread
from emgreview.people.person import Person
from emgreview.people.reviewed import agreed
from emgreview.people.rules import Flag

COLUMNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "participant": ("", "Participant; the recording's name where it names none"),
        "session": ("", "Session, empty where there is none"),
        "channel": ("", "Channel"),
        "recordings": ("", "Recordings of the session that have the channel"),
        "cues": ("", "Cues that were cut, of these recordings"),
        "cues_expected": ("", "Cues that were expected of these, or that most recordings have of each"),
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


def table_of(
    people: Sequence[Person], flags: Sequence[Flag], *, expect: int | None, marks: str, agreement: Agreement | None
) -> pd.DataFrame:
    usual = expected([rec for one in people for rec in one.recordings], expect)
    rows = [row for one in people for row in _rows(one, flags, usual, marks)]
    between = {} if agreement is None else agreed(agreement, people)
    for row in rows:
        found = between.get((row["participant"], row["session"], row["channel"]), (math.nan, math.nan))
        row["agreement"], row["agreement_within_20_ms"] = found
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows(one: Person, flags: Sequence[Flag], usual: Mapping[str, int | None], marks: str) -> Iterator[dict[str, Any]]:
    mine = [flag for flag in flags if (flag.participant, flag.session) == (one.participant, one.session)]
    frequency = median_frequency(one.weighted("spectra")[1])
    alike = one.weighted("alike")
    drifts = np.exp(drift(one.rest))
    there, fit = one.there, one.usable
    for place, label in enumerate(one.labels):
        own = [rec for rec in one.recordings if label in rec.labels]
        has, usable, none = there[place], fit[place], np.isnan(one.onset_s[place])
        meant = [usual[rec.name] for rec in own]
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
            "cues": int(has.sum()),
            "cues_expected": math.nan if None in meant else sum(number for number in meant if number is not None),
            "marks": marks,
            "unreviewed_share": float(np.mean(~one.reviewed[place][has])),
            "none_share": float(np.mean(none[usable])) if usable.any() else math.nan,
            "unusable_share": float(np.mean(one.signal[place][has] == 2)),
            "caution_share": float(np.mean(one.signal[place][has] == 1)),
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
