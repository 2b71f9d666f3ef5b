"""What a method could not have seen: the detection floor of a channel, from that person's own bursts and rest.

detection_floor     the smallest burst that would have been found; definitions in ``signal.floor``
"""

from typing import Any

import numpy as np
import pandas as pd

from emgreview.measuring.rows import channel_of, numbers, places, standing
from emgreview.model import Trials, to_sample
from emgreview.signal import measures
from emgreview.signal.floor import Floor, find_floor
from emgreview.signal.onset import estimate_onsets


def detection_floor(
    trials: Trials,
    channel: str,
    *,
    decisions: pd.DataFrame | None = None,
    method: str = "ramp",
    share: float = 0.95,
    injections: int = 200,
    seed: int = 0,
    **parameters: Any,
) -> Floor:
    """The smallest burst that ``method`` finds in ``share`` of trials of this recording and channel; ``signal.floor``.

    Rest is the rest window of each trial, but for trials where the default method calls it active, flat or missing.
    Bursts are the stronger half of the accepted responses in ``decisions`` (unusable signals left out), or, without
    such a table, of those the default method finds.
    """
    column = channel_of(trials, channel)
    x = np.asarray(trials.data[:, column], float)
    rate_hz, cue_s, rest_s = trials.rate_hz, trials.before / trials.rate_hz, trials.processing.rest_s
    seen = estimate_onsets(x, rate_hz, cue_s=cue_s, rest_s=rest_s)
    quiet = ~np.isin(seen.baseline_note, ["missing", "flat", "active before the cue"])
    early, late = (trials.before + to_sample(edge, rate_hz) for edge in rest_s)
    if decisions is None:
        trial = np.flatnonzero(np.isfinite(seen.offset_s))
        onset, offset = (np.round(part[trial] * rate_hz) for part in (seen.onset_s, seen.offset_s))
    else:
        rows, _ = standing([trials], decisions)
        rows = rows[(rows["channel"] == channel) & (rows["kind"] == "response")]
        rows = rows[(rows["signal"] != "unusable") & rows["offset_sample"].notna()]
        trial, start = places(trials, rows)
        onset, offset = numbers(rows["onset_sample"]) - start, numbers(rows["offset_sample"]) - start
    parts, whole = measures.stretches(x[trial], onset, offset)
    level = measures.rms(parts[whole])
    strong = parts[whole][level >= np.median(level)] if whole.any() else parts[:0]
    bursts = [row[~np.isnan(row)] for row in strong]
    return find_floor(
        x[quiet, early:late],
        bursts,
        rate_hz,
        method=method,
        share=share,
        injections=injections,
        seed=seed,
        **parameters,
    )
