"""One file to one Recording: the registry finds the reader, the sidecars are looked up, everything is put together.

read(path)
"""

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from emgreview.checks import kind
from emgreview.errors import EmgreviewError, ReadError, tell
from emgreview.model import Recording
from emgreview.reading.assembly import Unit, assemble
from emgreview.reading.bids import find_sidecars
from emgreview.reading.checks import check_samples
from emgreview.reading.registry import reader_for
from emgreview.reading.text import READER as TEXT
from emgreview.reading.text import demand_told


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
    labels to units. Elsewhere it fills in a unit that is missing or unknown, confirms that of the file where
    channels.tsv contradicts it, or says "arbitrary" where the file's scale is not to be believed; it never replaces
    one scale by another.
    ``columns``: for text required, one label for each column in order, None for a column to leave out, "time" for a
    column of seconds, which is held against ``rate_hz``. Elsewhere the labels of the signals to keep, in that
    order (None and "time" are passed over); None keeps all.

    EMG and ECG voltages come in microvolts, other channels in their own unit. The rate is that of the EMG channels
    (the highest among them); a slower channel is held, each value until the next, and a faster one left out. Of an EDF
    or BDF in a dataset's folder of EEG or iEEG the channels over and in the brain are left out. Annotations of EDF+ and
    rows of events.tsv become markers, in order of time. ``notes`` of the recording say all of this where it happened;
    a SignalWarning tells at once of flat channels and missing samples, channels left out, a unit that channels.tsv
    states otherwise, and events that lie outside the recording or were not in order.

    Raises ReadError (no such file, unknown extension, discontinuous), FormatError, TruncatedError, UnitError,
    RateError, MarkerError, ParameterError, UnknownNameError.
    """
    kind("path", path, (str, os.PathLike), "the path of one file")
    path = Path(path)
    if path.is_dir():
        raise ReadError(f"{path} is a folder; read() takes one file; use read_dataset() for a folder of recordings.")
    if path.is_symlink() and not path.exists():
        raise ReadError(
            f"{path} is a link to {path.readlink()}, which is not there; give the path of an existing file."
        )
    if not path.is_file():
        parent = path.parent
        near = "its folder does not exist either" if not parent.is_dir() else f"its folder holds {_listing(parent)}"
        raise ReadError(f"there is no file {path} ({near}); give the path of an existing file.")
    reader = reader_for(path)
    if not reader.describes_itself and reader is TEXT:
        demand_told(path, rate_hz, unit, columns)
    try:
        contents = reader.read(path, rate_hz=rate_hz, columns=columns)
        sidecars = find_sidecars(path)
        recording, loud = assemble(contents, reader, sidecars, rate_hz=rate_hz, unit=unit, columns=columns)
        doubts = check_samples(recording)
    except EmgreviewError:
        raise
    except OSError as error:
        raise ReadError(
            f"{path.name} or a file beside it cannot be read ({error.strerror or error}: {error.filename or path}); it "
            "must be there, whole and open to you for reading; see to that, then read it again."
        ) from error
    for sentence in loud + doubts:
        tell(f"{recording.name}: {sentence}")
    return replace(recording, notes=recording.notes + doubts)


def _listing(folder: Path) -> str:
    names = sorted(file.name for file in folder.iterdir())
    return ", ".join(names[:8]) + (f" … ({len(names)} in all)" if len(names) > 8 else "") if names else "nothing"
