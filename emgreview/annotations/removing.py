"""How files of a review are deleted: nothing behind links, nothing that somebody writes, and what was not is told.

take, demand_inside, demand_open    refuse before anything is said or deleted
told_where_it_ends                  what to do where the system does not let a file go
remove_log, remove_version, remove_empty
"""

import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from emgreview.annotations.files import FileSystem
from emgreview.annotations.lock import WriterLock
from emgreview.annotations.places import log_beside
from emgreview.annotations.withdrawals import Withdrawal
from emgreview.errors import LogError, ReadError
from emgreview.plain_files import found_at, inside, is_folder, real


def remove_log(folder: Path, where: str, *, locks: bool = False) -> list[str]:
    """Remove a log and what lies beside it under its name, torn ends and broken copies; or its locks."""
    path = folder / where
    demand_inside(folder, path.parent)
    if not is_folder(path.parent):
        return []
    gone = []
    for one in inside(path.parent):
        named = one.name.startswith(f"{'.' * locks}{path.name}") and log_beside(one.name) == path.name
        found = found_at(one, link=True) if named else None
        if found is not None and not stat.S_ISDIR(found.st_mode):
            one.unlink(missing_ok=True)
            gone.append(one.relative_to(folder).as_posix())
    FileSystem().fsync_dir(path.parent)
    return gone


def remove_version(folder: Path, name: str) -> str:
    place = folder / "versions" / name
    demand_inside(folder, place)
    shutil.rmtree(place)
    FileSystem().fsync_dir(place.parent)
    return place.relative_to(folder).as_posix()


def demand_inside(folder: Path, place: Path) -> None:
    if place.is_symlink() or real(folder) not in real(place).parents:
        raise LogError(
            f"{place} is a link, or lies behind one that leads out of the review folder; nothing was deleted there; "
            "delete what it leads to yourself, and put the folder itself there."
        )


def take(lock: WriterLock, where: str) -> None:
    """Raises LogLockedError, ReadError, LogError where it cannot be told whether somebody writes."""
    try:
        lock.take()
    except ReadError:
        raise
    except OSError as why:
        raise LogError(
            f"whether somebody decides in {where} now cannot be told ({why.strerror or why}): its lock is not yours to "
            "take; nothing was withdrawn; have it done by who owns it."
        ) from why


def demand_open(place: Path) -> None:
    """LogError where what lies in a folder could not be deleted."""
    if is_folder(place) and not os.access(place, os.R_OK | os.W_OK | os.X_OK):
        raise LogError(
            f"{place} is not yours to delete files in, as its permissions say; nothing was withdrawn; see to them, or "
            "have it done by who owns it."
        )


@contextmanager
def told_where_it_ends(said: Withdrawal) -> Iterator[None]:
    """LogError where the system does not let a file go: that it was said, and how it is ended."""
    try:
        yield
    except OSError as why:
        what = "a file" if why.filename is None else Path(str(why.filename)).name
        raise LogError(
            f"that {said.whom} is withdrawn stands in the logs, and not all was deleted: {what} could not be "
            f"({why.strerror or why}); see to that, and say it again: what is left goes then."
        ) from why


def remove_empty(folder: Path, going: Mapping[str, Any]) -> None:
    for parent in {(folder / where).parent for where in going} - {folder / "logs"}:
        with suppress(OSError):
            parent.rmdir()
            FileSystem().fsync_dir(parent.parent)
