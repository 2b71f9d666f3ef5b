"""Which muscles does a movement ask for? A proposal from the reference, of which the person chooses.

Proposal    a muscle and its part in the movement
propose     those of a movement, the most useful first
"""

from dataclasses import dataclass

from emgreview.muscles import Found, Muscle, all_muscles, muscles
from emgreview.muscles.reference import EASES, opposites
from emgreview.muscles.wording import part_in

MAKES, ASSISTS, OPPOSES, OTHER = "makes it", "assists", "works against one that takes part", "no part known"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A ``muscle``, its ``part`` in the movement, and ``why`` in words."""

    muscle: Muscle
    part: str
    why: str


def propose(movement: str) -> tuple[Found, tuple[Proposal, ...]]:
    """What the look-up found of a movement, and from that: superficial muscles that make it or help, and superficial
    antagonists. Muscles that others cover are in what was found alone: pads on the skin hear those above them."""
    found = muscles(movement=movement)
    near = [one for one in found if one.depth == "superficial"]
    made = [_proposal(one, found.movements) for one in near]
    own = {one.key for one in found}
    against = {key for one in found for key in one.opposed_by if key in all_muscles() and key not in own}
    against |= {
        one.key
        for one in all_muscles().values()
        if one.key not in own and {opposites().get(move) for move in found.movements} & set(one.movements)
    }
    others = [one for one in all_muscles().values() if one.key in against and one.depth == "superficial"]
    others.sort(key=lambda one: EASES.index(one.ease))
    return found, (*made, *(_proposal(one, found.movements) for one in others))


def part_of(key: str, movements: tuple[str, ...]) -> str:
    """The part of a muscle in the movements together: what makes one of them makes it, and so on."""
    parts = {part_in(key, one) for one in movements}
    return next(
        (words for part, words in (("makes", MAKES), ("assists", ASSISTS), ("opposes", OPPOSES)) if part in parts),
        OTHER,
    )


def _proposal(one: Muscle, movements: tuple[str, ...]) -> Proposal:
    words = {"makes": "makes", "assists": "assists in", "opposes": "antagonist in"}
    parts = [(part_in(one.key, move), move) for move in movements]
    return Proposal(
        one, part_of(one.key, movements), "; ".join(f"{words[part]} {move}" for part, move in parts if part)
    )
