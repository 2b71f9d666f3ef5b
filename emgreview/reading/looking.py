"""What a file holds, and the call that reads it: for a person to look at, before anything is read.

Nothing is guessed silently: whatever is taken from the looks of a file is a sentence, and an argument of the call that
is proposed. What the file does not say is asked for, and the call does not work until it is said. The call is what is
kept, in a script or in a study's description.

    look(path)      a Look at one file
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from emgreview.checks import kind
from emgreview.errors import EmgreviewError, ReadError
from emgreview.reading.contents import Reader, Seen, signals_in_words
from emgreview.reading.files import demand_file
from emgreview.reading.registry import reader_for
from emgreview.showing import Shown

ASKED = "?"
"""Stands in the proposed call for what a person must say."""


@dataclass(frozen=True, eq=False, repr=False)
class Look(Shown):
    """What a file holds; :func:`emgreview.look` returns it.

    Attributes
    ----------
    path : Path
        The file.
    format : str
        Its format, in words.
    facts : tuple of str
        What is seen, one sentence each.
    how : mapping of str to object
        The arguments of :func:`emgreview.read` that are proposed; "?" where a person must say.
    asks : mapping of str to str
        By argument: what the file does not say, or what of a proposal has to be confirmed.
    refused : str
        Why no call reads the file as it is, or "".
    """

    path: Path
    format: str
    facts: tuple[str, ...]
    how: Mapping[str, Any] = field(default_factory=dict)
    asks: Mapping[str, str] = field(default_factory=dict)
    refused: str = ""

    @property
    def call(self) -> str:
        """The call that reads the file, as Python."""
        words = [repr(str(self.path)), *(f"{name}={_plain(value)!r}" for name, value in self.how.items())]
        return f"er.read({', '.join(words)})"

    def _parts(self) -> list[str]:
        lines = [f"{self.path.name}: {self.format}", *(f"  {fact}" for fact in self.facts)]
        if self.refused:
            return [*lines, f"  cannot be read: {self.refused}"]
        for name, words in self.asks.items():
            lines.append(f"  {'say' if _open(self.how.get(name)) else 'confirm'} {name}: {words}")
        return [*lines, f"  to read it: {self.call}"]


def look(path: str | Path) -> Look:
    r"""What a file holds, and the call that reads it.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Look
        Facts, a proposed call of :func:`read`, and what a person must say.

    Raises
    ------
    ReadError
        No such file, no plain file, an unknown extension, or a package that the format needs
        is missing.
    FormatError
        The file is none of its format.
    ParameterError
        ``path`` is no path.

    Notes
    -----
    A few pieces of the file are looked at, not all of it: what holds there may not hold
    everywhere, and :func:`read` then says where.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "p01.csv"
    ...     rows = "".join(f"{n / 1000};{n % 7}\n" for n in range(2000))
    ...     _ = path.write_text("time;FCR\n" + rows)
    ...     seen = er.look(path)
    >>> seen.how["columns"], seen.how["rate_hz"], seen.how["unit"]
    ({'time': 'time', 'FCR': 'FCR'}, 1000.0, '?')
    """
    kind("path", path, (str, os.PathLike), "the path of one file")
    path = Path(path)
    demand_file(path, "look() takes one file")
    reader = reader_for(path)
    try:
        seen = _looked(reader, path)
    except EmgreviewError:
        raise
    except OSError as why:
        raise ReadError(f"{path.name} cannot be read ({why.strerror or why}); see to that, then look again.") from why
    how: dict[str, Any] = {}
    for name, value in (("rate_hz", seen.rate_hz), ("unit", seen.unit), ("columns", seen.columns)):
        if value is not None or name in seen.asks:
            how[name] = ASKED if value is None else value
    how |= seen.layout
    how |= {name: ASKED for name in seen.asks if name not in how}
    facts = seen.facts
    if path.suffix.lower() not in reader.extensions:
        facts = (f"the ending {path.suffix!r} is that of no format known here, and it begins as text does", *facts)
    return Look(path, reader.name, facts, how, seen.asks, seen.refused)


def _looked(reader: Reader, path: Path) -> Seen:
    if reader.look is not None:
        return reader.look(path)
    contents = reader.read(path, rate_hz=None, columns=None)
    return Seen(facts=signals_in_words(contents.signals, contents.markers, contents.notes))


def _open(value: Any) -> bool:
    """Whether a person has still to say it, or a part of it."""
    return ASKED in value.values() if isinstance(value, Mapping) else isinstance(value, str) and value == ASKED


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, tuple) else value
