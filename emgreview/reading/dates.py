"""Dates and times of day in a column of times: what has passed since the first of them.

In which order day, month and year stand is said, and never guessed: 03/04/2026 may be either.

    ISO, ORDERS     what may be said
    moments_of      the moments, NaT where a text is none
    orders_of       every order in which all of some texts rise
"""

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

ISO = "iso"
"""Dates and times as ISO 8601 writes them."""
ORDERS = {"dmy": "%d{0}%m{0}%Y", "mdy": "%m{0}%d{0}%Y", "ymd": "%Y{0}%m{0}%d"}
"""Day, month and year of four digits, in this order, with a sign between them, and the time of day behind."""
DATES = (ISO, *ORDERS)

_SHAPE = re.compile(
    r"(?:\d{1,2}([./-])\d{1,2}\1\d{4}|\d{4}([./])\d{1,2}\2\d{1,2})(T|,? )\d{1,2}:\d\d:\d\d([.,:]\d{1,9})?( ?[AP]M)?",
    re.IGNORECASE,
)
WORDS = {
    ISO: "ISO 8601, such as 2021-05-04T10:20:30.125",
    "dmy": "day, month and year, such as 24.03.2026 14:05:06,123",
    "mdy": "month, day and year, such as 03/24/2026 2:05:06.123 PM",
    "ymd": "year, month and day, such as 2026/03/24 14:05:06.123",
}


def moments_of(values: Sequence[str], order: str) -> "pd.Series[pd.Timestamp]":
    """The moments of texts, NaT where one is none. All have the form of the first; a fraction that is 0 may be
    missing."""
    import pandas as pd  # heavy: files without dates do without

    texts = pd.Series(values, dtype=str).str.strip()
    if order == ISO and not texts.str.contains("/", regex=False).any():
        return pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    if order == ISO:
        return pd.Series(pd.NaT, index=texts.index, dtype="datetime64[ns, UTC]")
    first = _SHAPE.fullmatch(texts.iloc[0]) if len(texts) else None
    if first is None:
        return pd.Series(pd.NaT, index=texts.index, dtype="datetime64[ns, UTC]")
    date = ORDERS[order].format(first[1] or first[2])
    half = (" %p" if " " in first[5] else "%p") if first[5] else ""
    clock = f"{first[3]}{'%I' if half else '%H'}:%M:%S"
    sign = next((fraction[0] for text in texts if (found := _SHAPE.fullmatch(text)) and (fraction := found[4])), "")
    made = pd.to_datetime(texts, format=f"{date}{clock}{sign}{'%f' if sign else ''}{half}", errors="coerce", utc=True)
    if sign and made.isna().any():
        bare = pd.to_datetime(texts[made.isna()], format=f"{date}{clock}{half}", errors="coerce", utc=True)
        made = made.fillna(bare)
    return made


def orders_of(texts: Sequence[str]) -> list[str]:
    """Every order in which all texts are moments that do not go back."""
    found = []
    for order in DATES:
        at = moments_of(texts, order)
        if len(at) and at.notna().all() and at.is_monotonic_increasing:
            found.append(order)
    return found
