"""Sentences without the names of recordings and participants, for whoever reviews blind.

What a note says of a signal ("Channel FDI is flat in every trial") is seen again on the screen: with a name beside it,
it tells whose trial is shown. So a blind review is told the sentence, and not the name; the same sentence of several
recordings once, with their number. A recording that cannot be read or cut keeps its name: it has to be mended, and is
on no screen.

    unnamed(words, recordings)      a sentence without their names
    unname(error, recordings)       the same of an error, and of the names that it lists
    NobodyNamed(recordings)         a ``with`` block in which notes are held; told without names where it ends
    alike(problems)                 one slip on many recordings, told once
    LEFT_OUT                        in a sentence on a recording that is left out, and keeps its name
"""

import re
import warnings
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, Self

from emgreview.errors import EmgreviewError, ReadError, SignalWarning, UnknownNameError, tell
from emgreview.model import Recording

LEFT_OUT = " and is left out: "
_ONE = "a recording"


def unnamed(words: str, recordings: Iterable[Recording]) -> str:
    """The words without names of recordings and participants, and without what a recording says of a channel that it
    marks bad, in which a person may be named."""
    given = sorted(recordings, key=lambda one: len(one.name), reverse=True)
    for one in given:
        words = _replaced(words, one.name, _ONE)
    words = re.sub(rf"{_ONE}(?:, {_ONE})+", lambda found: f"{found[0].count(_ONE)} recordings", words)
    for one in given:
        for channel in one.channels:
            words = words.replace(f" ({channel.status_description})", "") if channel.status_description else words
        if sub := one.entities.get("sub"):
            words = _replaced(words, f"sub-{sub}", "a participant")
    return words


def alike(problems: Mapping[str, str], most: int = 3) -> dict[str, str]:
    """Sentences by whose they are, from sentences by recording: those that differ in nothing but names and numbers are
    one, that of the first, with how many recordings it is about and the names of the first ones."""
    groups: dict[str, list[str]] = {}
    said: dict[str, str] = {}
    for name, words in problems.items():
        said[name] = words.removesuffix(f" This was asked of recording {name!r}.")
        groups.setdefault(re.sub(r"\d+(?:\.\d+)?", "0", _replaced(said[name], name, _ONE)), []).append(name)
    found = {}
    for names in groups.values():
        few = ", ".join(names[:most]) + (" …" if len(names) > most else "")
        whose = names[0] if len(names) == 1 else f"{len(names)} recordings ({few})"
        differ = len({_replaced(said[name], name, _ONE) for name in names}) > 1
        found[whose] = f"{said[names[0]]}{' (The numbers are those of the first.)' if differ else ''}"
    return found


NAMING = ("recording", "participant", "trial")
"""What an UnknownNameError lists that names somebody: how these words begin."""


def unname(error: EmgreviewError, recordings: Iterable[Recording]) -> None:
    """Take the names of recordings and participants out of an error. One of a file that cannot be read keeps its name:
    the file has to be mended. What the caller gave stays as it was given."""
    if isinstance(error, ReadError):
        return
    if isinstance(error, UnknownNameError) and error.what.startswith(NAMING) and not error.count:
        error.args = (f"no {error.what.split()[0]} is called {error.came!r}; there are: none. {error.none_is}".strip(),)
    elif isinstance(error, UnknownNameError) and error.what.startswith(NAMING):
        error.args = (
            f"no {error.what.split()[0]} is called {error.came!r}; there are {error.count}, which a blind review does "
            "not name; take one as the review gives it.",
        )
    else:
        error.args = tuple(unnamed(part, recordings) if isinstance(part, str) else part for part in error.args)


class NobodyNamed:
    """A ``with`` block that holds every SignalWarning and tells them where it ends, even by an error: nothing is lost.

    ``recordings`` are those whose names are hidden; the block may add to the list. A sentence on a recording that is
    left out stands as it is. Warnings of other kinds pass on as they came. It does nothing unless ``blind``.
    """

    def __init__(self, recordings: Sequence[Recording], blind: bool = True):
        self._recordings, self._blind = recordings, blind

    def __enter__(self) -> Self:
        if self._blind:
            self._catching = warnings.catch_warnings(record=True)
            self._held = self._catching.__enter__()
            warnings.simplefilter("always", SignalWarning)
        return self

    def __exit__(self, *error: object) -> Literal[False]:
        if not self._blind:
            return False
        self._catching.__exit__(None, None, None)
        notes: dict[str, None] = {}
        for one in self._held or ():
            if issubclass(one.category, SignalWarning):
                notes[str(one.message)] = None
            else:
                warnings.warn_explicit(one.message, one.category, one.filename, one.lineno)
        told = Counter(words if LEFT_OUT in words else unnamed(words, self._recordings) for words in notes)
        for words, n in sorted(told.items()):  # the order of the recordings would name them
            tell(re.sub(rf"^{_ONE}(?=: )", f"{n} recordings", words) if n > 1 else words)
        return False


def _replaced(words: str, name: str, by: str) -> str:
    """A name, where it stands by itself and is no part of a word."""
    return re.sub(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", by, words)
