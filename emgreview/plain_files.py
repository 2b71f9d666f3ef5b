"""One door for files that a stranger may have written: plain, no larger than expected, no deeper than any honest one.

A folder that came from elsewhere can hold anything under any name: a folder, a pipe that nobody writes to, a link to a
device without an end, a link to itself; and in a file lists within lists by the thousand, or a number of a million
digits. Each of them is an error of this package, before anything waits, fills the memory or runs out of stack.

What cannot be looked at is an error, too, and never the same as what is not there: a folder that may not be listed
would otherwise be an empty one, and whose data are in it would be left out without a word.

Links to plain files are followed: people keep data elsewhere and link to it. Logs and versions are written through
:mod:`emgreview.annotations.files`, which does not follow them; texts for people by :func:`write_new`.

    open_plain      a plain file, open for reading its bytes
    demand_plain    ReadError unless a path leads to a plain file
    read_small      the bytes of a file that cannot honestly be large
    read_text       the same as text in UTF-8
    read_json       the value in a JSON file, or in bytes
    read_toml       the table in a TOML file
    found_at        what lies at a path, or None; an error where that cannot be told
    is_folder       does a folder lie there?
    real            the path behind all links
    inside          what a folder holds
    below           all that lies below a folder
    write_new       a new file of text, there whole or not at all
    too_deep        do bytes of JSON hold lists or objects within one another beyond DEEPEST?
"""

import errno
import json
import math
import os
import re
import secrets
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from emgreview.errors import FormatError, ReadError

SMALL = 16 << 20
"""Bytes of a small file at most: sidecars, rules and descriptions hold a few thousand (our own choice)."""

TABLE = 64 << 20
"""Bytes of a table of events or people at most: a million rows of 60 letters (our own choice)."""

DEEPEST = 64
"""Levels of lists and objects at most; the deepest that this package writes has fewer than ten (our own choice)."""

LARGEST = (1 << 53) - 1
"""The largest whole number that JSON keeps exactly everywhere (RFC 8785, 3.2.2.3; RFC 8259, 6)."""

_OTHERS = {
    stat.S_ISDIR: "a folder",
    stat.S_ISFIFO: "a pipe",
    stat.S_ISSOCK: "a socket",
    stat.S_ISCHR: "a device",
    stat.S_ISBLK: "a device",
}


def demand_plain(path: str | Path) -> os.stat_result:
    """What the system says of a plain file, behind links too. Raises ReadError for everything else."""
    path = Path(path)
    try:
        found = os.stat(path)  # noqa: PTH116  (the twin of fstat in open_plain)
    except (OSError, ValueError) as why:  # ValueError: a name with a zero byte or a lone surrogate
        raise ReadError(_not_there(path, why)) from why
    _demand_regular(path, found)
    return found


def open_plain(path: str | Path) -> BinaryIO:
    """A plain file, open for reading its bytes. Raises ReadError where it is none or cannot be opened; never waits."""
    path = Path(path)
    demand_plain(path)  # opening a device can already do something
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
    flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        fd = os.open(path, flags)
    except OSError as why:
        raise ReadError(_not_there(path, why)) from why
    try:
        _demand_regular(path, os.fstat(fd))
    except BaseException:
        os.close(fd)
        raise
    return os.fdopen(fd, "rb")


def read_small(path: str | Path, most_bytes: int = SMALL) -> bytes:
    """The bytes of a file. Raises ReadError where it is no plain file, cannot be read, or holds more."""
    path = Path(path)
    try:
        with open_plain(path) as stream:
            long = os.fstat(stream.fileno()).st_size > most_bytes  # before a byte of it is read
            content = b"" if long else stream.read(most_bytes + 1)
    except ReadError:
        raise
    except OSError as why:
        raise ReadError(_not_there(path, why)) from why
    if long or len(content) > most_bytes:
        raise ReadError(
            f"{path.name} holds more than {_size(most_bytes)}, the most that such a file may hold; another kind of "
            "file under that name? Give the right one, or shorten it."
        )
    return content


def read_text(path: str | Path, most_bytes: int = SMALL) -> str:
    """The text of a file in UTF-8, without a byte order mark, its lines ended by one line feed whatever the file has.
    Raises ReadError as :func:`read_small`, FormatError where it is no such text."""
    return _decoded(read_small(path, most_bytes), Path(path).name).replace("\r\n", "\n").replace("\r", "\n")


def read_json(
    source: str | Path | bytes, *, name: str = "", most_bytes: int = SMALL, odd_numbers_as_text: bool = False
) -> Any:
    """The value in a JSON file, or in bytes that are called ``name`` in messages.

    NaN, Infinity, and numbers beyond what is kept exactly or at all are refused; ``odd_numbers_as_text``: they come as
    the text that stands there, for files of others in which one that nobody asks for should not matter.

    Raises ReadError as :func:`read_small`, FormatError for what is no JSON in UTF-8 or nests deeper than DEEPEST.
    """
    content = source if isinstance(source, bytes) else read_small(source, most_bytes)
    name = name or ("the text" if isinstance(source, bytes) else Path(source).name)
    text = _decoded(content, name)
    if too_deep(content):
        raise FormatError(_deep(name))

    def odd(written: str) -> str:
        if odd_numbers_as_text:
            return written if len(written) <= 40 else f"{written[:37]}..."
        shown = written if len(written) <= 40 else f"{written[:37]}… ({len(written)} characters)"
        raise FormatError(
            f"{name} holds the number {shown}; allowed: finite numbers, whole ones up to {LARGEST}; correct it."
        )

    def whole(written: str) -> int | str:
        number = int(written) if len(written) <= 17 else LARGEST + 1
        return number if -LARGEST <= number <= LARGEST else odd(written)

    def fraction(written: str) -> float | str:
        number = float(written)
        return number if math.isfinite(number) else odd(written)

    try:
        return json.loads(text, parse_int=whole, parse_float=fraction, parse_constant=odd)
    except FormatError:
        raise
    except (ValueError, RecursionError) as why:
        raise FormatError(f"{name} is not JSON in UTF-8 ({why}); correct it.") from why


def read_toml(path: str | Path, *, most_bytes: int = 256 << 10) -> dict[str, Any]:
    """The table in a TOML file. Raises ReadError as :func:`read_small`, FormatError for what is no TOML in UTF-8, holds
    numbers that are not finite or too large, or nests deeper than DEEPEST."""
    name = Path(path).name
    text = read_text(path, most_bytes)
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > _DOTS and _QUOTED.sub("", line).count(".") > _DOTS:
            raise FormatError(f"{name}: line {number} holds more than {_DOTS} dots: names within names; correct it.")
    try:
        found = tomllib.loads(text)
    except (ValueError, RecursionError, OverflowError) as why:
        raise FormatError(f"{name} is not TOML in UTF-8 ({why}); correct it.") from why
    _demand_modest(found, name)
    return found


def found_at(path: str | Path, *, link: bool = False) -> os.stat_result | None:
    """What the system says of what a path leads to (with ``link``, of the link itself); None where nothing is there, or
    links lead nowhere. Raises ReadError where that cannot be told: no right to look, a name that no file can have."""
    try:
        return os.stat(path, follow_symlinks=not link)  # noqa: PTH116  (whichever of the two)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (OSError, ValueError) as why:  # ValueError: a name with a zero byte or a lone surrogate
        if getattr(why, "errno", None) == errno.ELOOP:
            return None
        raise ReadError(_not_looked_at(path, why)) from why


def is_folder(path: str | Path) -> bool:
    """Whether a folder lies at a path, behind links too. Raises ReadError where that cannot be told."""
    found = found_at(path)
    return found is not None and stat.S_ISDIR(found.st_mode)


def real(path: str | Path) -> Path:
    """The path behind all links, as far as they lead anywhere; a link to itself stays."""
    return Path(os.path.realpath(path))


def inside(folder: str | Path) -> list[Path]:
    """What a folder holds, sorted; nothing where there is no folder. Raises ReadError where it cannot be listed."""
    if not is_folder(folder):
        return []
    try:
        return sorted(Path(folder).iterdir())
    except (FileNotFoundError, NotADirectoryError):  # gone since
        return []
    except OSError as why:
        raise ReadError(_not_looked_at(folder, why)) from why


def below(folder: str | Path) -> Iterator[Path]:
    """All that lies below a folder, folders too; what lies behind links to folders does not. Raises ReadError where a
    folder cannot be listed."""
    left = [Path(folder)]
    while left:
        for path in inside(left.pop()):
            yield path
            found = found_at(path, link=True)
            if found is not None and stat.S_ISDIR(found.st_mode):
                left.append(path)


def too_deep(content: bytes, deepest: int = DEEPEST) -> bool:
    """Whether bytes that should be JSON hold lists and objects within one another beyond ``deepest``, told without
    reading them as such: in time that grows with their length alone, and without recursion."""
    if content.count(b"[") + content.count(b"{") <= deepest:
        return False
    depth = 0
    for found in _BRACKETS.finditer(_STRING.sub(b"", content)):
        run = found[0]
        depth += len(run) if run[0] in b"[{" else -len(run)
        if depth > deepest:
            return True
    return False


_DOTS = 500
"""Dots in a line of TOML at most, outside quotation marks: reading a name takes the square of its parts in time."""
_QUOTED = re.compile(r"\"[^\"]*+\"|'[^']*+'")
_STRING = re.compile(rb'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
"""A string of JSON, or the rest of the text from one that is not closed; possessive, so that nothing is tried twice."""
_BRACKETS = re.compile(rb"[\[{]++|[\]}]++")


def _demand_modest(value: Any, name: str) -> None:
    """FormatError where a value nests too deep or holds numbers that are not finite or too large."""
    level = [value]
    for _ in range(DEEPEST):
        inner: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                inner += one.values()
            elif isinstance(one, list):
                inner += one
            elif (type(one) is float and not math.isfinite(one)) or (type(one) is int and abs(one) > LARGEST):
                shown = f"of {one.bit_length()} bits" if isinstance(one, int) else repr(one)
                raise FormatError(
                    f"{name} holds the number {shown}; allowed: finite numbers, whole ones up to {LARGEST}; correct it."
                )
        if not inner:
            return
        level = inner
    raise FormatError(_deep(name))


def _deep(name: str) -> str:
    return (
        f"{name} nests lists or objects more than {DEEPEST} deep, which no honest file of its kind does; give another."
    )


def _decoded(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        raise FormatError(
            f"{name} is not text in UTF-8 ({why.reason} at byte {why.start}); save it again as UTF-8."
        ) from why


def _demand_regular(path: Path, found: os.stat_result) -> None:
    if stat.S_ISREG(found.st_mode):
        return
    what = next((words for is_one, words in _OTHERS.items() if is_one(found.st_mode)), "no plain file")
    link = " (behind a link)" if path.is_symlink() else ""
    raise ReadError(f"{path.name} is {what}{link}; only a plain file can be read; put one in its place.")


def _not_there(path: Path, why: OSError | ValueError) -> str:
    if isinstance(why, FileNotFoundError):
        if path.is_symlink():
            return f"{path.name} is a link to a file that is not there; put the file in its place."
        return f"there is no file {path}; give the path of an existing file."
    words = (why.strerror if isinstance(why, OSError) else None) or str(why)
    return f"{path.name!r} cannot be read ({words}); it must be a plain file that you may read; see to that."


def _not_looked_at(path: str | Path, why: OSError | ValueError) -> str:
    words = (why.strerror if isinstance(why, OSError) else None) or str(why)
    shown = str(path) if len(str(path)) <= 300 else f"{str(path)[:299]}…"
    return f"{shown} cannot be looked at ({words}); it, and all folders above it, must be open to you; see to that."


def _size(count: int) -> str:
    return f"{count >> 20} MB" if count >= 1 << 20 else f"{count >> 10} kB" if count >= 1 << 10 else f"{count} bytes"


def write_new(path: Path, content: str) -> None:
    """A new file of text for people, there whole or not at all. Raises FileExistsError, other OSErrors."""
    passing = path.with_name(f".{path.name}.{secrets.token_hex(8)}.part")
    try:
        with passing.open("xb") as stream:
            stream.write(content.encode(errors="backslashreplace"))  # halves of surrogate pairs have no bytes
            stream.flush()
            os.fsync(stream.fileno())
        try:
            path.hardlink_to(passing)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if path.exists():
                raise FileExistsError(path) from None
            passing.replace(path)
    finally:
        passing.unlink(missing_ok=True)
