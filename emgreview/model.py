"""The values everything else passes around: recordings, channels, markers, trials, bursts.

All are frozen. Conventions, unless a name says otherwise: time in seconds, voltages in microvolts,
arrays ordered (trials, channels, samples), sampling rate always explicit in hertz, missing is NaN
(never zero). Positions are integer sample numbers of the source recording; seconds are derived, and
go back to samples through :func:`to_sample` alone. The file passes 400 lines because these values are one vocabulary.

    Channel, Marker, Fingerprint, Recording     what was recorded
    Scale                                       what makes a channel's stored samples the values that are measured
    Processing                                  how it is conditioned, with a digest kept beside every mark
    Trials                                      conditioned stretches around a cue
    Onsets, Burst                               what a detection method found
"""

import dataclasses
import hashlib
import json
import math
import operator
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from numbers import Integral, Real
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview.checks import kind, likely_unit, rate, samples, span
from emgreview.errors import MarkerError, ParameterError, RateError, SignalError, UnitError, UnknownNameError
from emgreview.plain_files import open_plain

FloatArray = NDArray[np.floating]

VOLTS: Mapping[str, float] = MappingProxyType({"V": 1e6, "mV": 1e3, "uV": 1.0, "µV": 1.0, "μV": 1.0, "nV": 1e-3})
"""Microvolts in one of each unit of voltage (SI prefixes; both Unicode letters for micro)."""

SAME_SAMPLES = (
    "hold the same samples: one file under several names, or one copied over another. What is decided on them counts "
    "several times; look which of them is right, and leave the others out."
)
"""What is said of recordings that are one."""

ARBITRARY = "arbitrary"
"""The unit of samples whose scale to volts is unknown: never labelled as microvolts."""


LOWEST_UPPER_HZ, LOWEST_LOWER_HZ = 5.0, 0.5
"""A band that ends below the first, or without an upper edge begins below the second, is no band of EMG: kilohertz
were given (our own choice, no source)."""


def to_sample(seconds: float, rate_hz: float) -> int:
    """Nearest sample number of a time in seconds, halves rounded up: the one place where time becomes samples."""
    return math.floor(seconds * rate_hz + 0.5)


def longest(seconds: float, rate_hz: float) -> float:
    """The longest distance, in samples, that still lies within a tolerance: it is not rounded, for then it would be
    another one (10 ms at 250 Hz: 12 ms). What is added, a billionth, makes up for the division alone."""
    return seconds * rate_hz * (1 + 1e-9) + 1e-9


@dataclass(frozen=True, slots=True)
class Channel:
    """One recorded potential difference, or one auxiliary signal.

    Parameters
    ----------
    label : str
        Name of the channel; no two of a recording are the same.
    kind : str, default "EMG"
        A BIDS channel type: EMG, ECG, TRIG, MISC, REF …
    unit : str, default "uV"
        Unit of what :meth:`Recording.values` returns: "uV" for every voltage of kind EMG
        or ECG, the channel's own unit otherwise, or "arbitrary".
    over : str, default ""
        What the electrodes lie over, in words.
    low_cutoff_hz, high_cutoff_hz : float or None
        Corners of the filters of the recording device; None where not known.
    delay_s : float, default 0.0
        Constant delay of the device, in seconds; it is already taken out when the samples
        are read.
    native_rate_hz : float or None
        Rate at which the channel itself was sampled, where it differs; else None.
    status : {"good", "bad"}
        What the recording says of the channel.
    status_description : str, default ""
        Why it is bad.

    Raises
    ------
    ParameterError
        ``label`` is no text.

    Examples
    --------
    >>> import emgreview as er
    >>> er.Channel("FCR", over="wrist flexor").unit_label
    'µV'
    """

    label: str
    kind: str = "EMG"
    unit: str = "uV"
    over: str = ""
    low_cutoff_hz: float | None = None
    high_cutoff_hz: float | None = None
    delay_s: float = 0.0
    native_rate_hz: float | None = None
    status: Literal["good", "bad"] = "good"
    status_description: str = ""

    def __post_init__(self) -> None:
        kind("label", self.label, str, "the channel's label, a text")

    @property
    def unit_label(self) -> str:
        """The unit as it is shown to people."""
        return {"uV": "µV", ARBITRARY: "arbitrary units"}.get(self.unit, self.unit)


@dataclass(frozen=True, slots=True)
class Marker:
    """A labelled moment of a recording.

    Parameters
    ----------
    sample : int
        Sample number; the first sample of the recording is 0.
    label : str
        What happened, for example "go".
    source : str, default "given"
        Where it comes from: "given", "events", "annotations" or "channel <label>".
    duration_s : float or None
        How long it lasts, in seconds; None where not known.
    details : mapping of str to str
        Further columns as text (condition, trial_type, value …).
    search : mapping or None
        How it was found in a channel, so that it can be found again, where it was: the
        arguments of :func:`emgreview.find_cues`.

    Raises
    ------
    MarkerError
        ``sample`` is not a whole number, as seconds would be.

    Examples
    --------
    >>> import emgreview as er
    >>> er.Marker(round(1.25 * 2000), "go", details={"condition": "left"}).sample
    2500
    """

    sample: int
    label: str
    source: str = "given"
    duration_s: float | None = None
    details: Mapping[str, str] = field(default_factory=dict)
    search: Mapping[str, Any] | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        try:
            object.__setattr__(self, "sample", operator.index(self.sample))
        except TypeError:
            raise MarkerError(
                f"marker {self.label!r} came at {self.sample!r}; a marker lies at a sample, a whole number counted "
                "from 0; make one of seconds with round(seconds * rate_hz)."
            ) from None


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What identifies a recording: SHA-256 of its file (None for arrays), and of its samples, rate and labels."""

    samples: str
    file: str | None = None

    def __str__(self) -> str:
        return self.samples


@dataclass(frozen=True, slots=True)
class Scale:
    """What makes the stored samples of a channel the values of :meth:`Recording.values`: stored × ``gain`` +
    ``offset``, in ``unit``, ``delay_s`` earlier. ``gain`` is NaN where it cannot be told."""

    label: str
    kind: str
    unit: str
    gain: float
    offset: float
    delay_s: float


class SampleSource(Protocol):
    """Where samples come from. A reader provides this; nothing else knows its file.

    A source that scales what is stored may say so in a method ``scale(channel)``, which returns gain and offset; of one
    that does not, both are found from what it reads.
    """

    @property
    def n_samples(self) -> int: ...

    @property
    def file(self) -> Path | None: ...

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        """Samples start to stop of some channels, (channels, samples), each in the unit of its Channel."""
        ...

    def digital(self, start: int, stop: int, channels: Sequence[int]) -> NDArray:
        """The stored values before any scaling, for the fingerprint."""
        ...


class ArraySource:
    """Samples in memory, (channels, samples)."""

    file = None

    def __init__(self, x: FloatArray):
        self.x = x
        self.x.setflags(write=False)

    @property
    def n_samples(self) -> int:
        return self.x.shape[1]

    def read(self, start: int, stop: int, channels: Sequence[int]) -> FloatArray:
        return self.x[list(channels), start:stop]

    digital = read

    def scale(self, channel: int) -> tuple[float, float]:
        return 1.0, 0.0


@dataclass(frozen=True, eq=False, repr=False)
class Recording:
    """Channels sampled together at one rate, read lazily, with markers.

    :func:`emgreview.read`, :func:`emgreview.read_dataset` and :meth:`from_array` make one.

    Attributes
    ----------
    name : str
        Name, unique within a study.
    channels : tuple of Channel
        The channels in order; no label twice.
    rate_hz : float
        Sampling rate of all channels.
    source : SampleSource
        Where samples come from; read them with :meth:`values` or :meth:`microvolts`.
    markers : tuple of Marker
        Labelled moments, in order of time.
    entities : mapping of str to str
        What a dataset says of it: "sub", "ses", "task", "run" …
    notes : tuple of str
        Sentences that a reviewer must see (a channel of zeros, a channel whose rate
        differs …).
    mains_hz : float or None
        Frequency of the mains, where it is stated.

    Raises
    ------
    RateError
        The sampling rate is not a number above 0.
    ParameterError
        Two channels have one label.
    MarkerError
        A marker lies outside the recording, or before the one ahead of it.

    Examples
    --------
    >>> import numpy as np
    >>> import emgreview as er
    >>> rec = er.Recording.from_array(np.zeros((1, 4000)), 1000, labels=["FCR"],
    ...                               markers=[(1000, "go"), (2500, "go")], name="p01")
    >>> rec
    p01: 1000 Hz, 4 s
      channels: FCR (EMG, µV)
      markers: go 2
    >>> rec.microvolts(0, 500).shape
    (1, 500)
    """

    name: str
    channels: tuple[Channel, ...]
    rate_hz: float
    source: SampleSource
    markers: tuple[Marker, ...] = ()
    entities: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    mains_hz: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.rate_hz) and self.rate_hz > 0):
            raise RateError(
                f"recording {self.name!r} came with a sampling rate of {self.rate_hz} Hz; "
                "it must be a number above 0; give rate_hz as the recording device states it."
            )
        object.__setattr__(self, "rate_hz", float(self.rate_hz))
        labels = self.labels
        twice = sorted({label for label in labels if labels.count(label) > 1})
        if twice:
            raise ParameterError(
                f"recording {self.name!r} has more than one channel called {twice[0]!r}; "
                "labels must differ, because decisions are stored by label; rename one of them."
            )
        before = 0
        for marker in self.markers:
            if not 0 <= marker.sample < self.n_samples:
                raise MarkerError(
                    f"marker {marker.label!r} lies at sample {marker.sample} ({marker.sample / self.rate_hz:.3f} s), "
                    f"outside recording {self.name!r}, which has samples 0 to {self.n_samples - 1} "
                    f"({self.duration_s:.3f} s); check the marker's time unit and zero, or remove it."
                )
            if marker.sample < before:
                raise MarkerError(
                    f"marker {marker.label!r} at sample {marker.sample} comes after one at sample {before} in "
                    f"recording {self.name!r}; markers must be in order of time; sort them, or look for a clock that "
                    "jumped."
                )
            before = marker.sample

    @classmethod
    def from_array(
        cls,
        x_uv: "ArrayLike",  # quoted, as help shows it: its own definition fills ten lines
        rate_hz: float,
        *,
        labels: Sequence[str],
        markers: Sequence[tuple[int, str] | Marker] = (),
        name: str = "recording",
        unit: str = "uV",
        channels: Sequence[Channel] | None = None,
        entities: Mapping[str, str] | None = None,
        mains_hz: float | None = None,
    ) -> "Recording":
        """A recording from samples in memory.

        Parameters
        ----------
        x_uv : array_like, shape (channels, samples)
            The samples, in ``unit``; NaN where missing. They are copied.
        rate_hz : float
            Sampling rate.
        labels : sequence of str
            One label a channel, no two the same.
        markers : sequence of (int, str) or Marker
            Moments as (sample number, label), in order of time; none unless given.
        name : str, default "recording"
            Name of the recording.
        unit : {"uV", "V", "mV", "nV", "arbitrary"}
            Unit of ``x_uv``; voltages become microvolts. "arbitrary" where the scale is
            unknown.
        channels : sequence of Channel or None
            Further description of each channel, in the order of ``labels``; then its units
            rule, and values are taken as they are.
        entities : mapping of str to str or None
            What is known of the recording, for example ``{"sub": "01"}`` for the participant.
        mains_hz : float or None
            Frequency of the mains, where it is known.

        Returns
        -------
        Recording

        Raises
        ------
        SignalError
            The samples are not (channels, samples), or the labels do not match their number.
        RateError
            The sampling rate is not a number above 0.
        UnitError
            The unit is not known.
        ParameterError
            Two labels are the same, or ``labels`` and ``channels`` differ.
        MarkerError
            ``markers`` is no list, or one of them is no (sample, label), lies outside the
            recording, or is out of order.

        Examples
        --------
        >>> import emgreview as er
        >>> rec = er.Recording.from_array([[0.001, -0.002]], 2000, labels=["FCR"], unit="mV")
        >>> rec.microvolts()
        array([[ 1., -2.]])
        """
        x = np.array(samples(x_uv))
        rate_hz = rate(rate_hz)
        if x.ndim != 2 or 0 in x.shape:
            raise SignalError(
                f"the samples came with shape {x.shape}; they must be (channels, samples), neither of them 0; "
                "for a single channel give x[np.newaxis, :]."
            )
        if len(labels) != x.shape[0]:
            raise SignalError(
                f"{len(labels)} labels came for {x.shape[0]} channels; give one label a channel, "
                "or transpose the samples to (channels, samples)."
            )
        if channels is None:
            if unit in VOLTS:
                x *= VOLTS[unit]
                unit = "uV"
            elif unit != ARBITRARY:
                raise UnitError(
                    f"unit {unit!r} is not known; allowed: {', '.join(VOLTS)} or {ARBITRARY!r}; "
                    f"where the scale to volts is unknown, say unit={ARBITRARY!r}."
                )
            channels = [Channel(str(label), unit=unit) for label in labels]
        elif [channel.label for channel in channels] != list(labels):
            raise ParameterError(
                f"labels {list(labels)} differ from those of channels "
                f"{[channel.label for channel in channels]}; give the same, in the same order."
            )
        made = _markers(markers)
        return cls(name, tuple(channels), rate_hz, ArraySource(x), tuple(made), dict(entities or {}), mains_hz=mains_hz)

    def __repr__(self) -> str:
        """What a notebook shows of it, notes included."""
        counts = Counter(marker.label for marker in self.markers)
        markers = ", ".join(f"{label} {n}" for label, n in sorted(counts.items())) or "none"
        lines = [
            f"{self.name}: {self.rate_hz:g} Hz, {self.duration_s:g} s",
            f"  channels: {', '.join(f'{one.label} ({one.kind}, {one.unit_label})' for one in self.channels)}",
            f"  markers: {markers}",
        ]
        return "\n".join([*lines, *(f"  note: {note}" for note in self.notes)])

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of all channels, in order."""
        return tuple(channel.label for channel in self.channels)

    @property
    def emg_labels(self) -> tuple[str, ...]:
        """Labels of the channels of kind EMG, in order."""
        return tuple(channel.label for channel in self.channels if channel.kind == "EMG")

    @property
    def n_samples(self) -> int:
        """Number of samples of every channel."""
        return self.source.n_samples

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.n_samples / self.rate_hz

    def channel(self, label: str) -> Channel:
        """The channel with one label.

        Parameters
        ----------
        label : str
            Its label.

        Returns
        -------
        Channel

        Raises
        ------
        UnknownNameError
            No channel has that label.
        """
        return self.channels[self._index(label)]

    def values(self, start: int = 0, stop: int | None = None, channels: Sequence[str] | None = None) -> FloatArray:
        """Samples of some channels, each in its own unit.

        Device delays are taken out here: a channel with ``delay_s`` is read that much later,
        and is NaN where the recording ends.

        Parameters
        ----------
        start : int, default 0
            First sample.
        stop : int or None
            Sample behind the last one; None for the end.
        channels : sequence of str or None
            Labels, in the order wanted; None for all channels.

        Returns
        -------
        ndarray, shape (channels, samples)
            NaN where missing.

        Raises
        ------
        ParameterError
            ``channels`` is a single text; give a list.
        SignalError
            ``start`` or ``stop`` is no whole number, or lies outside the recording.
        UnknownNameError
            No channel has such a label.
        """
        stop = self.n_samples if stop is None else stop
        if isinstance(channels, str):
            raise ParameterError(f"channels came as {channels!r}; allowed: a list of labels; give [{channels!r}].")
        if not all(isinstance(edge, Integral) for edge in (start, stop)):
            raise SignalError(
                f"samples {start!r} to {stop!r} were asked of recording {self.name!r}; allowed: whole numbers counted "
                "from 0; make them of seconds with round(seconds * rate_hz)."
            )
        if not 0 <= start <= stop <= self.n_samples:
            raise SignalError(
                f"samples {start} to {stop} were asked of recording {self.name!r}, which has {self.n_samples}; "
                "ask for 0 ≤ start ≤ stop ≤ that number."
            )
        wanted = range(len(self.channels)) if channels is None else [self._index(label) for label in channels]
        shifts = [to_sample(self.channels[index].delay_s, self.rate_hz) for index in wanted]
        if not any(shifts):
            return np.asarray(self.source.read(start, stop, list(wanted)), dtype=np.float64)
        out = np.full((len(wanted), stop - start), np.nan)
        for row, (index, shift) in enumerate(zip(wanted, shifts, strict=True)):
            first, last = max(start + shift, 0), min(stop + shift, self.n_samples)
            if last > first:
                at = first - start - shift
                out[row, at : at + last - first] = self.source.read(first, last, [index])[0]
        return out

    def microvolts(self, start: int = 0, stop: int | None = None, channels: Sequence[str] | None = None) -> FloatArray:
        """Samples of some channels in microvolts; like :meth:`values`, but only for voltages.

        Parameters
        ----------
        start : int, default 0
            First sample.
        stop : int or None
            Sample behind the last one; None for the end.
        channels : sequence of str or None
            Labels, in the order wanted; None for the EMG channels.

        Returns
        -------
        ndarray, shape (channels, samples)
            NaN where missing.

        Raises
        ------
        UnitError
            A channel is in no unit of voltage.
        ParameterError, SignalError, UnknownNameError
            As for :meth:`values`.
        """
        channels = self.emg_labels if channels is None else channels
        for label in () if isinstance(channels, str) else channels:
            unit = self.channel(label).unit
            if unit != "uV":
                raise UnitError(
                    f"channel {label!r} of recording {self.name!r} is in {unit!r}, not in a unit of voltage; "
                    "use values(), which returns each channel in its own unit."
                )
        return self.values(start, stop, channels)

    @cached_property
    def scales(self) -> tuple[Scale, ...]:
        """How stored samples become values, one :class:`Scale` a channel: what the fingerprint,
        which is of stored ones, leaves open.
        """
        return tuple(
            Scale(
                channel.label, channel.kind, channel.unit, *_gain_and_offset(self.source, index), float(channel.delay_s)
            )
            for index, channel in enumerate(self.channels)
        )

    @cached_property
    def fingerprint(self) -> Fingerprint:
        """Digest of the stored samples, the rate and the labels; and of the file's bytes.

        Reads everything once. What the stored samples stand for is in :attr:`scales`.
        """
        if self.source.file is None:
            return Fingerprint(self._digests[0])
        with open_plain(self.source.file) as stream:
            digest = hashlib.sha256()
            while block := stream.read(1 << 20):
                digest.update(block)
        return Fingerprint(self._digests[0], digest.hexdigest())

    @cached_property
    def channel_digests(self) -> Mapping[str, str]:
        """SHA-256 of the stored samples of each EMG channel, by label, and of nothing else.

        Reads them all once.
        """
        labels, places = self.emg_labels, [self._index(label) for label in self.emg_labels]
        digests = [hashlib.sha256() for _ in labels]
        for start in range(0, self.n_samples, 1 << 18):
            block = self.source.digital(start, min(start + (1 << 18), self.n_samples), places)
            for digest, row in zip(digests, block, strict=True):
                digest.update(np.ascontiguousarray(row).astype(block.dtype.newbyteorder("<"), copy=False).tobytes())
        return {label: digest.hexdigest() for label, digest in zip(labels, digests, strict=True)}

    def is_of(self, samples: str) -> bool:
        """Whether a digest of samples is this recording's.

        In earlier logs a rate that was given as a whole number (500 and not 500.0) made
        another digest, which counts as well.

        Parameters
        ----------
        samples : str
            SHA-256, as in :attr:`fingerprint`.

        Returns
        -------
        bool
        """
        return samples in self._digests

    @cached_property
    def _digests(self) -> tuple[str, ...]:
        """The digest of the stored samples; and that with a whole rate written as a whole number."""
        whole = (int(self.rate_hz),) if self.rate_hz.is_integer() else ()
        digests = []
        for rate_hz in (self.rate_hz, *whole):
            head = {"labels": list(self.labels), "n_samples": self.n_samples, "rate_hz": rate_hz}
            digests.append(hashlib.sha256(json.dumps(head, sort_keys=True, ensure_ascii=False).encode()))
        everything = list(range(len(self.channels)))
        for start in range(0, self.n_samples, 1 << 18):
            block = self.source.digital(start, min(start + (1 << 18), self.n_samples), everything)
            content = np.ascontiguousarray(block.T).astype(block.dtype.newbyteorder("<"), copy=False).tobytes()
            for digest in digests:
                digest.update(content)
        return tuple(digest.hexdigest() for digest in digests)

    def with_markers(self, markers: Sequence[tuple[int, str] | Marker]) -> "Recording":
        """The same recording with other markers.

        Parameters
        ----------
        markers : sequence of Marker or of (int, str)
            The new markers, each a :class:`Marker`, or (sample, label); in any order, they are
            sorted by time.

        Returns
        -------
        Recording

        Raises
        ------
        MarkerError
            No list of markers came, or one of them is no marker or lies outside the recording.
        """
        return dataclasses.replace(self, markers=tuple(sorted(_markers(markers), key=lambda marker: marker.sample)))

    def _index(self, label: str) -> int:
        try:
            return self.labels.index(label)
        except ValueError:
            raise UnknownNameError("channel", label, self.labels) from None


def _markers(given: Any) -> list[Marker]:
    """Markers of a list of such, or of (sample, label)."""
    several = isinstance(given, Iterable) and not isinstance(given, str | Mapping)
    if not several or (isinstance(given, tuple) and len(given) == 2 and isinstance(given[1], str)):
        came = given if isinstance(given, Marker | tuple | str | None) else f"a {type(given).__name__}"
        raise MarkerError(
            f"markers came as {came!r}; allowed: a list of markers, each (sample, label) or a Marker; give "
            "[(4000, 'go'), ...], or [] for none."
        )
    return [one if isinstance(one, Marker) else _marker(one) for one in given]


def _marker(given: object) -> Marker:
    """A marker of (sample, label)."""
    pair = given if isinstance(given, Sequence) and not isinstance(given, str) else ()
    if len(pair) != 2 or isinstance(pair[0], str):
        raise MarkerError(
            f"a marker came as {given!r}; allowed: (sample, label), or a Marker; a marker lies at a sample, a whole "
            "number counted from 0; give markers=[(4000, 'go'), ...]."
        )
    return Marker(pair[0], str(pair[1]))


def _gain_and_offset(source: SampleSource, channel: int) -> tuple[float, float]:
    """As the source says or, where it does not, from two samples that differ; of a channel that never changes in the
    stretch that is looked at, the gain cannot be told."""
    if (scale := getattr(source, "scale", None)) is not None:
        gain, offset = scale(channel)
        return float(gain), float(offset)
    stop = min(source.n_samples, 1 << 18)
    stored = np.asarray(source.digital(0, stop, [channel])[0], dtype=np.float64)
    values = np.asarray(source.read(0, stop, [channel])[0], dtype=np.float64)
    there = np.flatnonzero(np.isfinite(stored) & np.isfinite(values))
    if not there.size:
        return math.nan, 0.0
    low, high = there[stored[there].argmin()], there[stored[there].argmax()]
    if stored[low] == stored[high]:
        return math.nan, float(values[low] - stored[low])
    gain = float((values[high] - values[low]) / (stored[high] - stored[low]))
    return gain, float(values[low] - gain * stored[low])


@dataclass(frozen=True, slots=True, kw_only=True)
class Processing:
    """How a recording is conditioned: frozen, and hashed so that every mark can name it.

    Parameters
    ----------
    low_hz, high_hz : float, default 20.0 and 450.0
        Corners of the band-pass: the true -3 dB points, after both passes where
        ``direction`` is "zero-phase". ``high_hz`` None leaves the upper side open.
    order : int, default 2
        Order of one Butterworth pass, 1 to 8.
    direction : {"zero-phase", "causal"}
        Forward and backward, or once, forward.
    remove_offset : bool, default True
        Whether the median is taken off before the filter.
    envelope : {"low-pass", "rms"}
        The rectified signal after a low-pass, or its RMS in a centred window.
    envelope_hz : float, default 50.0
        Corner of the low-pass, in the same direction as the band-pass.
    envelope_order : int, default 2
        Order of one pass of the low-pass, 1 to 8.
    envelope_window_s : float, default 0.05
        Length of the window of the RMS, at most 1 s.
    rest_s : (float, float), default (-0.5, 0.0)
        The baseline window, (start, stop) in seconds from the cue.

    Raises
    ------
    ParameterError
        A value lies outside its range, seconds look like milliseconds, or hertz like
        kilohertz.

    Notes
    -----
    Mains is measured and shown; nothing is notched.

    Examples
    --------
    >>> import emgreview as er
    >>> how = er.Processing(low_hz=30, high_hz=None)
    >>> how.words.split("; ")[0]
    'Butterworth 30 Hz (-3 dB), order 2, zero-phase (two passes)'
    """

    low_hz: float = 20.0
    high_hz: float | None = 450.0
    order: int = 2
    direction: Literal["zero-phase", "causal"] = "zero-phase"
    remove_offset: bool = True
    envelope: Literal["low-pass", "rms"] = "low-pass"
    envelope_hz: float = 50.0
    envelope_order: int = 2
    envelope_window_s: float = 0.05
    rest_s: tuple[float, float] = (-0.5, 0.0)

    def __post_init__(self) -> None:
        def demand(good: bool, name: str, allowed: str) -> None:
            if not good:
                raise ParameterError(f"{name} came as {getattr(self, name)!r}; allowed: {allowed}; correct it.")

        for name in ("low_hz", "high_hz", "envelope_hz", "envelope_window_s"):
            value = getattr(self, name)
            demand(
                isinstance(value, Real) or (name == "high_hz" and value is None), name, "a number, in hertz or seconds"
            )
        demand(
            isinstance(self.rest_s, Sequence | np.ndarray) and all(isinstance(edge, Real) for edge in self.rest_s),
            "rest_s",
            "(start, stop) seconds from the cue",
        )
        demand(math.isfinite(self.low_hz) and self.low_hz > 0, "low_hz", "a frequency above 0 Hz")
        demand(
            self.high_hz is None or self.high_hz > self.low_hz, "high_hz", f"None, or above low_hz ({self.low_hz} Hz)"
        )
        demand(self.order in range(1, 9), "order", "1 to 8")
        kilohertz = self.high_hz is not None and self.high_hz < LOWEST_UPPER_HZ
        if kilohertz or (self.high_hz is None and self.low_hz < LOWEST_LOWER_HZ):
            upper = "" if self.high_hz is None else f" and {1000 * self.high_hz:g}"
            raise ParameterError(
                f"low_hz and high_hz came as {self.low_hz:g} and {self.high_hz}; allowed: frequencies of EMG in hertz, "
                f"the upper one {LOWEST_UPPER_HZ:g} or more, or the lower one {LOWEST_LOWER_HZ:g} or more where there "
                f"is none; correct them: perhaps {1000 * self.low_hz:g}{upper}, if kilohertz were given."
            )
        demand(self.direction in ("zero-phase", "causal"), "direction", "'zero-phase' or 'causal'")
        demand(self.envelope in ("low-pass", "rms"), "envelope", "'low-pass' or 'rms'")
        demand(math.isfinite(self.envelope_hz) and self.envelope_hz > 0, "envelope_hz", "a frequency above 0 Hz")
        demand(self.envelope_order in range(1, 9), "envelope_order", "1 to 8")
        likely_unit("envelope_window_s", self.envelope_window_s, most_s=1.0)
        demand(self.envelope_window_s > 0, "envelope_window_s", "above 0 and at most 1 s")
        span("rest_s", self.rest_s, allowed="(start, stop) seconds from the cue, rising")
        likely_unit("rest_s", self.rest_s)

    @property
    def hash(self) -> str:
        """SHA-256 of the parameters, written as JSON with sorted names."""
        return hashlib.sha256(json.dumps(dataclasses.asdict(self), sort_keys=True).encode()).hexdigest()

    @property
    def words(self) -> str:
        """One sentence for axes, cards and reports."""
        upper = "" if self.high_hz is None else f" to {self.high_hz:g}"
        passes = "zero-phase (two passes)" if self.direction == "zero-phase" else "causal (one pass)"
        if self.envelope == "rms":
            envelope = f"RMS in {self.envelope_window_s * 1000:g} ms"
        else:
            envelope = f"low-pass {self.envelope_hz:g} Hz, order {self.envelope_order}"
        return (
            f"Butterworth {self.low_hz:g}{upper} Hz (-3 dB), order {self.order}, {passes}; "
            f"envelope: rectified, {envelope}"
        )


class Note(str):
    """A sentence for people that knows what it is about: the ``trial`` (an id), the ``channel`` (a label), "" where
    neither. ``words`` are those after the subject: "reaches beyond the recording …" of "The trial at … reaches …"."""

    trial: str
    channel: str
    words: str

    def __new__(cls, subject: str, words: str, *, trial: str = "", channel: str = "") -> "Note":
        made = super().__new__(cls, f"{subject} {words}")
        made.trial, made.channel, made.words = trial, channel, words
        return made

    def __getnewargs_ex__(self) -> tuple[tuple[str, str], dict[str, str]]:
        subject = str(self)[: len(self) - len(self.words) - 1]
        return (subject, self.words), {"trial": self.trial, "channel": self.channel}


@dataclass(frozen=True, eq=False, repr=False)
class Trials:
    """Conditioned stretches of one recording around a cue.

    :func:`emgreview.cut_trials` makes them. ``len(trials)`` is their number.

    Attributes
    ----------
    recording : Recording
        Where they come from.
    processing : Processing
        How they were conditioned.
    cue : str
        Label of the markers they were cut around.
    ids : tuple of str
        One id a trial, made of recording, marker source and the cue's sample: removing or
        adding other cues changes none.
    cues : tuple of Marker
        The marker of each trial.
    rate_hz : float
        Sampling rate.
    time_s : ndarray, shape (samples,)
        Seconds from the cue, which is 0.
    data, envelope : ndarray, shape (trials, channels, samples)
        The EMG channels band-passed, and their envelope, in ``unit``. Where a trial reaches
        beyond the recording, samples are NaN and ``notes`` says so.
    auxiliary : ndarray, shape (trials, auxiliary channels, samples)
        All other channels, unconditioned, each in its own unit.
    labels, auxiliary_labels : tuple of str
        Labels of the channels of ``data`` and of ``auxiliary``.
    unit : {"uV", "arbitrary"}
        Unit of ``data`` and ``envelope``.
    notes : tuple of str
        Sentences on the cut; those about one trial or channel are of class :class:`Note`.
    blind : bool
        They were cut for a blind review, whose notes were told without names, and a
        notebook shows neither name nor notes of them.
    codes : mapping of (int, str) to tuple of float
        By place of the trial and label, the codes for missing samples that a channel holds
        in a trial, or so near to it that the filter carries them in. ``data`` holds what the
        filter made of them.
    impossible : mapping of str to str
        By label, a sentence on a level that no surface EMG has.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> len(trials), trials.data.shape, trials.before
    (3, (3, 2, 2500), 1000)
    """

    recording: Recording
    processing: Processing
    cue: str
    ids: tuple[str, ...]
    cues: tuple[Marker, ...]
    rate_hz: float
    time_s: FloatArray
    data: FloatArray
    envelope: FloatArray
    auxiliary: FloatArray
    labels: tuple[str, ...]
    auxiliary_labels: tuple[str, ...]
    unit: str
    notes: tuple[str, ...]
    blind: bool = False
    codes: Mapping[tuple[int, str], tuple[float, ...]] = field(default_factory=dict)
    impossible: Mapping[str, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.ids)

    def __repr__(self) -> str:
        """What a notebook shows of them, notes of the recording and of the cut included."""
        start, stop = (to_sample(edge * self.rate_hz, 1) for edge in (self.time_s[0], self.time_s[-1]))
        others = f", and {', '.join(self.auxiliary_labels)}" if self.auxiliary_labels else ""
        name = "a recording" if self.blind else self.recording.name
        lines = [
            f"{name}: {len(self)} trials around {self.cue!r}, {start / self.rate_hz:g} to "
            f"{(stop + 1) / self.rate_hz:g} s, {self.rate_hz:g} Hz",
            f"  channels: {', '.join(self.labels)} ({'µV' if self.unit == 'uV' else 'arbitrary units'}){others}",
            f"  {self.processing.words}",
        ]
        notes = () if self.blind else (*self.recording.notes, *self.notes)
        return "\n".join([*lines, *(f"  note: {note}" for note in notes)])

    @property
    def before(self) -> int:
        """Samples before the cue in every trial."""
        return to_sample(-float(self.time_s[0]), self.rate_hz)

    def index(self, trial: str) -> int:
        """Position of a trial along the first axis of the arrays.

        Parameters
        ----------
        trial : str
            One of ``ids``.

        Returns
        -------
        int

        Raises
        ------
        UnknownNameError
            No trial has that id.
        """
        try:
            return self.ids.index(trial)
        except ValueError:
            raise UnknownNameError("trial", trial, self.ids) from None

    def markers(self, trial: str) -> tuple[Marker, ...]:
        """All markers inside one trial's stretch, the cue included.

        Parameters
        ----------
        trial : str
            One of ``ids``.

        Returns
        -------
        tuple of Marker

        Raises
        ------
        UnknownNameError
            No trial has that id.
        """
        cue = self.cues[self.index(trial)].sample
        first, last = cue - self.before, cue - self.before + len(self.time_s)
        return tuple(marker for marker in self.recording.markers if first <= marker.sample < last)


@dataclass(frozen=True, slots=True, eq=False)
class Onsets:
    """What a method found in a batch of trials: :func:`emgreview.estimate_onsets` returns it.

    Every array is (trials,); times are seconds from the first sample. Times and level are
    NaN where ``present`` is below 0.5, and where a method has no such number.

    Attributes
    ----------
    onset_s, low_s, high_s : ndarray
        The onset, and its 90 % interval from ``low_s`` to ``high_s``.
    offset_s, offset_low_s, offset_high_s : ndarray
        Likewise for the offset.
    rise_s : ndarray
        Time from baseline to plateau.
    level_db : ndarray
        The burst alone over the rest.
    present : ndarray
        An index from 0 to 1 of how much of a stretch stands out from the rest, where most
        does; from 0.5 on the method says that there is activity.
    baseline_note : ndarray of str
        A word where the baseline cannot be trusted, "" otherwise; where nothing can be told
        because of it, ``present`` is NaN, too.
    method : str
        Name of the method.
    parameters : mapping
        All parameters of the method, defaults included.

    Notes
    -----
    ``present`` is no probability: in simulated trials of 0.5 to 0.65, 76 to 100 % held
    activity, depending on how many of all did.

    Examples
    --------
    >>> import emgreview as er
    >>> sim = er.simulate(2, 2000, seed=1, snr_db=[20, float("-inf")])
    >>> found = er.estimate_onsets(sim.x, 2000, cue_s=sim.cue_s)
    >>> (found.present >= 0.5).tolist()
    [True, False]
    >>> found.onset_s.round(2).tolist()
    [1.25, nan]
    """

    onset_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    offset_s: FloatArray
    offset_low_s: FloatArray
    offset_high_s: FloatArray
    rise_s: FloatArray
    level_db: FloatArray
    present: FloatArray
    baseline_note: NDArray[np.str_]
    method: str
    parameters: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Burst:
    """One stretch of activity, in seconds from the first sample; NaN where not known.

    Parameters
    ----------
    onset_s, offset_s : float
        Where it begins and ends.
    low_s, high_s : float, default NaN
        90 % interval of the onset.
    level_db : float, default NaN
        The burst alone over the rest.

    Examples
    --------
    >>> import emgreview as er
    >>> burst = er.Burst(onset_s=0.25, offset_s=0.75)
    >>> burst.offset_s - burst.onset_s, burst.level_db
    (0.5, nan)
    """

    onset_s: float
    offset_s: float
    low_s: float = math.nan
    high_s: float = math.nan
    level_db: float = math.nan
