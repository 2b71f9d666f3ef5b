"""A recording: channels sampled together at one rate, with markers, read lazily."""

import dataclasses
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from numbers import Integral

import numpy as np
from numpy.typing import ArrayLike

from emgreview.checks import rate, refusal, samples
from emgreview.errors import ParameterError, RateError, SignalError, UnitError, UnknownNameError
from emgreview.model import sources
from emgreview.model.channels import Channel
from emgreview.model.markers import Marker, demand_in_order, markers_of
from emgreview.model.sources import ArraySource, Fingerprint, SampleSource, Scale
from emgreview.model.units import ARBITRARY, VOLTS, FloatArray, to_sample


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
        demand_in_order(self.markers, self.name, self.n_samples, self.rate_hz)

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
        made = markers_of(markers)
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
            raise refusal("channels", channels, "a list of labels", f"give [{channels!r}]")
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
        return sources.read_earlier(self.source, start, stop, list(wanted), shifts)

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
        return tuple(sources.scale_of(self.source, place, one) for place, one in enumerate(self.channels))

    @cached_property
    def fingerprint(self) -> Fingerprint:
        """Digest of the stored samples, the rate and the labels; and of the file's bytes.

        Reads everything once. What the stored samples stand for is in :attr:`scales`.
        """
        if self.source.file is None:
            return Fingerprint(self.digest)
        return Fingerprint(self.digest, sources.digest_of_file(self.source.file))

    @cached_property
    def channel_digests(self) -> Mapping[str, str]:
        """SHA-256 of the stored samples of each EMG channel, by label, and of nothing else.

        Reads them all once.
        """
        places = [self._index(label) for label in self.emg_labels]
        return dict(zip(self.emg_labels, sources.row_digests(self.source, places), strict=True))

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
        whole = int(self.rate_hz) if self.rate_hz.is_integer() else None
        return samples == self.digest or (
            whole is not None and samples == sources.digest_of(self.source, self.labels, whole)
        )

    @property
    def digest(self) -> str:
        """SHA-256 of the stored samples, the rate and the labels. Reads them all once, and again
        where the file was written since."""
        return sources.digest_now(self)

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
        return dataclasses.replace(self, markers=tuple(sorted(markers_of(markers), key=lambda marker: marker.sample)))

    def _index(self, label: str) -> int:
        try:
            return self.labels.index(label)
        except ValueError:
            raise UnknownNameError("channel", label, self.labels) from None
