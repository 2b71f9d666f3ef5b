"""One public method at a time, whatever the thread; and what a blind review says names nobody.

one_at_a_time   a class of a session
nobody_named    a function of a session from outside
"""

import functools
import inspect
from collections.abc import Callable
from contextlib import nullcontext
from typing import Any, TypeVar, cast

from emgreview.errors import EmgreviewError

_Kind = TypeVar("_Kind")
_Call = TypeVar("_Call", bound=Callable[..., Any])


def one_at_a_time(cls: type[_Kind]) -> type[_Kind]:
    """A class of which one public method or property runs at a time, whatever the thread; ``lock`` is held meanwhile.

    A notebook's host may deliver what a screen sends on a thread of its own while a cell runs. An error of a blind
    review names nobody (:meth:`Session.nobody_named`).
    """

    def alone(run: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(run)
        def held(self: Any, *given: Any, **named: Any) -> Any:
            with self.lock:
                try:
                    return run(self, *given, **named)
                except EmgreviewError as error:
                    self._unname(error)
                    raise

        return held

    for name, member in tuple(vars(cls).items()):
        if not name.startswith("_") and isinstance(member, property) and member.fget:
            setattr(cls, name, property(alone(member.fget), doc=member.__doc__))
        elif not name.startswith("_") and inspect.isfunction(member):
            setattr(cls, name, alone(member))
    return cls


def nobody_named(run: _Call) -> _Call:
    """A function of a session, or a method of what holds one as ``_session``, whose errors name nobody while that is
    blind."""

    @functools.wraps(run)
    def neutral(holder: Any, *given: Any, **named: Any) -> Any:
        session = getattr(holder, "_session", holder)
        with getattr(session, "nobody_named", nullcontext)():  # what is no session is refused by what is called
            return run(holder, *given, **named)

    return cast(_Call, neutral)
