"""Why numbers of bursts are missing, in sentences: nobody sees a NaN in a long table, and a mean passes over it.

What a row says itself needs no sentence: reaction times of a burst that is no response (``kind``), frequencies of one
below 0.1 s (``burst_duration_s``), the rise of one whose peak is its first sample (``time_to_peak_s`` is 0).

    why_missing     of a table of measures
    partial         peak and ARV of bursts as far as they were recorded, for a reference that must not lose them
    partial_words   how such bursts count
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from emgreview.measuring.rows import FloatArray, IntArray
from emgreview.signal.measures import SPECTRUM_SHORTEST_S


def why_missing(
    rows: pd.DataFrame,
    found: pd.DataFrame,
    *,
    windows: Mapping[str, float],
    response: str,
    unmarked: Sequence[str],
    short: Sequence[str],
    auxiliary: Mapping[str, str],
) -> list[str]:
    """A sentence for each reason why measures in ``found`` are missing, with how many of the bursts ``rows``, and of
    which channel and recording.

    ``windows`` are the fixed stretches, prefix: length in s; ``unmarked`` recordings have no marker ``response`` at
    all and ``short`` ones too little before the cue for the creep, which others say.
    """
    out: list[str] = []

    def told(which: "pd.Series[bool]", words: str) -> None:
        if which.any():
            out.append(words.format(n=int(which.sum())) + f" ({whose(rows, which)}).")

    endless = rows["offset_s"].isna()
    lost = {prefix: found[[f"{prefix}_rms", f"{prefix}_peak"]].isna().any(axis=1) for prefix in ("burst", *windows)}
    told(
        endless,
        "{n} bursts have no offset, because they last to the end of their trial or nobody marked one: what is measured "
        "over the burst, and level_db, is missing there; cut longer trials, or mark the offset",
    )
    if broken := int((lost["burst"] & ~endless).sum()):
        out.append(
            f"{broken} bursts reach beyond their trial or lack samples, and are not measured; cut longer trials "
            f"({whose(rows, lost['burst'] & ~endless)})."
        )
    for prefix, length_s in windows.items():
        told(
            lost[prefix],
            f"{prefix}_… is missing for {{n}} bursts that begin less than {1000 * length_s:g} ms before the end of "
            "their trial, or lack samples there; cut longer trials",
        )
    still = pd.Series(False, index=rows.index)
    for prefix in lost:
        if f"{prefix}_mean_hz" in found:
            long = found["burst_duration_s"] >= SPECTRUM_SHORTEST_S if prefix == "burst" else True
            still |= found[[f"{prefix}_mean_hz", f"{prefix}_median_hz"]].isna().any(axis=1) & ~lost[prefix] & long
    told(still, "mean_hz and median_hz are missing for {n} bursts in which the signal never changes")
    told(
        found["rest_rms"].isna(),
        "rest_rms and level_db are missing for {n} bursts whose rest window reaches beyond the trial or lacks samples; "
        "cut longer trials",
    )
    told(
        found["level_db"].isna() & found["rest_rms"].notna() & found["burst_rms"].notna(),
        "level_db is missing for {n} bursts whose rest is 0 throughout",
    )
    told(
        found["creep_per_s"].isna() & ~rows["recording"].isin(list(short)),
        "creep_per_s is missing for {n} bursts whose last stretch before go reaches beyond the trial or lacks samples",
    )
    answers = (rows["kind"] == "response").fillna(False).astype(bool)
    told(
        answers & found["motor_s"].isna() & ~rows["recording"].isin(list(unmarked)),
        f"reaction_s and motor_s are missing for {{n}} responses without a marker {response!r} before the next cue",
    )
    for label, how in auxiliary.items():
        told(
            answers & found[f"{label}_onset_s"].isna(),
            f"{label}_onset_s is missing for {{n}} responses, in whose trials the method {how!r} finds no onset",
        )
    return out


def whose(rows: pd.DataFrame, which: "pd.Series[bool]") -> str:
    """How many of some rows each channel of each recording has, in words."""
    counts = rows[which].groupby(["recording", "channel"]).size()
    pairs = zip(counts.index.tolist(), counts, strict=True)
    return ", ".join(f"{channel} of {name} {count}" for (name, channel), count in pairs)


def partial(
    x: FloatArray, outline: FloatArray, trial: IntArray, onset: FloatArray, offset: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Peak of the ``outline`` and ARV of ``x``, both (rows, samples), from ``onset`` to ``offset``, and where each row
    ends for it, (rows,) each: as far as samples are present, NaN where none is.

    A burst ends at its offset; where that is not known or lies beyond the trial, at the next burst of the same trial or
    at the trial's end. ``trial`` (rows,) says which rows share one.
    """
    n = x.shape[1]
    later = (trial[:, np.newaxis] == trial) & (onset > onset[:, np.newaxis])
    following = np.where(later, onset, n).min(axis=1, initial=n)
    ends = np.minimum(np.where(np.isnan(offset), following, offset), n)
    at = np.arange(n)
    inside = (at >= onset[:, np.newaxis]) & (at < ends[:, np.newaxis])
    peak = np.where(inside & ~np.isnan(outline), outline, -np.inf).max(axis=1, initial=-np.inf)
    present = inside & ~np.isnan(x)
    count = present.sum(axis=1)
    arv = np.where(present, np.abs(x), 0.0).sum(axis=1) / np.where(count, count, np.nan)
    return np.where(np.isfinite(peak), peak, np.nan), arv, ends


def partial_words(rows: pd.DataFrame, how: str, counts: "pd.Series[bool]", value: "pd.Series[float]") -> list[str]:
    """Sentences on bursts that are not whole, of which those that ``counts`` names have a part in the reference
    ``how`` with the ``value`` of what was recorded of them, NaN where that is not known."""
    out = []
    if (some := counts & value.notna()).any():
        out.append(
            f"{how} counts {int(some.sum())} bursts that are not whole by what was recorded of them, up to the next "
            f"burst or the end of their trial; cut longer trials to have all of it ({whose(rows, some)})."
        )
    if (none := counts & value.isna()).any():
        out.append(
            f"{how} does not count {int(none.sum())} bursts of which no sample was recorded, or whose end nobody has "
            f"marked ({whose(rows, none)})."
        )
    return out
