"""What only this account knows: results are sealed with it, so that none is taken that somebody else put there.

A review folder that comes from elsewhere may hold a cache, and results in it may say anything; what was made elsewhere
is therefore made anew here. The secret stays in the account's folder for such things, read by nobody else. Where no
file can be kept, as in a container without a home, each process has its own, and finds nothing of the others.

    own_secret      the secret
    place           where it is kept
"""

import contextlib
import os
import secrets
from functools import cache as once
from pathlib import Path

from emgreview.errors import ReadError
from emgreview.plain_files import read_small

BYTES = 32


def place() -> Path:
    """``cache-secret`` in the folder of ``emgreview``, where the system keeps what belongs to an account."""
    beside = os.environ.get("LOCALAPPDATA") if os.name == "nt" else os.environ.get("XDG_STATE_HOME")
    return (Path(beside) if beside else Path.home() / ".local" / "state") / "emgreview" / "cache-secret"


@once
def own_secret() -> bytes:
    """The same in every process of an account."""
    with contextlib.suppress(OSError, RuntimeError):  # RuntimeError: there is no home
        return read_or_make(place())
    return secrets.token_bytes(BYTES)


def read_or_make(path: Path) -> bytes:
    """The secret in a file, made where there is none or no whole one. Raises OSError where that cannot be."""
    if (found := _read(path)) is not None:
        return found
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{secrets.token_hex(6)}.part")
    made = secrets.token_bytes(BYTES)
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(part, flags, 0o600), "wb") as stream:
            stream.write(made)
        try:
            path.hardlink_to(part)
        except OSError:  # another process was first, it is spoilt, or this file system has no links
            if (found := _read(path)) is not None:
                return found
            part.replace(path)
        return made
    finally:
        part.unlink(missing_ok=True)


def _read(path: Path) -> bytes | None:
    with contextlib.suppress(ReadError):
        found = read_small(path, BYTES)
        return found if len(found) == BYTES else None
    return None
