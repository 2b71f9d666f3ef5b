"""Why a recording, one channel of it, or a participant is kept out of every analysis, or None once readmitted.

FIELD               of a recording or a channel
OF_PARTICIPANT      of a participant: the last word of all logs of the participant's recordings holds
"""

from emgreview.annotations.fields.field import PARTICIPANT, RECORDING, Field, given_or_back

FIELD = Field(
    name="excluded",
    of=RECORDING,
    words={
        "excluded": ("exclusion", "exclusions"),
        "readmitted": ("exclusion taken back", "exclusions taken back"),
    },
    detailed=("excluded",),
    changes=given_or_back("excluded", "readmitted"),
    columns={
        "excluded": ("text", "Why the participant, the recording or the channel is kept out, between '; '"),
    },
)

OF_PARTICIPANT = Field(
    name="participant excluded",
    of=PARTICIPANT,
    changes=given_or_back("excluded", "readmitted"),
)
