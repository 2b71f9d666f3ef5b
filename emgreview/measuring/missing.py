"""Why numbers of a table are missing, in sentences: no NaN stands there without a reason that somebody can read.

Nobody sees a NaN in a long table, and a mean passes over it. Reasons of bursts stand in ``measuring.unmeasured``.

    Reason          numbers that are missing, and why
    missing_words   a sentence for each reason, with the numbers that are missing for it
    whose           whose some rows are
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
    """A sentence for each reason why numbers in ``columns`` of type "number" are missing or infinite, with the columns,
    in how many rows, and, where the table has channels, of which; none where no number is. The first of ``reasons``
    that is about a column and a row counts; a reason without words says that it is told elsewhere."""
    names = [name for name, said in columns.items() if said["type"] == "number" and name in table]
    left = {name: ~np.isfinite(table[name].to_numpy(dtype=np.float64, na_value=np.nan)) for name in names}
    found: dict[str, dict[str, NDArray[np.bool_]]] = {}
    for reason in (*reasons, Reason(names, np.ones(len(table), dtype=bool), UNKNOWN)):
        for name in reason.columns:
            if name in left and (here := left[name] & reason.rows).any():
                left[name] = left[name] & ~here
                mine = found.setdefault(reason.words, {})
                mine[name] = mine[name] | here if name in mine else here
    out = []
    for words, rows in found.items():
        if words:
            by_count: dict[int, list[str]] = {}
            for name, here in rows.items():
                by_count.setdefault(int(here.sum()), []).append(name)
            told = "; ".join(f"{listed(own, 30)} in {count}" for count, own in by_count.items())
            own = f"; {whose(table, np.any(list(rows.values()), axis=0))}" if "channel" in table else ""
            out.append(f"Missing numbers of {len(table)} rows: {told} ({words}{own}).")
    return out


def whose(rows: pd.DataFrame, which: NDArray[np.bool_]) -> str:
    """How many of some rows (rows,) each channel of each recording has, in words."""
    counts = rows[which].groupby(["recording", "channel"]).size()
    pairs = zip(counts.index.tolist(), counts, strict=True)
    return listed([f"{channel} of {name} {count}" for (name, channel), count in pairs], 12)
