"""What a reviewer looks at beside the trace: typical envelope, spectra, the filter's own response, level over rest.

Computed for front ends, which only draw it. Arrays are (samples,) of one channel unless said otherwise, in the unit of
the trials; time in seconds from the cue; missing is NaN.

    same_electrodes         trials by participant and session, between which electrodes are applied anew
    Glance, glance          what is counted of all trials of a recording before one of them is shown
    full_scale              what a channel's band shows, the same for all trials of a person's session
    level_words             what stands beside that scale where the level is impossible: dead, or another unit
    auxiliary_limits        of the bands of auxiliary channels
    typical_envelope        median and quartiles of chosen trials
    spectra                 of a burst, and of the rest before it
    envelope_step           what the envelope makes of a sudden step
    rest_z                  how far each trial's rest stands from the other trials' rest of the session
    listening               a stretch made audible at a limited level
    Fitness                 which channels of a trial can be judged at all, and what of them is clipped
    unfiltered              a trial as it was recorded
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import gcd
from typing import ClassVar
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy import signal as dsp

from emgreview.errors import EmgreviewError, ParameterError
from emgreview.model import VOLTS, FloatArray, Processing, Trials, to_sample
from emgreview.signal import envelope as envelopes
from emgreview.signal.baseline import LEVEL_BLOCK_S
from emgreview.signal.clip import at_rail
from emgreview.signal.findings import brief, code_words, of_level, of_unlike
from emgreview.signal.measures import baseline
from emgreview.signal.quality import LOUDEST_PART, QUIETEST_PART
from emgreview.signal.spectrum import power_density
from emgreview.signal.still import longest_still
from emgreview.signal.stuck import are_usual
from emgreview.signal.unfit import unfit

BoolArray = NDArray[np.bool_]

SHOWN_PEAK = 0.7
"""Share of the peaks' upper quartile that fills a band: onsets show, the highest peaks are cut by the band's edge."""
FEWEST_TYPICAL = 5
AUDIBLE_HZ = 8000
GLANCE = "glance"
"""Under this name it is among what is known of trials from before."""
CODES = "codes, no voltage"
"""The kind of signal that holds codes for missing samples."""
LOUDEST = 0.25
"""Peak of what is played, full scale 1."""


def same_electrodes(trials: Sequence[Trials]) -> tuple[tuple[Trials, ...], ...]:
    """Trials in groups: those of one participant and session, with the same channels and processing. A recording that
    names no participant stands alone."""
    groups: dict[tuple[object, ...], list[Trials]] = {}
    for part in trials:
        said = part.recording.entities
        whose = (
            tuple(said.get(name) for name in ("dataset", "sub", "ses")) if said.get("sub") else (part.recording.name,)
        )
        groups.setdefault((whose, part.labels, part.processing.hash), []).append(part)
    return tuple(map(tuple, groups.values()))


@dataclass(frozen=True, slots=True, eq=False)
class Glance:
    """What is counted of all trials of a recording before one of them is shown: ``peaks`` and the log RMS of the
    ``rest`` (trials, channels), RMS over blocks of 0.1 s in ``levels`` (channels, blocks), and the lowest and highest
    value of each auxiliary channel in ``limits`` (auxiliary channels, 2), NaN where there is none."""

    peaks: FloatArray
    rest: FloatArray
    levels: FloatArray
    limits: FloatArray


def glance(trials: Trials) -> Glance:
    """What is counted of all of them: known from before, or counted here."""
    known = getattr(trials, "known", {}).get(GLANCE)
    return known if isinstance(known, Glance) else counted(trials)


def counted(trials: Trials) -> Glance:
    """The same, counted."""
    peaks = np.max(np.abs(np.nan_to_num(trials.data)), axis=-1, initial=0)
    start, stop = (trials.before + to_sample(edge, trials.rate_hz) for edge in trials.processing.rest_s)
    with np.errstate(divide="ignore"):
        rest = np.log(baseline(trials.data.astype(np.float64), start, stop).sd)
    n = max(2, to_sample(LEVEL_BLOCK_S, trials.rate_hz))
    x = trials.data[..., : trials.data.shape[-1] // n * n].astype(np.float64)
    levels = np.sqrt(np.mean(x.reshape(*x.shape[:2], -1, n) ** 2, axis=-1)).swapaxes(0, 1)
    limits = np.full((len(trials.auxiliary_labels), 2), np.nan)
    for place in range(len(limits)):
        values = trials.auxiliary[:, place]
        if (finite := values[np.isfinite(values)]).size:
            limits[place] = finite.min(), finite.max()
    return Glance(peaks, rest, levels.reshape(len(trials.labels), -1), limits)


def full_scale(trials: Sequence[Trials]) -> FloatArray:
    """The value at the edge of each EMG channel's band, (channels,); 1 for a channel without signal.

    ``trials`` of one person's session have one value a channel, so that the same height always means the same voltage.
    """
    peaks = np.concatenate([glance(part).peaks for part in trials])
    if not len(peaks):
        return np.ones(peaks.shape[1])
    scale = SHOWN_PEAK * np.percentile(peaks, 75, axis=0)
    return np.where(scale > 0, scale, 1.0)


def auxiliary_limits(trials: Sequence[Trials]) -> FloatArray:
    """Lowest and highest value of each auxiliary channel over all trials of a person's session, (channels, 2); NaN
    where it has none."""
    limits = np.stack([glance(part).limits for part in trials])
    low, high = np.fmin.reduce(limits[..., 0]), np.fmax.reduce(limits[..., 1])
    return np.stack([low, high], axis=-1)


def level_words(trials: Sequence[Trials]) -> tuple[str, ...]:
    """For each EMG channel a few words where its level is impossible or unlike the others', "" where nothing stands
    out: a fixed gain would hide a channel a thousand times too small.

    Judged as ``emgreview.check`` judges a recording (:func:`emgreview.signal.findings.of_level`), on the conditioned
    trials of one person's session.
    """
    first = trials[0]
    levels = np.concatenate([glance(part).levels for part in trials], axis=1)
    return words_of_levels(first.labels, levels, first.recording.channel(first.labels[0]).unit_label)


def words_of_levels(labels: Sequence[str], levels: FloatArray, unit_label: str) -> tuple[str, ...]:
    """The same from RMS over blocks of 0.1 s, (channels, blocks), NaN where samples are missing."""
    unit_uv, rest, words = VOLTS.get(unit_label), [], []
    for label, level in zip(labels, levels, strict=True):
        known = level[np.isfinite(level)]
        known = known[known > 0]
        low, high = np.quantile(known, (QUIETEST_PART, LOUDEST_PART)) if known.size else (np.nan, np.nan)
        rest.append(float(low))
        found = [] if unit_uv is None else of_level(label, float(low), float(high), unit_label, unit_uv)
        words.append("no signal" if not known.size else "".join(brief(one, unit_uv) for one in found))
    if unit_uv is None:
        unlike = of_unlike(labels, rest, unit_label)
        words = [
            brief(unlike[name], None) if name in unlike else said for name, said in zip(labels, words, strict=True)
        ]
    return tuple(words)


@dataclass(frozen=True, slots=True, eq=False)
class Typical:
    """Median and quartiles of envelopes, each (samples,), and of how many trials."""

    median: FloatArray
    lower: FloatArray
    upper: FloatArray
    n_trials: int


def typical_envelope(chosen_rows: Sequence[tuple[Trials, Sequence[int]]], channel: str) -> Typical | None:
    """The person's typical envelope over some rows of the trials of a session, all cut alike and aligned to the cue;
    None below five of them."""
    if sum(len(rows) for _, rows in chosen_rows) < FEWEST_TYPICAL:
        return None
    chosen = np.concatenate([part.envelope[list(rows), part.labels.index(channel)] for part, rows in chosen_rows])
    whole = chosen[np.isfinite(chosen).all(axis=1)]
    if len(whole) < FEWEST_TYPICAL:
        return None
    lower, median, upper = np.percentile(whole, [25, 50, 75], axis=0)
    return Typical(median, lower, upper, len(whole))


@dataclass(frozen=True, slots=True, eq=False)
class Spectra:
    """Power densities in unit²/Hz at frequencies in Hz, (frequencies,) each."""

    frequency_hz: FloatArray
    burst: FloatArray
    rest: FloatArray


def spectra(trials: Trials, row: int, channel: str, *, onset_s: float, offset_s: float) -> Spectra:
    """Power density of one trial's burst and of its rest window, on the same frequencies.

    Both are averaged over windows of the same length, the shorter of the two stretches and at most 0.25 s. Raises
    ParameterError where one of them holds fewer than 32 samples.
    """
    x = trials.data[row, trials.labels.index(channel)].astype(np.float64)
    rest = _stretch(trials, x, *trials.processing.rest_s)
    burst = _stretch(trials, x, onset_s, offset_s)
    window = min(len(rest), len(burst), to_sample(0.25, trials.rate_hz))
    if window < 32:
        raise ParameterError(
            f"the burst has {len(burst)} samples and the rest {len(rest)} without missing ones; a spectrum needs 32; "
            "choose a longer burst or rest window."
        )
    frequency, of_burst = power_density(burst, trials.rate_hz, window_s=window / trials.rate_hz)
    _, of_rest = power_density(rest, trials.rate_hz, window_s=window / trials.rate_hz)
    return Spectra(frequency, of_burst, of_rest)


def envelope_step(processing: Processing, rate_hz: float, *, reach_s: float = 0.06) -> tuple[FloatArray, FloatArray]:
    """What the envelope makes of a rectified signal that steps from 0 to 1 at time 0: times in s, and values.

    Shows how far the envelope smears an onset, and to which side: zero-phase filters rise before the step.
    """
    reach, room = to_sample(reach_s, rate_hz), to_sample(1.0, rate_hz)
    step = np.zeros(2 * room)
    step[room:] = 1.0
    if processing.envelope == "rms":
        out = envelopes.rms_envelope(step, rate_hz, window_s=processing.envelope_window_s)
    else:
        out = envelopes.low_pass_envelope(
            step,
            rate_hz,
            corner_hz=processing.envelope_hz,
            order=processing.envelope_order,
            direction=processing.direction,
        )
    return np.arange(-reach, reach + 1) / rate_hz, out[room - reach : room + reach + 1]


def rest_z(trials: Sequence[Trials]) -> FloatArray:
    """Rest of each trial against all trials of a person's session, (trials, channels), part after part: robust z of the
    log of its RMS.

    0.6745 (x - median) / MAD of log RMS (Iglewicz and Hoaglin 1993, from memory); NaN where a rest has missing samples
    or the trials do not differ.
    """
    level = np.concatenate([glance(part).rest for part in trials])
    level[~np.isfinite(level)] = np.nan
    out = np.full(level.shape, np.nan)
    for channel, x in enumerate(level.T):
        known = x[np.isfinite(x)]
        if len(known) >= FEWEST_TYPICAL and (mad := np.median(np.abs(known - np.median(known)))) > 0:
            out[:, channel] = 0.6745 * (x - np.median(known)) / mad
    return out


def listening(
    trials: Trials, row: int, channel: str, *, start_s: float, stop_s: float, full: float
) -> tuple[FloatArray, float]:
    """The band-passed stretch as sound: samples at 8 kHz or the recording's rate if higher, and that rate in Hz.

    Its level is fixed by ``full``, the channel's :func:`full_scale`, and peaks are held below a quarter of the loudest
    possible, so that no artefact is loud. Missing samples are silence.
    """
    place = trials.labels.index(channel)
    x = np.nan_to_num(_stretch(trials, trials.data[row, place].astype(np.float64), start_s, stop_s, whole=False))
    x = x / full * LOUDEST / 2
    if trials.rate_hz < AUDIBLE_HZ:
        rate = round(trials.rate_hz)
        shared = gcd(AUDIBLE_HZ, rate)
        x = dsp.resample_poly(x, AUDIBLE_HZ // shared, rate // shared) if len(x) else x
        return LOUDEST * np.tanh(x / LOUDEST), float(AUDIBLE_HZ)
    return LOUDEST * np.tanh(x / LOUDEST), trials.rate_hz


_Look = tuple[str, str, BoolArray | None, int]


class Fitness:
    """Which channels of trials can be judged at all: not those that hold codes for missing samples (``Trials.codes``),
    and the others by :func:`emgreview.signal.unfit.unfit` of the whole trial, and of what lies from the cue on,
    unfiltered and in the band; and which of their samples are clipped. A trial is read and looked at once as long as
    its trials live, whoever asks first; of its channels all, or those ``channels`` alone."""

    _known: ClassVar[WeakKeyDictionary[Trials, dict[tuple[int, str], _Look]]] = WeakKeyDictionary()

    def __init__(self, channels: Collection[str] | None = None) -> None:
        self._channels = channels
        self._found: dict[tuple[Trials, int], dict[str, _Look]] = {}

    def readable(self, trials: Trials, row: int) -> bool:
        """Whether the trial can (still) be read: where not, nothing is known of its channels."""
        return self._look(trials, row) is not None

    def kind(self, trials: Trials, row: int, channel: str) -> str:
        """In a word or two, the same for all trials that are alike in it, why nobody can judge this channel in this
        trial; "" where it can be judged, or cannot be read."""
        found = self._look(trials, row)
        return "" if found is None else found[channel][0]

    def words(self, trials: Trials, row: int, channel: str) -> str:
        """Why nobody can judge this channel in this trial, "" where it can be judged."""
        found = self._look(trials, row)
        return "its recording can no longer be read, so it was not looked at" if found is None else found[channel][1]

    def clipped(self, trials: Trials, row: int, channel: str, first: int, stop: int) -> float:
        """Share of the samples from ``first`` to ``stop`` (excluded) of the trial that lie at a rail
        (:func:`emgreview.signal.clip.at_rail`); NaN where there are none, or they cannot be read."""
        found = self._look(trials, row)
        if found is None or not max(0, first) < min(stop, len(trials.time_s)):
            return math.nan
        at = found[channel][2]
        return 0.0 if at is None else float(at[max(0, first) : stop].mean())

    def still(self, trials: Trials, row: int, channel: str) -> int:
        """Samples of the longest stretch of the trial in which the channel stands still, as where packets were lost
        (:func:`emgreview.signal.still.longest_still`); 0 without, and where it cannot be read."""
        found = self._look(trials, row)
        return 0 if found is None else found[channel][3]

    def _look(self, trials: Trials, row: int) -> dict[str, _Look] | None:
        found = self._found.get((trials, row))
        if found is None:
            known = self._known.setdefault(trials, {})
            labels = [one for one in trials.labels if self._channels is None or one in self._channels]
            new = [label for label in labels if (row, label) not in known]
            try:
                raw = unfiltered(trials, row, new) if new else ()
            except (EmgreviewError, OSError):  # asked again next time: the file may be back
                return None
            for label, x in zip(new, raw, strict=True):
                known[row, label] = _looked_at(trials, row, label, x)
            found = self._found[trials, row] = {label: known[row, label] for label in labels}
        return found


def _looked_at(trials: Trials, row: int, label: str, x: FloatArray) -> _Look:
    """Why a channel of a trial, as recorded, cannot be judged, in a word and a sentence; where it is clipped; and for
    how many samples it stands still."""
    rest = slice(*(max(0, trials.before + to_sample(s, trials.rate_hz)) for s in trials.processing.rest_s))
    codes = trials.codes.get((row, label), ())
    coded = np.isin(x, codes)
    at, banded = at_rail(np.where(coded, np.nan, x)), trials.data[row, trials.labels.index(label)]
    kind, words = unfit(x, banded, trials.rate_hz, unit=trials.unit, rest=rest)
    after = slice(min(max(trials.before, 0), len(x) - 1), None)  # where responses are looked for
    if not kind:
        kind, words = unfit(x[after], banded[after], trials.rate_hz, unit=trials.unit)
        words += " from the cue on" * bool(kind)
    if codes and (kind != "flat" or are_usual(codes)):  # one value that stands still may look like a code
        kind = CODES
        where = f"in {coded.mean():.1%} of its samples" if coded.any() else "so near that the filter feels it"
        words = f"it holds {code_words(codes, trials.recording.channel(label).unit_label)}, no voltage, {where}"
    still = 0 if kind else longest_still(np.where(coded, np.nan, x), trials.rate_hz)
    return kind, words, at if at.any() else None, still


def unfiltered(trials: Trials, row: int, labels: Sequence[str]) -> FloatArray:
    """Channels of a trial as recorded, (channels, samples); NaN beyond the recording. Raises what reading raises."""
    n, recording = len(trials.time_s), trials.recording
    first = trials.cues[row].sample - trials.before
    start, stop = min(max(first, 0), recording.n_samples), min(max(first + n, 0), recording.n_samples)
    out = np.full((len(labels), n), np.nan)
    out[:, start - first : stop - first] = recording.values(start, stop, labels)
    return out


def _stretch(trials: Trials, x: FloatArray, start_s: float, stop_s: float, *, whole: bool = True) -> FloatArray:
    """Samples from one time to another, from the cue; without missing ones if ``whole``."""
    start = max(0, trials.before + to_sample(start_s, trials.rate_hz))
    stop = min(x.shape[-1], trials.before + to_sample(stop_s, trials.rate_hz))
    part = x[start : max(start, stop)]
    return part[np.isfinite(part)] if whole else part
