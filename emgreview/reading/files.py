"""One file to one Recording: the registry finds the reader, the sidecars are looked up, everything is put together.

read(path)
"""

import warnings
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from emgreview.errors import ReadError, SignalWarning
from emgreview.model import Recording
from emgreview.reading.assembly import Unit, assemble
from emgreview.reading.bids import find_sidecars
from emgreview.reading.checks import check_samples
from emgreview.reading.registry import reader_for


def read(
    path: str | Path,
    *,
    rate_hz: float | None = None,
    unit: Unit = None,
    columns: Sequence[str | None] | None = None,
) -> Recording:
    """One recording, its samples read lazily (text excepted).

    EDF, EDF+, BDF and BDF+ state rate, units and labels themselves. A file inside a BIDS dataset is read with its
    sidecars (channels.tsv, events.tsv, emg.json), exactly as :func:`read_dataset` reads it.

    ``rate_hz``: required for text; elsewhere it may only confirm what the file states.
    ``unit``: required for text. "V", "mV", "uV", "nV" or "arbitrary" for all EMG and ECG channels, or a mapping of
    labels to units. Elsewhere it fills in a unit that is missing or unknown, settles a contradiction between file
    and channels.tsv by confirming the file, or says "arbitrary" where the file's scale is not to be believed; it
    never replaces one scale by another.
    ``columns``: for text required, one label for each column in order, None for a column to leave out, "time" for a
    column of seconds, which is held against ``rate_hz``. Elsewhere the labels of the signals to keep, in that
    order; None keeps all.

    EMG and ECG voltages come in microvolts, other channels in their own unit. The rate is that of the EMG channels
    (the highest among them); a slower channel whose rate divides it is held, and a note says so. Annotations of
    EDF+ and rows of events.tsv become markers. A flat channel, missing samples, and an annotation outside the
    recording make a note and a SignalWarning; reading goes on.

    Raises ReadError (no such file, unknown extension, discontinuous), FormatError, TruncatedError, UnitError,
    RateError, MarkerError, ParameterError, UnknownNameError.
    """
    path = Path(path)
    if path.is_dir():
        raise ReadError(f"{path} is a folder; read() takes one file; use read_dataset() for a folder of recordings.")
    if not path.is_file():
        parent = path.parent
        near = "its folder does not exist either" if not parent.is_dir() else f"its folder holds {_listing(parent)}"
        raise ReadError(f"there is no file {path} ({near}); give the path of an existing file.")
    reader = reader_for(path)
    contents = reader.read(path, rate_hz=rate_hz, columns=columns)
    recording, outside = assemble(contents, reader, find_sidecars(path), rate_hz=rate_hz, unit=unit, columns=columns)
    doubts = check_samples(recording)
    for sentence in outside + doubts:
        warnings.warn(f"{recording.name}: {sentence}", SignalWarning, stacklevel=2)
    return replace(recording, notes=recording.notes + doubts)


def _listing(folder: Path) -> str:
    names = sorted(file.name for file in folder.iterdir())
    return ", ".join(names[:8]) + (f" … ({len(names)} in all)" if len(names) > 8 else "") if names else "nothing"
