"""What the participant did in a trial: a word of BEHAVIOURS, or None."""

from emgreview.annotations.events import BEHAVIOURS, check_choice
from emgreview.annotations.fields.field import TRIAL, Field, one_word

FIELD = Field(
    name="behaviour",
    of=TRIAL,
    say=lambda word: None if word is None else check_choice("behaviour", word, BEHAVIOURS),
    words={"behaviour changed": ("behaviour changed", "behaviours changed")},
    detailed=("behaviour changed",),
    columns={"behaviour": ("text", "What the participant did in the trial")},
    cells=lambda trial, channel, burst: {"behaviour": trial.behaviour},
    merging=one_word("behaviour", "what the person did"),
)
