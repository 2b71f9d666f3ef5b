"""Where the logs of a review folder stand: in ``logs``, or in ``logs/sub-XX``, under a log's name. Nothing else is one.

log_path        where the log of a recording and reviewer lives
logs_in         every log of a folder, or of one of its reviewers
strays          what else lies there as a log would: copies, backups
twins           logs of one reviewer on one recording in two places
demand_no_twins LogError where there are any
alike           are two names one where case and ways to write a letter do not count?
recording_in    the recording that a log's name says
log_beside      the name of the log that a file belongs to, by its own name
is_place        may a log stand at this place?
"""

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from emgreview.annotations.events import check_name, check_reviewer
from emgreview.errors import LogError
from emgreview.plain_files import below, inside

_NAME = re.compile(r"([^/\\]+)_reviewer-([A-Za-z0-9][A-Za-z0-9-]{0,31})\.jsonl")
_PLACE = re.compile(rf"logs/(sub-[^/\\]+/)?{_NAME.pattern}")


def log_path(folder: Path, recording: str, reviewer: str, participant: str | None = None) -> Path:
    """Where the log lives. Raises ParameterError for names that cannot be part of a file name."""
    where = folder / "logs"
    if participant:
        where /= f"sub-{check_name('participant', participant)}"
    return where / f"{check_name('recording name', recording)}_reviewer-{check_reviewer(reviewer)}.jsonl"


def logs_in(folder: Path, reviewer: str | None = None) -> list[Path]:
    """Every log of a folder, sorted; of one reviewer, if named. Raises ReadError where that cannot be told."""
    found = inside(folder / "logs")
    found += [path for place in found if place.name.startswith("sub-") for path in inside(place)]
    codes = ((path, _NAME.fullmatch(path.name)) for path in found if "\\" not in path.parent.name)
    return sorted(path for path, code in codes if code and reviewer in (None, code[2]))


def alike(one: str, other: str) -> bool:
    """Whether two names are two here, and one on file systems that take upper and lower case, or the ways to write a
    letter with its accents, for the same."""
    return one != other and folded(one) == folded(other)


def folded(name: str) -> str:
    """A name as such file systems tell it from others."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", name).casefold())


def recording_in(name: str) -> str | None:
    """The recording that a log's name says, None for a name that is not a log's."""
    found = _NAME.fullmatch(name)
    return found[1] if found else None


def log_beside(name: str) -> str | None:
    """The name of the log that a file belongs to, as torn ends do, which begin with it, and locks, after a dot."""
    found = _NAME.match(name.removeprefix("."))
    return found[0] if found else None


def is_place(where: str) -> bool:
    """Whether a log may stand at a place in the folder; elsewhere earlier packages read copies, too."""
    return _PLACE.fullmatch(where) is not None


def strays(folder: Path) -> list[Path]:
    """Files that end as logs do, below ``logs``, and that nobody reads as logs, sorted."""
    return sorted({path for path in below(folder / "logs") if path.name.endswith(".jsonl")} - {*logs_in(folder)})


def twins(paths: Iterable[Path]) -> list[list[Path]]:
    """Logs of the same name, and so of the same reviewer and recording, that stand in several places."""
    by_name: dict[str, list[Path]] = {}
    for path in paths:
        by_name.setdefault(path.name, []).append(path)
    return [alike for _, alike in sorted(by_name.items()) if len(alike) > 1]


def twins_told(folder: Path, alike: Iterable[Path]) -> str:
    """What is to be said of such logs, in a sentence."""
    places = " and ".join(path.relative_to(folder).as_posix() for path in alike)
    return (
        f"{places} are logs of one reviewer on one recording; allowed is one, in 'logs/sub-XX' where the recording has "
        "a participant and in 'logs' where it has none; see which of them holds the decisions that are to stand, and "
        "move the other one out of the folder; or, where two recordings have one name, into 'logs' of a review folder "
        "of its own."
    )


def demand_no_twins(folder: Path, reviewer: str) -> None:
    """LogError where a reviewer has two logs on one recording: which of them counts nobody can tell."""
    for alike in twins(logs_in(folder, reviewer)):
        raise LogError(twins_told(folder, alike))
