"""The lines of a log, read and checked: digests, schema, order, name. Reading never changes a log.

read_log        every event of a file, and what is wrong with it
Content         what a file holds
ZEROED          what only a block leaves that never reached the disk
"""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from emgreview.annotations.conforming import misfit
from emgreview.annotations.events import ZEROS, Event, decode, to_event
from emgreview.annotations.files import FileSystem
from emgreview.annotations.upgrade import Step, schema_of, steps_from, upgraded
from emgreview.errors import LogBrokenError, LogTooNewError


@dataclass(frozen=True)
class Content:
    """What a file holds: its good ``lines`` without newlines, their ``size`` in bytes, the ``head`` (SHA-256 of the
    last), the last ``counter``, the ``torn`` bytes after them that never counted; ``problem`` says where it breaks."""

    lines: list[bytes]
    size: int
    head: str
    counter: int
    torn: bytes
    problem: str | None


def read_log(
    path: Path, each: Callable[[Event], object], files: FileSystem | None = None, *, before: bool = True
) -> Content:
    """Read a log, checking every line against the digests and the schema, and hand every good event to ``each``, in
    order. Without ``before`` the ``old`` values of decisions are not checked against the schema: ``each`` must not
    look at them.

    Events are not kept: a long log would fill the memory with states that no longer hold. Raises LogTooNewError, and
    ReadError, an OSError, where there is no plain file that can be read.
    """
    content = (files or FileSystem()).read(path)
    with _no_search_for_cycles():
        return _read_lines(path, content, each, before)


ZEROED = bytes(16)
"""Zero bytes in a row that only a block which never reached the disk leaves: no line holds one, and damage to a single
byte of a line that counted makes none."""

_CRLF = (
    "its lines end in CR LF; version control or an editor changed them, as every line ends in LF alone. Turn each CR "
    "LF back into LF (sed -i 's/\\r$//' on a copy; the digests then tell whether all is as it was), and have version "
    "control leave such files alone (*.jsonl -text in .gitattributes)"
)


def _read_lines(path: Path, content: bytes, each: Callable[[Event], object], before: bool) -> Content:
    size, head, counter = 0, ZEROS, 0
    named = _named(path)
    lines: list[bytes] = []
    about: str | None = None
    steps: tuple[Step, ...] = ()
    problem = None
    while (end := content.find(b"\n", size)) >= 0:
        number, line = len(lines), content[size:end]
        try:
            if line.endswith(b"\r"):
                raise LogBrokenError(_CRLF)
            found, whole, digest = decode(line)
            if not whole:
                raise LogBrokenError("its bytes do not fit its own digest")
            if number == 0:
                steps = steps_from(schema_of(found))
            if steps:
                found = upgraded(found, steps)
            if found.get("prev") != head:
                raise LogBrokenError("it does not follow the line before it")
            if why := misfit(found, before):
                raise LogBrokenError(f"{why}; it was written anew by hand, or by a later emgreview")
            event = to_event(found)
            if named and named != (event.subject["recording"], event.reviewer):
                raise LogBrokenError(
                    f"it is of reviewer {event.reviewer!r} on {event.subject['recording']!r}, and the file's name "
                    f"says {named[1]!r} on {named[0]!r}: logs were exchanged or renamed; give each its own name"
                )
            if event.seq != number or event.counter <= counter:
                raise LogBrokenError(f"its numbers ({event.seq}, {event.counter}) are out of order")
            about = event.subject.get("recording") if number == 0 else about
            if event.subject.get("recording") != about:
                raise LogBrokenError(f"it is about recording {event.subject['recording']!r}, the log about {about!r}")
        except LogBrokenError as why_not:
            if ZEROED in line and end + 1 == len(content):  # the line that was being written when the power went
                break
            problem = (
                f"{path.name}, line {number + 1} (byte {size}): {why_not}. The {number} lines before it are good; "
                "restore the file from a copy or from version control."
            )
            break
        except LogTooNewError as why_not:
            raise LogTooNewError(f"{path.name} cannot be opened: {why_not}") from None
        each(event)
        lines.append(line)
        size = end + 1
        head, counter = digest, event.counter
    torn = content[size:] if problem is None else content[content.rfind(b"\n") + 1 :]
    return Content(lines, size, head, counter, torn, problem)


def _named(path: Path) -> tuple[str, str] | None:
    """Recording and reviewer that a log's name says; None for a name that is not a log's."""
    recording, by, reviewer = path.name.removesuffix(".jsonl").rpartition("_reviewer-")
    return (recording, reviewer) if by and path.suffix == ".jsonl" else None


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """Events make none, and looking for them takes a tenth of the time in which a long log is read."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
