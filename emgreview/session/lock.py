"""One public method at a time, whatever the thread."""

import functools
import inspect
from collections.abc import Callable
from typing import Any, TypeVar

_Kind = TypeVar("_Kind")


def one_at_a_time(cls: type[_Kind]) -> type[_Kind]:
    """A class of which one public method or property runs at a time, whatever the thread; ``lock`` is held meanwhile.

    A notebook's host may deliver what a screen sends on a thread of its own while a cell runs.
    """

    def alone(run: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(run)
        def held(self: Any, *given: Any, **named: Any) -> Any:
            with self.lock:
                return run(self, *given, **named)

        return held

    for name, member in tuple(vars(cls).items()):
        if not name.startswith("_") and isinstance(member, property) and member.fget:
            setattr(cls, name, property(alone(member.fget), doc=member.__doc__))
        elif not name.startswith("_") and inspect.isfunction(member):
            setattr(cls, name, alone(member))
    return cls
