"""Bursts that are not whole: why numbers of them are missing, and how they count in what the others are divided by.

reasons         why measures of bursts are missing
partial         peak and ARV of bursts as far as they were recorded, for a reference that must not lose them
ends_of         where bursts end, with an offset or without
partial_words   how such bursts count
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.measuring.answers import SEARCHED
from emgreview.measuring.missing import Reason, whose
from emgreview.measuring.rows import FloatArray
from emgreview.signal.measures import SPECTRUM_SHORTEST_S


def reasons(
    rows: pd.DataFrame,
    found: pd.DataFrame,
    *,
    windows: Mapping[str, float],
    normalise: str,
    response: str,
    unmarked: Sequence[str],
    short: Sequence[str],
    auxiliary: Mapping[str, str],
    aside: Mapping[str, NDArray[np.bool_]],
    marked: Mapping[str, NDArray[np.bool_]],
) -> list[Reason]:
    """Why measures in ``found`` of the bursts ``rows`` are missing, the first reason that holds first; without words
    where a note of its own says it, or, as of the times of a burst that is no response, the row.

    ``windows`` are the fixed stretches, prefix: length in s; ``unmarked`` recordings have no marker ``response`` at all
    and ``short`` ones too little before the cue for the creep, which others say. ``aside`` has, of fixed stretches,
    "rest_rms" and "creep_per_s", the rows (rows,) in which stretches set aside take their samples, ``marked`` of the
    last two those in which marked bursts do.
    """
    every = np.ones(len(found), dtype=bool)

    def lacks(name: str) -> NDArray[np.bool_]:
        return found[name].isna().to_numpy(dtype=bool)

    def of(which: "pd.Series[bool]") -> NDArray[np.bool_]:
        return which.to_numpy(dtype=bool, na_value=False)

    lost = {prefix: lacks(f"{prefix}_rms") | lacks(f"{prefix}_peak") for prefix in ("burst", *windows)}
    own = {prefix: [name for name in map(str, found) if name.startswith(f"{prefix}_")] for prefix in lost}
    answers = of(rows["kind"] == "response")
    onsets = {label: f"{label}_onset_s" for label in auxiliary}
    out = [
        Reason(
            ["offset_s", *own["burst"], "level_db"],
            of(rows["offset_s"].isna()),
            "bursts without an offset, because they last to the end of their trial or nobody marked one; cut longer "
            "trials, or mark the offset",
        ),
        Reason(
            [*own["burst"], "level_db"],
            lost["burst"],
            "bursts that reach beyond their trial or lack samples; cut longer trials",
        ),
    ]
    for prefix, length_s in windows.items():
        spoilt = f"a stretch set aside touches the first {1000 * length_s:g} ms, beyond the burst"
        out.append(Reason(own[prefix], aside.get(prefix, ~every), spoilt))
        words = f"bursts that begin less than {1000 * length_s:g} ms before the end of their trial, or lack samples"
        out.append(Reason(own[prefix], lost[prefix], f"{words} there; cut longer trials"))
    for prefix in lost:
        percent = [name for name in own[prefix] if name.endswith("_percent")]
        frequencies = [name for name in own[prefix] if name.endswith("_hz")]
        brief = of(found["burst_duration_s"] < SPECTRUM_SHORTEST_S) if prefix == "burst" else ~every
        at_start = of(found[f"{prefix}_time_to_peak_s"] == 0)
        out += [
            Reason(percent, every, f"{normalise} is not known: no burst of the channel counts, or all are 0"),
            Reason(frequencies, brief, f"shorter than {SPECTRUM_SHORTEST_S:g} s"),
            Reason(frequencies, every, "the signal never changes there, or by less than can be computed"),
            Reason([f"{prefix}_rise_per_s"], at_start, "the envelope is largest where the stretch begins"),
            Reason([f"{prefix}_clipped_share"], every, "the recording can no longer be read"),
        ]
    return [
        *out,
        Reason(
            ["rest_rms", "level_db"],
            aside["rest_rms"],
            "more than half of the rest window was set aside, or lies within 0.1 s of that; cut trials with a longer "
            "rest",
        ),
        Reason(
            ["creep_per_s"], aside["creep_per_s"], "a stretch set aside touches creep_s before go, or 0.1 s around it"
        ),
        Reason(
            ["rest_rms", "level_db"],
            marked["rest_rms"],
            "more than half of the rest window lies in marked bursts or stretches set aside, or within 0.1 s of one: "
            "activity is no rest; cut trials whose rest lies elsewhere",
        ),
        Reason(
            ["creep_per_s"],
            marked["creep_per_s"],
            "a burst that is marked before go touches creep_s, or 0.1 s around it; give a shorter creep_s",
        ),
        Reason(
            ["rest_rms", "level_db"],
            lacks("rest_rms"),
            "bursts whose rest window reaches beyond the trial or lacks samples; cut longer trials",
        ),
        Reason(["level_db"], of(found["rest_rms"] == 0), "the rest is 0 throughout"),
        Reason(["level_db"], of(found["burst_rms"] == 0), "the burst is 0 throughout"),
        Reason(["creep_per_s"], of(rows["recording"].isin(list(short))), ""),
        Reason(["creep_per_s"], every, "creep_s before go reaches beyond the trial, or lacks samples"),
        Reason(["reaction_s", "premotor_s", "motor_s", *onsets.values()], ~answers, ""),
        Reason(["reaction_s", "motor_s"], of(rows["recording"].isin(list(unmarked))), ""),
        Reason(["reaction_s", "motor_s"], every, f"responses without a marker {response!r} {SEARCHED}"),
        *(
            Reason([onsets[label]], every, f"the method {how!r} finds no onset there")
            for label, how in auxiliary.items()
        ),
    ]


def partial(
    x: FloatArray,
    outline: FloatArray,
    onset: FloatArray,
    offset: FloatArray,
    following: FloatArray,
    reach: int = 0,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Peak of the ``outline`` and ARV of ``x``, both (rows, samples), from ``onset`` to ``offset``, and where each row
    ends for it, (rows,) each: as far as samples are present, NaN where none is.

    A burst ends at its offset; where that is not known, ``reach`` samples before the next burst of the same trial,
    ``following`` (rows,), as the filters carry that one ahead; at the trial's end at the latest.
    """
    n = x.shape[1]
    ends = ends_of(offset, following - reach, n)
    at = np.arange(n)
    inside = (at >= onset[:, np.newaxis]) & (at < ends[:, np.newaxis])
    peak = np.where(inside & ~np.isnan(outline), outline, -np.inf).max(axis=1, initial=-np.inf)
    present = inside & ~np.isnan(x)
    count = present.sum(axis=1)
    arv = np.where(present, np.abs(x), 0.0).sum(axis=1) / np.where(count, count, np.nan)
    return np.where(np.isfinite(peak), peak, np.nan), arv, ends


def ends_of(offset: FloatArray, following: FloatArray, n: int) -> FloatArray:
    """Where bursts end, (rows,): at their ``offset``, or where it is not known at the burst ``following`` or the end
    ``n`` of the trial; never beyond that."""
    return np.minimum(np.where(np.isnan(offset), np.where(np.isnan(following), n, following), offset), n)


def partial_words(rows: pd.DataFrame, how: str, counts: "pd.Series[bool]", value: "pd.Series[float]") -> list[str]:
    """Sentences on bursts that are not whole, of which those that ``counts`` names have a part in the reference
    ``how`` with the ``value`` of what was recorded of them, NaN where that is not known."""
    out = []
    if (some := counts & value.notna()).any():
        out.append(
            f"{how} counts {int(some.sum())} bursts that are not whole by what was recorded of them, up to the next "
            f"burst or the end of their trial; cut longer trials to have all of it ({whose(rows, some.to_numpy())})."
        )
    if (none := counts & value.isna()).any():
        out.append(
            f"{how} does not count {int(none.sum())} bursts of which no sample was recorded, or that the next "
            "burst follows so soon that its envelope covers them, or whose end nobody has marked "
            f"({whose(rows, none.to_numpy())})."
        )
    return out
