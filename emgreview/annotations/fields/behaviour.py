"""What the participant did in a trial: a word of BEHAVIOURS, or None."""

from typing import Any

from emgreview.annotations.events import BEHAVIOURS, check_choice
from emgreview.annotations.fields.field import TRIAL, Field, Merging
from emgreview.errors import DecisionError


def _nothing_between(a: str, b: str) -> Any:
    raise DecisionError(
        "'both acceptable' came for two words about what the person did, and nothing lies between them; choose one, "
        "say it yourself, or say 'cannot be settled'."
    )


FIELD = Field(
    name="behaviour",
    of=TRIAL,
    say=lambda word: None if word is None else check_choice("behaviour", word, BEHAVIOURS),
    words={"behaviour changed": ("behaviour changed", "behaviours changed")},
    detailed=("behaviour changed",),
    columns={"behaviour": ("text", "What the participant did in the trial")},
    cells=lambda trial, channel, burst: {"behaviour": trial.behaviour},
    merging=Merging(
        join=_nothing_between,
        how="",
        clash=lambda a, b, within: " against ".join(sorted([a, b])),
        disputable=True,
        row="behaviour",
    ),
)
