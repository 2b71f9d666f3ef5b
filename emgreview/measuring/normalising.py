"""What amplitudes are divided by, to compare them between channels and people.

NORMALISATIONS      the published ways to make amplitudes comparable
normalised          amplitudes in per cent
reach_back          how far the next burst reaches back into one without an offset
"""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import UnknownNameError
from emgreview.measuring.burst_columns import CLIPPED
from emgreview.measuring.rows import Described, column, ruled_out
from emgreview.measuring.stretches import NEAR_S
from emgreview.measuring.unmeasured import partial_words
from emgreview.model import Trials, to_sample
from emgreview.reading.settled import listed
from emgreview.signal import filters
from emgreview.signal.envelope import rms_half_window

NORMALISATIONS: Mapping[str, str] = MappingProxyType(
    {
        "none": "not normalised",
        "task maximum": "maximal contraction in the task itself",
        "isometric maximum": "maximal voluntary isometric contraction",
        "submaximal": "standardised submaximal contraction",
        "peak in task": "largest burst peak of this recording and channel, as far as recorded",
        "mean in task": "mean ARV of the bursts of this recording and channel, as far as recorded",
        "maximal M wave": "maximal compound potential of the nerve (M wave)",
    }
)
"""Name: what it divides by. Options of the consensus matrix on normalisation (Besomi et al. 2020, J Electromyogr
Kinesiol), peak and mean in task apart."""

IN_TASK = {"peak in task": "burst_peak", "mean in task": "burst_arv"}

PARTED = ("burst_peak", "burst_arv", CLIPPED)

LEAKED = 0.001
"""What of a burst its envelope may still carry so far ahead: 3 % of one that it is 30 times as strong as."""


def reach_back(part: Trials) -> int:
    """Samples before the onset of a burst from which on band-pass and envelope carry it: a burst without an offset is
    measured up to there, for the peak of what follows would else be its own. 0 where the filters are causal."""
    how = part.processing
    if how.direction == "causal":
        return 0
    if how.envelope == "rms":
        return to_sample(NEAR_S, part.rate_hz) + rms_half_window(part.rate_hz, how.envelope_window_s)
    sos = filters.design_lowpass(
        part.rate_hz, corner_hz=how.envelope_hz, order=how.envelope_order, direction=how.direction
    )
    return to_sample(NEAR_S, part.rate_hz) + filters.settling_samples(sos, remaining=LEAKED)


def normalised(
    parts: Sequence[Trials],
    rows: pd.DataFrame,
    found: pd.DataFrame,
    part_of: pd.DataFrame,
    names: Sequence[str],
    how: str,
    reference: Mapping[Any, float] | None,
) -> tuple[pd.DataFrame, Described, list[str]]:
    """Amplitudes ``names`` in per cent of a reference, for each (recording, channel), and sentences on what that rests
    on. ``part_of`` has peak and ARV of what was recorded of each burst."""
    pairs = list(zip(rows["recording"], rows["channel"], strict=True))
    notes: list[str] = []
    if how in IN_TASK:
        demand(reference is None, "reference", reference, f"None with {how!r}, which comes from the bursts themselves")
        counts = (rows["signal"] != "unusable") & ~ruled_out(rows)
        if "set_aside" in rows:
            counts &= ~rows["set_aside"].fillna(False).astype(bool)
        counts = counts.fillna(True).astype(bool)
        name = IN_TASK[how]
        parted = part_of[name]
        if how == "mean in task":
            parted = parted.mask((rows["origin"] == "added").fillna(False).astype(bool) & rows["offset_s"].isna())
        notes += partial_words(rows, how, counts & found[name].isna(), parted)
        value = found[name].fillna(parted).where(counts)
        whose = [rows[one].fillna("") for one in ("reviewer", "recording", "channel") if one in rows]
        groups = value.groupby(whose)
        own = groups.transform("max" if name == "burst_peak" else "mean")
    else:
        good = reference is None or isinstance(reference, Mapping)
        demand(good, "reference", reference, f"a mapping with a value for {how!r} for every channel")
        given = {
            name: checks.number(f"reference of {name!r}", value, above=0, unit="in the trials' unit")
            for name, value in (reference or {}).items()
        }
        known: set[Any] = {label for part in parts for label in part.labels}
        known |= {(part.recording.name, label) for part in parts for label in part.labels}
        for strange in (name for name in given if name not in known):
            raise UnknownNameError(
                "channel, or (recording, channel), of the reference", strange, sorted(known, key=str)
            )
        lacking = sorted({f"{one} {label}" for one, label in pairs if (one, label) not in given and label not in given})
        came = ", ".join(map(str, given)) or None
        words = f"a value for {how!r} for every channel; {listed(lacking, 3)} lack one"
        demand(not lacking, "reference", came, words)
        values = [given[pair] if pair in given else given[pair[1]] for pair in pairs]
        own = pd.Series(values, index=rows.index, dtype=np.float64)
    table = pd.DataFrame({f"{name}_percent": 100 * found[name] / own.where(own > 0) for name in names})
    words = f"in per cent of: {how} ({NORMALISATIONS[how]})"
    return table, {f"{name}_percent": column("number", "%", f"{name}, {words}") for name in names}, notes
