"""What a command says: the answer on standard output, all else on standard error, in the words of a shell.

put                     the one door: any text to any stream
tell, say               the answer, as text or JSON; one line beside it
say_of_folder           a note of the folder, which is not said again
show_warning            a warning as a note, each once
shown, forget           the notes said so far; none, for the next command
progress                how far a long command is
to_json, rows_to_tsv    values as text
"""

import argparse
import json
import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any, TextIO

import emgreview as er
from emgreview.cells import MISSING, guard
from emgreview.cli.words import answer, in_shell_lines, in_shell_words
from emgreview.legible import escaped, legible

_SHOWN: dict[str, None] = {}
"""Notes that this command has said, each once; but for those of the folder."""

_OF_FOLDER: set[str] = set()
"""Notes of the folder that it has said, which a blind review would tell again."""


def put(text: object, *, end: str = "\n", on: TextIO | None = None) -> None:
    """The one door for output: letters that are not seen, or that the stream cannot write, are written as their
    numbers (:mod:`emgreview.legible`)."""
    stream = sys.stdout if on is None else on
    encoding = _encoding(stream)
    stream.write(f"{legible(str(text))}{end}".encode(encoding, "backslashreplace").decode(encoding))
    stream.flush()


def _encoding(stream: TextIO) -> str:
    return getattr(stream, "encoding", None) or "utf-8"


def tell(given: argparse.Namespace, values: Mapping[str, object], words: str) -> None:
    put(to_json(values) if given.json else in_shell_lines(words))


def say(line: str) -> None:
    put(in_shell_words(line), on=sys.stderr)


def say_of_folder(note: str) -> None:
    say(f"note: {note}")
    _OF_FOLDER.add(in_shell_words(note))


def show_warning(message: Warning | str, category: type[Warning], *_: object, **__: object) -> None:
    line = in_shell_words(message)
    if issubclass(category, er.SignalWarning | er.DecisionWarning) and line not in _OF_FOLDER and line not in _SHOWN:
        _SHOWN[line] = None
        put(f"note: {line}", on=sys.stderr)  # in shell words already


def shown() -> list[str]:
    """The notes that were said, but for those of the folder."""
    return list(_SHOWN)


def forget() -> None:
    _SHOWN.clear()
    _OF_FOLDER.clear()


def progress(done: int, total: int, words: str) -> None:
    """One line that is written over itself in a terminal, and a line each elsewhere."""
    if sys.stderr.isatty():
        put("", end="\r", on=sys.stderr)
        put(f"{done} of {total}: {words:<40}", end="\n" if done == total else "", on=sys.stderr)
    else:
        say(f"{done} of {total}: {words}")


def to_json(value: Any) -> str:
    """JSON, its letters as they are where standard output takes them, and else all escaped, as JSON may."""
    whole = _plain(answer(value))
    text = escaped(json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1))
    try:
        text.encode(_encoding(sys.stdout))
    except UnicodeEncodeError:
        return json.dumps(whole, allow_nan=False, indent=1)
    return text


def _plain(value: Any) -> Any:
    """Missing numbers as null, tuples as lists."""
    if isinstance(value, Mapping):
        return {str(name): _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def rows_to_tsv(rows: Sequence[Mapping[str, Any]]) -> str:
    lines = ["\t".join(rows[0])]
    lines += ["\t".join(_cell(value) for value in row.values()) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(value: object) -> str:
    """Text so that no spreadsheet runs it, numbers as they are."""
    if value is None or value != value:
        return MISSING
    return guard(value) if isinstance(value, str) else str(value)
