"""Which module reads which file: by extension, built-in formats first, then plug-ins; then text under any other ending.

A plug-in is a package with an entry point in the group ``emgreview.readers`` that loads a
:class:`~emgreview.reading.contents.Reader`::

    [project.entry-points."emgreview.readers"]
    myformat = "my_package:READER"

Plug-ins are loaded only when a file's extension is not built in, so a broken one never disturbs the rest.

    reader_for(path)      the Reader of one file
    known_extensions()    every extension that can be read, with the name of its format
"""

import re
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path

from emgreview.errors import ReadError
from emgreview.plain_files import open_plain
from emgreview.reading import c3d, edf, excel, hdf5, matlab, nwb, parquet, text, xdf
from emgreview.reading.contents import Reader
from emgreview.reading.text_lines import encoding_of

GROUP = "emgreview.readers"
BUILT_IN: tuple[Reader, ...] = (
    edf.READER,
    text.READER,
    matlab.READER,
    hdf5.READER,
    c3d.READER,
    excel.EXCEL,
    parquet.PARQUET,
    xdf.READER,
    nwb.READER,
)


def reader_for(path: Path) -> Reader:
    """The reader of a file, by its extension, whatever its case; that of text where nobody knows the extension and the
    file begins as text does (".dat", ".asc"). Raises ReadError where there is none."""
    extension = path.suffix.lower()
    for reader in _readers():
        if extension in reader.extensions:
            return reader
    if extension and _begins_as_text(path):
        return text.READER
    known = "; ".join(f"{' '.join(reader.extensions)} ({reader.name})" for reader in _readers())
    has = (
        f"the extension {path.suffix!r}, which no reader knows" if path.suffix else "no extension, and none is guessed"
    )
    raise ReadError(
        f"{path.name} has {has}; known: {known}; give its name the ending of its format, or export it as EDF or BDF, "
        "read it yourself and use Recording.from_array, or install a plug-in for it."
    )


def _begins_as_text(path: Path) -> bool:
    """Whether the first bytes are lines of numbers or words, and no binary form."""
    try:
        with open_plain(path) as stream:
            head = stream.read(4096)
    except ReadError:
        return False
    wide = encoding_of(head) == "utf-16"
    letters = head.decode("utf-16" if wide else "latin-1", errors="replace")
    return len(letters.split()) > 1 and not re.search(r"[\x00-\x08\x0e-\x1f\x7f]", letters)


def known_extensions() -> dict[str, str]:
    """Extension (lower case, with its dot) to the name of its format; the first reader of an extension wins."""
    known: dict[str, str] = {}
    for reader in _readers():
        for extension in reader.extensions:
            known.setdefault(extension, reader.name)
    return known


def _readers() -> Iterator[Reader]:
    yield from BUILT_IN
    for entry in entry_points(group=GROUP):
        try:
            reader = entry.load()
        except Exception as error:
            raise ReadError(
                f"the reader plug-in {entry.name!r} ({entry.value}) cannot be loaded: {error!r}; a plug-in must import "
                "without error; update or uninstall it."
            ) from error
        if not isinstance(reader, Reader):
            raise ReadError(
                f"the reader plug-in {entry.name!r} ({entry.value}) is a {type(reader).__name__}; it must be an "
                "emgreview.reading.Reader; update or uninstall it."
            )
        yield reader
