"""Cards of channels as a plain file beside the study, where whoever reads the study finds them
(``reading/channel_cards.py``).

    write_channel_cards     as ``contractions.json`` in a folder
"""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from emgreview import checks
from emgreview.errors import ReadError
from emgreview.plain_files import write_new
from emgreview.reading.channel_cards import FILE, FORMAT, VERSION, ChannelCard


def write_channel_cards(cards: Iterable[ChannelCard], folder: str | Path) -> Path:
    """Cards as ``contractions.json`` in a folder, which a study's own folder may be.

    Parameters
    ----------
    cards : iterable of ChannelCard
        Of one person or of many.
    folder : str or path-like
        An existing folder that does not have the file yet.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ParameterError
        No cards came.
    ReadError
        The file is there already, and nothing is written over, or the folder is not there.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_contractions(1000, seed=1, muscles=["FCR", "ED"]).recording
    >>> found = er.selectivity(rec)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = er.write_channel_cards(found.cards.values(), folder)
    ...     cards = er.read_channel_cards(folder)
    >>> len(cards)
    2
    """
    made = list(cards)
    checks.demand(
        made and all(isinstance(one, ChannelCard) for one in made),
        "cards",
        type(cards).__name__,
        "cards, as selectivity(…).cards.values() gives",
    )
    rows = [_without_nan(asdict(one)) for one in made]
    text = json.dumps({"format": FORMAT, "version": VERSION, "cards": rows}, indent=1, ensure_ascii=False)
    path = Path(folder) / FILE
    try:
        write_new(path, text + "\n")
    except OSError as why:
        raise ReadError(
            f"{path} cannot be written ({why.strerror or 'it is there already'}); nothing is written over: give an "
            "existing folder without that file, or move it away."
        ) from why
    return path


def _without_nan(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _without_nan(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
