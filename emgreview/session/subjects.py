"""Commands are registered with their subject where they are defined, and nowhere else.

command         register a method
SUBJECTS        the names of all, and of what each is: Subject
"""

from collections.abc import Callable
from typing import NamedTuple, TypeVar

from emgreview.session.current import Ids


class Subject(NamedTuple):
    """Of what a command is: the name of its first argument, or None, and whether it may name a channel."""

    first: str | None
    channel: bool


CHANNEL, TRIAL = Subject("trial", True), Subject("trial", False)
CHANNEL_OF_RECORDING, RECORDING = Subject("recording", True), Subject("recording", False)
NOTHING = Subject(None, False)

SUBJECTS: dict[str, Subject] = {}
"""Every command, with its subject."""

_Run = TypeVar("_Run", bound=Callable[..., Ids])


def command(subject: Subject) -> Callable[[_Run], _Run]:
    """Register a method as a command on a subject."""

    def register(run: _Run) -> _Run:
        SUBJECTS[run.__name__] = subject
        return run

    return register
