"""Potentials evoked by a stimulus: size, latency, silent period, and what the muscle did just before.

Peak-to-peak amplitude belongs here alone: for voluntary activity it is not recommended (McManus et al. 2021, J
Electromyogr Kinesiol). Arrays are (rows, samples), one stimulus a row, at sample ``at`` (rows,) or one for all. Blank
the artefact in the raw signal first, filter afterwards: a filter spreads it, and a line that ends on a decay that is
not over becomes a wave as large as the response.

    without_decay               the artefact's slow end taken off
    blank                       the artefact itself replaced by a straight line
    Evoked, measure_evoked      what is measured
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import ParameterError, SignalError
from emgreview.model import to_sample
from emgreview.signal.envelope import rms_envelope
from emgreview.signal.filters import checked_samples
from emgreview.signal.measures import arv, rms, stretches
from emgreview.signal.onset.common import run_start

FloatArray = NDArray[np.floating]

THRESHOLD_SD, RUN_S = 5.0, 0.001
SMOOTHED_S, QUIET_SHARE, QUIET_S = 0.01, 0.5, 0.025


def without_decay(
    x: ArrayLike, rate_hz: float, at: ArrayLike, *, from_s: float = 0.008, to_s: float = 0.012
) -> FloatArray:
    """x less an exponential decay towards the level before the stimulus, from ``from_s`` after it to the row's end.

    The decay is fitted between ``from_s`` and ``to_s``, where there must be artefact alone: with S1 and S2 the sums of
    the two halves of that stretch, each of h seconds, over the mean of the 20 ms before the stimulus, its time constant
    is h / ln(S1 / S2), exact for an exponential. A row whose halves do not fall towards that level, or do not stand out
    from the noise before by 5 standard errors, stays as it is. Our own rule, no paper.
    """
    samples, rate_hz = checked_samples(x).copy(), checks.rate(rate_hz)
    from_s, to_s = checks.span("from_s, to_s", (from_s, to_s))
    where = np.broadcast_to(np.asarray(at, dtype=np.intp), samples.shape[:1])
    first, half = to_sample(from_s, rate_hz), (to_sample(to_s, rate_hz) - to_sample(from_s, rate_hz)) // 2
    if half < 2:
        raise ParameterError(
            f"from_s came as {from_s!r} and to_s as {to_s!r}; allowed: 4 samples or more between them; correct them."
        )
    before = to_sample(0.001, rate_hz)
    quiet, known = stretches(samples, where - before - to_sample(0.02, rate_hz), where - before)
    early, whole = stretches(samples, where + first, where + first + half)
    late, there = stretches(samples, where + first + half, where + first + 2 * half)
    rows = np.flatnonzero(known & whole & there)
    level, noise = quiet[rows].mean(axis=1), quiet[rows].std(axis=1) / np.sqrt(half)
    s1, s2 = early[rows].mean(axis=1) - level, late[rows].mean(axis=1) - level
    falls = (s1 * s2 > 0) & (np.abs(s2) < np.abs(s1)) & (np.abs(s2) > 5 * noise)
    for row, a, b in zip(rows[falls], s1[falls], s2[falls], strict=True):
        share = (b / a) ** (1 / half)
        start = where[row] + first
        steps = np.arange(samples.shape[1] - start)
        samples[row, start:] -= a * half * (1 - share) / (1 - share**half) * share**steps
    return samples


def blank(
    x: ArrayLike, rate_hz: float, at: ArrayLike, *, before_s: float = 0.001, after_s: float = 0.008
) -> FloatArray:
    """x with the samples from ``before_s`` before ``at`` to ``after_s`` after it on a straight line between neighbours.

    Raises SignalError where there is no sample on either side.
    """
    samples, rate_hz = checked_samples(x).copy(), checks.rate(rate_hz)
    before_s, after_s = checks.number("before_s", before_s, least=0), checks.number("after_s", after_s, above=0)
    where = np.broadcast_to(np.asarray(at, dtype=np.intp), samples.shape[:1])
    left, right = where - to_sample(before_s, rate_hz) - 1, where + to_sample(after_s, rate_hz)
    if samples.ndim != 2 or (left < 0).any() or (right >= samples.shape[1]).any():
        raise SignalError(
            f"samples of shape {samples.shape} came with stimuli at samples {where.min()} to {where.max()}; each needs "
            "a sample before and one after its blanked stretch; give (rows, samples) that reach further."
        )
    for row, first, last in zip(samples, left, right, strict=True):
        row[first : last + 1] = np.linspace(row[first], row[last], last - first + 1)
    return samples


@dataclass(frozen=True, slots=True, eq=False)
class Evoked:
    """Every field (rows,), amplitudes in the unit of the signal, times in seconds from the stimulus.

    ``latency_s`` is NaN where no potential stands out; ``peak_to_peak`` is measured all the same, and then is that of
    the background. ``silent_period_s`` runs from the stimulus to the return of activity; NaN where activity does not
    pause, or does not return.
    """

    peak_to_peak: FloatArray
    latency_s: FloatArray
    silent_period_s: FloatArray
    background_rms: FloatArray


def measure_evoked(
    x: ArrayLike,
    rate_hz: float,
    at: ArrayLike,
    *,
    window_s: tuple[float, float] = (0.012, 0.06),
    background_s: tuple[float, float] = (-0.1, -0.005),
) -> Evoked:
    """The potential within ``window_s`` after each stimulus, and the muscle's activity within ``background_s``.

    Latency: first sample of the first run of 1 ms in which abs(x) exceeds the background's mean + 5 SD of abs(x).
    Silent period: the first 25 ms or more in which the RMS in 10 ms stays below half of the background's, sought from
    the latency on (without one, from the window's start); it ends where the RMS rises above that again. Both rules are
    common practice, no source; state them.
    Rows whose windows are not whole give NaN.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    window_s, background_s = checks.span("window_s", window_s), checks.span("background_s", background_s)
    where = np.broadcast_to(np.asarray(at, dtype=np.float64), samples.shape[:1])
    (first, last), (early, late) = ([to_sample(edge, rate_hz) for edge in pair] for pair in (window_s, background_s))
    response, whole = stretches(samples, where + first, where + last)
    background, known = stretches(samples, where + early, where + late)
    usable = whole & known
    if not usable.any():
        missing = np.full(len(samples), np.nan)
        return Evoked(missing, missing, missing, np.where(known, rms(background), np.nan))

    mean = arv(background)
    sd = np.sqrt(np.maximum(rms(background) ** 2 - mean**2, 0.0))
    stands_out = np.abs(response) > (mean + THRESHOLD_SD * sd)[:, np.newaxis]
    run = run_start(stands_out, max(1, to_sample(RUN_S, rate_hz)))
    found = usable & (run >= 0)
    latency_s = np.where(found, (first + run) / rate_hz, np.nan)
    size = np.full(len(samples), np.nan)
    size[usable] = np.ptp(response[usable], axis=1)

    quiet = rms_envelope(samples, rate_hz, window_s=SMOOTHED_S) < QUIET_SHARE * rms(background)[:, np.newaxis]
    after = np.arange(samples.shape[1]) >= (where + first + np.maximum(run, 0))[:, np.newaxis]
    pause = run_start(quiet & after & usable[:, np.newaxis], max(1, to_sample(QUIET_S, rate_hz)))
    returns = ~quiet & (np.arange(samples.shape[1]) >= pause[:, np.newaxis])
    ends = (pause >= 0) & returns.any(axis=1)
    silent_s = np.where(ends, (returns.argmax(axis=1) - where) / rate_hz, np.nan)
    return Evoked(size, latency_s, silent_s, np.where(known, rms(background), np.nan))
