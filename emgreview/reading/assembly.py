"""From the contents of a file to a Recording: kinds, units, one sampling rate, markers. Done once, for every format.

Kinds come from channels.tsv where there is one, else from the format, else from unit, label and transducer. Voltages
of kind EMG and ECG are delivered in microvolts; every other channel keeps its own unit (:mod:`settled`). The
recording's rate is the highest among its EMG channels; a slower channel is held: each of its values until the next.

Unless they are named in ``columns``, channels faster than the EMG are left out, and beside EMG in a file of EEG or iEEG
the channels that lie over or in the brain.

    assemble(contents, reader, sidecars, ...)   the Recording
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emgreview.errors import FormatError, ParameterError, RateError, UnknownNameError
from emgreview.model import Channel, FloatArray, Recording
from emgreview.reading.bids import Sidecars
from emgreview.reading.columns import TIME
from emgreview.reading.contents import Contents, Reader, Signal, StoredSamples
from emgreview.reading.events import events_as_markers, placed, told_twice
from emgreview.reading.settled import (
    Unit,
    demand_known_kinds,
    demand_known_unit,
    demand_unit_used,
    listed,
    settle,
    unit_notes,
)
from emgreview.reading.stated import codes_of_nobody, missing_codes, recorded
from emgreview.reading.units import BRAIN


@dataclass(frozen=True, eq=False, slots=True)
class HeldSource:
    """Samples of several signals at one rate: slower ones held, each scaled to the unit of its channel on reading.

    Sample i of the recording is sample ``i * steps[k] // counts[k]`` of signal k. Where ``codes`` has a number for a
    channel, that stored value stands for a missing sample.
    """

    file: Path
    n_samples: int
    samples: StoredSamples
    signals: tuple[int, ...]
    steps: tuple[int, ...]
    counts: tuple[int, ...]
    gains: tuple[float, ...]
    offsets: tuple[float, ...]
    codes: tuple[int | None, ...] = ()

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        out = np.empty((len(channels), stop - start))
        for row, channel in enumerate(channels):
            stored = self._held(channel, start, stop)
            np.multiply(stored, self.gains[channel], out=out[row])
            out[row] += self.offsets[channel]
            if self.codes and self.codes[channel] is not None:
                out[row, stored == self.codes[channel]] = np.nan
        return out

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        return np.stack([self._held(channel, start, stop) for channel in channels])

    @property
    def stored_by(self) -> str | None:
        """What beside the bytes of the file decides the stored samples; None where it cannot be told."""
        told: str | None = getattr(self.samples, "stored_by", None)
        return None if told is None else f"{told} {self.signals} {self.steps} {self.counts}"

    def scale(self, channel: int) -> tuple[float, float]:
        return self.gains[channel], self.offsets[channel]

    def codes_of(self, channel: int) -> tuple[int, ...]:
        code = self.codes[channel] if self.codes else None
        return () if code is None else (code,)

    @property
    def missing(self) -> tuple[int | None, ...]:
        return self.codes

    def _held(self, channel: int, start: int, stop: int) -> NDArray:
        step, count, signal = self.steps[channel], self.counts[channel], self.signals[channel]
        if step == count or stop <= start:
            return self.samples.stored(signal, start, stop)
        first = start * step // count
        values = self.samples.stored(signal, first, (stop - 1) * step // count + 1)
        return values[np.arange(start, stop) * step // count - first]


def assemble(
    contents: Contents,
    reader: Reader,
    sidecars: Sidecars,
    *,
    rate_hz: float | None,
    unit: Unit,
    columns: Sequence[str | None] | None,
    kinds: Mapping[str, str] | None = None,
) -> tuple[Recording, tuple[str, ...]]:
    """One Recording out of what a file, its sidecars and the caller say; and those of its notes that ask for a warning.

    Raises FormatError, UnitError, RateError, MarkerError, ParameterError, UnknownNameError.
    """
    path, choosing = contents.path, reader.describes_itself and not contents.chosen
    _demand_distinct_labels(contents, columns if choosing else None)
    chosen = _chosen(contents, columns) if choosing else tuple(range(len(contents.signals)))
    bare, strange = sidecars.demand_rows_match([signal.label for signal in contents.signals], path.name)
    quiet = [*contents.notes, *bare]
    demand_known_unit(unit, [contents.signals[index].label for index in chosen])
    demand_known_kinds(kinds, [contents.signals[index].label for index in chosen])
    settled = [
        settle(
            path, contents.signals[index], sidecars.row(contents.signals[index].label), sidecars.datatype, unit, kinds
        )
        for index in chosen
    ]
    types = [one.channel.kind for one in settled]
    assumed = [one.channel.label for one in settled if one.assumed]
    lead = _lead([contents.signals[index] for index in chosen], types)
    named = columns is not None and choosing
    kept, loud = _kept(path, [contents.signals[index] for index in chosen], types, lead, sidecars, named)
    chosen, settled = tuple(chosen[place] for place in kept), [settled[place] for place in kept]
    signals = [contents.signals[index] for index in chosen]
    alone, otherwise = unit_notes(path, sidecars, settled)
    if assumed:
        words = f"No type is stated for {listed(assumed)}: taken as EEG, because {path.name} lies in a folder of it."
        left_out = set(assumed) - {signal.label for signal in signals}
        (loud if left_out and sidecars.channels else quiet).append(words)  # a table speaks of types, and not of these
    loud = [*sidecars.notes, *strange, *otherwise, *loud]
    quiet += [*alone, *(note for one in settled for note in one.notes)]
    channels = [one.channel for one in settled]
    demand_unit_used(path, unit, channels)
    _demand_rates_fit(path, signals, channels, lead)
    loud += _demand_same_rate(path, lead.rate_hz, rate_hz, sidecars, contents, signals, channels)
    n_samples, own_hz = recorded(sidecars, path, lead)
    ratios = [Fraction(signal.n_samples, lead.n_samples) for signal in signals]
    for place, ratio in enumerate(ratios):
        if ratio < 1:
            native = signals[place].rate_hz
            channels[place] = replace(channels[place], native_rate_hz=native)
            n = f"{1 / ratio}" if ratio.numerator == 1 else f"{int(1 / ratio)} or {int(1 / ratio) + 1}"
            words = (
                f"Channel {signals[place].label!r} was sampled at {native:g} Hz; each value is held for {n} samples "
                f"of the recording ({lead.rate_hz:g} Hz)"
            )
            if channels[place].kind == "EMG":
                loud.append(f"{words}: above {native / 2:g} Hz it has no signal, only the edges of these steps.")
            else:
                quiet.append(f"{words}.")
    source = HeldSource(
        path,
        n_samples,
        contents.samples,
        chosen,
        tuple(ratio.numerator for ratio in ratios),
        tuple(ratio.denominator for ratio in ratios),
        tuple(one.gain for one in settled),
        tuple(one.offset for one in settled),
        missing_codes(sidecars, [signal.label for signal in signals]),
    )
    markers, outside = placed(
        [
            (*marker, details)
            for marker, details in zip(contents.markers, contents.details or ({},) * len(contents.markers), strict=True)
        ],
        contents.marker_source.capitalize(),
        contents.marker_source,
        own_hz,
        n_samples,
    )
    if sidecars.events:
        events, outside_events = events_as_markers(sidecars.events, own_hz, n_samples)
        outside += [*outside_events, *told_twice(markers, events, contents.marker_source, own_hz)]
        markers = markers + events
    loud += [*outside, *codes_of_nobody(sidecars, [signal.label for signal in contents.signals])]
    stated_s, own_s = sidecars.duration_s, n_samples / own_hz
    if stated_s is not None and abs(stated_s - own_s) > max(1.0, 0.01 * own_s):
        loud.append(
            f"RecordingDuration of its {sidecars.datatype}.json says {stated_s:g} s, but {path.name} itself holds "
            f"{own_s:g} s: see that it is whole."
        )
    recording = Recording(
        name=sidecars.name or path.stem,
        channels=tuple(channels),
        rate_hz=own_hz,
        source=source,
        markers=tuple(sorted(markers, key=lambda marker: marker.sample)),
        entities=sidecars.entities,
        notes=(*quiet, *loud),
        mains_hz=sidecars.mains_hz,
    )
    return recording, tuple(loud)


def _lead(signals: Sequence[Signal], kinds: Sequence[str]) -> Signal:
    """The fastest EMG signal, or the fastest of all where none is EMG: its rate is the recording's."""
    emg = [signal for signal, kind in zip(signals, kinds, strict=True) if kind == "EMG"]
    return max(emg or signals, key=lambda signal: signal.n_samples)


def _kept(
    path: Path, signals: Sequence[Signal], kinds: Sequence[str], lead: Signal, sidecars: Sidecars, named: bool
) -> tuple[list[int], list[str]]:
    """Places of the signals that the recording has, and sentences on those that are left out."""
    brain = (
        set()
        if named or "EMG" not in kinds or sidecars.datatype == "emg"
        else {place for place, kind in enumerate(kinds) if kind in BRAIN}
    )
    fast = {place for place, signal in enumerate(signals) if signal.n_samples > lead.n_samples} - brain
    notes = []
    if brain:
        counts = Counter(kinds[place] for place in sorted(brain))
        words = ", ".join(f"{kind} {n}" for kind, n in counts.items())
        notes.append(
            f"{path.name} is read for its EMG: channels that lie over or in the brain are left out ({words}); name "
            "all that you want in columns to have them too."
        )
    if fast:
        words = ", ".join(f"{signals[place].label} {signals[place].rate_hz:g} Hz" for place in sorted(fast))
        if named:
            fit = [signal.label for place, signal in enumerate(signals) if place not in fast]
            raise RateError(
                f"columns names channels of {path.name} that are faster than its EMG ({lead.rate_hz:g} Hz): {words}; a "
                "recording has the rate of its EMG, and only slower channels can be held; export them at that rate, "
                f"or leave them out with columns={fit}."
            )
        notes.append(
            f"Channels of {path.name} that are faster than its EMG ({lead.rate_hz:g} Hz) are left out: {words}; "
            "export them at the rate of the EMG to have them."
        )
    return [place for place in range(len(signals)) if place not in brain | fast], notes


def _demand_distinct_labels(contents: Contents, columns: Sequence[str | None] | None) -> None:
    labels = [signal.label for signal in contents.signals]
    for label in labels:
        if labels.count(label) > 1 and (columns is None or label in columns):
            places = [str(place + 1) for place, other in enumerate(labels) if other == label]
            raise FormatError(
                f"signals {' and '.join(places)} of {contents.path.name} are all called {label!r}; labels must differ, "
                "because decisions are stored by label; rename them in the file, export it with distinct names, or "
                "name in columns only others."
            )


def _chosen(contents: Contents, columns: Sequence[str | None] | None) -> tuple[int, ...]:
    """Places of the signals to keep: all, or those that the caller names, in the caller's order."""
    labels = [signal.label for signal in contents.signals]
    if columns is None:
        return tuple(range(len(labels)))
    wanted = [label for label in columns if label is not None and (label in labels or label.casefold() != TIME)]
    if isinstance(columns, str) or not wanted or len(set(wanted)) < len(wanted):
        raise ParameterError(
            f"columns came as {columns!r}; for {contents.path.name}, which names its own signals, it is a list of the "
            f"labels to keep, each once; there are: {', '.join(labels)}; leave it out to keep all."
        )
    for label in wanted:
        if label not in labels:
            raise UnknownNameError("signal", label, labels, where=contents.path.name)
    return tuple(labels.index(label) for label in wanted)


def _demand_rates_fit(path: Path, signals: Sequence[Signal], channels: Sequence[Channel], lead: Signal) -> None:
    """Every EMG channel's rate must divide the recording's: EMG is never stretched."""
    fits = [
        channel.kind != "EMG" or lead.n_samples % signal.n_samples == 0
        for signal, channel in zip(signals, channels, strict=True)
    ]
    if not all(fits):
        rates = ", ".join(
            f"{signal.label} {signal.rate_hz:g} Hz"
            for signal, channel in zip(signals, channels, strict=True)
            if channel.kind == "EMG"
        )
        keep = [signal.label for signal, fit in zip(signals, fits, strict=True) if fit]
        raise RateError(
            f"the EMG channels of {path.name} have rates that do not fit one another: {rates}; each must divide the "
            f"highest ({lead.rate_hz:g} Hz); export them at a fitting rate, or keep only those that fit with "
            f"columns={keep}."
        )


def _demand_same_rate(
    path: Path,
    rate: float,
    said_hz: float | None,
    sidecars: Sidecars,
    contents: Contents,
    signals: Sequence[Signal],
    channels: Sequence[Channel],
) -> list[str]:
    """RateError where caller or sidecars say another rate than the file; sentences where they do so of a channel that
    is not EMG. In a file of EEG or iEEG the sidecar's rate may be that of any of its signals."""
    said: list[tuple[str, float | None, float, bool]] = [("rate_hz", said_hz, rate, True)]
    stated = sidecars.rate_hz
    others = [] if sidecars.datatype == "emg" else [signal.rate_hz for signal in contents.signals]
    if stated is None or not any(_alike(stated, own) for own in others):
        said.append((f"SamplingFrequency of its {sidecars.datatype}.json", stated, rate, True))
    for signal, channel in zip(signals, channels, strict=True):
        if row := sidecars.row(signal.label):
            who = f"sampling_frequency of channel {signal.label!r} in its channels.tsv"
            said.append((who, row.rate_hz, signal.rate_hz, channel.kind == "EMG"))
    notes = []
    for who, value, own, matters in said:
        if value is None or _alike(value, own):
            continue
        if matters:
            raise RateError(
                f"{who} says {value:g} Hz, but {path.name} itself {own:g} Hz; the two must agree, because every time "
                f"depends on it; correct the wrong one{' or leave rate_hz out' if who == 'rate_hz' else ''}."
            )
        notes.append(f"The {who} says {value:g} Hz, but {path.name} itself {own:g} Hz: the file's own was taken.")
    return notes


def _alike(one_hz: float, other_hz: float) -> bool:
    return abs(one_hz - other_hz) <= 1e-4 * other_hz
