"""From a continuous recording to conditioned trials: filter first, cut afterwards.

The filter is that of :mod:`emgreview.conditioning`. Arrays are (channels, samples) or (trials, channels, samples);
time is in seconds from the cue; missing samples are NaN.

    cut_trials      the stretches around every marker with one label, conditioned
    Plan            what is cut, known before any sample is read
    arrays, Cut     filtered and cut
    naming          a block whose errors name the recording
"""

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emgreview.checking import codes_in, impossible
from emgreview.checks import RECORDING, kind, perhaps, refusal, truth, whole
from emgreview.conditioning import BLOCK_S, margin_samples, raw_and_conditioned
from emgreview.errors import EmgreviewError, MarkerError, ParameterError, SignalError, UnitError, UnknownNameError, tell
from emgreview.model import ARBITRARY, Marker, Note, Processing, Recording, Trials, to_sample
from emgreview.rhythm import count_note, demand_trials, hole_note, in_ms, overlap_note
from emgreview.trials.notes import first_of, level_says, of_channels, of_codes
from emgreview.unnamed import NobodyNamed

FloatArray = NDArray[np.floating]

CODES_REACH = 5.0
"""The filter carries a code so many periods of its lower corner into a trial: 0.25 s at 20 Hz, from where on a step of
1 V leaves less than 1 µV (our own choice, by that measurement)."""


def cut_trials(
    rec: Recording,
    *,
    cue: str,
    before_s: float,
    after_s: float,
    processing: Processing | None = None,
    expect: int | None = None,
    blind: bool = False,
) -> Trials:
    """Cut the stretch around every marker with one label, and condition it.

    The EMG channels are filtered on the continuous recording, then cut; other channels are
    cut as they are. A trial holds the samples from ``-before_s`` to just before
    ``after_s``; where it reaches beyond the recording it is NaN there, and a note says so.

    Parameters
    ----------
    rec : Recording
        The recording, with markers.
    cue : str
        Label of the markers to cut around, for example "go".
    before_s, after_s : float
        How far a trial reaches before and after its cue, in seconds.
    processing : Processing or None
        Filter, envelope and rest window; None for the defaults of
        :class:`emgreview.Processing`.
    expect : int or None
        How many cues there should be; a note says where there are more or fewer.
    blind : bool, default False
        Tell the notes without the names of recording and participant
        (:mod:`emgreview.unnamed`), for a blind review.

    Returns
    -------
    Trials
        ``data`` and ``envelope`` are single precision, ``auxiliary`` is double precision.

    Raises
    ------
    UnknownNameError
        No marker has that label.
    MarkerError
        Two cues lie at one sample.
    ParameterError
        An argument is of another kind, the window does not fit, being longer than the
        recording for instance, or the rest window lies outside it.
    UnitError
        EMG channels are in different units.
    SignalError
        There is no EMG channel, or samples are too large to be a voltage.
    RateError
        The sampling rate is too low for the band. Each error names the recording.

    Warns
    -----
    SignalWarning
        Every note: trials that reach beyond the recording, channels that are marked bad,
        constant or lack samples, hold codes for missing samples, or have a level that no
        surface EMG has (by the rules of :func:`emgreview.check`), more or fewer cues than
        ``expect``, a hole in the intervals between them (:mod:`emgreview.rhythm`), trials that
        share samples. Nothing of that is left out of the trials.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> trials.labels, trials.data.shape
    (('prime mover', 'antagonist'), (3, 2, 2500))
    """
    kind("rec", rec, Recording, RECORDING)
    kind("cue", cue, str, "the label of one marker, in quotes")
    truth("blind", blind)
    kind("processing", processing, (Processing, type(None)), "emgreview.Processing(low_hz=…, …), or None")
    with naming(rec), NobodyNamed([rec], blind):
        found = _cut(rec, cue, before_s, after_s, Processing() if processing is None else processing, expect)
        return replace(found, blind=blind)


@contextmanager
def naming(rec: Recording) -> Iterator[None]:
    """An error of the package names the recording."""
    try:
        yield
    except EmgreviewError as error:
        if repr(rec.name) not in str(error):
            error.args = (f"{error} This was asked of recording {rec.name!r}.",)
        raise


@dataclass(frozen=True)
class Plan:
    """What is cut from a recording: known before any sample is read."""

    rec: Recording
    processing: Processing
    cue: str
    cues: tuple[Marker, ...]
    before: int
    after: int

    @classmethod
    def of(cls, rec: Recording, cue: str, before_s: float, after_s: float, processing: Processing) -> "Plan":
        """Raises as :func:`cut_trials`."""
        before, after = _window(rec, before_s, after_s, processing)
        cues = _cues(rec, cue)
        demand_trials(rec, cues, before_s, after_s)
        _unit(rec)
        return cls(rec, processing, cue, cues, before, after)

    @property
    def labels(self) -> tuple[str, ...]:
        return self.rec.emg_labels

    @property
    def others(self) -> tuple[str, ...]:
        return tuple(channel.label for channel in self.rec.channels if channel.kind != "EMG")

    @property
    def stretches(self) -> list[tuple[int, int]]:
        return [(max(m.sample - self.before, 0), min(m.sample + self.after, self.rec.n_samples)) for m in self.cues]

    def trials(self, **rest: Any) -> dict[str, Any]:
        """The fields of Trials that follow from the plan; ``rest`` are further ones."""
        return {
            "recording": self.rec,
            "processing": self.processing,
            "cue": self.cue,
            "ids": tuple(f"{self.rec.name}/{marker.source}/{marker.sample}" for marker in self.cues),
            "cues": self.cues,
            "rate_hz": self.rec.rate_hz,
            "time_s": (np.arange(self.before + self.after) - self.before) / self.rec.rate_hz,
            "labels": self.labels,
            "auxiliary_labels": self.others,
            "unit": _unit(self.rec),
            **rest,
        }


@dataclass(frozen=True)
class Cut:
    """The arrays of some trials, and what was counted while they were cut: where each channel never changes, how many
    of its samples are missing in each trial (trials, channels), and how many could not be filtered (channels,)."""

    data: FloatArray
    envelope: FloatArray
    auxiliary: FloatArray
    steady: NDArray[np.bool_]
    missing: NDArray[np.integer]
    unfiltered: NDArray[np.integer]


def arrays(plan: Plan) -> Cut:
    """Filter and cut."""
    rec, cues, labels, others, before = plan.rec, plan.cues, plan.labels, plan.others, plan.before
    n, stretches = before + plan.after, plan.stretches
    data = np.full((len(cues), len(labels), n), np.nan, dtype=np.float32)
    outline = np.full_like(data, np.nan)
    auxiliary = np.full((len(cues), len(others), n), np.nan)
    steady = np.ones((len(cues), len(labels)), dtype=bool)
    missing = np.zeros((len(cues), len(labels)), dtype=np.int64)
    unfiltered = np.zeros(len(labels), dtype=np.int64)
    margin = margin_samples(rec.rate_hz, plan.processing)
    for group in _groups(stretches, margin, to_sample(BLOCK_S, rec.rate_hz)):
        first, last = stretches[group.start][0], max(stop for _, stop in stretches[group.start : group.stop])
        raw, banded, smooth = raw_and_conditioned(rec, first, last, labels, plan.processing)
        for trial in group:
            start, stop = stretches[trial]
            here = slice(start - first, stop - first)
            at = slice(start - cues[trial].sample + before, stop - cues[trial].sample + before)
            data[trial, :, at], outline[trial, :, at] = banded[:, here], smooth[:, here]
            if others:
                auxiliary[trial, :, at] = rec.values(start, stop, others)
            absent = np.isnan(raw[:, here])
            missing[trial] = absent.sum(axis=1)
            unfiltered += np.isnan(banded[:, here]).sum(axis=1) - missing[trial]
            level = np.where(absent, np.inf, raw[:, here]).min(axis=1, keepdims=True)
            steady[trial] = (absent | (raw[:, here] == level)).all(axis=1)
    return Cut(data, outline, auxiliary, steady, missing, unfiltered)


def _cut(
    rec: Recording, cue: str, before_s: float, after_s: float, processing: Processing, expect: int | None
) -> Trials:
    expect = None if expect is None else whole("expect", expect, least=1)
    plan = Plan.of(rec, cue, before_s, after_s, processing)
    cues, labels, stretches = plan.cues, plan.labels, plan.stretches
    found = plan.trials()
    cut = arrays(plan)
    rhythm = ["" if expect is None else count_note(rec, cue, cues, expect), hole_note(rec, cue, cues)]
    rhythm.append(overlap_note(rec, cues, stretches))
    beyond = list(_beyond(plan, found["ids"]))
    reach = min(math.ceil(CODES_REACH / processing.low_hz * rec.rate_hz), margin_samples(rec.rate_hz, processing))
    wider = [(max(start - reach, 0), min(stop + reach, rec.n_samples)) for start, stop in stretches]
    codes = {
        (trial, label): values for label in labels for trial, values in enumerate(codes_in(rec, label, wider)) if values
    }
    levels = impossible(rec)
    about_channels = of_channels(rec, labels, cut.steady, cut.missing, cut.unfiltered, stretches)
    about_channels += of_codes(rec, labels, cues, codes, reach)
    about_channels += [Note(f"Channel {label}", level_says(words), channel=label) for label, words in levels.items()]
    of_all = [note for note in rhythm if note]
    for note in (*of_all, *first_of(beyond), *about_channels):
        tell(f"{rec.name}: {note}")
    return Trials(
        **found,
        data=cut.data,
        envelope=cut.envelope,
        auxiliary=cut.auxiliary,
        notes=(*of_all, *beyond, *about_channels),
        codes=codes,
        impossible=levels,
    )


def _beyond(plan: Plan, ids: Sequence[str]) -> Iterator[Note]:
    """A note on each trial that reaches beyond the recording."""
    n, rate_hz = plan.before + plan.after, plan.rec.rate_hz
    for trial, cue, (start, stop) in zip(ids, plan.cues, plan.stretches, strict=True):
        if stop - start < n:
            yield Note(
                f"The trial at sample {cue.sample} ({cue.sample / rate_hz:.3f} s)",
                f"reaches beyond the recording: {n - stop + start} of its {n} samples are missing.",
                trial=trial,
            )


def _window(rec: Recording, before_s: float, after_s: float, processing: Processing) -> tuple[int, int]:
    for name, seconds in (("before_s", before_s), ("after_s", after_s)):
        if not isinstance(seconds, Real) or not (math.isfinite(seconds) and to_sample(seconds, rec.rate_hz) > 0):
            raise refusal(name, seconds, f"a number of seconds, at least one sample, {1 / rec.rate_hz:g} s")
    rest_start, rest_stop = processing.rest_s
    before, after = to_sample(before_s, rec.rate_hz), to_sample(after_s, rec.rate_hz)
    if before + after > rec.n_samples:
        raise ParameterError(
            f"trials from {before_s:g} s before to {after_s:g} s after the cue were asked of recording {rec.name!r}, "
            f"which lasts {rec.duration_s:g} s; a trial is no longer than its recording; give shorter ones"
            f"{in_ms(before_s, after_s)}."
        )
    if to_sample(rest_start, rec.rate_hz) < -before or to_sample(rest_stop, rec.rate_hz) > after:
        raise ParameterError(
            f"the rest window came as {rest_start:g} to {rest_stop:g} s from the cue, and the trials as "
            f"{-before_s:g} to {after_s:g} s; the rest window must lie inside the trial; cut longer trials, or give "
            "processing=Processing(rest_s=(start, stop)) with a window inside"
            f"{perhaps(processing.rest_s) if max(map(abs, processing.rest_s)) >= 10 else ''}."
        )
    return before, after


def _cues(rec: Recording, cue: str) -> tuple[Marker, ...]:
    cues = tuple(marker for marker in rec.markers if marker.label == cue)
    if not cues:
        raise UnknownNameError("marker", cue, sorted({marker.label for marker in rec.markers}))
    for one, other in pairwise(cues):
        if one.sample == other.sample:
            raise MarkerError(
                f"two markers {cue!r} lie at sample {one.sample} ({one.sample / rec.rate_hz:.3f} s) of recording "
                f"{rec.name!r} (sources: {one.source}, {other.source}); every trial needs a sample of its own, because "
                "decisions are stored by it; remove one with rec.with_markers(...)."
            )
    return cues


def _unit(rec: Recording) -> str:
    units = {rec.channel(label).unit: label for label in rec.emg_labels}
    if not units:
        kinds = ", ".join(f"{channel.label} ({channel.kind})" for channel in rec.channels)
        raise SignalError(
            f"recording {rec.name!r} has no channel of kind EMG, only {kinds}; trials need at least one; "
            "state the kinds when reading or building the recording."
        )
    if len(units) > 1 or not set(units) <= {"uV", ARBITRARY}:
        listed = ", ".join(f"{label} in {unit!r}" for unit, label in units.items())
        raise UnitError(
            f"the EMG channels of recording {rec.name!r} have the units: {listed}; allowed: all in 'uV', or all in "
            f"{ARBITRARY!r}; state the unit of each channel, or give channels of another kind another kind."
        )
    return next(iter(units))


def _groups(stretches: Sequence[tuple[int, int]], margin: int, longest: int) -> Iterator[range]:
    """Trials to filter together: their margins meet, and they span no more than ``longest`` samples."""
    start = 0
    for trial in range(1, len(stretches) + 1):
        if (
            trial == len(stretches)
            or stretches[trial][0] - stretches[trial - 1][1] > 2 * margin
            or stretches[trial][1] - stretches[start][0] > longest
        ):
            yield range(start, trial)
            start = trial
