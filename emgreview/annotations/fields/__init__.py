"""The decision fields: one module each, with everything that is particular to it.

FIELDS is where a field is registered. The order is that of the columns in a table of decisions, of the sentences on
what changed, and of what is merged; what is new goes to the end.

    FIELDS              every field, by its name in the log
    read, write         plain values of a log to frozen ones, and back
    shown               what values say, in words for a screen
    of                  the names of the fields of a channel, a trial …
    field               what a field is
    signal, set_aside, excluded, activity and activity_told, behaviour, cue, no_cue, added_cue, marked_burst, discuss,
    comment
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from emgreview.annotations.fields import (
    activity_told,
    added_cue,
    behaviour,
    comment,
    cue,
    discuss,
    excluded,
    marked_burst,
    no_cue,
    set_aside,
    signal,
)
from emgreview.annotations.fields.field import PARTICIPANT, RECORDING, Field, Where

FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        field.name: field
        for field in (
            signal.FIELD,
            set_aside.FIELD,
            excluded.FIELD,
            excluded.OF_PARTICIPANT,
            activity_told.FIELD,
            behaviour.FIELD,
            cue.FIELD,
            no_cue.FIELD,
            added_cue.FIELD,
            marked_burst.FIELD,
            discuss.FIELD,
            comment.FIELD,
        )
    }
)

DEFAULTS: Mapping[str, Any] = MappingProxyType({name: field.default for name, field in FIELDS.items()})
"""What holds where nobody has decided; None for an activity: what the method proposes."""


def of(where: Where) -> tuple[str, ...]:
    """The names of the fields that belong to a channel of a trial, a trial, a recording or a participant."""
    return tuple(name for name, field in FIELDS.items() if field.is_of(where))


IN_RECORDING = tuple(name for name in of(RECORDING) if name != excluded.FIELD.name)
"""Fields of what is found in a recording, each with an id of its own in subject.burst."""

(OF_PARTICIPANT,) = of(PARTICIPANT)
"""The field that belongs to no recording: it is said in the log of one of the participant's, and holds for all."""

EXCLUDED = (excluded.FIELD.name, OF_PARTICIPANT)
"""Fields that keep a whole channel, recording or participant out, with a reason."""


def read(name: str, stored: Any) -> Any:
    """The frozen value of a plain one; that of a field which is not known here stays as it is."""
    field = FIELDS.get(name)
    return stored if stored is None or field is None else field.read(stored)


def write(name: str, value: Any) -> Any:
    """The plain value of a frozen one, as a log keeps it."""
    field = FIELDS.get(name)
    return value if value is None or field is None else field.write(value)


def shown(values: Mapping[str, Any]) -> list[str]:
    """What is said, in words for a screen, of the values of fields by their names; those that a screen shows in a way
    of its own, or that nobody has set, are passed over."""
    return [
        field.in_words(values[name])
        for name, field in FIELDS.items()
        if field.in_words is not None and values.get(name) not in (None, "", field.default)
    ]
