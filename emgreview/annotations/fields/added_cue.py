"""A cue that a recording lacks.

In the log {"sample", "label"}, or null once taken back; its id in subject.burst.

    AddedCue    the value
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from emgreview.annotations.fields.field import RECORDING, Field, given_or_back


class AddedCue(NamedTuple):
    """Its sample in the recording, and its label."""

    sample: int
    label: str

    @property
    def start(self) -> int:
        return self.sample

    @property
    def stop(self) -> int:
        return self.sample + 1


def read(stored: Mapping[str, Any]) -> AddedCue:
    return AddedCue(stored["sample"], stored["label"])


FIELD = Field(
    name="added cue",
    of=RECORDING,
    read=read,
    write=AddedCue._asdict,
    words={
        "cue added": ("cue added", "cues added"),
        "added cue taken back": ("added cue taken back", "added cues taken back"),
    },
    changes=given_or_back("cue added", "added cue taken back"),
)
