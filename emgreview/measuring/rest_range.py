"""Whether activity of a trial exceeds the rest: rows of one channel, and the person's own rest range.

demand_long_enough  is a window long enough for its baseline to say anything
of_channel          baseline, response and level of each trial of a channel, and the pairs of its rest range
limits_of           rest ranges by participant, channel and posture
few_pairs           sentences on rest ranges that rest on little
reasons_of          why numbers are missing
described_in        what the columns mean
ENOUGH, FEWEST      how many pairs a percentile needs
"""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview.checks import demand
from emgreview.errors import ParameterError
from emgreview.measuring.aside import Aside
from emgreview.measuring.ground import Ground
from emgreview.measuring.marked import MarkedBursts
from emgreview.measuring.missing import Reason
from emgreview.measuring.rests import untouched
from emgreview.measuring.rows import FloatArray, column, kept_out, numbers, said_of
from emgreview.measuring.stretches import NEAR_S
from emgreview.model import Trials, to_sample
from emgreview.signal import measures

ENOUGH: Mapping[int, int] = MappingProxyType({95: 60, 99: 300})
"""Pairs of baseline windows from which on a percentile is taken without a word (practitioners' judgement, no
publication)."""
FEWEST: Mapping[int, int] = MappingProxyType({95: 20, 99: 100})
"""With fewer, the percentile is beyond the largest value, and no share is given."""
MOST_CV = 0.10
"""A baseline whose RMS varies by more than this from chance alone is refused (our own choice, no source)."""


def demand_long_enough(part: Trials, window_s: tuple[float, float]) -> float:
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
            f"{100 * cv:.2g} % from chance alone (1 / sqrt(4 B T), band of {width_hz:g} Hz); allowed: "
            f"{100 * MOST_CV:g} % at most, a window of {1000 * least_s:.3g} ms or more; give a longer one."
        )
    return cv


def of_channel(
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
            f"In {int(clipped.sum())} trials {label} of {part.recording.name} is clipped in the window: its level is "
            "too low there, and still counts."
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


def limits_of(pairs: pd.DataFrame, percentile: int) -> Limits:
    """Rest range and number of pairs of each participant, channel and posture."""
    out = _Missing()
    for (whose, channel, posture), mine in pairs.groupby(["participant", "channel", "posture"]):
        values = mine["level_db"].dropna().to_numpy(dtype=np.float64)
        enough = len(values) >= FEWEST[percentile]
        limit_db = float(np.quantile(values, percentile / 100)) if enough else math.nan
        out[str(whose), str(channel), str(posture)] = limit_db, len(values)
    return out


class _Missing(Limits):
    """Limits; NaN and 0 pairs where there is none."""

    def __missing__(self, key: tuple[str, str, str]) -> tuple[float, int]:
        return math.nan, 0


def few_pairs(limits: Limits, percentile: int) -> list[str]:
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
                f"Rest ranges rest on few pairs of baseline windows, {words}: {told}. Cut longer trials before the "
                "cue, take a shorter window, or more trials."
            )
    return out


def reasons_of(every: pd.DataFrame) -> list[Reason]:
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


def described_in(unit: str) -> dict[str, dict[str, str]]:
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
