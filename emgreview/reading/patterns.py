"""What the names of files say: a pattern such as "P{participant}_{task}_run{run}.csv".

A word in braces stands for one or more signs without "/", the same ones wherever it comes again; ``*`` for any signs
without "/", or none. Participant,
session, task, run and the like become the recording's entities, as the Brain Imaging Data Structure names them.

    Pattern     a pattern, and what it finds
    name_of     the name of a recording, of its entities
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from emgreview.errors import FormatError, ParameterError

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
    _found: tuple[re.Pattern[str], re.Pattern[str]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        pieces = re.split(r"(\{[^{}]*\}|\*)", self.text)
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
        object.__setattr__(self, "_found", tuple(_expression(pieces, lazy) for lazy in (True, False)))

    def match(self, path: str) -> dict[str, str] | None:
        """What a path says; None where it does not fit. Raises FormatError where it can be read in two ways."""
        first, second = (found.fullmatch(path) for found in self._found)
        if first is None or second is None:
            return None
        if first.groupdict() != second.groupdict():
            one, other = (", ".join(f"{k} {v!r}" for k, v in m.groupdict().items()) for m in (first, second))
            raise FormatError(
                f"{path} fits the pattern {self.text!r} in two ways ({one}; or {other}); put something between the "
                "words that no word holds, or write fewer words."
            )
        return first.groupdict()

    def fill(self, said: Mapping[str, str]) -> str:
        """The path for what is said; a word that is not said, and *, stay."""
        return re.sub(r"\{([^{}]*)\}", lambda found: said.get(found[1], found[0]), self.text)

    def before(self, word: str) -> str:
        """The letters that stand right before a word, "" where another sign does."""
        found = re.search(r"([A-Za-z]*)\{" + re.escape(word) + r"\}", self.text)
        return found[1] if found else ""

    def files(self, folder: Path) -> list[tuple[Path, dict[str, str]]]:
        """The files of a folder that fit, in order of their paths, with what their names say."""
        found = []
        for path in sorted(folder.glob("*/" * self.text.count("/") + "*")):
            said = (
                None if path.is_dir() or path.name.startswith(".") else self.match(path.relative_to(folder).as_posix())
            )
            if said is not None:
                found.append((path, said))
        return found


def _expression(pieces: Iterable[str], lazy: bool) -> re.Pattern[str]:
    more, made, seen = "?" if lazy else "", "", set()
    for piece in pieces:
        if piece.startswith("{"):
            made += f"(?P={piece[1:-1]})" if piece in seen else f"(?P<{piece[1:-1]}>[^/]+{more})"
            seen.add(piece)
        else:
            made += f"[^/]*{more}" if piece == "*" else re.escape(piece)
    return re.compile(made)


def name_of(entities: Mapping[str, str], otherwise: str) -> str:
    """The name of a recording: its entities in their order, or ``otherwise`` where there are none."""
    words = [f"{key}-{entities[key]}" for key in ENTITIES.values() if key in entities]
    return "_".join(words) or otherwise


def label_of(text: str) -> str:
    """A text as the label of an entity, which holds letters and digits alone."""
    return "".join(sign for sign in text if sign.isascii() and sign.isalnum())
