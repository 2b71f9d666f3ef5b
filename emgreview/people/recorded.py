"""What one recording says of its person: every trial and channel measured once, small enough to keep of hundreds.

Arrays are (channels, trials) or as stated, times in seconds from the cue, amplitudes in the unit of the channels; NaN
is what could not be measured. Onsets are those of the method; what a reviewer made of them is put over them later
(``reviewed.py``). Conditions are neither read nor kept: people are looked at blind to them.

    Recorded        what is kept
    RecordedJob     the work on one recording, for a runner
    GRID_HZ         frequencies of the spectra
    BINS            pieces of time in an envelope
"""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.checking import check
from emgreview.contractions import selectivity
from emgreview.detecting import METHOD, onsets_of
from emgreview.errors import EmgreviewError, SignalWarning
from emgreview.measuring.answers import responses
from emgreview.measuring.floor import detection_floor
from emgreview.measuring.taking_part import involvement
from emgreview.model import FloatArray, Onsets, Processing, Recording, Trials, to_sample
from emgreview.rhythm import hole_note
from emgreview.signal import measures
from emgreview.signal.findings import Finding
from emgreview.signal.onset import list_bursts
from emgreview.signal.quality import Quality, step_size
from emgreview.signal.spectrum import power_density
from emgreview.signal.stuck import piles_up
from emgreview.trials import cut_trials

BINS = 96
GRID_HZ = 10.0 * 2.0 ** (np.arange(43) / 6.0)
"""Sixths of an octave from 10 Hz; those above half the sampling rate stay NaN."""

SECOND = "likelihood-ratio"
"""The method that onsets are held against: of another kind, and quick."""

RESPONSE = "response"

TAKES_PART_S = (0.1, 0.5)
"""Where activity is held against the person's own rest range, in seconds from the cue."""

ARRAYS = (
    *("onset_s", "low_s", "high_s", "offset_s", "level_db", "second_s", "size", "slope", "rest", "railed", "bursts"),
)
"""Fields of (channels, trials)."""


@dataclass(frozen=True)
class Contracted:
    """What test contractions say of a channel: a finding's code and words, and how many times as loud as in its own
    contraction the channel is in the one that is loudest there."""

    channel: str
    code: str
    words: str
    times: float


@dataclass(frozen=True, eq=False)
class Recorded:
    """What one recording says of its person.

    ``spectra`` (2, channels, frequencies) are power densities in unit²/Hz before and after the cue, of the unfiltered
    signal; ``alike`` (channels, channels) correlations of the filtered one after it; ``envelope`` (channels, trials,
    BINS) from ``span_s[0]`` to ``span_s[1]``; ``railed`` shares of samples at a rail; ``beats`` whether a heart beat
    was seen in the search, as far as it was looked for; ``bursts`` how many begin after the cue; ``above`` (channels,
    2) how many trials exceed the person's own rest range, and of how many.
    """

    name: str
    entities: Mapping[str, str]
    digest: str
    rate_hz: float
    unit: str
    labels: tuple[str, ...]
    ids: tuple[str, ...]
    cue_sample: NDArray[np.integer]
    response_s: FloatArray
    span_s: tuple[float, float]
    onset_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    offset_s: FloatArray
    level_db: FloatArray
    second_s: FloatArray
    size: FloatArray
    slope: FloatArray
    rest: FloatArray
    railed: FloatArray
    bursts: FloatArray
    beats: NDArray[np.bool_]
    skew: FloatArray
    alike: FloatArray
    spectra: FloatArray
    envelope: FloatArray
    above: FloatArray
    floor_db: FloatArray
    quality: tuple[Quality, ...]
    contracted: tuple[Contracted, ...]
    hole: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class RecordedJob:
    """The work on one recording: of one without the cue, its test contractions alone."""

    cue: str
    before_s: float
    after_s: float
    processing: Processing = field(default_factory=Processing)
    method: str = METHOD
    parameters: Mapping[str, Any] = field(default_factory=dict)
    response: str = RESPONSE
    floor: bool = False
    classes: ClassVar[tuple[type, ...]] = (Recorded, Contracted, Quality, Finding)

    def __call__(self, rec: Recording) -> Recorded:
        if not any(marker.label == self.cue for marker in rec.markers):
            return _without_trials(rec)
        trials = cut_trials(rec, cue=self.cue, before_s=self.before_s, after_s=self.after_s, processing=self.processing)
        return self.of_trials(trials, tuple(check(rec)))

    def of_trials(self, trials: Trials, quality: tuple[Quality, ...]) -> Recorded:
        """The same of trials that are cut already; without ``quality`` no heart beat is known."""
        rec = trials.recording
        cue_s = trials.before / trials.rate_hz
        labels = trials.labels
        found = [onsets_of(trials, label, method=self.method, parameters=self.parameters) for label in labels]
        second = [onsets_of(trials, label, method=self._second) for label in labels]
        times = {
            name: np.stack([getattr(one, name) - cue_s for one in found]) if found else _none(trials)
            for name in ("onset_s", "low_s", "high_s", "offset_s")
        }
        rest, size, slope = _sizes(trials, found)
        spectra, railed = _unfiltered(rec, trials)
        return Recorded(
            name=rec.name,
            entities=dict(rec.entities),
            digest=rec.digest,
            rate_hz=trials.rate_hz,
            unit=trials.unit,
            labels=labels,
            ids=trials.ids,
            cue_sample=np.array([cue.sample for cue in trials.cues]),
            response_s=self._responses(trials),
            span_s=(float(trials.time_s[0]), float(trials.time_s[-1])),
            **times,
            level_db=np.stack([one.level_db for one in found]),
            second_s=np.stack([one.onset_s - cue_s for one in second]),
            size=size,
            slope=slope,
            rest=rest,
            railed=railed,
            bursts=_bursts(trials),
            beats=_beats(trials, quality),
            skew=_skew(trials),
            alike=_alike(trials),
            spectra=spectra,
            envelope=_envelope(trials),
            above=_above(trials),
            floor_db=self._floors(trials),
            quality=quality,
            contracted=_contracted(rec),
            hole=hole_note(rec, self.cue, trials.cues),
            notes=(*rec.notes, *(str(note) for note in trials.notes)),
        )

    @property
    def _second(self) -> str:
        return SECOND if self.method != SECOND else METHOD

    def _floors(self, trials: Trials) -> FloatArray:
        if not self.floor:
            return np.full(len(trials.labels), np.nan)
        found = [detection_floor(trials, label, method=self.method, **self.parameters) for label in trials.labels]
        return np.array([one.level_db for one in found])

    def _responses(self, trials: Trials) -> FloatArray:
        """Response after each cue, in seconds from it, as measures take it."""
        cues = np.array([cue.sample for cue in trials.cues], dtype=np.float64)
        nothing = pd.DataFrame({name: [] for name in ("recording", "trial", "cue_sample")})
        found = responses(trials, np.arange(len(cues)), cues, self.response, 0.0, decisions=nothing)
        return (found.sample - cues) / trials.rate_hz


def _without_trials(rec: Recording) -> Recorded:
    """A recording without the cue: its name, and what its test contractions say."""
    labels = tuple(rec.emg_labels)
    c, table = len(labels), np.zeros((len(labels), 0))
    return Recorded(
        name=rec.name,
        entities=dict(rec.entities),
        digest=rec.digest,
        rate_hz=rec.rate_hz,
        unit="uV",
        labels=labels,
        ids=(),
        cue_sample=np.zeros(0, dtype=int),
        response_s=np.zeros(0),
        span_s=(0.0, 0.0),
        **dict.fromkeys(ARRAYS, table),
        beats=np.zeros((c, 0), dtype=bool),
        skew=np.full(c, np.nan),
        alike=np.full((c, c), np.nan),
        spectra=np.full((2, c, len(GRID_HZ)), np.nan),
        envelope=np.zeros((c, 0, BINS)),
        above=np.full((c, 2), np.nan),
        floor_db=np.full(c, np.nan),
        quality=(),
        contracted=_contracted(rec),
        hole="",
        notes=rec.notes,
    )


def _contracted(rec: Recording) -> tuple[Contracted, ...]:
    """Findings of the test contractions that the markers name; () where they name none."""
    try:
        with warnings.catch_warnings(action="ignore", category=SignalWarning):  # the command contractions tells them
            found = selectivity(rec, shared=False)
    except EmgreviewError:
        return ()
    out = []
    for one in found.findings:
        column, row = found.channels.index(one.channel), one.other in found.contractions
        own = one.channel in found.contractions
        times = np.nan
        if row and own:
            loud, quiet = (found.rms[found.contractions.index(name), column] for name in (one.other, one.channel))
            times = float(loud / quiet) if quiet > 0 else np.nan
        out.append(Contracted(one.channel, one.code, str(one), times))
    return tuple(out)


def _above(trials: Trials) -> FloatArray:
    """How many trials exceed the person's own rest range, and of how many, (channels, 2)."""
    out = np.full((len(trials.labels), 2), np.nan)
    try:
        with warnings.catch_warnings(action="ignore", category=SignalWarning):  # a number without its sentence
            table = involvement(trials, window_s=TAKES_PART_S, condition="", posture="").table
    except EmgreviewError:
        return out
    for row in table.to_dict("records"):
        if not np.isnan(row["share"]):
            out[trials.labels.index(row["channel"])] = row["above"], row["trials"]
    return out


def _none(trials: Trials) -> FloatArray:
    return np.full((len(trials.labels), len(trials)), np.nan)


def _rests(trials: Trials) -> tuple[int, int]:
    start, stop = (trials.before + to_sample(edge, trials.rate_hz) for edge in trials.processing.rest_s)
    return start, stop


def _sizes(trials: Trials, found: list[Onsets]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """RMS of rest, RMS and slope of bursts, (channels, trials) each."""
    return measured(trials, np.stack([one.onset_s for one in found]), np.stack([one.offset_s for one in found]))


def measured(trials: Trials, onset_s: FloatArray, offset_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """RMS of rest, RMS and slope of bursts, (channels, trials) each; onsets in seconds from a trial's first sample."""
    start, stop = _rests(trials)
    rest, size, slope = _none(trials), _none(trials), _none(trials)
    for place in range(len(trials.labels)):
        x = np.asarray(trials.data[:, place], dtype=np.float64)
        outline = np.asarray(trials.envelope[:, place], dtype=np.float64)
        rest[place] = measures.baseline(x, start, stop).sd
        ends = onset_s[place] * trials.rate_hz, offset_s[place] * trials.rate_hz
        got = measures.measure(x, outline, trials.rate_hz, *(np.round(end) for end in ends))
        size[place], slope[place] = got.rms, got.rise_per_s
    return rest, size, slope


def _unfiltered(rec: Recording, trials: Trials) -> tuple[FloatArray, FloatArray]:
    """Spectra before and after the cue, and shares of samples at a rail, of the unfiltered recording."""
    n = len(trials.time_s)
    spectra = np.full((2, len(trials.labels), len(GRID_HZ)), np.nan)
    railed = _none(trials)
    starts = [cue.sample - trials.before for cue in trials.cues]
    for place, label in enumerate(trials.labels):
        x = np.stack([_padded(rec, at, n, label) for at in starts])
        railed[place] = _railed(x)
        for half, part in enumerate((x[:, : trials.before], x[:, trials.before :])):
            whole = part[np.isfinite(part).all(axis=1)]
            if len(whole) and whole.shape[1] >= to_sample(0.1, trials.rate_hz):
                hz, density = power_density(whole - whole.mean(axis=1, keepdims=True), trials.rate_hz)
                spectra[half, place] = _on_grid(hz, np.median(np.atleast_2d(density), axis=0))
    return spectra, railed


def _padded(rec: Recording, at: int, n: int, label: str) -> FloatArray:
    out = np.full(n, np.nan)
    start, stop = max(0, at), min(at + n, rec.n_samples)
    if stop > start:
        out[start - at : stop - at] = rec.values(start, stop, [label])[0]
    return out


def _on_grid(hz: FloatArray, density: FloatArray) -> FloatArray:
    """Mean density within each sixth of an octave, read between its frequencies where it holds none."""
    edges = GRID_HZ[0] * 2.0 ** ((np.arange(len(GRID_HZ) + 1) - 0.5) / 6.0)
    out = np.interp(GRID_HZ, hz, density, left=np.nan, right=np.nan)
    places = np.digitize(hz, edges) - 1
    inside = (places >= 0) & (places < len(GRID_HZ))
    counts = np.bincount(places[inside], minlength=len(GRID_HZ))
    sums = np.bincount(places[inside], weights=density[inside], minlength=len(GRID_HZ))
    return np.where(counts > 0, sums / np.maximum(counts, 1), out)


def _railed(x: FloatArray) -> FloatArray:
    """Share of samples at the lowest or highest value of all, (trials,), where samples pile up there; else 0."""
    present = x[np.isfinite(x)]
    share = np.zeros(len(x))
    if not present.size or present.min() == present.max():
        return share
    step = step_size(present)
    if piles_up(present, step=step):
        tolerance = 0.0 if np.isnan(step) else step / 2
        at = (x >= present.max() - tolerance) | (x <= present.min() + tolerance)
        share = at.mean(axis=1)
    return share


def _bursts(trials: Trials) -> FloatArray:
    """How many bursts begin after the cue, (channels, trials)."""
    out = _none(trials)
    cue_s = trials.before / trials.rate_hz
    start_s, stop_s = trials.processing.rest_s
    for place in range(len(trials.labels)):
        try:
            lists = list_bursts(trials.data[:, place], trials.rate_hz, rest_s=(start_s + cue_s, stop_s + cue_s))
        except EmgreviewError:
            continue
        out[place] = [sum(burst.onset_s >= cue_s for burst in one) for one in lists if isinstance(one, list)]
    return out


def _beats(trials: Trials, quality: tuple[Quality, ...]) -> NDArray[np.bool_]:
    """Whether a heart beat was seen between the cue and the trial's end, (channels, trials)."""
    out = np.zeros((len(trials.labels), len(trials)), dtype=bool)
    cues_s = np.array([cue.sample for cue in trials.cues]) / trials.rate_hz
    by_label = {one.label: one for one in quality}
    for place, label in enumerate(trials.labels):
        beats_s = np.sort(np.asarray(by_label[label].heart_s if label in by_label else (), dtype=np.float64))
        if beats_s.size:
            first, last = (np.searchsorted(beats_s, cues_s + edge) for edge in (0.0, float(trials.time_s[-1])))
            out[place] = last > first
    return out


def _after(trials: Trials) -> FloatArray:
    """The filtered signals after the cue, (channels, samples of all trials), missing ones as 0."""
    x = np.asarray(trials.data[:, :, trials.before :], dtype=np.float64)
    return np.nan_to_num(x.swapaxes(0, 1).reshape(len(trials.labels), -1))


def _skew(trials: Trials) -> FloatArray:
    """Skewness of each channel after the cue: its sign turns with the leads."""
    x = _after(trials)
    x = x - x.mean(axis=1, keepdims=True)
    power = np.mean(x**2, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.mean(x**3, axis=1) / np.where(power > 0, power, np.nan) ** 1.5


def _alike(trials: Trials) -> FloatArray:
    """Correlation of each two channels after the cue, at the same moment."""
    x = _after(trials)
    x = x - x.mean(axis=1, keepdims=True)
    norm = np.sqrt(np.sum(x**2, axis=1))
    x = x / np.where(norm > 0, norm, np.nan)[:, None]
    return np.asarray(np.inner(x, x), dtype=np.float64)


def _envelope(trials: Trials) -> FloatArray:
    """Mean envelope in BINS pieces of time, (channels, trials, BINS)."""
    edges = np.linspace(0, len(trials.time_s), BINS + 1).round().astype(int)
    x = np.asarray(trials.envelope, dtype=np.float64).swapaxes(0, 1)
    return np.asarray(np.add.reduceat(x, edges[:-1], axis=-1) / np.diff(edges), dtype=np.float32)
