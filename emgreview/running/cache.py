"""Results that are kept: found again by what they depend on, never trusted blindly, safe to delete.

A result lies in one file. It is written whole or not at all. Its name, and the keyed digest that it begins with, are of
everything that it depends on and of the account's secret (:mod:`secret`): one that is not what this account wrote for
this very work is passed over, or told, and made anew. A cache that came with somebody's review is therefore of no use,
and of no harm. Links within the folder are neither followed nor deleted behind. Two processes may write one cache.

    Cache           a folder of results
    remove_beside   what is kept beside a review goes
"""

import contextlib
import hmac
import os
import re
import secrets
import stat
import time
from pathlib import Path

from emgreview.checks import number
from emgreview.errors import FormatError, ParameterError, ReadError
from emgreview.plain_files import read_json, read_small
from emgreview.running.secret import own_secret
from emgreview.running.values import seal, unseal

NAME = "cache"
"""What the folder of results beside a review is called."""
AT_MOST_MB = 1000.0
LARGEST = 256 << 20
"""Bytes of one result at most."""
UNFINISHED_S = 3600.0
"""What was begun to be written so long ago is left by a writer that died."""

_ABOUT = "about-this-cache.json"
_ENDS = ".result"


class Cache:
    """A folder of results.

    Parameters
    ----------
    folder : str or Path
        Where they lie; made when work begins. It must be new, empty or a cache. Results of
        other accounts in it are passed over.
    at_most_mb : float, default 1000
        Beyond this size those that were not used for longest are deleted.

    Attributes
    ----------
    folder : Path
        Where results lie.
    at_most_mb : float
        How much of them is kept.
    id : str
        What tells this cache from any other; "" before it is begun.
    spoilt : list of str
        Files that were not what was written, since somebody asked last.

    Raises
    ------
    ParameterError
        The folder holds something else.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     cache = er.Cache(folder + "/cache")
    ...     runner = er.Runner(cache=cache)
    ...     study = er.simulate_study(2, 3, 1000, seed=1)
    ...     first = er.check_all(study.recordings, runner=runner)
    ...     again = er.check_all(study.recordings, runner=runner)
    ...     cache
    ...     first.ready, again.ready
    Cache of 2 results, 0.0 MB of at most 1000 MB, in ...cache
    (0, 2)
    """

    def __init__(self, folder: str | Path, at_most_mb: float = AT_MOST_MB):
        self.folder = Path(folder)
        self.at_most_mb = number("at_most_mb", at_most_mb, above=0, unit="MB")
        self.spoilt: list[str] = []
        self.id, self._secret = "", b""
        if os.path.lexists(self.folder / _ABOUT):
            self.id = self._read_id(self.folder / _ABOUT)
            return
        try:
            there = [one.name for one in self.folder.iterdir()] if self.folder.exists() else []
            strange = sorted(name for name in there if not name.startswith(_ABOUT))  # another process begins it
        except OSError as why:
            raise self._not_there(why) from why
        if strange and os.path.lexists(self.folder / _ABOUT):  # it was begun, and results were kept, since then
            self.id = self._read_id(self.folder / _ABOUT)
            return
        if strange:
            raise ParameterError(
                f"{self.folder} holds {', '.join(strange[:3])} and is no cache; a cache deletes what it no longer "
                "needs; give a new or empty folder."
            )

    def begin(self) -> None:
        """Make the folder where it is not there.

        Raises
        ------
        ParameterError
            It cannot be made.
        """
        about = self.folder / _ABOUT
        if os.path.lexists(about):
            self.id = self._read_id(about)
            return
        content = b'{"emgreview cache": 1, "id": "%s"}\n' % secrets.token_hex(16).encode()
        try:
            self._write(about, content, once=True)
        except FileExistsError:  # another process was first
            pass
        except OSError as why:
            raise self._not_there(why) from why
        self.id = self._read_id(about)

    def _not_there(self, why: OSError) -> ParameterError:
        return ParameterError(
            f"no cache can be kept in {self.folder} ({why.strerror}); give a folder that you may write."
        )

    def __repr__(self) -> str:
        files = self._files()
        size = sum(one.stat().st_size for one in files) / 1e6
        return f"Cache of {len(files)} results, {size:.1f} MB of at most {self.at_most_mb:g} MB, in {self.folder}"

    def __getstate__(self) -> dict[str, object]:
        return {
            "folder": self.folder.absolute(),
            "at_most_mb": self.at_most_mb,
            "id": self.id,
            "spoilt": [],
            "_secret": self._keyed,  # of this cache alone: it may travel to a cluster
        }

    @property
    def _keyed(self) -> bytes:
        """The account's secret, for this cache alone."""
        return self._secret or hmac.digest(own_secret(), self.id.encode(), "sha256")

    @property
    def is_here(self) -> bool:
        """Whether the folder is the one that it was, as seen from this machine."""
        with contextlib.suppress(ReadError, ParameterError):
            return bool(self.id) and self._read_id(self.folder / _ABOUT) == self.id
        return False

    def get(self, key: str) -> bytes | None:
        """What was kept under a key; one that is not what was written is deleted, and named in
        ``spoilt``.

        Parameters
        ----------
        key : str
            The digest of all that it depends on.

        Returns
        -------
        bytes or None
        """
        sealed_by, path = self._place(key)
        if not _own(path):
            return None
        try:
            content = unseal(read_small(path, LARGEST), sealed_by)
        except FormatError:
            self.spoilt.append(path.name)
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        except ReadError:
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # what was used last
        return content

    def put(self, key: str, content: bytes) -> bool:
        """Keep something. Where it cannot be written, nothing is kept, and the work goes on.

        Parameters
        ----------
        key : str
            The digest of all that it depends on.
        content : bytes
            What is kept.

        Returns
        -------
        bool
            Whether it is kept.
        """
        sealed_by, path = self._place(key)
        if len(content) < LARGEST - 1000 and not path.parent.is_symlink():
            with contextlib.suppress(OSError):
                self._write(path, seal(content, sealed_by))
                return True
        return False

    def trim(self) -> int:
        """Delete those not used for longest until the rest fits, and what dead writers left.

        Returns
        -------
        int
            How many results were deleted.
        """
        with contextlib.suppress(OSError):
            for left in self._begun():
                if time.time() - left.stat().st_mtime > UNFINISHED_S:
                    left.unlink(missing_ok=True)
        found = []
        for path in self._files():
            with contextlib.suppress(OSError):
                told = path.stat()
                found.append((told.st_mtime_ns, told.st_size, path))
        room, gone = self.at_most_mb * 1e6 - sum(size for _, size, _ in found), 0
        for _, size, path in sorted(found):
            if room >= 0:
                break
            with contextlib.suppress(OSError):
                path.unlink()
                room, gone = room + size, gone + 1
        return gone

    def clear(self) -> None:
        """Delete all results; what else lies in the folder stays."""
        for path in self._files():
            path.unlink(missing_ok=True)

    def remove(self) -> None:
        """Delete all results, those that were begun too, and the folder itself, unless something
        else lies in it.
        """
        self.clear()
        for left in self._begun():
            left.unlink(missing_ok=True)
        (self.folder / _ABOUT).unlink(missing_ok=True)
        for place in (*self.folder.glob("??"), self.folder):
            with contextlib.suppress(OSError):
                place.rmdir()

    def _files(self) -> list[Path]:
        return sorted(path for path in self.folder.glob(f"??/*{_ENDS}") if _own(path))

    def _begun(self) -> list[Path]:
        """Results that are being written, or that a writer left when it died."""
        return [path for path in self.folder.glob("??/*.part") if _own(path)]

    def _place(self, key: str) -> tuple[bytes, Path]:
        """By what a result is sealed, and where it lies: both told by its key and the secret alone."""
        sealed_by = hmac.digest(self._keyed, key.encode(), "sha256")
        name = hmac.digest(sealed_by, b"name", "sha256").hex()
        return sealed_by, self.folder / name[:2] / f"{name[2:]}{_ENDS}"

    @staticmethod
    def _write(path: Path, content: bytes, *, once: bool = False) -> None:
        """Whole or not at all; ``once``: FileExistsError where something is there already."""
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.{secrets.token_hex(6)}.part")
        try:
            with part.open("xb") as stream:
                stream.write(content)
            if not once:
                part.replace(path)
                return
            try:
                path.hardlink_to(part)
            except FileExistsError:
                raise
            except OSError:  # this file system has no links
                part.replace(path)
            part.unlink(missing_ok=True)
        except BaseException:
            part.unlink(missing_ok=True)
            raise

    def _read_id(self, about: Path) -> str:
        said = read_json(about, most_bytes=1000)
        if not isinstance(said, dict) or said.get("emgreview cache") != 1 or not _is_id(said.get("id")):
            raise ParameterError(
                f"{about} is not that of a cache of this version; delete the folder {self.folder}, or give another."
            )
        identity: str = said["id"]
        return identity


def remove_beside(review: Path) -> bool:
    """Remove what is kept beside a review, all of it; whether it is gone. A folder of that name that is no cache, or
    lies behind a link, stays, and so does what else lies in it. Raises OSError."""
    place = review / NAME
    if place.is_symlink() or not place.is_dir():
        return False
    try:
        Cache(place).remove()
    except (ParameterError, ReadError):
        return False
    return not os.path.lexists(place)


def _is_id(value: object) -> bool:
    return isinstance(value, str) and re.fullmatch("[0-9a-f]{32}", value) is not None


def _own(path: Path) -> bool:
    """Whether a plain file is there, and neither it nor its folder is a link."""
    try:
        return stat.S_ISREG(path.lstat().st_mode) and not path.parent.is_symlink()
    except OSError:
        return False
