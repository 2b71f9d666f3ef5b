"""Why numbers of a table are missing, in a sentence: no NaN stands there without a reason that somebody can read.

missing_words       one sentence on all numbers that are missing
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.reading.settled import listed

UNKNOWN = "the samples do not give it: missing, or all alike, or outside what can be computed"
"""The reason where no other one is given."""


class Reason(NamedTuple):
    """Numbers of some columns are missing in some rows, (rows,), for a reason in words."""

    columns: Sequence[str]
    rows: NDArray[np.bool_]
    words: str


def missing_words(
    table: pd.DataFrame, columns: Mapping[str, Mapping[str, Any]], reasons: Iterable[Reason]
) -> list[str]:
    """A sentence on the numbers that are missing in ``columns`` of type "number", in how many rows and why; none where
    no number is. The first of ``reasons`` that is about a column and a row counts; a reason without words says that it
    is told elsewhere."""
    names = [name for name, said in columns.items() if said["type"] == "number" and name in table]
    left = {name: table[name].isna().to_numpy(dtype=bool) for name in names}
    found: dict[str, dict[str, int]] = {}
    for reason in (*reasons, Reason(names, np.ones(len(table), dtype=bool), UNKNOWN)):
        for name in reason.columns:
            if name in left and (here := left[name] & reason.rows).any():
                left[name] = left[name] & ~here
                found.setdefault(reason.words, {})[name] = int(here.sum())
    parts = []
    for words, counts in found.items():
        if words:
            by_count: dict[int, list[str]] = {}
            for name, count in counts.items():
                by_count.setdefault(count, []).append(name)
            told = "; ".join(f"{listed(own, 30)} in {count}" for count, own in by_count.items())
            parts.append(f"{told} ({words})")
    return [f"Missing numbers of {len(table)} rows: {'; '.join(parts)}."] if parts else []
