"""One file to one Recording: the registry finds the reader, the sidecars are looked up, everything is put together.

read(path)      one recording
read_of         the same of a file that may have only some of the channels of a study
demand_file     ReadError unless there is a plain file, in words that help
"""

import difflib
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from emgreview.checks import kind
from emgreview.errors import EmgreviewError, FormatError, ParameterError, ReadError, UnknownNameError, tell
from emgreview.model import Recording
from emgreview.plain_files import demand_plain, found_at, inside, is_folder
from emgreview.reading.assembly import Unit, assemble
from emgreview.reading.bids import find_sidecars
from emgreview.reading.checks import check_samples
from emgreview.reading.columns import BY_NAME
from emgreview.reading.contents import Columns, Contents, Reader
from emgreview.reading.optional import load
from emgreview.reading.registry import BUILT_IN, reader_for
from emgreview.reading.settled import demand_kinds
from emgreview.reading.text import READER as TEXT
from emgreview.reading.text import demand_told


def read(
    path: str | Path,
    *,
    rate_hz: float | None = None,
    unit: Unit = None,
    columns: Columns = None,
    kinds: Mapping[str, str] | None = None,
    **layout: Any,
) -> Recording:
    r"""One recording, its samples read lazily (text excepted).

    EDF, EDF+, BDF and BDF+ state rate, units and labels themselves. A file inside a BIDS
    dataset is read with its sidecars (channels.tsv, events.tsv, emg.json), exactly as
    :func:`read_dataset` reads it.

    Parameters
    ----------
    path : str or Path
        The file.
    rate_hz : float or None
        Sampling rate. Required for text; elsewhere it may only confirm what the file states.
    unit : str, mapping of str to str, or None
        Required for text: "V", "mV", "uV", "nV" or "arbitrary" for all EMG and ECG channels,
        or a mapping of labels to units. Elsewhere it fills in a unit that is missing or
        unknown, confirms that of the file where channels.tsv contradicts it, or says
        "arbitrary" where the file's scale is not to be believed; it never replaces one scale
        by another.
    columns : sequence of str, mapping of str to str, or None
        Required for text that names no columns: one label for each column in order, None for
        a column to leave out, "time" for a column of seconds, which is held against
        ``rate_hz``. Elsewhere the labels of the signals to keep, in that order (None and
        "time" are passed over); None keeps all. A mapping says what the file calls each
        signal that is kept, and its label from here on.
    kinds : mapping of str to str, or None
        By label: the channel type, as BIDS calls it ("TRIG", "MISC", "EMG" …), where neither
        file nor name says the right one. A voltage that is no EMG or ECG keeps its unit.
    **layout
        What else has to be said of such a file, as :func:`look` proposes it: of text
        ``header``, ``names``, ``separator``, ``decimal``, ``comment``, ``missing``,
        ``thousands``, ``exponent``, ``time_unit``, ``jitter_s`` and ``encoding``
        (:class:`emgreview.reading.TextLayout`), of other formats those of their own.

    Returns
    -------
    Recording
        EMG and ECG voltages in microvolts, other channels in their own unit; NaN where
        samples are missing. Annotations of EDF+ and rows of events.tsv are its markers, in
        order of time.

    Raises
    ------
    ReadError
        No such file, an unknown extension, or a recording with gaps (EDF+D and BDF+D are read
        where every record says that there is none).
    FormatError, TruncatedError
        The file breaks the rules of its format, or ends too early.
    UnitError, RateError
        A unit or rate is missing, unknown, or contradicts the file.
    MarkerError
        An event cannot be placed.
    ParameterError
        An argument is missing, or not allowed for this format.
    UnknownNameError
        No channel has such a label.

    Warns
    -----
    SignalWarning
        Flat channels and missing samples, channels left out, EMG channels slower than others,
        a unit or a duration that a sidecar states otherwise, and events that lie outside the
        recording, were not in order, have no onset or name, or are told twice. ``notes`` of
        the recording say all of it.

    Notes
    -----
    The rate is that of the EMG channels (the highest among them); a slower channel is held,
    each value until the next, and a faster one left out. Of an EDF or BDF in a dataset's
    folder of EEG or iEEG the channels over and in the brain are left out. ``notes`` of the
    recording say where this happened.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "p01.csv"
    ...     _ = path.write_text("".join(f"{n % 7},{n % 5}\n" for n in range(2000)))
    ...     rec = er.read(path, rate_hz=1000, unit="uV", columns=["FCR", "ECR"])
    >>> rec.labels, rec.duration_s
    (('FCR', 'ECR'), 2.0)
    """
    return read_of(path, rate_hz=rate_hz, unit=unit, columns=columns, kinds=kinds, **layout)


def read_of(
    path: str | Path,
    *,
    rate_hz: float | None = None,
    unit: Unit = None,
    columns: Columns = None,
    kinds: Mapping[str, str] | None = None,
    of_some: bool = False,
    **layout: Any,
) -> Recording:
    """As :func:`read`; ``of_some``: the file need not have all channels that ``kinds`` names."""
    kind("path", path, (str, os.PathLike), "the path of one file")
    demand_kinds(rate_hz, unit, columns)
    path = Path(path)
    demand_file(path, "read() takes one file")
    reader = reader_for(path)
    more = _layout(reader, path, layout)
    if reader is TEXT:
        demand_told(path, rate_hz, unit, columns, more["layout"])
    try:
        sidecars = find_sidecars(path)
        contents = _contents(reader, path, rate_hz, columns, more, sidecars.channels is not None)
        if of_some and kinds:
            kinds = {signal.label: kinds[signal.label] for signal in contents.signals if signal.label in kinds} or None
        kept = list(columns.values()) if isinstance(columns, Mapping) else columns
        recording, loud = assemble(contents, reader, sidecars, rate_hz=rate_hz, unit=unit, columns=kept, kinds=kinds)
        doubts = check_samples(recording)
    except EmgreviewError:
        raise
    except OSError as error:
        raise ReadError(
            f"{path.name} or a file beside it cannot be read ({error.strerror or error}: {error.filename or path}); it "
            "must be there, whole and open to you for reading; see to that, then read it again."
        ) from error
    except Exception as error:
        if reader in BUILT_IN:
            raise
        raise ReadError(
            f"{path.name} cannot be read: the plug-in that reads {reader.name} ended with {error!r}; a reader says "
            "what is wrong with a file; tell whoever made the plug-in, or export the file in another format."
        ) from error
    for sentence in loud + doubts:
        tell(f"{recording.name}: {sentence}")
    return replace(recording, notes=recording.notes + doubts)


def demand_file(path: Path, takes: str) -> None:
    """ReadError unless a plain file lies at a path; ``takes`` says who wanted one."""
    if is_folder(path):
        raise ReadError(f"{path} is a folder; {takes}; use read_dataset() for a folder of recordings.")
    there = found_at(path, link=True) is not None
    if there and found_at(path) is None:
        raise ReadError(
            f"{path} is a link to {path.readlink()}, which is not there; give the path of an existing file."
        )
    if there:
        demand_plain(path)
        return
    parent = path.parent
    near = "its folder does not exist either" if not is_folder(parent) else f"its folder holds {_listing(parent)}"
    raise ReadError(f"there is no file {path} ({near}){meant(path)}; give the path of an existing file.")


def _layout(reader: Reader, path: Path, given: Mapping[str, Any]) -> dict[str, Any]:
    """The layout that a reader takes, made of what was given, as the argument of its ``read``."""
    for name in reader.needs:
        load(name, f"{path.name} ({reader.name})", reader.extra)
    if reader.layout is None:
        if given:
            raise ParameterError(
                f"{', '.join(given)} came for {path.name}, which is {reader.name}: nothing of that kind can be said of "
                "such a file; leave it out."
            )
        return {}
    allowed = [field.name for field in fields(reader.layout)]
    for name in given:
        if name not in allowed:
            raise UnknownNameError(f"argument for {reader.name}", name, ["rate_hz", "unit", "columns", *allowed])
    return {"layout": reader.layout(**given)}


def _contents(
    reader: Reader, path: Path, rate_hz: float | None, columns: Columns, more: Mapping[str, Any], tabled: bool
) -> Contents:
    """What a reader hands over, its signals under the names that a mapping gives them."""
    if not isinstance(columns, Mapping) or reader.layout is not None:
        return reader.read(path, rate_hz=rate_hz, columns=columns, **more)
    if tabled:
        raise ParameterError(
            f"columns came as a mapping, and {path.name} has a channels.tsv, whose rows go by the names in the file; "
            "give a list of the labels to keep, or name the channels in both."
        )
    contents = reader.read(path, rate_hz=rate_hz, columns=[name for name in columns if columns[name] is not None])
    if contents.chosen:
        return contents
    labels = [signal.label for signal in contents.signals]
    for name in columns:
        if name not in labels:
            raise UnknownNameError("signal", name, labels, where=path.name)
    if twice := [name for name in columns if labels.count(str(name)) > 1]:
        raise FormatError(
            f"{path.name} holds several signals called {twice[0]!r}, so which is meant cannot be told; leave it out "
            "of columns, or export the file with distinct names."
        )
    new = [label for label in columns.values() if label is not None]
    if not new or len(set(new)) < len(new):
        raise ParameterError(f"columns came as {dict(columns)!r}; allowed: {BY_NAME}, each label once; correct it.")
    renamed = tuple(
        replace(signal, label=str(columns[signal.label])) if columns.get(signal.label) is not None else signal
        for signal in contents.signals
    )
    free = [signal.label for signal, was in zip(renamed, labels, strict=True) if columns.get(was) is None]
    if taken := set(free) & set(new):
        raise ParameterError(
            f"columns calls a signal {sorted(taken)[0]!r}, and {path.name} holds another one of that name; give it "
            "another label."
        )
    return replace(contents, signals=renamed)


def meant(path: Path) -> str:
    """ "; did you mean …" where something of nearly that name lies beside a path that is not there."""
    beside: list[str] = []
    with suppress(ReadError):
        beside = [one.name for one in inside(path.parent)]
    close = difflib.get_close_matches(path.name, beside, n=1)
    return f"; did you mean {close[0]}" if close else ""


def _listing(folder: Path) -> str:
    try:
        names = [file.name for file in inside(folder)]
    except ReadError:
        return "what you may not see"
    return ", ".join(names[:8]) + (f" … ({len(names)} in all)" if len(names) > 8 else "") if names else "nothing"
