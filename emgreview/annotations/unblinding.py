"""A review that was blind stays so until somebody says why it ends: to show it by mistake would spoil it for ever.

Each line of a log says whether it was written blind; the last line counts.

    refuse          DecisionError where a blind review would be shown
    checked         the reason why blindness ends
    written_blind   does any log of a reviewer in a folder end blind
    last_line       the last whole line of a log, without reading it all
    last_counter    the counter in it
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations.events import check_text
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import logs_in
from emgreview.checks import refusal
from emgreview.errors import DecisionError, ParameterError
from emgreview.plain_files import open_plain, read_json

NOT_BLIND = "unblind came, and no log of these recordings is of a blind review: nothing was changed."
NOT_KEPT = "What was blind is shown, and its logs, which cannot be written now, do not say so."


def refuse(reviewer: str, blind: Sequence[str], of: int) -> None:
    """Raise DecisionError where any of ``of`` recordings is in a review that is still blind."""
    if blind:
        raise DecisionError(
            f"the review by {reviewer!r} is blind ({len(blind)} of {of} recordings), and it was to be opened with "
            "blind=False: conditions and participants would be seen, and nobody can forget them; go on with "
            "blind=True; or, where the blind part is over for good, say why with unblind='all are decided', and the "
            "logs keep that."
        )


def checked(unblind: str | None, blind: bool) -> str | None:
    """The reason, or None. Raises ParameterError without words, or where the review is to be blind too."""
    if unblind is None:
        return None
    if not isinstance(unblind, str) or not unblind.strip():
        raise refusal(
            "unblind",
            unblind,
            "why the review is not blind any more, in words that the logs keep",
            "say why, or leave it out",
        )
    if blind:
        raise ParameterError(
            f"blind=True and unblind={unblind!r} both came; a review is opened blind, or shown; leave one of them out."
        )
    return check_text(unblind)


def written_blind(folder: Path, reviewer: str) -> bool:
    """Whether the last line of any log of a reviewer was written blind. Logs that cannot be read do not count: opening
    the review says what is wrong with them."""
    lines = (last_line(path) for path in logs_in(folder, reviewer))
    return any(line is not None and line.get("blind") is True for line in lines)


def last_line(path: Path) -> dict[str, Any] | None:
    """The last whole line of a log as it was written, or None where it cannot be told from the end of the file."""
    try:
        with open_plain(path) as stream:
            stream.seek(max(0, stream.seek(0, 2) - (1 << 16)))
            line = read_json(stream.read(1 << 16).split(b"\n")[-2])
    except (OSError, IndexError, ValueError):
        return None
    return line if isinstance(line, dict) else None


def last_counter(path: Path) -> int:
    """The counter in the last whole line of a log that is not opened here."""
    found = (last_line(path) or {}).get("counter")
    return found if isinstance(found, int) else read_log(path, lambda event: None).counter
