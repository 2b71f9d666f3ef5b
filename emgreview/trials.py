"""From a continuous recording to conditioned trials: filter first, cut afterwards.

The filter is that of :mod:`emgreview.conditioning`. Arrays are (channels, samples) or (trials, channels, samples);
time is in seconds from the cue; missing samples are NaN.

    cut_trials                  the stretches around every marker with one label, conditioned
    cut_all                     the same for many recordings; one that cannot be cut is named, and stops no other
    check, mains                found in :mod:`emgreview.checking`, and by these names too
    notes_on                    those notes of a cut that are about one trial, or about one channel

Over 400 lines with what its public names say of themselves.
"""

import math
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from numbers import Real

import numpy as np
from numpy.typing import NDArray

from emgreview.checking import check as check
from emgreview.checking import codes_in, impossible
from emgreview.checking import mains as mains
from emgreview.checks import RECORDING, kind, perhaps, refusal, truth, whole
from emgreview.conditioning import BLOCK_S, margin_samples, raw_and_conditioned
from emgreview.errors import EmgreviewError, MarkerError, ParameterError, SignalError, UnitError, UnknownNameError, tell
from emgreview.model import ARBITRARY, Marker, Note, Processing, Recording, Trials, to_sample
from emgreview.rhythm import SHOWN, count_note, demand_trials, hole_note, in_ms, overlap_note
from emgreview.signal.findings import code_words
from emgreview.unnamed import LEFT_OUT, NobodyNamed, alike

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
    with _naming(rec), NobodyNamed([rec], blind):
        found = _cut(rec, cue, before_s, after_s, Processing() if processing is None else processing, expect)
        return replace(found, blind=blind)


def cut_all(
    recordings: Iterable[Recording],
    *,
    cue: str,
    before_s: float,
    after_s: float,
    processing: Processing | None = None,
    expect: int | None = None,
    blind: bool = False,
) -> list[Trials]:
    """Cut the trials of every recording, as :func:`cut_trials` cuts them.

    A recording that cannot be read or cut is named in a warning, with the reason, and left
    out; the others go on.

    Parameters
    ----------
    recordings : Dataset or iterable of Recording
        A dataset, its recordings, or a list.
    cue : str
        Label of the markers to cut around.
    before_s, after_s : float
        How far a trial reaches before and after its cue, in seconds.
    processing : Processing or None
        Filter, envelope and rest window; None for the defaults.
    expect : int or None
        How many cues each recording should have.
    blind : bool, default False
        For trials of a blind review: what reading and cutting have to say of the others is
        told without names, each sentence once with the number of recordings that it is
        about.

    Returns
    -------
    list of Trials
        One for each recording that could be cut, in order.

    Raises
    ------
    ParameterError
        Not one recording could be cut (the message gives the reasons), or something else
        than recordings came.

    Warns
    -----
    SignalWarning
        A recording was left out (where several were for one reason, they share a sentence);
        and every note of :func:`cut_trials`.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(2, 3, 1000, seed=1)
    >>> [len(one) for one in er.cut_all(study.recordings, cue="go", before_s=1, after_s=1.5)]
    [3, 3]
    """
    truth("blind", blind)
    found: list[Trials] = []
    failed: dict[str, str] = {}
    read: list[Recording] = []
    allowed = "a dataset, its recordings, or a list of recordings"
    if isinstance(recordings, str | os.PathLike) or not (
        isinstance(recordings, Iterable) or hasattr(recordings, "recordings")
    ):
        kind("recordings", recordings, Recording, allowed)
    given = [recordings] if isinstance(recordings, Recording) else getattr(recordings, "recordings", recordings)
    with NobodyNamed(read, blind):
        for rec in given:
            kind("recordings", rec, Recording, allowed)
            read.append(rec)
            try:
                one = cut_trials(rec, cue=cue, before_s=before_s, after_s=after_s, processing=processing, expect=expect)
                found.append(replace(one, blind=blind))
            except EmgreviewError as error:
                failed[rec.name] = str(error)
    told = [
        f"{whose} cannot be cut{LEFT_OUT if whose in failed else LEFT_OUT.replace('is', 'are')}{words}"
        for whose, words in alike(failed).items()
    ]
    if not found:
        raise ParameterError(
            f"not one of {len(failed)} recordings could be cut; at least one must have the cue and fit the window; "
            f"{' '.join(told[:3]) or 'give recordings'}"
        )
    for sentence in told:
        tell(sentence)
    return found


@contextmanager
def _naming(rec: Recording) -> Iterator[None]:
    """An error of the package names the recording."""
    try:
        yield
    except EmgreviewError as error:
        if repr(rec.name) not in str(error):
            error.args = (f"{error} This was asked of recording {rec.name!r}.",)
        raise


def _cut(
    rec: Recording, cue: str, before_s: float, after_s: float, processing: Processing, expect: int | None
) -> Trials:
    expect = None if expect is None else whole("expect", expect, least=1)
    before, after = _window(rec, before_s, after_s, processing)
    cues = _cues(rec, cue)
    demand_trials(rec, cues, before_s, after_s)
    rhythm = ["" if expect is None else count_note(rec, cue, cues, expect), hole_note(rec, cue, cues)]
    labels, unit = rec.emg_labels, _unit(rec)
    others = tuple(channel.label for channel in rec.channels if channel.kind != "EMG")
    ids = tuple(f"{rec.name}/{marker.source}/{marker.sample}" for marker in cues)
    n = before + after

    data = np.full((len(cues), len(labels), n), np.nan, dtype=np.float32)
    outline = np.full_like(data, np.nan)
    auxiliary = np.full((len(cues), len(others), n), np.nan)
    steady = np.ones((len(cues), len(labels)), dtype=bool)
    missing = np.zeros((len(cues), len(labels)), dtype=np.int64)
    unfiltered = np.zeros(len(labels), dtype=np.int64)
    stretches = [(max(m.sample - before, 0), min(m.sample + after, rec.n_samples)) for m in cues]
    rhythm.append(overlap_note(rec, cues, stretches))
    notes: list[str] = [note for note in rhythm if note]
    for group in _groups(stretches, margin_samples(rec.rate_hz, processing), to_sample(BLOCK_S, rec.rate_hz)):
        first, last = stretches[group.start][0], max(stop for _, stop in stretches[group.start : group.stop])
        raw, banded, smooth = raw_and_conditioned(rec, first, last, labels, processing)
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
            if stop - start < n:
                cue_at = cues[trial].sample
                notes.append(
                    Note(
                        f"The trial at sample {cue_at} ({cue_at / rec.rate_hz:.3f} s)",
                        f"reaches beyond the recording: {n - stop + start} of its {n} samples are missing.",
                        trial=ids[trial],
                    )
                )
    beyond = [note for note in notes if isinstance(note, Note)]
    reach = min(math.ceil(CODES_REACH / processing.low_hz * rec.rate_hz), margin_samples(rec.rate_hz, processing))
    wider = [(max(start - reach, 0), min(stop + reach, rec.n_samples)) for start, stop in stretches]
    codes = {
        (trial, label): values for label in labels for trial, values in enumerate(codes_in(rec, label, wider)) if values
    }
    levels = impossible(rec)
    of_channels = _channel_notes(rec, labels, steady, missing, unfiltered, stretches)
    of_channels += _code_notes(rec, labels, cues, codes, reach)
    of_channels += [Note(f"Channel {label}", level_says(words), channel=label) for label, words in levels.items()]
    for note in (*(note for note in rhythm if note), *_first(beyond), *of_channels):
        tell(f"{rec.name}: {note}")
    notes += of_channels
    return Trials(
        recording=rec,
        processing=processing,
        cue=cue,
        ids=ids,
        cues=cues,
        rate_hz=rec.rate_hz,
        time_s=(np.arange(n) - before) / rec.rate_hz,
        data=data,
        envelope=outline,
        auxiliary=auxiliary,
        labels=labels,
        auxiliary_labels=others,
        unit=unit,
        notes=tuple(notes),
        codes=codes,
        impossible=levels,
    )


def level_says(words: str) -> str:
    """What is said of a channel whose level is impossible, from the words of that finding."""
    return f"has a level that no surface EMG has. {words}"


def notes_on(trials: Trials, trial: str, channel: str | None = None) -> tuple[Note, ...]:
    """Those notes of a cut that are about one trial, or with ``channel`` about that channel in all trials."""
    subject = ("trial", trials.ids[trials.index(trial)]) if channel is None else ("channel", channel)
    return tuple(note for note in trials.notes if isinstance(note, Note) and getattr(note, subject[0]) == subject[1])


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


def _first(beyond: Sequence[str]) -> tuple[str, ...]:
    """Some of the trials that reach beyond the recording, and how many more do."""
    more = len(beyond) - SHOWN
    return (*beyond[:SHOWN], f"So do {more} more trials; trials.notes names them.") if more > 0 else tuple(beyond)


def _channel_notes(
    rec: Recording,
    labels: Sequence[str],
    steady: NDArray[np.bool_],
    missing: NDArray[np.integer],
    unfiltered: NDArray[np.integer],
    stretches: Sequence[tuple[int, int]],
) -> list[str]:
    lengths = np.array([stop - start for start, stop in stretches])[:, np.newaxis]
    notes: list[str] = []
    for column, label in enumerate(labels):
        channel, gone = rec.channel(label), missing[:, column]

        def add(words: str, subject: str = f"Channel {label}", label: str = label) -> None:
            notes.append(Note(subject, words, channel=label))

        if channel.status == "bad":
            why = f" ({channel.status_description})" if channel.status_description else ""
            add(f"is marked bad in the recording{why}.")
        if steady[:, column].all():
            empty = (gone == lengths[:, 0]).all()
            add(f"{'has no samples' if empty else 'never changes'} in any of the {len(gone)} trials.")
            continue
        if gone.any():
            add(f"lacks samples in {np.count_nonzero(gone)} of {len(gone)} trials.")
        if unfiltered[column]:
            add(
                f"has {unfiltered[column]} samples between missing ones that were too few to filter, and are missing "
                "from the trials."
            )
    return notes


def _code_notes(
    rec: Recording,
    labels: Sequence[str],
    cues: Sequence[Marker],
    codes: Mapping[tuple[int, str], tuple[float, ...]],
    reach: int,
) -> list[str]:
    """A note on each channel that holds codes in or beside trials: which, and in which trials."""
    notes: list[str] = []
    for label in labels:
        held = [trial for trial in range(len(cues)) if (trial, label) in codes]
        if not held:
            continue
        values = tuple(dict.fromkeys(value for trial in held for value in codes[trial, label]))
        at = ", ".join(f"{cues[trial].sample / rec.rate_hz:.3f}" for trial in held[:SHOWN])
        more = f" and {len(held) - SHOWN} more" if len(held) > SHOWN else ""
        notes.append(
            Note(
                f"Channel {label}",
                f"holds {code_words(values, rec.channel(label).unit_label)} in {len(held)} of {len(cues)} trials, or "
                f"within {reach / rec.rate_hz:.2g} s of them (cues at {at} s{more}): a code for missing samples or an "
                "overflow, no voltage. It is filtered as it stands: onsets and amplitudes there are not of a muscle.",
                channel=label,
            )
        )
    return notes
