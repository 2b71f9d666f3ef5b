"""Old logs are read for ever: a chain of pure steps, one a version, applied to lines on reading.

A log's first line says its schema, a whole number that grows only when an old reader would misread a new line. A step
from version n to n + 1 takes one decoded line and returns it in the next form. Files are never rewritten. New fields
that an old reader may ignore need no step and no new number.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from emgreview.annotations.events import SCHEMA
from emgreview.errors import LogBrokenError, LogTooNewError

Step = Callable[[dict[str, Any]], dict[str, Any]]

STEPS: Mapping[int, Step] = {}
"""From version to the step that leads to the next one. Version 1 is the first, so there is none yet."""


def schema_of(first: Mapping[str, Any]) -> int:
    """The schema number in the first line of a log. Raises LogTooNewError if this package cannot know it."""
    new = first.get("new")
    came = new.get("schema") if isinstance(new, dict) else None
    if not isinstance(came, int) or isinstance(came, bool) or came < 1:
        raise LogBrokenError("the first line does not say its schema")
    if came > SCHEMA:
        raise LogTooNewError(
            f"it is written in schema {came}; this version of the package knows schemas 1 to {SCHEMA}; "
            "install a newer emgreview to open it. Nothing was changed."
        )
    return came


def steps_from(schema: int) -> tuple[Step, ...]:
    """The steps from a schema to the present one, in order."""
    return tuple(STEPS[version] for version in range(schema, SCHEMA))


def upgraded(found: dict[str, Any], steps: Sequence[Step]) -> dict[str, Any]:
    """A decoded line, brought to the present form."""
    for step in steps:
        found = step(found)
    return found
