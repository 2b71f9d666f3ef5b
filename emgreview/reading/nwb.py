"""NWB: a series of a file, its rate, unit and scale as the file says; rows of its tables of intervals as markers.

After the specification of Neurodata Without Borders: NWB 2, an HDF5 file: "data" with time along its first side,
value = stored * conversion * channel_conversion + offset, "starting_time" with a rate or "timestamps", electrodes in
a table under general/extracellular_ephys. Read through h5py, sliced from disk. Times of the tables count as the
series' own do.

    READER      the format
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checks import demand
from emgreview.errors import FormatError, ParameterError, RateError, UnknownNameError
from emgreview.plain_files import demand_plain
from emgreview.reading.arrays import short_list
from emgreview.reading.columns import chosen_columns
from emgreview.reading.contents import Columns, Contents, Reader, Seen, Signal
from emgreview.reading.hdf5_files import Sliced, node, opened, unfit, walked, within

ELECTRODES = "general/extracellular_ephys/electrodes"
MOST_ROWS = 1 << 20
MOST_TIMES = 1 << 27
MOST_COLUMNS = 200
WHAT = "NWB"


@dataclass(frozen=True, slots=True)
class NwbLayout:
    """What a person says of an NWB file.

    Parameters
    ----------
    data : str or None
        Path of the series that holds the samples, such as "acquisition/emg".
    labels : str or None
        Column of the table of electrodes that names the channels; or say ``columns``.
    events : str or None
        Path of a table whose rows are markers, such as "intervals/trials".
    event_label : str or None
        Its column that names them.
    """

    data: str | None = None
    labels: str | None = None
    events: str | None = None
    event_label: str | None = None

    def __post_init__(self) -> None:
        for name in ("data", "labels", "events", "event_label"):
            value = getattr(self, name)
            demand(value is None or (isinstance(value, str) and value.strip() != ""), name, value, "a name, or None")


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: NwbLayout | None = None
) -> Contents:
    """Contents of a series. Raises FormatError, TruncatedError, RateError, ParameterError, UnknownNameError."""
    said, size = layout or NwbLayout(), demand_plain(path).st_size
    with opened(path, WHAT, "nwb") as file:
        series, tables = _found(file, path)
        name = _one_of(path, series, said.data)
        group = node(file, path, name, "series")
        data = _child(path, group, name, "data")
        why = unfit(data, size) or ("" if data.ndim in (1, 2) and data.size else "its shape is not samples by channels")
        if why:
            raise FormatError(
                f"data={name!r} of {path.name} cannot be read: {why}; allowed: numbers, samples by channels, in the "
                "file itself; name another series."
            )
        n_samples, n_signals = data.shape[0], 1 if data.ndim == 1 else data.shape[1]
        rate, start_s, notes = _timed(path, group, name, n_samples, size)
        names = None if said.labels is None else _labels(path, file, group, said.labels, n_signals, size)
        kept = _kept(path, file, group, names, columns, n_signals)
        unit, gain, offset = _scale(path, data, name)
        more = _channel_gains(path, group, n_signals, size)
        markers, details = _markers(path, file, tables, said, start_s, size)
        shape = data.shape
    places = tuple(place for place, _ in kept)
    return Contents(
        path=path,
        signals=tuple(
            Signal(label, unit, rate, n_samples, gain=gain * more[place], offset=offset) for place, label in kept
        ),
        samples=Sliced(path, f"{name}/data", 0, (0,) if 1 in shape else places, shape),
        markers=tuple(markers),
        marker_source=said.events or "annotations",
        notes=tuple(notes),
        chosen=True,
        details=tuple(details),
    )


def look(path: Path) -> Seen:
    """Series with shape and rate, columns of electrodes, and tables of intervals."""
    size = demand_plain(path).st_size
    facts, layout = [], {}
    with opened(path, WHAT, "nwb") as file:
        series, tables = _found(file, path)
        for name in series[:40]:
            group = node(file, path, name, "series")
            data = _child(path, group, name, "data")
            shape = " x ".join(map(str, data.shape or ())) or "one"
            start = within(group, path, "starting_time")
            rate = f"{start.attrs.get('rate', '?')} Hz" if start is not None else "time stamps of its own"
            facts.append(f"series {name}: {shape} {data.dtype}, {rate}, unit {_text(data.attrs.get('unit', 'none'))}")
        electrodes = _electrodes(file, path)
        columns = [] if electrodes is None else _columns(path, electrodes, size)
        if columns:
            facts.append(f"columns of electrodes: {short_list(columns)}")
        for name in tables[:20]:
            facts.append(f"table {name}: {short_list(_columns(path, node(file, path, name), size))}")
    asks: dict[str, str] = {}
    if not series:
        return Seen(tuple(facts), refused="no series of numbers is in it")
    if len(series) == 1:
        layout["data"] = series[0]
    else:
        asks["data"] = f"which series holds the samples: {short_list(series)}"
    asks["columns"] = "one label for each channel, in order" + (
        f"; or, instead, labels='…', the column of electrodes that names them: {short_list(columns)}" if columns else ""
    )
    return Seen(tuple(facts), layout=layout, asks=asks)


def _found(file: Any, path: Path) -> tuple[list[str], list[str]]:
    """Paths of what holds samples with their times, and of tables with moments."""
    series, tables = [], []
    for name, one in walked(file, path):
        if hasattr(one, "keys"):
            timed = within(one, path, "starting_time") or within(one, path, "timestamps")
            if timed is not None and hasattr(within(one, path, "data"), "dtype"):
                series.append(name)
            elif within(one, path, "start_time") is not None or within(one, path, "timestamp") is not None:
                tables.append(name)
    return series, tables


def _one_of(path: Path, series: list[str], said: str | None) -> str:
    if said is None and len(series) != 1:
        raise ParameterError(
            f"{path.name} holds {len(series)} series ({short_list(series)}), and data is missing; give data='…', the "
            "path of the one that holds the samples."
        )
    name = series[0] if said is None else said.strip("/")
    if name not in series:
        raise UnknownNameError("series", name, series, where=path.name)
    return name


def _child(path: Path, group: Any, name: str, part: str) -> Any:
    found = node(group, path, part, "dataset")
    if not hasattr(found, "dtype"):
        raise FormatError(f"{path.name}: {name}/{part} is no dataset; allowed: one, as NWB has it; write it again.")
    return found


def _timed(path: Path, group: Any, name: str, n_samples: int, size: int) -> tuple[float, float, list[str]]:
    """Rate, seconds of the first sample, and a sentence where time stamps told the rate."""
    if within(group, path, "starting_time") is not None:
        start = _child(path, group, name, "starting_time")
        rate = _number(path, start.attrs.get("rate"), f"{name}/starting_time@rate")
        first_s = _number(path, start[()], f"{name}/starting_time")
        if not 1e-6 < rate < 1e9:
            raise RateError(f"{path.name} states {rate:g} Hz for {name}; allowed: a number above 0; write it again.")
        return rate, first_s, []
    times = _values(path, _child(path, group, name, "timestamps"), f"{name}/timestamps", size, MOST_TIMES)
    if len(times) != n_samples or n_samples < 2:
        raise RateError(
            f"{path.name}: {name} has {n_samples} samples and {len(times)} time stamps; allowed: one each, and two at "
            "least; write it again."
        )
    rate = (n_samples - 1) / (times[-1] - times[0]) if times[-1] > times[0] else np.nan
    off = np.abs(times - times[0] - np.arange(n_samples) / rate)
    if not (off < 0.5 / rate).all():
        at = int(np.argmax(~(off < 0.5 / rate)))
        raise RateError(
            f"{path.name}: the time stamps of {name} are not regular: sample {at + 1} of {n_samples} has {times[at]:g} "
            "s, more than half a sample from an even rate; only evenly sampled recordings can be read; resample it, "
            "or split it where samples are missing."
        )
    rate = float(f"{rate:.9g}")
    return rate, float(times[0]), [f"The rate of {name}, {rate:g} Hz, is that of its time stamps, which are even."]


def _scale(path: Path, data: Any, name: str) -> tuple[str, float, float]:
    gain = _number(path, data.attrs.get("conversion", 1.0), f"{name}/data@conversion")
    offset = _number(path, data.attrs.get("offset", 0.0), f"{name}/data@offset")
    if gain == 0:
        raise FormatError(f"{path.name}: the conversion of {name} is 0; allowed: any other number; write it again.")
    return _text(data.attrs.get("unit", "")), gain, offset


def _channel_gains(path: Path, group: Any, n_signals: int, size: int) -> NDArray[np.float64]:
    if (given := within(group, path, "channel_conversion")) is None:
        return np.ones(n_signals)
    found = _values(path, given, "channel_conversion", size)
    if len(found) != n_signals or not np.isfinite(found).all() or (found == 0).any():
        raise FormatError(
            f"{path.name}: channel_conversion holds {len(found)} numbers; allowed: one for each of {n_signals} "
            "channels, finite and not 0; write it again."
        )
    return found


def _electrodes(file: Any, path: Path) -> Any | None:
    return within(file, path, ELECTRODES)


def _labels(path: Path, file: Any, group: Any, column: str, n_signals: int, size: int) -> list[str]:
    table = _electrodes(file, path)
    names = [] if table is None else _columns(path, table, size)
    if table is None or column not in names:
        raise UnknownNameError("column of electrodes", column, names, where=path.name)
    cells = _cells(path, table, column)
    given = within(group, path, "electrodes")
    rows = np.arange(float(len(cells))) if given is None else _values(path, given, "electrodes", size)
    if len(rows) != n_signals or ((rows < 0) | (rows >= len(cells))).any():
        raise FormatError(
            f"{path.name}: {len(rows)} electrodes of {len(cells)} belong to {n_signals} channels; allowed: one each, "
            "of the table; write it again, or give columns=[…]."
        )
    return [cells[int(row)] for row in rows]


def _kept(
    path: Path, file: Any, group: Any, names: list[str] | None, columns: Columns, n_signals: int
) -> list[tuple[int, str]]:
    if names is None and (columns is None or isinstance(columns, Mapping)):
        table = _electrodes(file, path)
        there = [] if table is None else _columns(path, table, demand_plain(path).st_size)
        raise ParameterError(
            f"{path.name} does not say which words are the labels of its {n_signals} channels, and labels and columns "
            f"are missing; give labels='…', a column of its electrodes ({short_list(there)}), or columns=[…], one a "
            "channel."
        )
    return chosen_columns(path, columns, names, n_signals)


def _markers(
    path: Path, file: Any, tables: list[str], said: NwbLayout, start_s: float, size: int
) -> tuple[list[tuple[float, str, float | None]], list[Mapping[str, str]]]:
    if said.events is None:
        return [], []
    name = said.events.strip("/")
    if name not in tables:
        raise UnknownNameError("table", said.events, tables, where=path.name)
    table = node(file, path, name)
    names = _columns(path, table, size)
    if said.event_label is None:
        raise ParameterError(
            f"events={name!r} came without event_label; give event_label='…', the column of the table that names its "
            f"rows: {short_list(names)}."
        )
    if said.event_label not in names:
        raise UnknownNameError("column", said.event_label, names, where=name)
    first = "timestamp" if within(table, path, "start_time") is None else "start_time"
    begins = _values(path, node(table, path, first), first, size, MOST_ROWS)
    stop = within(table, path, "stop_time")
    ends = None if stop is None else _values(path, stop, "stop_time", size, MOST_ROWS)
    cells = {one: _cells(path, table, one) for one in names}
    lengths = {len(begins), *(len(one) for one in cells.values()), len(begins if ends is None else ends)}
    if len(lengths) > 1 or not (np.abs(begins) < 1e12).all():
        raise FormatError(
            f"{path.name}: the columns of {name} have {', '.join(map(str, sorted(lengths)))} rows, or times that are "
            "none; allowed: one length, and seconds; write it again."
        )
    markers: list[tuple[float, str, float | None]] = []
    for row, begin in enumerate(begins):
        lasts = None if ends is None or not 0 <= ends[row] - begin < 1e12 else float(ends[row] - begin)
        markers.append((float(begin - start_s), cells[said.event_label][row] or "event", lasts))
    rest = [one for one in names if one not in (first, "stop_time", said.event_label)]
    return markers, [{one: cells[one][row] for one in rest} for row in range(len(begins))]


def _columns(path: Path, table: Any, size: int) -> list[str]:
    """Columns with one number or text a row."""
    if not hasattr(table, "keys"):
        return []
    found = []
    for name in list(table)[:MOST_COLUMNS]:
        one = within(table, path, name)
        if one is None or not hasattr(one, "dtype") or one.ndim != 1 or one.size > MOST_ROWS or name.endswith("_index"):
            continue
        why = unfit(one, size)
        if not why or ("texts" in why and (one.dtype.metadata or {}).get("ref") is None):
            found.append(name)
    return found


def _cells(path: Path, table: Any, name: str) -> list[str]:
    return [_text(one) if not isinstance(one, float) else f"{one:.10g}" for one in node(table, path, name)[()].tolist()]


def _values(path: Path, dataset: Any, name: str, size: int, most: int = MOST_ROWS) -> NDArray[np.float64]:
    why = "it is no dataset" if not hasattr(dataset, "dtype") else unfit(dataset, size)
    if why or dataset.ndim != 1 or dataset.size > most:
        raise FormatError(
            f"{path.name}: {name} cannot be read: {why or f'its shape is {dataset.shape}'}; allowed: a row of up to "
            f"{most} numbers; write it again."
        )
    return np.asarray(dataset[()], np.float64)


def _number(path: Path, value: Any, name: str) -> float:
    found = np.asarray(value)
    if found.size != 1 or found.dtype.kind not in "iuf" or not np.isfinite(found).all():
        raise FormatError(f"{path.name}: {name} is {str(value)[:40]!r}; allowed: one finite number; write it again.")
    return float(found.reshape(-1)[0])


def _text(value: Any) -> str:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


READER = Reader("NWB", (".nwb",), read, layout=NwbLayout, look=look, needs=("h5py",), extra="nwb")
