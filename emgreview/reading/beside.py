"""What lies in a study's folder beside its recordings, and goes with them: cards of test contractions, recording plans.

Cards are those of ``contractions.json`` (``reading/channel_cards.py``). Plans are ``plan.toml`` and ``plan_….toml``, as
:meth:`emgreview.plans.Plan.save` writes them: a recording carries the one that says its participant and session, or
most of these and nothing else. Which pads lie over which muscle then stands in every view, table and report of it.

    Beside          cards and plans of a study
    beside          those of a folder, and what is to be said of them
    is_anything_beside, goes_with_recordings, plans_in      small steps
"""

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from emgreview.errors import EmgreviewError, tell
from emgreview.model import Recording
from emgreview.plain_files import inside
from emgreview.reading.channel_cards import FILE, ChannelCards, cards_beside, with_cards
from emgreview.reading.settled import listed

if TYPE_CHECKING:
    from emgreview.plans import Plan

NAME, ENDING = "plan", ".toml"
ENTITIES = (("participant", "sub"), ("session", "ses"))
"""What a plan says of whose it is, and how recordings call it."""


@dataclass(frozen=True, eq=False)
class Beside:
    """Cards, and plans by the name of their file."""

    cards: ChannelCards = field(default_factory=ChannelCards)
    plans: tuple[tuple[str, "Plan"], ...] = ()

    def on(self, rec: Recording) -> Recording:
        """A recording, as it is opened, with what is known of it."""
        mine = _closest(self.plans, rec.entities.get("sub", ""), rec.entities.get("ses", ""))
        if len(mine) == 1:
            planned = mine[0][1].of(rec)
            for sentence in planned.notes[len(rec.notes) :]:
                tell(f"{rec.name}: {sentence}")
            rec = planned
        elif mine:
            tell(
                f"{rec.name}: {listed([name for name, _ in mine])} are plans of it alike, and none of them is taken; "
                "say in each of which participant and session it is."
            )
        return with_cards(self.cards, rec)


def beside(folder: Path, whose: Iterable[tuple[str, str]]) -> tuple[Beside, list[str]]:
    """What lies in a study's folder, and sentences on what is passed over, or of nobody among ``whose``, the
    participant and session of each recording."""
    there = set(whose)
    cards, told = cards_beside(folder, there)
    plans = []
    for path in plans_in(folder):
        from emgreview.plans import read_plan  # muscles: heavy where no plan lies

        try:
            plan = read_plan(path)
        except EmgreviewError as why:
            told.append(f"{path.name} is passed over, so that it says nothing of channels: {why}")
            continue
        if not any(_is_of(plan, sub, ses) for sub, ses in there):
            said = " and ".join(f"{name} {plan.said[name]}" for name, _ in ENTITIES if name in plan.said)
            told.append(f"{path.name} is of {said}, of whom no recording is here.")
        plans.append((path.name, plan))
    return Beside(ChannelCards() if cards is None else cards, tuple(plans)), told


def plans_in(folder: Path) -> list[Path]:
    """The files of plans in a folder."""
    return [path for path in inside(folder) if _is_plan(path)]


def goes_with_recordings(path: Path) -> bool:
    """Whether a file of a study's folder is cards or a plan by its name."""
    return path.name == FILE or _is_plan(path)


def _is_plan(path: Path) -> bool:
    return path.suffix.lower() == ENDING and (path.stem == NAME or path.stem.startswith(f"{NAME}_"))


def is_anything_beside(folder: Path) -> bool:
    """Whether something may lie there: else nobody needs to know whose the recordings are."""
    return os.path.lexists(folder / FILE) or bool(plans_in(folder))


def _closest(plans: Iterable[tuple[str, "Plan"]], sub: str, ses: str) -> list[tuple[str, "Plan"]]:
    """The plans that are of a person and session, and say most of it."""
    fits = [(name, plan) for name, plan in plans if _is_of(plan, sub, ses)]
    most = max((_says(plan) for _, plan in fits), default=0)
    return [(name, plan) for name, plan in fits if _says(plan) == most]


def _is_of(plan: "Plan", sub: str, ses: str) -> bool:
    return all(plan.said.get(name, own) == own for (name, _), own in zip(ENTITIES, (sub, ses), strict=True))


def _says(plan: "Plan") -> int:
    return sum(name in plan.said for name, _ in ENTITIES)
