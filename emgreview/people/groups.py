"""The result with everybody and without some people: what deciding about them would change.

    with_and_without    medians over people of each measure, both ways

A median over people of each person's own median; conditions are not looked at.
"""

import math
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from emgreview.model import FloatArray

MEASURES = {
    "onset_median_s": "s",
    "duration_median_s": "s",
    "motor_time_median_s": "s",
    "level_median_db": "dB",
    "rest_median": "unit",
    "size_median": "unit",
    "none_share": "",
    "frequency_median_hz": "Hz",
}
"""Columns of the table of everybody whose medians over people are shown, with their units."""


def with_and_without(table: pd.DataFrame, participants: Collection[str]) -> pd.DataFrame:
    """One row a channel and measure: people, median and quartiles with everybody and without ``participants``, and the
    difference of the medians."""
    rows = []
    out = table["participant"].isin(list(participants)).to_numpy(dtype=bool)
    for channel, mine in table.groupby("channel", sort=False):
        left = out[mine.index.to_numpy()]
        for name, unit in MEASURES.items():
            values = mine[name].to_numpy(dtype=np.float64)
            with_all, without = _of(values), _of(values[~left])
            row: dict[str, Any] = {"channel": channel, "measure": name, "unit": unit}
            row |= {f"{what}_with": value for what, value in with_all.items()}
            row |= {f"{what}_without": value for what, value in without.items()}
            row["difference"] = without["median"] - with_all["median"]
            rows.append(row)
    return pd.DataFrame(rows)


def _of(values: FloatArray) -> dict[str, float]:
    """Number, median and quartiles of those that are not missing."""
    present = values[np.isfinite(values)]
    low, middle, high = np.quantile(present, [0.25, 0.5, 0.75]).tolist() if present.size else [math.nan] * 3
    return {"people": present.size, "median": middle, "low": low, "high": high}
