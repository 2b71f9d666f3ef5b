"""Sealed versions read back as tables.

read_version        a sealed version as a table, without recordings or a user interface
"""

from pathlib import Path

import pandas as pd

from emgreview.annotations.description import demand_whole
from emgreview.annotations.versions import read_sealed
from emgreview.checks import review_folder
from emgreview.errors import FormatError, VersionError, tell
from emgreview.tables.decisions import Said
from emgreview.tables.inclusion import bursts_left_out
from emgreview.tables.text import from_tsv

SAYS = ("bulk", "scale_notes", "withdrawn")
"""The parts of a description that are sentences for who reads the table."""


def read_version(folder: str | Path, name: str, expect: str | None = None) -> pd.DataFrame:
    """A sealed version as a table like :meth:`Session.decisions`.

    Parameters
    ----------
    folder : str or Path
        The review folder.
    name : str
        Name of the version.
    expect : str or None
        The SHA-256 that sealing returned, to make sure that it is this version.

    Returns
    -------
    DataFrame
        One row a burst or channel-trial; missing is missing, never 0.
        ``table.attrs["version"]`` holds its description, ``table.attrs["notes"]`` what the
        warnings say.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    VersionError
        The version is missing, was changed (its digests, or those that the logs beside it
        keep, do not fit), or is another than expected.
    LogError
        ``folder`` holds no review, or a log beside the version cannot be read.
    ParameterError
        ``folder`` is no path.

    Warns
    -----
    SignalWarning
        What acceptance in bulk is worth in it, and what is to be known of the scale of its
        recordings; who was withdrawn from the review before it was sealed, or since; that
        nothing vouches for it, where neither ``expect`` nor a log says what was sealed.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.where)
    ...         sealed = session.seal("v1")
    ...     table = er.read_version(folder, "v1", expect=sealed.sha256)
    >>> int(table["reviewed"].sum()), len(table)
    (2, 4)
    """
    read = read_sealed(review_folder(folder), name, expect)
    description = read.description
    demand_whole(description, name, ("columns",))
    try:
        types = {column: entry["type"] for column, entry in description["columns"].items()}
        table = from_tsv(read.table, types, guarded="text" in description)
    except FormatError as why:
        raise VersionError(
            f"the table of version {name!r} is not one of decisions ({why}); restore it from a copy."
        ) from None
    apart = [f"the table lacks {column!r}" for column in types if column not in table]
    apart += [f"{column!r} is not described" for column in table if column not in types]
    if apart:
        raise VersionError(
            f"the table of version {name!r} and its description do not fit: {'; '.join(apart)}; every column is "
            "described, and none is left out; restore its folder from a copy."
        )
    table.attrs["version"] = Said(description)
    table.attrs["bursts_left_out"] = bursts_left_out(table)
    table.attrs["notes"] = [
        *read.notes,
        *(f"Version {name!r}: {note}" for part in SAYS for note in description.get(part, ())),
    ]
    for note in table.attrs["notes"]:
        tell(note)
    return table
