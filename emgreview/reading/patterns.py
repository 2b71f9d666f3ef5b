"""What the names of files say: a pattern such as "P{participant}_{task}_run{run}.csv".

A word in braces stands for one or more signs without "/", the same ones wherever it comes again; ``*`` for any signs
without "/", or none. A path is held against a pattern in bounded time, whatever the two are, and folders are looked
through level by level, never in a circle. Participant, session, task, run and the like become the recording's entities,
as the Brain Imaging Data Structure names them.

    Pattern     a pattern, and what it finds
    name_of     the name of a recording, of its entities
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from emgreview.checks import short
from emgreview.errors import FormatError, ParameterError
from emgreview.plain_files import inside, is_folder, real

ENTITIES = {
    "participant": "sub",
    "session": "ses",
    "task": "task",
    "acquisition": "acq",
    "run": "run",
    "recording": "recording",
}
"""Words in a pattern, and the entities that they are, in the order in which names list them."""
PARTS = ("part", "side")
"""Files that differ in "part" alone follow one another in time, those that differ in "side" lie side by side."""
CONDITION = "condition"
"""What holds for every trial of a file, as a column of its cues."""
WORDS = (*ENTITIES, *PARTS, CONDITION)


@dataclass(frozen=True)
class Pattern:
    """A pattern of paths, relative to a folder, with "/" between folders."""

    text: str
    words: tuple[str, ...] = field(init=False)
    _pieces: tuple[str, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        pieces = _pieces_of(self.text)
        words = [piece[1:-1] for piece in pieces if piece.startswith("{")]
        for word in words:
            if word not in WORDS:
                raise ParameterError(
                    f"the pattern {self.text!r} holds {{{word}}}; allowed in braces: {', '.join(WORDS)}; correct it, "
                    "or "
                    "write * for what does not matter."
                )
        if "{" in "".join(p for p in pieces if not p.startswith("{")) or self.text.startswith("/") or ".." in self.text:
            raise ParameterError(
                f"the pattern came as {self.text!r}; allowed: a path below the folder of the description, words in "
                "braces "
                "({participant}), * for any signs; correct it."
            )
        object.__setattr__(self, "words", tuple(dict.fromkeys(words)))
        if self.text.count("/") > MOST_FOLDERS or len(words) + pieces.count("*") > MOST_WORDS:
            raise ParameterError(
                f"the pattern {short(self.text)} holds {self.text.count('/')} folders and {len(words)} words in braces "
                f"beside {pieces.count('*')} *; allowed: {MOST_FOLDERS} folders, and {MOST_WORDS} of the others; "
                "shorten it."
            )
        object.__setattr__(self, "_pieces", pieces)

    def match(self, path: str) -> dict[str, str] | None:
        """What a path says; None where it does not fit. Raises FormatError where it can be read in two ways."""
        ends = [
            piece for piece in (*self._pieces[:1], *self._pieces[-1:]) if piece != "*" and not piece.startswith("{")
        ]
        if not all(path.startswith(one) or path.endswith(one) for one in ends):  # most of them, at once
            return None
        first, second = (_Matching(self._pieces, path, lazy).said() for lazy in (True, False))
        if first is None or second is None:
            return None
        if first != second:
            one, other = (", ".join(f"{k} {v!r}" for k, v in said.items()) for said in (first, second))
            raise FormatError(
                f"{path} fits the pattern {self.text!r} in two ways ({one}; or {other}); put something between the "
                "words that no word holds, or write fewer words."
            )
        return first

    def fill(self, said: Mapping[str, str]) -> str:
        """The path for what is said; a word that is not said, and *, stay."""
        return re.sub(r"\{([^{}]*)\}", lambda found: said.get(found[1], found[0]), self.text)

    def before(self, word: str) -> str:
        """The letters that stand right before a word, "" where another sign does."""
        found = re.search(r"([A-Za-z]*)\{" + re.escape(word) + r"\}", self.text)
        return found[1] if found else ""

    def files(self, folder: Path) -> list[tuple[Path, dict[str, str]]]:
        """The files of a folder that fit, in order of their paths, with what their names say. Raises ReadError where a
        folder that may hold some cannot be listed, FormatError where there are too many."""
        places, looked = [folder], 0
        for part in self.text.split("/")[:-1]:
            above, places = places, []
            for place in above:
                fitting = [place / part] if set("{*").isdisjoint(part) else self._fitting(place, part)
                looked += len(fitting)
                if looked > MOST_LOOKED:
                    raise FormatError(self._too_many())
                places += [one for one in fitting if is_folder(one) and not _leads_up(one, folder)]
        found = []
        for place in places:
            there = inside(place)
            looked += len(there)
            if looked > MOST_LOOKED:
                raise FormatError(self._too_many())
            for path in there:
                said = None if path.name.startswith(".") else self.match(path.relative_to(folder).as_posix())
                if said is not None and not is_folder(path):
                    found.append((path, said))
        return sorted(found, key=lambda one: one[0])

    def _fitting(self, place: Path, part: str) -> list[Path]:
        """What a folder holds that may be this part of the path."""
        pieces = _pieces_of(part)
        return [one for one in inside(place) if _Matching(pieces, one.name, True).said() is not None]

    def _too_many(self) -> str:
        return (
            f"more than {MOST_LOOKED} files and folders could fit the pattern {short(self.text)}; name the folders on "
            "the way as far as they are known, and as few files beside those that are read as may be."
        )


MOST_FOLDERS, MOST_WORDS = 20, 40
"""Folders and words of a pattern at most (our own choice)."""
MOST_LOOKED = 200_000
"""Files and folders at most that are looked at for one pattern (our own choice)."""
MOST_TRIES = 100_000
"""Tries at most to hold one path against a pattern (our own choice)."""


def _pieces_of(text: str) -> tuple[str, ...]:
    """Words in braces, stars, and what stands between them."""
    return tuple(filter(None, re.split(r"(\{[^{}]*\}|\*)", text)))


def _leads_up(place: Path, top: Path) -> bool:
    """Whether a link leads from a place back to a folder above it."""
    above = place
    while above != top:
        above = above.parent
        if real(above) == real(place):
            return True
    return False


class _Matching:
    """One path held against a pattern; ``lazy``: earlier words as short as may be, else as long."""

    def __init__(self, pieces: tuple[str, ...], path: str, lazy: bool):
        self.pieces, self.path, self.lazy = pieces, path, lazy
        self.tries = 0
        self.failed: set[tuple[Any, ...]] = set()
        self.again = [[word for word in pieces[at:] if word in pieces[:at]] for at in range(len(pieces) + 1)]

    def said(self) -> dict[str, str] | None:
        """What the path says, None where it does not fit. Raises FormatError where that takes too long to tell."""
        return self._from(0, 0, {})

    def _from(self, at: int, start: int, said: dict[str, str]) -> dict[str, str] | None:
        """The rest of the path against the rest of the pieces."""
        if at == len(self.pieces):
            return {word[1:-1]: text for word, text in said.items()} if start == len(self.path) else None
        tried = (at, start, *(said[word] for word in self.again[at] if word in said))  # all that the rest hangs on
        self.tries += 1
        if tried in self.failed:
            return None
        if self.tries > MOST_TRIES:
            raise FormatError(
                f"whether {short(self.path)} fits the pattern cannot be told in {MOST_TRIES} tries; put between its "
                "words what no word holds, or write fewer words."
            )
        piece = self.pieces[at]
        if piece == "*" or (piece.startswith("{") and piece not in said):
            for end in self._ends(at, start, said):
                more = said if piece == "*" else {**said, piece: self.path[start:end]}
                if (found := self._from(at + 1, end, more)) is not None:
                    return found
        else:
            end = start + len(said.get(piece, piece))
            fits = self.path.startswith(said.get(piece, piece), start)
            if fits and (found := self._from(at + 1, end, said)) is not None:
                return found
        self.failed.add(tried)
        return None

    def _ends(self, at: int, start: int, said: Mapping[str, str]) -> Iterator[int]:
        """Where a word or star that begins at ``start`` may end, in the order of trying: in this part of the path, and
        where the next piece follows, if that is known."""
        low, high = start + (self.pieces[at] != "*"), self.path.find("/", start)
        high = len(self.path) if high < 0 else high
        after = self.pieces[at + 1] if at + 1 < len(self.pieces) else None
        if after is None:
            yield from range(max(low, len(self.path)), high + 1)
        elif after == "*" or (after.startswith("{") and (after == self.pieces[at] or after not in said)):
            yield from range(low, high + 1) if self.lazy else range(high, low - 1, -1)
        else:
            text = said.get(after, after)
            find = self.path.find if self.lazy else self.path.rfind
            while (end := find(text, low, high + len(text))) >= 0 and low <= end <= high:
                yield end
                low, high = (end + 1, high) if self.lazy else (low, end - 1)


def name_of(entities: Mapping[str, str], otherwise: str) -> str:
    """The name of a recording: its entities in their order, or ``otherwise`` where there are none."""
    words = [f"{key}-{entities[key]}" for key in ENTITIES.values() if key in entities]
    return "_".join(words) or otherwise


def label_of(text: str) -> str:
    """A text as the label of an entity, which holds letters and digits alone."""
    return "".join(sign for sign in text if sign.isascii() and sign.isalnum())
