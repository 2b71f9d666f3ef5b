"""Every error the package raises on purpose, in one tree.

::

    EmgreviewError
    ├── ReadError              a file or folder cannot be read as what it claims to be
    │   ├── FormatError        its header or structure breaks the format's own rules
    │   └── TruncatedError     it ends before the number of samples it announces
    ├── UnitError              a unit is missing, unknown, or not a voltage where one is needed
    ├── RateError              a sampling rate is missing, zero, or too low for the band asked for
    ├── SignalError            the samples cannot be used as asked (shape, all missing, too short)
    ├── MarkerError            a marker lies outside the recording, is out of order, or is missing
    ├── ParameterError         a parameter lies outside its allowed range
    ├── UnknownNameError       no trial, channel, burst, method, reason or version has that name
    ├── DecisionError          a decision cannot be applied to the present state
    ├── VersionError           a sealed version is missing, exists already, or is not what was expected
    ├── RunStoppedError        work on many recordings was stopped before its end
    ├── ClusterError           a cluster cannot be worked on: no scheduler, no worker, another package there
    └── LogError               an annotation log cannot be used as asked
        ├── LogBrokenError     its chain of digests breaks, or a line is not what was written
        ├── LogLockedError     another process is writing it
        ├── LogReadOnlyError   it was opened for reading only
        ├── LogWriteError      a write or fsync failed: nothing more may be called saved
        └── LogTooNewError     it was written by a newer major version of the format

Every message says what came, what is allowed, and what to do. Where a standard exception fits
(``ValueError``, ``LookupError``, ``OSError``), the class derives from it too. :func:`tell` gives a SignalWarning,
:func:`hearing` takes them.
"""

import difflib
import inspect
import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import MappingProxyType
from typing import ClassVar

from emgreview.legible import legible


class Legible:
    """What a message says may hold a stranger's text: it is shown with every letter seen."""

    def __str__(self) -> str:
        return legible(super().__str__())


class EmgreviewError(Legible, Exception):
    """Root of the tree: catch this to catch everything the package raises on purpose."""


class ReadError(EmgreviewError, OSError):
    """A file or folder cannot be read as what it claims to be."""


class FormatError(ReadError):
    """A header or structure breaks the rules of its own format."""


class TruncatedError(ReadError):
    """A file ends before the number of samples that it announces."""


class UnitError(EmgreviewError, ValueError):
    """A unit is missing, unknown, or not a voltage where a voltage is needed."""


class RateError(EmgreviewError, ValueError):
    """A sampling rate is missing, zero, or too low for the band asked for."""


class SignalError(EmgreviewError, ValueError):
    """The samples cannot be used as asked: wrong shape, all missing, or too short."""


class MarkerError(EmgreviewError, ValueError):
    """A marker lies outside the recording, is out of order, or is missing."""


class ParameterError(EmgreviewError, ValueError):
    """A parameter lies outside its allowed range."""


class UnknownNameError(EmgreviewError, LookupError):
    """No trial, channel, burst, method, reason or version has that name; ``where`` says in what, and ``most`` how many
    of those that exist are listed."""

    WHERE_NONE_IS: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "marker": "Markers come from annotations of EDF+, from events.tsv, or from a channel of pulses.",
            "participant": "No recording names its participant: a plain folder does not, only a BIDS dataset "
            "(sub-01/emg/sub-01_task-reach_emg.edf); name a recording instead.",
        }
    )
    """What to do where there is nothing of a kind."""

    def __init__(self, what: str, came: object, allowed: Iterable[object], where: str = "", most: int = 12):
        names = [str(name) for name in allowed]
        self.what, self.came, self.count = what, came, len(names)
        self.none_is = "" if names else self.WHERE_NONE_IS.get(what, "")
        alike = {name.casefold(): name for name in names}
        close = [alike[found] for found in difflib.get_close_matches(str(came).casefold(), alike, n=1)]
        shown = ", ".join(names[:most]) + (f" … ({len(names)} in all)" if len(names) > most else "")
        said = [
            f"no {what} is called {came!r}; there are: {shown or 'none'}.",
            f"Did you mean {close[0]!r}?" if close else "",
            f"This was asked of {where}." if where else "",
            self.none_is,
        ]
        super().__init__(" ".join(filter(None, said)))


class DecisionError(EmgreviewError, ValueError):
    """A decision cannot be applied to the present state."""


class VersionError(EmgreviewError):
    """A sealed version is missing, exists already, or is not what was expected."""


class RunStoppedError(EmgreviewError):
    """Work on many recordings was stopped before its end."""


class ClusterError(EmgreviewError):
    """A cluster cannot be worked on: no scheduler, no worker, or another package there."""


class LogError(EmgreviewError):
    """An annotation log cannot be used as asked."""


class LogBrokenError(LogError):
    """The chain of digests breaks, or a line is not what was written."""


class LogLockedError(LogError):
    """Another process is writing the log."""


class LogReadOnlyError(LogError):
    """The log was opened for reading only."""


class LogWriteError(LogError, OSError):
    """A write or fsync failed: nothing more may be called saved; ``in_doubt``: whether this decision was is not known
    until the log is opened again."""

    in_doubt: bool = False


class LogTooNewError(LogError):
    """The log was written by a newer major version of the format."""


class SignalWarning(Legible, UserWarning):
    """Something about the samples that a reviewer must know, though the work can go on."""


class DecisionWarning(Legible, UserWarning):
    """A command did less than it was asked, or more than it says: a channel was passed over,
    another burst is now the response. The rest was done.
    """


_HEARD: ContextVar[list[str] | None] = ContextVar("heard", default=None)


@contextmanager
def hearing() -> Iterator[list[str]]:
    """A block in which what is told by :func:`tell` comes into a list, of this thread alone, and is not shown."""
    heard: list[str] = []
    before = _HEARD.set(heard)
    try:
        yield heard
    finally:
        _HEARD.reset(before)


def tell(sentence: str) -> None:
    """A SignalWarning at the caller's own line, shown every time and not only the first: a cell that is run again
    leaves out the same recording again."""
    if (heard := _HEARD.get()) is not None:
        heard.append(str(sentence))
        return
    frame = inspect.currentframe()
    while frame and frame.f_back and frame.f_globals.get("__name__", "").partition(".")[0] == __package__:
        frame = frame.f_back
    where = ("emgreview", 1) if frame is None else (frame.f_code.co_filename, frame.f_lineno)
    warnings.warn_explicit(sentence, SignalWarning, *where)
