"""A burst marked by hand outside all trials.

In the log {"start", "stop", "kind"}, samples of the recording, or null once taken back; its id in subject.burst.

    MarkedBurst     the value
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from emgreview.annotations.fields.field import RECORDING, Field, given_or_back


class MarkedBurst(NamedTuple):
    """Onset ``start`` and offset ``stop`` in samples, and its kind."""

    start: int
    stop: int
    kind: str


def read(stored: Mapping[str, Any]) -> MarkedBurst:
    return MarkedBurst(stored["start"], stored["stop"], stored["kind"])


FIELD = Field(
    name="marked burst",
    of=RECORDING,
    read=read,
    write=MarkedBurst._asdict,
    words={
        "burst marked outside trials": ("burst marked outside trials", "bursts marked outside trials"),
        "mark outside trials taken back": ("mark outside trials taken back", "marks outside trials taken back"),
    },
    changes=given_or_back("burst marked outside trials", "mark outside trials taken back"),
)
