"""Conditioned stretches around a cue, and notes that know which trial and channel they are about."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from emgreview.errors import UnknownNameError
from emgreview.model.markers import Marker
from emgreview.model.processing import Processing
from emgreview.model.recording import Recording
from emgreview.model.units import FloatArray, to_sample


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
