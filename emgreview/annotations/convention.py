"""The marking convention: what a study means by an onset, written once, shown to every reviewer, cited by every log.

In a log it is text, one paragraph a line; those written as a Convention begin with the words of PARTS.

    Convention          its four named parts
    read_convention     the words in a file: TOML, JSON, or plain text
    convention_words    a convention as it is stored
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Self

from emgreview.annotations.events import check_text
from emgreview.errors import ParameterError, ReadError, UnknownNameError
from emgreview.plain_files import demand_plain, read_json, read_text, read_toml

LONGEST = 10_000
"""Letters of the longest convention: some three pages, which every log repeats (our own choice, no source)."""

_TOO_LONG = (
    f"allowed: up to {LONGEST} letters, as every log keeps the whole of it; give text in UTF-8 that says how the study "
    "marks an onset, and nothing else."
)

PARTS: Mapping[str, str] = {
    "search": "Search direction",
    "start": "What counts as the start",
    "stray_units": "Single stray units",
    "shortest_burst": "Shortest burst",
    "further": "Further",
}
"""The words that each part begins with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Convention:
    """A marking convention in its parts, each in the study's own words, one paragraph.

    Parameters
    ----------
    search : str
        In which direction an onset is looked for, and from where.
    start : str
        What counts as the start of a burst.
    stray_units : str
        How single units before or between bursts are treated.
    shortest_burst : str
        The shortest activity that is a burst.
    further : str, default ""
        Anything else, or nothing.

    Raises
    ------
    ParameterError
        A part is missing.
    DecisionError
        A part holds a control character or line break.

    Examples
    --------
    >>> import emgreview as er
    >>> how = er.Convention(search="backwards from the peak", start="first clear departure",
    ...                     stray_units="ignored", shortest_burst="30 ms")
    >>> how.further
    ''
    """

    search: str
    start: str
    stray_units: str
    shortest_burst: str
    further: str = ""

    def __post_init__(self) -> None:
        for name, words in asdict(self).items():
            if not isinstance(words, str) or not (words.strip() or name == "further"):
                raise ParameterError(
                    f"{name} of the marking convention came as {words!r}; say in words: {PARTS[name].lower()}."
                )
            check_text(words)

    def __str__(self) -> str:
        return "\n".join(f"{PARTS[name]}: {words.strip()}" for name, words in asdict(self).items() if words.strip())

    @classmethod
    def read(cls, path: str | Path) -> Self:
        """A convention from a TOML or JSON file with these names.

        Parameters
        ----------
        path : str or Path
            The file, .toml or .json.

        Returns
        -------
        Convention

        Raises
        ------
        ReadError
            There is no such file, or it cannot be read.
        UnknownNameError
            It holds a part that a convention does not have.
        ParameterError
            A part is missing or no text.
        """
        path, known = Path(path), [field.name for field in fields(cls)]
        try:
            found: Any = read_json(path) if path.suffix == ".json" else read_toml(path)
        except ReadError as problem:
            raise ReadError(
                f"{path} cannot be read as a marking convention: {problem}; give a TOML or JSON file in UTF-8."
            ) from None
        if not isinstance(found, dict):
            raise ReadError(f"{path} holds no names with words; a marking convention has {', '.join(known)}.")
        for name in found:
            if name not in known:
                raise UnknownNameError("part of a marking convention", name, known)
        if missing := [name for name in known[:4] if name not in found]:
            raise ParameterError(f"{path} lacks {', '.join(missing)}; a marking convention says: {', '.join(known)}.")
        return cls(**found)


def read_convention(path: str | Path) -> str:
    """The words of a marking convention in a file: TOML or JSON with the parts of a :class:`Convention`, and in any
    other file the text as it stands."""
    path = Path(path)
    if (size := demand_plain(path).st_size) > 4 * LONGEST:  # a letter in UTF-8 has four bytes at most
        raise ReadError(f"{path} holds {size} bytes; {_TOO_LONG}")
    if path.suffix in (".toml", ".json"):
        return str(Convention.read(path))
    try:
        words = convention_words(read_text(path, 4 * LONGEST + 3))
    except ReadError as problem:
        raise ReadError(f"{path} cannot be read as a marking convention: {problem}; give text in UTF-8.") from None
    if not words:
        raise ReadError(f"{path} is empty; write down how the study marks an onset.")
    return words


def convention_words(came: Convention | str) -> str:
    """A convention as text: paragraphs parted by line feeds, without blank ones. Raises DecisionError where a
    paragraph holds control characters."""
    lines = str(came).replace("\r\n", "\n").split("\n")
    words = "\n".join(check_text(line.strip(), most=None) for line in lines if line.strip())
    if len(words) > LONGEST:
        raise ParameterError(f"a marking convention of {len(words)} letters came; {_TOO_LONG}")
    if sum(map(str.isdigit, words)) > sum(map(str.isalpha, words)):
        raise ParameterError(
            f"the marking convention begins with {words[:40]!r} and holds more digits than letters: a table of "
            "numbers, it seems; allowed: how the study marks an onset, in words; give that text."
        )
    return words
