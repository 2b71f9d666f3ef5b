"""Sealed versions read back as tables.

read_version        a sealed version as a table, without recordings or a user interface
"""

from pathlib import Path

import pandas as pd

from emgreview.annotations.versions import read_sealed
from emgreview.checks import review_folder
from emgreview.errors import VersionError, tell
from emgreview.tables.text import from_tsv


def read_version(folder: str | Path, name: str, expect: str | None = None) -> pd.DataFrame:
    """A sealed version as a table like :meth:`Session.decisions`; ``table.attrs["version"]`` holds its description.

    What acceptance in bulk is worth in it, and what is to be known of the scale of its recordings, comes as a
    SignalWarning each, and stands in ``table.attrs["notes"]``. ``expect`` is the SHA-256 that sealing returned. Raises
    VersionError if the version is missing, was changed, or is another than expected.
    """
    description, content = read_sealed(review_folder(folder), name, expect)
    try:
        types = {column: entry["type"] for column, entry in description["columns"].items()}
        table = from_tsv(content, types, guarded="text" in description)
    except (KeyError, IndexError, ValueError, AttributeError) as why:
        raise VersionError(
            f"the table of version {name!r} is not one of decisions ({why!r}); restore it from a copy."
        ) from None
    table.attrs["version"] = description
    table.attrs["notes"] = [
        f"Version {name!r}: {note}" for note in (*description.get("bulk", ()), *description.get("scale_notes", ()))
    ]
    for note in table.attrs["notes"]:
        tell(note)
    return table
