"""What a rule leaves out by name must be there to be left out: a slip would keep in whom it means.

demand_named    refuse slips, and tell names that are not there
"""

import difflib
import re

import pandas as pd

from emgreview.errors import ParameterError, UnknownNameError, tell
from emgreview.reading.settled import listed
from emgreview.tables.rules import Rule

ALIKE = 0.7
"""So much alike, as ``difflib`` counts it, a name that is not there is a slip of one that is."""


def demand_named(table: pd.DataFrame, rule: Rule) -> None:
    """Refuse names of a rule that are not in a table but like one that is: UnknownNameError. Names that are like none,
    or differ by their number, may be of another part of the study: a SignalWarning tells them. ParameterError where a
    column of names holds numbers, which have lost their leading zeros.
    """
    absent = []
    for column in ("participant", "recording", "channel"):
        asked = dict.fromkeys(name for left in rule.leave_out if (name := getattr(left, column)) is not None)
        if not asked:
            continue
        if pd.api.types.is_numeric_dtype(table[column]) and table[column].notna().any():
            raise ParameterError(
                f"the column {column!r} of the table came as numbers, such as {table[column].dropna().iloc[0]:g}, and "
                f"the rule leaves out {column} {next(iter(asked))!r}; allowed: text, as '01' is not 1; read the file "
                f"with dtype={{{column!r}: str}}, or take read_version."
            )
        there = sorted(set(table[column].dropna().astype(str)))
        for name in asked:
            if name in there:
                continue
            if any(_slip(name, other) for other in there):
                raise UnknownNameError(f"{column} that the rule {rule.name!r} leaves out", name, there)
            absent.append(f"{column} {name!r}")
    if absent and len(table):
        tell(
            f"The rule {rule.name!r} leaves out what is not in the table: {listed(absent, 12)}. Nothing is left out "
            "for that; look whether it is spelt as in the table, unless it is of another part of the study."
        )


def _slip(name: str, other: str) -> bool:
    """Whether one name looks like another that is spelt in a slightly other way; numbers are names of their own."""
    if _plain(name) == _plain(other):
        return True
    same = re.findall(r"\d+", name) == re.findall(r"\d+", other)
    return same and difflib.SequenceMatcher(None, name.casefold(), other.casefold()).ratio() >= ALIKE


def _plain(name: str) -> str:
    """A name without the key of a BIDS entity, leading zeros of its number, and whatever is no letter or digit."""
    bare = re.sub(r"[\W_]+", "", re.sub(r"^(sub|participant|subject)-?", "", name.casefold()))
    return re.sub(r"(?<!\d)0+(?=\d)", "", bare)
