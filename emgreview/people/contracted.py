"""Flags of what test contractions found, for the people of a study.

contracted      flags, in the session of whom they are of
CONTRACTED      codes of findings as codes of flags
"""

from collections.abc import Sequence

from emgreview.people.person import Person, whose
from emgreview.people.recorded import Recorded
from emgreview.people.rules import Flag, flag_of

CONTRACTED = {
    "exchanged": "swapped",
    "wrong site": "wrong site",
    "no signal": "no contraction",
    "weak": "no contraction",
}
"""What test contractions find, as the code of a flag."""


def contracted(recorded: Sequence[Recorded], people: Sequence[Person]) -> list[Flag]:
    """Flags of test contractions, in the session of whom they are of."""
    by = {(one.participant, one.session): one for one in people}
    flags = []
    for rec in recorded:
        one = by.get(whose(rec))
        for found in rec.contracted if one is not None else ():
            if found.code in CONTRACTED and one is not None:
                flags.append(flag_of(one, found.channel, CONTRACTED[found.code], found.words, found.times, 1.0))
    return flags
