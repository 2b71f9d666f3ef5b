"""How many cues a recording should have, from the others of its study.

expected        by the recordings' names
"""

from collections import Counter
from collections.abc import Sequence

from emgreview.people.recorded import Recorded

SAME_NUMBER = 0.6
"""Share of recordings that must have the same number of cues for that number to be the one that was meant."""
FEWEST_ALIKE = 3
EVERYTHING = ("*",)
PARTS = (("sub",), ("sub", "ses"), EVERYTHING)
"""What names may differ in while recordings are held against one another, narrowest first."""


def expected(recorded: Sequence[Recorded], expect: int | None = None) -> dict[str, int | None]:
    """How many cues each recording should have, by its name: ``expect``, or what most have of the same part of the plan
    (task, run and session, as the name says), where at least FEWEST_ALIKE have it; else of the same part in whatever
    session, else of all. None where no number is that of most. Runs may be meant to have unequal numbers."""
    parts = [[(at, _part(rec, *without)) for at, without in enumerate(PARTS)] for rec in recorded]
    counts: dict[object, Counter[int]] = {}
    for rec, mine in zip(recorded, parts, strict=True):
        for part in mine if rec.ids else ():
            counts.setdefault(part, Counter())[len(rec.ids)] += 1
    out: dict[str, int | None] = {}
    for rec, mine in zip(recorded, parts, strict=True):
        enough = [counts[part] for part in mine if part in counts and counts[part].total() >= FEWEST_ALIKE]
        number, n = enough[0].most_common(1)[0] if enough else (0, 0)
        usual = number if enough and n >= SAME_NUMBER * enough[0].total() else None
        out[rec.name] = usual if expect is None else expect
    return out


def _part(rec: Recorded, *without: str) -> tuple[tuple[str, str], ...]:
    if without == EVERYTHING:
        return ()
    return tuple(sorted((key, str(value)) for key, value in rec.entities.items() if key not in without))
