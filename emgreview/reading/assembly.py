"""From the contents of a file to a Recording: kinds, units, one sampling rate, markers. Done once, for every format.

Kinds come from channels.tsv where there is one, else from the format, else from unit, label and transducer. Voltages
of kind EMG and ECG are delivered in microvolts; every other channel keeps its own unit. The recording's rate is the
highest among its EMG channels; a channel whose rate divides it is held (each value repeated).

    assemble(contents, reader, sidecars, ...)   the Recording
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ParameterError, RateError, UnitError, UnknownNameError
from emgreview.model import ARBITRARY, VOLTS, Channel, FloatArray, Marker, Recording, to_sample
from emgreview.reading.bids import ChannelRow, Sidecars, events_as_markers
from emgreview.reading.contents import Contents, Reader, Signal, StoredSamples
from emgreview.reading.units import IN_MICROVOLTS, VOLTAGES, is_voltage, kind_of, plain_unit

Unit = str | Mapping[str, str] | None


@dataclass(frozen=True, eq=False, slots=True)
class HeldSource:
    """Samples of several signals at one rate: slower ones held, each scaled to the unit of its channel on reading."""

    file: Path
    n_samples: int
    samples: StoredSamples
    signals: tuple[int, ...]
    repeats: tuple[int, ...]
    gains: tuple[float, ...]
    offsets: tuple[float, ...]

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        out = np.empty((len(channels), stop - start))
        for row, channel in enumerate(channels):
            np.multiply(self._held(channel, start, stop), self.gains[channel], out=out[row])
            out[row] += self.offsets[channel]
        return out

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        return np.stack([self._held(channel, start, stop) for channel in channels])

    def scale(self, channel: int) -> tuple[float, float]:
        return self.gains[channel], self.offsets[channel]

    def _held(self, channel: int, start: int, stop: int) -> NDArray:
        n, signal = self.repeats[channel], self.signals[channel]
        if n == 1:
            return self.samples.stored(signal, start, stop)
        first = start // n
        return np.repeat(self.samples.stored(signal, first, -(-stop // n)), n)[start - first * n : stop - first * n]


def assemble(
    contents: Contents,
    reader: Reader,
    sidecars: Sidecars,
    *,
    rate_hz: float | None,
    unit: Unit,
    columns: Sequence[str | None] | None,
) -> tuple[Recording, tuple[str, ...]]:
    """One Recording out of what a file, its sidecars and the caller say; and those of its notes that ask for a warning.

    Raises FormatError, UnitError, RateError, MarkerError, ParameterError, UnknownNameError.
    """
    path = contents.path
    _demand_distinct_labels(contents)
    chosen = _chosen(contents, columns) if reader.describes_itself else tuple(range(len(contents.signals)))
    signals = [contents.signals[index] for index in chosen]
    rows = [sidecars.row(signal.label) for signal in signals]
    notes = [*contents.notes, *sidecars.demand_rows_match([signal.label for signal in contents.signals], path.name)]
    channels, gains, offsets = [], [], []
    _demand_known_unit(unit, [signal.label for signal in signals])
    for signal, row in zip(signals, rows, strict=True):
        channel, factor, note = _channel(path, signal, row, unit)
        channels.append(channel)
        gains.append(signal.gain * factor)
        offsets.append(signal.offset * factor)
        notes += note
    _demand_unit_used(path, unit, channels)
    rate, repeats = _common_rate(path, signals, channels)
    for place, n in enumerate(repeats):
        if n > 1:
            native = signals[place].rate_hz
            channels[place] = replace(channels[place], native_rate_hz=native)
            notes.append(
                f"Channel {signals[place].label!r} was sampled at {native:g} Hz; each value is held for {n} samples "
                f"of the recording ({rate:g} Hz)."
            )
    _demand_same_rate(path, rate, rate_hz, sidecars, signals, rows)
    source = HeldSource(
        path,
        signals[0].n_samples * repeats[0],
        contents.samples,
        chosen,
        repeats,
        tuple(gains),
        tuple(offsets),
    )
    markers, outside = _markers_inside(contents, source.n_samples, rate)
    markers += events_as_markers(sidecars.events, rate, source.n_samples) if sidecars.events else []
    recording = Recording(
        name=sidecars.name or path.stem,
        channels=tuple(channels),
        rate_hz=rate,
        source=source,
        markers=tuple(sorted(markers, key=lambda marker: marker.sample)),
        entities=sidecars.entities,
        notes=tuple(notes + outside),
        mains_hz=sidecars.mains_hz,
    )
    return recording, tuple(outside)


def _channel(path: Path, signal: Signal, row: ChannelRow | None, said: Unit) -> tuple[Channel, float, list[str]]:
    """The channel, the factor from the file's physical values to its unit, and notes."""
    stated = signal.kind or (row.kind if row else "")
    own = plain_unit(signal.unit) or (plain_unit(row.units) if row else None)
    kind, by_name = (stated, False) if stated else kind_of(signal.label, own, signal.transducer)
    unit = _unit(path, signal, row, kind, said)
    if not stated:
        kind, by_name = kind_of(signal.label, unit, signal.transducer)
    notes = []
    if by_name and is_voltage(unit):
        notes.append(f"Channel {signal.label!r} ({unit}) is taken as {kind}, not EMG, by its name.")
    factor = 1.0
    if kind in IN_MICROVOLTS and is_voltage(unit):
        factor, unit = VOLTS[unit], "uV"
    elif kind == "EMG" and unit != ARBITRARY:
        raise UnitError(
            f"channel {signal.label!r} of {path.name} is of type EMG but in {unit!r}; EMG is a voltage "
            f"({VOLTAGES}) or {ARBITRARY!r}; correct its type or unit in channels.tsv or its label, or say "
            f"unit={{{signal.label!r}: {ARBITRARY!r}}}."
        )
    channel = Channel(
        label=signal.label,
        kind=kind,
        unit=unit,
        low_cutoff_hz=signal.low_cutoff_hz,
        high_cutoff_hz=signal.high_cutoff_hz,
    )
    return (channel if row is None else row.described(channel)), factor, notes


def _unit(path: Path, signal: Signal, row: ChannelRow | None, kind: str, said: Unit) -> str:
    """The plain unit of one channel: the file's own, held against channels.tsv and against what the caller says.

    An auxiliary channel may have a unit unknown here, or none: its own words are kept.
    """
    own = plain_unit(signal.unit)
    tabled = plain_unit(row.units) if row else None
    is_emg = kind in IN_MICROVOLTS
    text = said.get(signal.label) if isinstance(said, Mapping) else said if is_emg else None
    wanted = None if text is None else plain_unit(text)
    if wanted is not None:
        if wanted != ARBITRARY and own is not None and own != wanted:
            raise UnitError(
                f"{path.name} states {signal.unit!r} for channel {signal.label!r}, but unit= says {text!r}; a scale "
                "that "
                "a file states is never replaced by another one; leave unit out, or give a mapping of labels to units "
                f"for the channels that need one, or say {ARBITRARY!r} if the file's scale is wrong."
            )
        return wanted
    if own is not None and tabled is not None and own != tabled and not signal.kind:
        remedy = f"{own!r}" if is_emg else f"{{{signal.label!r}: {own!r}}}"
        raise UnitError(
            f"{path.name} states {signal.unit!r} for channel {signal.label!r}, but channels.tsv states "
            f"{row.units if row else ''!r}; both must be the same unit, though they may be spelt differently; "
            f"correct channels.tsv, or, where the file itself is right, read with unit={remedy}."
        )
    if own is not None or tabled is not None:
        return own or tabled or ""
    if is_emg:
        came = f"the unit {signal.unit!r}, which is not known," if signal.unit else "no unit"
        raise UnitError(
            f"{path.name} has {came} for channel {signal.label!r}; allowed: {VOLTAGES}, or the unit of an "
            f"auxiliary signal; say unit='mV' (whichever it is), or unit={{{signal.label!r}: 'mV'}} for this channel "
            f"alone, or, where the scale to volts is unknown, unit={ARBITRARY!r}."
        )
    return signal.unit or (row.units if row else "")


def _demand_known_unit(said: Unit, labels: Sequence[str]) -> None:
    allowed = f"{VOLTAGES}, {ARBITRARY!r}"
    if isinstance(said, Mapping):
        for label, text in said.items():
            if label not in labels:
                raise UnknownNameError("channel (named in unit=)", label, labels)
            if plain_unit(text) is None:
                raise UnitError(
                    f"unit {text!r} of channel {label!r} is not known; allowed: {allowed}, or the unit of an auxiliary "
                    f"signal such as 'N', 'deg', 'm/s2'; where the scale is unknown, say {ARBITRARY!r}."
                )
    elif said is not None and plain_unit(said) != ARBITRARY and not is_voltage(plain_unit(said)):
        raise UnitError(
            f"unit {said!r} is not known as a voltage; allowed: {allowed}, or a mapping of labels to units; "
            f"where the scale to volts is unknown, say unit={ARBITRARY!r}."
        )


def _demand_unit_used(path: Path, said: Unit, channels: Sequence[Channel]) -> None:
    if isinstance(said, str) and not any(channel.kind in IN_MICROVOLTS for channel in channels):
        raise UnitError(
            f"unit={said!r} applies to channels of kind EMG and ECG, but {path.name} has none: "
            f"{', '.join(f'{channel.label} ({channel.kind})' for channel in channels)}; leave unit out, or give a "
            "mapping of labels to units."
        )


def _demand_distinct_labels(contents: Contents) -> None:
    labels = [signal.label for signal in contents.signals]
    for label in labels:
        if labels.count(label) > 1:
            places = [str(place + 1) for place, other in enumerate(labels) if other == label]
            raise FormatError(
                f"signals {' and '.join(places)} of {contents.path.name} are all called {label!r}; labels must differ, "
                "because decisions are stored by label; rename them in the file, or export it with distinct names."
            )


def _chosen(contents: Contents, columns: Sequence[str | None] | None) -> tuple[int, ...]:
    """Places of the signals to keep: all, or those that the caller names, in the caller's order."""
    labels = [signal.label for signal in contents.signals]
    if columns is None:
        return tuple(range(len(labels)))
    if isinstance(columns, str) or not columns or len(set(columns)) < len(columns):
        raise ParameterError(
            f"columns came as {columns!r}; for {contents.path.name}, which names its own signals, it is a list of the "
            f"labels to keep, each once; there are: {', '.join(labels)}; leave it out to keep all."
        )
    for label in columns:
        if label not in labels:
            raise UnknownNameError("signal", label, labels)
    return tuple(labels.index(str(label)) for label in columns)


def _common_rate(path: Path, signals: Sequence[Signal], channels: Sequence[Channel]) -> tuple[float, tuple[int, ...]]:
    """The recording's rate, and how many of its samples each value of a signal is held for."""
    emg = [signal for signal, channel in zip(signals, channels, strict=True) if channel.kind == "EMG"]
    lead = max(emg or signals, key=lambda signal: signal.n_samples)
    if any(lead.n_samples % signal.n_samples for signal in signals):
        rates = ", ".join(f"{signal.label} {signal.rate_hz:g} Hz" for signal in signals)
        keep = [signal.label for signal in signals if lead.n_samples % signal.n_samples == 0]
        raise RateError(
            f"the signals of {path.name} have rates that do not fit one another: {rates}; each must divide that of the "
            f"EMG ({lead.rate_hz:g} Hz), then slower ones are held; export them at a fitting rate, or keep only those "
            f"that fit with columns={keep}."
        )
    return lead.rate_hz, tuple(lead.n_samples // signal.n_samples for signal in signals)


def _demand_same_rate(
    path: Path,
    rate: float,
    said_hz: float | None,
    sidecars: Sidecars,
    signals: Sequence[Signal],
    rows: Sequence[ChannelRow | None],
) -> None:
    said = [("rate_hz", said_hz, rate), ("SamplingFrequency of its emg.json", sidecars.rate_hz, rate)]
    said += [
        (f"sampling_frequency of channel {signal.label!r} in its channels.tsv", row.rate_hz, signal.rate_hz)
        for signal, row in zip(signals, rows, strict=True)
        if row is not None
    ]
    for who, value, own in said:
        if value is not None and abs(value - own) > 1e-4 * own:
            raise RateError(
                f"{who} says {value:g} Hz, but {path.name} itself {own:g} Hz; the two must agree, because every time "
                f"depends on it; correct the wrong one{' or leave rate_hz out' if who == 'rate_hz' else ''}."
            )


def _markers_inside(contents: Contents, n_samples: int, rate: float) -> tuple[list[Marker], list[str]]:
    markers, outside = [], []
    for seconds, label, duration_s in contents.markers:
        sample = to_sample(seconds, rate)
        if 0 <= sample < n_samples:
            markers.append(Marker(sample, label, contents.marker_source, duration_s))
        else:
            outside.append(
                f"{contents.marker_source.capitalize()}: {label!r} at {seconds:g} s lies outside the recording "
                f"(0 to {n_samples / rate:g} s) and is no marker."
            )
    return markers, outside
