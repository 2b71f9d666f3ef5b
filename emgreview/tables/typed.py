"""A table that was read from a file by other means may hold numbers and truths as text, where "False" counts as true,
and codes as numbers, where "01" is 1.

demand_typed    refuse such a table
demand_names    refuse one whose codes are numbers
"""

import pandas as pd

from emgreview.errors import ParameterError
from emgreview.tables.decisions import COLUMNS

NAMES = ("reviewer", "recording", "trial", "channel")
_ALLOWED = {"number": "numbers", "whole": "whole numbers", "truth": "true or false"}


def demand_typed(table: pd.DataFrame) -> None:
    """ParameterError where a column of numbers or truths holds text, as in a file read with ``dtype=str``."""
    strange: dict[str, list[str]] = {}
    came = ""
    for name, (type_, _) in COLUMNS.items():
        if type_ not in _ALLOWED or name not in table or pd.api.types.is_numeric_dtype(table[name]):
            continue
        if words := [value for value in table[name].dropna() if isinstance(value, str)]:
            strange.setdefault(_ALLOWED[type_], []).append(name)
            came = came or f"such as {words[0]!r} in {name}"
    if strange:
        names = [name for some in strange.values() for name in some]
        allowed = "; ".join(
            f"{what} in {', '.join(some[:3])}{' …' * (len(some) > 3)}" for what, some in strange.items()
        )
        raise ParameterError(
            f"{len(names)} columns of the table came as text, {came}; allowed: {allowed}; take read_version, or read "
            "the file with na_values='n/a' and text for codes alone: dtype={'reviewer': str, 'participant': str, …}."
        )


def demand_names(table: pd.DataFrame) -> None:
    """ParameterError where a column of codes holds numbers, as in a file read without any ``dtype``."""
    for name in NAMES:
        if name in table and (codes := [value for value in table[name].dropna() if not isinstance(value, str)]):
            raise ParameterError(
                f"the column {name!r} of the table came as numbers, such as {codes[0]}; allowed: text, as '01' is not "
                f"1; read the file with dtype={{{name!r}: str, …}}, or take read_version."
            )
