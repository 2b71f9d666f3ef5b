"""Stretches that a person set aside, as a table of decisions tells them: does what a number rests on touch one?

A mark says by its column ``set_aside`` whether a stretch touches it. Rests, windows and averages reach beyond the mark:
the column ``aside_samples`` tells every stretch, so that each of them can be asked.

Aside           the stretches of a table
"""

import re

import pandas as pd

from emgreview.errors import ParameterError
from emgreview.measuring.stretches import Stretches

_ONE = re.compile(r"(\d{1,15}) to (\d{1,15})")


class Aside(Stretches):
    """Stretches set aside in a table of decisions, by reviewer, recording and channel. ``notes`` says that a table does
    not tell them, where it has rows that one touches.

    Raises ParameterError where the column says something else.
    """

    def __init__(self, decisions: pd.DataFrame) -> None:
        super().__init__()
        self.notes: list[str] = []
        if "aside_samples" not in decisions:
            said = decisions["set_aside"] if "set_aside" in decisions else pd.Series(dtype="boolean")
            if said.fillna(False).astype(bool).any():
                self.notes.append(
                    "The table says which marks a stretch set aside touches, and not where the stretches lie: whether "
                    "they touch rests, windows or averages is not known; take the decisions anew from the review, or "
                    "seal it again."
                )
            return
        rows = decisions[decisions["aside_samples"].notna()]
        reviewers = rows["reviewer"].fillna("") if "reviewer" in rows else [""] * len(rows)
        for whose, name, label, cell in zip(
            reviewers, rows["recording"], rows["channel"], rows["aside_samples"], strict=True
        ):
            for part in str(cell).split("; "):
                if (found := _ONE.fullmatch(part)) is None:
                    raise ParameterError(
                        f"the column 'aside_samples' came with {part!r}; allowed: stretches like '8030 to 8130', "
                        "between '; '; give the table as read_version or Session.decisions() made it."
                    )
                self.add(name, label, whose, int(found[1]), int(found[2]))
