"""Heart beats in a channel, looked for at rest and between bursts, because bursts hide them.

A beat's main wave lasts some 20 to 40 ms, most of its power lies below 40 Hz, it looks alike every time, and it comes
at an interval that changes little from one beat to the next. Muscle is random in shape and strong above 60 Hz. So: look
between 8 and 35 Hz, leave out stretches that are strong above 60 Hz for longer than a beat, find the row of moments
0.4 to 1.5 s apart that stands out most (dynamic programming over rows whose interval stays within 20 %), and ask how
far its moments stand above the rest, and whether they look alike. Our own choice; numbers chosen on simulated channels.

    Heart, find_heart       the row of beats that stands out most, and how far
    heart_peak              does the envelope repeat once a heart beat
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from emgreview.signal.envelope import low_pass_envelope
from emgreview.signal.filters import bandpass

FloatArray = NDArray[np.floating]

BAND_HZ = (8.0, 35.0)
SHAPE_HZ = 200.0
MUSCLE_HZ = 60.0
BURST = 4.0
"""Power above 60 Hz, over that at rest, from which a stretch is a burst."""

BIN_S = 0.02
INTERVAL_S = (0.4, 1.5)
WANDER = 0.2
LEAST_RATE_HZ = 190.0
FEWEST_BEATS = 4
LEAST_REST_S = 2.0
CAP = 8.0
PERIOD_STEP = 0.14
"""Of the logarithm: neighbouring periods share most of their intervals."""

NEARLY = 0.85
UNSEEN = 1.5
"""What a moment inside a burst counts for: less than a beat at rest, more than noise where a beat should be."""

LONGEST_BEAT_S = 0.12
LEAST_Z, LEAST_ALIKE = (3.0, 7.0), (0.57, 0.5)
"""Limits for many beats, and what is added for few: divided by their number."""


LOWER_Z, MUCH_ALIKE, MANY_BEATS = 0.9, 0.1, 10

HEART_PEAK = 0.25
HEART_S = (0.5, 1.2)
HEART_SHORTEST_S = 10.0
LOW_HZ = 20.0


@dataclass(frozen=True, slots=True)
class Heart:
    """``z`` is how far the beats' lower quartile stands above the rest between 8 and 35 Hz, in its SD (an upper bound,
    without beats, where no row could stand out); ``alike`` the median correlation of a beat with the others' mean;
    ``beats`` their number in the ``rest_s`` seconds looked at, ``per_min`` their rate, ``at`` their times: which
    stretch, and seconds in it. NaN where it could not be looked for."""

    z: float
    alike: float
    beats: int
    per_min: float
    rest_s: float
    at: tuple[tuple[int, float], ...] = ()

    @property
    def least_z(self) -> float:
        """Above which ``z`` stands out: the higher, the fewer beats."""
        return LEAST_Z[0] + LEAST_Z[1] / max(1, self.beats)

    @property
    def stands_out(self) -> bool:
        """High and alike; a little lower where they are much alike."""
        least_alike = LEAST_ALIKE[0] + LEAST_ALIKE[1] / max(1, self.beats)
        lower = LOWER_Z if self.beats >= MANY_BEATS and self.alike > least_alike + MUCH_ALIKE else 0.0
        return self.z > self.least_z - lower and self.alike > least_alike


NOTHING = Heart(math.nan, math.nan, 0, math.nan, 0.0)


def is_long_enough(run: FloatArray, rate_hz: float) -> bool:
    """Whether a stretch (samples,) is among those that heart beats are looked for in."""
    return len(run) >= 2.5 * rate_hz and bool(np.ptp(run) > 0)


def find_heart(runs: list[FloatArray], rate_hz: float) -> Heart:
    """The row of beats that stands out most in ``runs``, stretches (samples,) without missing samples.

    Needs a sampling rate of 190 Hz, and 2 s at rest or between bursts.
    """
    if rate_hz < LEAST_RATE_HZ:
        return NOTHING
    runs = [run for run in runs if is_long_enough(run, rate_hz)]
    if not runs:
        return NOTHING
    keep = max(1, round(rate_hz / 400.0))
    fs = rate_hz / keep
    waves, shapes = [], []
    masks: list[list[NDArray[np.bool_]]] = [[], []]
    strength = [_muscle(run, rate_hz)[::keep] for run in runs]
    threshold = BURST * _at_rest(np.concatenate(strength))
    for run, power in zip(runs, strength, strict=True):
        wave, shape = (
            bandpass(run, rate_hz, low_hz=BAND_HZ[0], high_hz=high, order=3, direction="zero-phase")[::keep]
            for high in (BAND_HZ[1], min(SHAPE_HZ, 0.45 * rate_hz))
        )
        waves.append(wave)
        shapes.append(shape)
        for mask, shortest_s in zip(masks, (_smooth_s(rate_hz) + LONGEST_BEAT_S, 0.0), strict=True):
            mask.append(~_bursts(power > threshold, fs, shortest_s))
    tries = [
        one
        for quiet in masks[: 1 + _differ(masks)]
        for sign in (1.0, -1.0)
        if (one := _try(waves, quiet, sign, fs)) is not None
    ]
    if not tries:
        return NOTHING
    hopeful = [one for one in tries if one.could_stand_out]
    if not hopeful:
        highest = max(tries, key=lambda one: one.at_most)
        return Heart(highest.at_most, math.nan, 0, math.nan, highest.rest_s)
    tries = hopeful
    per_bin = max(1, round(BIN_S * fs))
    periods = np.exp(np.arange(math.log(INTERVAL_S[0] / 0.95), math.log(INTERVAL_S[1]), PERIOD_STEP)) * fs / per_bin
    paths = _best_paths(np.concatenate([one.capped for one in tries]), periods)
    n = len(waves)
    found = [_judged(one, paths[k * n : (k + 1) * n], periods, shapes, fs) for k, one in enumerate(tries)]
    return max(found, key=lambda one: (one.stands_out, -1.0 if math.isnan(one.z) else one.z))


def _differ(masks: list[list[NDArray[np.bool_]]]) -> bool:
    """Whether leaving out short bursts too makes a difference of a hundredth."""
    lost = sum(int(np.count_nonzero(one & ~other)) for one, other in zip(*masks, strict=True))
    return lost > 0.01 * sum(one.size for one in masks[0])


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """One polarity, and one way to leave out bursts: (stretches, bins), in SD of the rest; the sample of the highest
    value in each bin."""

    score: FloatArray
    capped: FloatArray
    where: NDArray[np.intp]
    rest_s: float

    @property
    def fewest(self) -> int:
        """Beats that a row through this much rest has at least."""
        return max(FEWEST_BEATS, math.floor(self.rest_s / (1.6 * INTERVAL_S[1])))

    @property
    def at_most(self) -> float:
        """No row's lower quartile can stand higher: that many bins of a row would have to."""
        needed = min(self.score.size, max(1, math.floor(0.75 * self.fewest)))
        return float(np.partition(self.score.ravel(), -needed)[-needed])

    @property
    def could_stand_out(self) -> bool:
        return self.at_most > LEAST_Z[0] - LOWER_Z


def _try(waves: list[FloatArray], quiet: list[NDArray[np.bool_]], sign: float, fs: float) -> _Try | None:
    rest = np.concatenate([np.abs(wave[still]) for wave, still in zip(waves, quiet, strict=True)])
    sd = 1.4826 * float(np.median(rest)) if rest.size else 0.0
    if rest.size / fs < LEAST_REST_S or not sd > 0:
        return None
    per_bin = max(1, round(BIN_S * fs))
    lengths = [len(wave) // per_bin for wave in waves]
    shape = (len(waves), max(lengths))
    score, where, hidden = np.zeros(shape), np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=bool)
    for k, (wave, still, m) in enumerate(zip(waves, quiet, lengths, strict=True)):
        cut = np.where(still, sign * wave / sd, 0.0)[: m * per_bin].reshape(m, per_bin)
        score[k, :m] = cut.max(axis=1)
        where[k, :m] = cut.argmax(axis=1) + per_bin * np.arange(m)
        hidden[k, :m] = ~still[: m * per_bin].reshape(m, per_bin).any(axis=1)
    return _Try(score, np.where(hidden, UNSEEN, np.clip(score, 0.0, CAP)), where, rest.size / fs)


def _judged(
    one: _Try, paths: list[list[NDArray[np.intp]]], periods: FloatArray, shapes: list[FloatArray], fs: float
) -> Heart:
    """The shortest period whose beats stand nearly as high as those of the best: not every second beat."""
    rows: list[tuple[float, list[NDArray[np.intp]]]] = []
    for p in range(len(periods)):
        seen = [path[p][one.score[k, path[p]] > 0] for k, path in enumerate(paths)]
        tops = np.concatenate([one.score[k, at] for k, at in enumerate(seen)])
        if tops.size >= FEWEST_BEATS:
            rows.append((float(np.quantile(tops, 0.25)), seen))
    if not rows:
        return Heart(math.nan, math.nan, 0, math.nan, one.rest_s)
    best = max(z for z, _ in rows)
    z, seen = next(row for row in rows if row[0] >= NEARLY * best)
    beats = [(k, int(one.where[k, b])) for k, at in enumerate(seen) for b in at]
    apart = np.concatenate([np.diff([at for k, at in beats if k == row]) for row in range(len(paths))]) / fs
    apart = apart[apart <= INTERVAL_S[1] * (1 + WANDER)]
    per_min = 60.0 / float(np.median(apart)) if apart.size else math.nan
    places = tuple((k, at / fs) for k, at in beats)
    return Heart(z, _alike(shapes, beats, fs), len(beats), per_min, one.rest_s, places)


def _muscle(run: FloatArray, rate_hz: float) -> FloatArray:
    """Power above 60 Hz, smoothed over so long that it is steady at rest."""
    high = None if rate_hz < 1000 else 450.0
    x = bandpass(run, rate_hz, low_hz=MUSCLE_HZ, high_hz=high, order=3, direction="zero-phase")
    return ndimage.uniform_filter1d(x**2, max(1, round(_smooth_s(rate_hz) * rate_hz)), mode="nearest")


def _smooth_s(rate_hz: float) -> float:
    return min(0.2, max(0.05, 10.0 / (min(450.0, rate_hz / 2) - MUSCLE_HZ)))


def _at_rest(power: FloatArray) -> float:
    level = float(np.quantile(power, 0.2))
    for _ in range(5):
        level = float(np.mean(power[power <= BURST * level])) if level > 0 else level
    return level


def _bursts(strong: NDArray[np.bool_], fs: float, shortest_s: float) -> NDArray[np.bool_]:
    """Strong for at least so long, with a margin on either side."""
    shortest = max(1, round(shortest_s * fs))
    out = np.zeros(strong.size, dtype=bool)
    margin = round(0.06 * fs)
    for start, stop in np.flatnonzero(np.diff(strong, prepend=False, append=False)).reshape(-1, 2):
        if stop - start >= shortest:
            out[max(0, start - margin) : stop + margin] = True
    return out


def _best_paths(score: FloatArray, periods: FloatArray) -> list[list[NDArray[np.intp]]]:
    """For every stretch and period the bins of the row with the largest sum, intervals within WANDER of the period."""
    n, longest = score.shape
    lows = np.maximum(1, np.round(periods * (1 - WANDER)).astype(int))
    highs = np.round(periods * (1 + WANDER)).astype(int)
    width = int((highs - lows).max()) + 1
    lags = lows[:, None] + np.arange(width)
    barred = lags > highs[:, None]
    pad = int(highs.max()) + 1
    total = np.zeros((n, len(periods), longest + pad))
    came = np.zeros((n, len(periods), longest), dtype=np.int32)
    flat = total.reshape(n, -1)
    first = np.arange(len(periods))[:, None] * (longest + pad) + pad - lags
    for t in range(longest):
        behind = np.take(flat, first + t, axis=1)
        behind[:, barred] = -1.0
        came[:, :, t] = lows + behind.argmax(axis=2)
        total[:, :, pad + t] = score[:, t, None] + behind.max(axis=2)
    out = []
    for k in range(n):
        rows = []
        for p in range(len(periods)):
            end = longest - int(highs[p])
            t = max(0, end) + int(total[k, p, pad + max(0, end) :].argmax())
            path = []
            while t >= 0:
                path.append(t)
                t -= int(came[k, p, t])
            rows.append(np.array(path[::-1], dtype=int))
        out.append(rows)
    return out


def _alike(shapes: list[FloatArray], beats: list[tuple[int, int]], fs: float) -> float:
    half = round(0.06 * fs)
    cut = [shapes[k][at - half : at + half + 1] for k, at in beats if half <= at < len(shapes[k]) - half]
    if len(cut) < 3:
        return math.nan
    waves = np.stack(cut)
    waves = waves - waves.mean(axis=1, keepdims=True)
    norm = np.linalg.norm(waves, axis=1, keepdims=True)
    waves = waves / np.where(norm > 0, norm, 1.0)
    others = waves.sum(axis=0) - waves
    others /= np.maximum(np.linalg.norm(others, axis=1, keepdims=True), 1e-12)
    return float(np.median(np.sum(waves * others, axis=1)))


def heart_peak(runs: list[FloatArray], rate_hz: float) -> float:
    """Does the envelope repeat after 0.5 to 1.2 s: 0 not at all, about 1 exactly.

    The highest local maximum of its autocorrelation at those lags, over the lowest value at shorter ones (from 0.1 s),
    so that long contractions, which fall off slowly, do not count. The mean over all runs of 10 s or more; NaN where
    there are none or the sampling rate is too low. Rhythmic movement at that pace looks the same.
    """
    long = [run for run in runs if len(run) >= HEART_SHORTEST_S * rate_hz and np.ptp(run) > 0]
    if not long or rate_hz <= 4 * LOW_HZ:
        return math.nan
    shortest, first, last = (math.ceil(s * rate_hz) for s in (0.1, *HEART_S))
    each = [_autocorrelation(run, rate_hz, last + 2) for run in long]
    repeat = np.average(each, axis=0, weights=[len(run) for run in long])
    trough = np.minimum.accumulate(repeat[shortest : last + 1])[first - shortest :]
    inner = repeat[first : last + 1]
    peaks = (inner > repeat[first - 1 : last]) & (inner >= repeat[first + 1 :])
    return float((inner - np.maximum(trough, 0))[peaks].max(initial=0.0))


def _autocorrelation(run: FloatArray, rate_hz: float, lags: int) -> FloatArray:
    """Of the envelope of what lies above 20 Hz, at lags of 0, 1 … samples; 1 at lag 0."""
    banded = bandpass(run, rate_hz, low_hz=LOW_HZ, high_hz=None, order=2, direction="zero-phase")
    outline = low_pass_envelope(banded, rate_hz, corner_hz=LOW_HZ, order=2, direction="zero-phase")
    outline -= outline.mean()
    n = len(outline)
    product = signal.correlate(outline, outline, method="fft")[n - 1 : n - 1 + lags]
    return product / product[0] * (n / (n - np.arange(lags)))
