"""Two channels side by side, and averages over trials.

compare_channels      one row a trial: common area, shared signal, which channel starts first
average_envelopes     averages aligned to go, onset or response
"""

import math
from collections.abc import Mapping
from typing import Literal, get_args

import numpy as np
import pandas as pd

from emgreview.errors import UnknownNameError
from emgreview.measuring.rows import FloatArray, channel_of, column, demand, numbers, places, responses, standing
from emgreview.model import Trials, to_sample
from emgreview.signal.averages import Average, aligned_average
from emgreview.signal.coactivation import Rule, common_area, onset_order
from emgreview.signal.crosstalk import chance_share, lagged_correlation, shared_words
from emgreview.tables import describe

Moment = Literal["go", "onset", "response"]


def compare_channels(
    trials: Trials,
    decisions: pd.DataFrame,
    a: str,
    b: str,
    *,
    window_s: tuple[float, float] = (0.0, 0.5),
    reference: Mapping[str, float] | None = None,
    rule: Rule = "samples",
) -> pd.DataFrame:
    """What two channels have in common in each trial, one row a trial; definitions in ``signal.coactivation``.

    Within ``window_s`` from the recorded cue: ``common_area_percent`` of the two envelopes, each divided by its
    ``reference`` (unless given, the largest value it reaches within the window in any trial); ``r``, ``r2`` and
    ``lag_s`` of the raw signals. ``onset_difference_s`` is B minus A for the accepted responses. Its interval comes
    from those of the method, so it is missing where a person has moved a mark.

    ``table.attrs["notes"]`` says in words what the shared signal means, and what it does not.
    """
    columns = [channel_of(trials, label) for label in (a, b)]
    start, stop = (trials.before + to_sample(edge, trials.rate_hz) for edge in window_s)
    demand(0 <= start < stop <= len(trials.time_s), "window_s", window_s, "a rising pair of seconds inside the trials")
    raw = [np.asarray(trials.data[:, column, start:stop], float) for column in columns]
    outlines = [np.asarray(trials.envelope[:, column, start:stop], float) for column in columns]
    own = {label: float(np.nanmax(part, initial=0.0)) for label, part in zip((a, b), outlines, strict=True)}
    own |= dict(reference or {})
    demand(own[a] > 0 and own[b] > 0, "reference", {k: own[k] for k in (a, b)}, "values above 0 for both channels")
    shared = lagged_correlation(raw[0], raw[1], trials.rate_hz)
    rows, _ = standing([trials], decisions)
    rows = rows[rows["kind"] == "response"]
    times = [_onsets(trials, rows[rows["channel"] == label]) for label in (a, b)]
    (a_s, *a_interval), (b_s, *b_interval) = times
    order = onset_order(
        a_s, b_s, a_interval_s=(a_interval[0], a_interval[1]), b_interval_s=(b_interval[0], b_interval[1])
    )
    table = pd.DataFrame(
        {
            "recording": trials.recording.name,
            "trial": trials.ids,
            "common_area_percent": common_area(outlines[0] / own[a], outlines[1] / own[b], rule=rule),
            "r": shared.r,
            "r2": shared.r2,
            "lag_s": shared.lag_s,
            "onset_difference_s": order.difference_s,
            "onset_difference_low_s": order.low_s,
            "onset_difference_high_s": order.high_s,
            "first": [{"A": a, "B": b}.get(word, word) for word in order.first],
        }
    )
    chance = chance_share(raw[0], raw[1], trials.rate_hz) if len(trials) > 1 else math.nan
    typical, lag_s = (float(np.nanmedian(v)) if np.isfinite(v).any() else math.nan for v in (shared.r2, shared.lag_s))
    table.attrs["notes"] = [f"Median of {len(trials)} trials: {shared_words(a, b, typical, lag_s, chance)}"]
    divided = "; ".join(f"{label} divided by {own[label]:.4g}" for label in (a, b))
    how = "given" if reference else "largest value in the window of these trials (peak in task)"
    table.attrs["columns"] = describe(table[["recording", "trial"]]) | {
        "common_area_percent": column(
            "number", "%", f"Common area over mean area (Winter eq. 6.13), rule: {rule}; {divided}: {how}"
        ),
        "r": column("number", "", "Largest correlation of the band-passed signals within ±30 ms, with its sign"),
        "r2": column("number", "", "Its square: share of power in common; a caution, never an acquittal"),
        "lag_s": column("number", "s", f"Its lag, positive where {b} is later"),
        "onset_difference_s": column("number", "s", f"Onset of {b} minus onset of {a}"),
        "onset_difference_low_s": column(
            "number", "s", "Start of its 90 % interval, if the two errors are independent"
        ),
        "onset_difference_high_s": column("number", "s", "End of its 90 % interval, if the two errors are independent"),
        "first": column("text", "", "The earlier channel, as far as the interval can tell"),
    }
    return table


def _onsets(trials: Trials, rows: pd.DataFrame) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Onset of each trial with its interval, seconds from the first sample of the trial; (trials,)."""
    mine = rows.drop_duplicates("trial")
    trial, start = places(trials, mine)
    cue_s = (numbers(mine["cue_sample"]) - start) / trials.rate_hz
    kept = (mine["origin"] == "automatic").to_numpy(dtype=bool, na_value=False)
    out = np.full((3, len(trials)), np.nan)
    out[0, trial] = numbers(mine["onset_s"]) + cue_s
    for row, name in ((1, "automatic_low_s"), (2, "automatic_high_s")):
        out[row, trial] = np.where(kept, numbers(mine[name]), np.nan) + cue_s
    return out[0], out[1], out[2]


def average_envelopes(
    trials: Trials,
    decisions: pd.DataFrame,
    *,
    to: Moment,
    before_s: float,
    after_s: float,
    response: str = "response",
) -> dict[str, Average]:
    """Mean envelope of every channel, aligned to go, to the accepted onset of that channel, or to the response marker.

    The trials with an accepted response burst in the channel take part, whatever the alignment, so that the averages
    compare; those without a response marker drop out of the last. Unusable signals take no part. ``n`` says how many
    stand behind each sample.
    """
    demand(to in get_args(Moment), "to", to, "'go', 'onset' or 'response'")
    rows, _ = standing([trials], decisions)
    rows = rows[(rows["kind"] == "response") & (rows["signal"] != "unusable")]
    if to == "response" and not any(marker.label == response for marker in trials.recording.markers):
        raise UnknownNameError("marker", response, sorted({marker.label for marker in trials.recording.markers}))
    out = {}
    for place, label in enumerate(trials.labels):
        mine = rows[rows["channel"] == label].drop_duplicates("trial")
        trial, start = places(trials, mine)
        cue = numbers(mine["cue_sample"])
        if to == "response":
            moment = responses(trials, trial, cue, response, 0.0)
        else:
            moment = cue if to == "go" else numbers(mine["onset_sample"])
        at = np.full(len(trials), np.nan)
        at[trial] = moment - start
        y = trials.envelope[:, place]
        out[label] = aligned_average(y, at, trials.rate_hz, before_s=before_s, after_s=after_s)
    return out
