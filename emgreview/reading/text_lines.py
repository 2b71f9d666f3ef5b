"""A text file as lines: its encoding, the header before its numbers, no blank lines at its end.

text_of             the text, open for reading
line_of, first_line one line; the first of numbers
lines_after_header  all of them
encoding_of         what a byte order mark says
"""

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Protocol

from emgreview.errors import FormatError
from emgreview.plain_files import open_plain

MOST_BYTES = 4 << 30
"""Bytes of a text file at most: two hours of eight channels at 2 kHz take 1.2 GB (our own choice)."""


class Layout(Protocol):
    """What of a TextLayout is needed here."""

    @property
    def header(self) -> int: ...
    @property
    def comment(self) -> str | None: ...
    @property
    def encoding(self) -> str | None: ...


class _Until(io.RawIOBase):
    """The bytes of a file up to a place."""

    def __init__(self, stream: BinaryIO, stop: int):
        self._stream, self._left = stream, stop

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        piece = self._stream.read(min(len(buffer), self._left))
        buffer[: len(piece)] = piece
        self._left -= len(piece)
        return len(piece)

    def close(self) -> None:
        self._stream.close()
        super().close()


_LONGEST_LINE = 1 << 20


@contextmanager
def text_of(path: Path, layout: Layout) -> Iterator[io.TextIOWrapper]:
    """The text of a file, open for reading, without the blank lines at its end."""
    stream = open_plain(path)
    try:
        size = os.fstat(stream.fileno()).st_size
        if size > MOST_BYTES:
            raise FormatError(
                f"{path.name} holds {size >> 20} MB; a text file of at most {MOST_BYTES >> 20} MB can be read; export "
                "it as EDF or BDF, or in pieces."
            )
        encoding = layout.encoding or encoding_of(stream.read(4))
        stop = _end_of_text(stream, size, encoding)
        stream.seek(0)
        if stop == 0:
            raise FormatError(f"{path.name} holds no line with numbers; give one line a sample: export the file again.")
        wrapped = io.TextIOWrapper(io.BufferedReader(_Until(stream, stop), 1 << 20), encoding=encoding, newline=None)
        try:
            yield wrapped
        except UnicodeError as why:
            raise FormatError(
                f"{path.name} is not text in {encoding.upper().removesuffix('-SIG')} ({getattr(why, 'reason', why)}"
                f"{f' at byte {why.start}' if isinstance(why, UnicodeDecodeError) else ''}); say its encoding, such as "
                "encoding='cp1252' or 'utf-16', or save it again as UTF-8."
            ) from None
        finally:
            wrapped.close()
    finally:
        stream.close()


def encoding_of(head: bytes) -> str:
    """UTF-8, or what a byte order mark says."""
    return "utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"


def _end_of_text(stream: BinaryIO, size: int, encoding: str) -> int:
    """Where the last line that is not blank ends, in bytes."""
    wide = 2 if encoding.lower().replace("_", "-").startswith("utf-16") else 1
    stop, step = size - size % wide, 1 << 16
    while stop > 0:
        start = max(stop - step, 0)
        stream.seek(start)
        piece = stream.read(stop - start)
        blanks = b" \t\r\n\0\xff\xfe" if wide == 2 else b" \t\r\n"
        kept = len(piece.rstrip(blanks))
        if kept:
            tail = piece[kept:]
            ends = [place for sign in (b"\n", b"\r") if (place := tail.find(sign)) >= 0]
            kept += min(ends, default=len(tail))  # tabs that end the last line stand for empty cells
            return start + kept + -kept % wide
        stop = start
    return 0


def line_of(path: Path, stream: io.TextIOWrapper) -> str:
    line = stream.readline(_LONGEST_LINE)
    if len(line) >= _LONGEST_LINE:
        raise FormatError(f"{path.name} holds a line of more than {_LONGEST_LINE} signs; it is no table of samples.")
    return line.rstrip("\n")


def first_line(path: Path, stream: io.TextIOWrapper, layout: Layout) -> str:
    """The first line of numbers, comments passed over and taken away."""
    number = layout.header
    while raw := stream.readline(_LONGEST_LINE):
        number += 1
        bare = raw.rstrip("\n")
        if layout.comment is not None:
            bare = bare.partition(layout.comment)[0]
        if bare.strip():
            return bare
        if not raw.strip():
            raise FormatError(
                f"{path.name}: line {number} is empty; the numbers must begin there; correct header=, the number of "
                "lines before them, or remove it."
            )
    raise FormatError(
        f"{path.name} holds no line with numbers after {layout.header} lines of header; correct header=."
        if layout.header
        else f"{path.name} holds no line with numbers; give one line a sample: export the file again."
    )


def lines_after_header(path: Path, layout: Layout) -> Iterator[str]:
    """Its lines after the header."""
    with text_of(path, layout) as stream:
        for _ in range(layout.header):
            line_of(path, stream)
        while line := stream.readline(_LONGEST_LINE):
            yield line.rstrip("\n")


_HEAD, _PIECE = 1 << 20, 1 << 16


def pieces_of(path: Path) -> tuple[str, list[str], float, str | None, list[str]]:
    """Text of the head, of further pieces, how often the head goes into the file, an encoding that must be said, and
    sentences on it."""
    with open_plain(path) as stream:
        head = stream.read(_HEAD)
        size = stream.seek(0, 2)
        rest = []
        if size > _HEAD:
            for start in (size // 2, max(size - _PIECE, _HEAD)):
                stream.seek(start - start % 2)
                rest.append(stream.read(_PIECE))
    encoding, said, words = _encoding(path, head)
    text = head.decode(encoding, errors="replace")
    if len(head) == _HEAD:
        text = text.rpartition("\n")[0] or text
    own = encoding if encoding != "utf-16" else ("utf-16-le" if head[:2] == b"\xff\xfe" else "utf-16-be")
    more = []
    for piece in rest:
        inner = piece.decode(own, errors="replace").replace("\r\n", "\n").split("\n")[1:-1]
        more.append("\n".join(inner))
    return (
        text.replace("\r\n", "\n").replace("\r", "\n"),
        more,
        size / max(len(head), 1),
        said,
        [words] if words else [],
    )


def _encoding(path: Path, head: bytes) -> tuple[str, str | None, str]:
    """The encoding, whether it must be said, and a sentence on it."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16", None, "UTF-16, as its byte order mark says"
    if head.count(b"\0") > len(head) // 4:
        little = head[1::2].count(b"\0") >= head[::2].count(b"\0")
        found = "utf-16-le" if little else "utf-16-be"
        return found, found, f"{found.upper()}, as every second byte is zero"
    if b"\0" in head:
        raise FormatError(f"{path.name} holds zero bytes and is no text; give its name the ending of its format.")
    try:
        head[: len(head) - 4].decode("utf-8-sig") if len(head) == _HEAD else head.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        return (
            "cp1252",
            "cp1252",
            (
                f"not UTF-8 (byte {why.start} is {head[why.start]:#x}); taken as Windows-1252, in which that is "
                f"{head[why.start : why.start + 1].decode('cp1252', errors='replace')!r}"
            ),
        )
    return "utf-8-sig", None, ""
