"""Why a trial's recorded cue is none ("double"), or None: it stands."""

from emgreview.annotations.fields.field import TRIAL, Field, given_or_back

FIELD = Field(
    name="no cue",
    of=TRIAL,
    words={
        "cue is none": ("cue that is none", "cues that are none"),
        "cue stands": ("cue that stands after all", "cues that stand after all"),
    },
    changes=given_or_back("cue is none", "cue stands"),
)
