"""A stretch of one channel of a recording that is set aside.

In the log {"start", "stop", "reasons"}, samples of the recording, or null once taken back; its id in subject.burst.

    Stretch     the value
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from emgreview.annotations.fields.field import RECORDING, Field, given_or_back


class Stretch(NamedTuple):
    """``start`` and past-last ``stop``, in samples; ``reasons`` the main one first."""

    start: int
    stop: int
    reasons: tuple[str, ...]


def read(stored: Mapping[str, Any]) -> Stretch:
    return Stretch(stored["start"], stored["stop"], tuple(stored["reasons"]))


def write(stretch: Stretch) -> dict[str, Any]:
    return {"start": stretch.start, "stop": stretch.stop, "reasons": list(stretch.reasons)}


FIELD = Field(
    name="set aside",
    of=RECORDING,
    read=read,
    write=write,
    words={
        "stretch set aside": ("stretch set aside", "stretches set aside"),
        "stretch taken back": ("stretch taken back", "stretches taken back"),
    },
    changes=given_or_back("stretch set aside", "stretch taken back"),
    columns={
        "set_aside": (
            "truth",
            "Whether a stretch set aside touches the burst (without an offset: up to the next one, or the end of the "
            "trial), or earliest to latest of an onset that is not locatable, or, where nothing is marked, any of what "
            "was searched: from the cue to the end of the trial",
        ),
        "aside_samples": (
            "text",
            "Every stretch of the channel that was set aside between the cue of the trial before and that of the next "
            "one, or this one's end: first to past-last sample of the recording, between '; '",
        ),
    },
)
