"""Potentials evoked by a stimulus: size, latency, silent period, and what the muscle did just before.

Peak-to-peak amplitude belongs here alone: for voluntary activity it is not recommended (McManus et al. 2021, J
Electromyogr Kinesiol). Arrays are (rows, samples), one stimulus a row, at sample ``at`` (rows,) or one for all. Blank
the artefact in the raw signal first, filter afterwards: a filter spreads it, and a line that ends on a decay that is
not over becomes a wave as large as the response.

A zero-phase filter carries the potential to both sides: responses of 1 to 3 mV are then "found" up to 9 ms early, where
the search begins, and the activity before the stimulus grows with them. So times and background come from a signal that
no later sample has touched (:func:`forward`); only the size comes from the trials' own filter. And a causal filter
rings after the potential, into the pause: the pause is sought in a signal that forgets within 3 ms (:func:`forgetful`).

    without_decay               the artefact's slow end taken off
    blank                       the artefact itself replaced by a straight line
    forward                     a causal band-pass: no sample depends on a later one
    forgetful                   changes over 2 ms: no sample depends on what lies longer ago than 3 ms
    stands_before               does something stand out just before a window, a decay that is not over for instance
    hangs_on_before             would a latency be another one without what lies just before the window
    Evoked, measure_evoked      what is measured
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from emgreview import checks
from emgreview.errors import ParameterError, SignalError
from emgreview.model import to_sample
from emgreview.signal.envelope import rms_envelope
from emgreview.signal.filters import bandpass, checked_samples
from emgreview.signal.measures import arv, rms, stretches
from emgreview.signal.onset.common import run_start

FloatArray = NDArray[np.floating]

THRESHOLD_SD, RUN_S = 5.0, 0.001
FORWARD_ORDER = 2
SMOOTHED_S, QUIET_SHARE = 0.01, 0.5
PAUSES = ((QUIET_SHARE, 0.025), (0.3, 0.012))
"""A pause lasts so long below that share of the background: the deeper, the shorter."""

CHANGE_S, AVERAGED = 0.002, 0.443
"""Of the signal in which pauses are sought: its changes over so long; a mean over ``AVERAGED`` / f is -3 dB at f."""
BEFORE_S, LOUDER = 0.004, 2.5
"""So long before a window a decay is looked for, and so many times the RMS of the background it is suspected at."""
HANGS_S = 0.002
"""A latency that moves by more, once all that lies before the window is blanked, hangs on that."""
SHALLOW = 0.25
"""A pause in which the RMS stays above so much of that before may end early in the table: where its noise alone
reaches half of the level before. Of 6,482 simulated pauses found (returns at 60 to 300 ms, activity of 3 to 40 µV,
noise of 1, 2 and 4 µV, 1, 2 and 10 kHz) 30 % were so shallow, of which 28 % ended more than 10 ms early; of the deeper
ones 0.13 % did. Noise of a tenth of the activity or less: 2 % are called shallow at 60 ms, none from 80 ms on."""

LEFT_SHARE, LEFT_SD = 0.2, 3.0
"""A decay that leaves more than so much of the stretch it was fitted to, in shares of itself and in SD, is none."""
MOST_TIMES = 2.0
"""Nor is one that would have been so many times higher, before the samples it was fitted to, than the signal was."""


def without_decay(
    x: ArrayLike, rate_hz: float, at: ArrayLike, *, from_s: float = 0.008, to_s: float = 0.012
) -> FloatArray:
    """x less an exponential decay towards the level before the stimulus, from ``from_s`` after it to the row's end.

    The decay is fitted between ``from_s`` and ``to_s``, where there must be artefact alone: with S1 and S2 the sums of
    the two halves of that stretch, each of h seconds, over the mean of the 20 ms before the stimulus, its time constant
    is h / ln(S1 / S2), exact for an exponential. A row whose halves do not fall towards that level, or do not stand out
    from the noise before by 5 standard errors, stays as it is. Our own rule, no paper.

    A stretch longer than 4 ms may hold a potential too, an M wave for instance, whose halves fall like a decay's. So
    there what is left of the stretch must be below 0.2 times what is taken off it, or below 3 SD of the noise before
    (RMS); where it is not, or the halves do not fall, the last 4 ms alone are fitted, and again judged by what is left
    of them, and by whether the signal before was as high. Without that, of simulated M waves of 5 mV (begin 4 ms, last
    7 to 14 ms) without a decay, a third was taken off, as an exponential, between 8 and 20 ms, and 54 % of sizes were
    off by more than 20 % (21 % with nothing taken off). Raises SignalError, RateError, ParameterError.
    """
    samples, rate_hz = checked_samples(x).copy(), checks.rate(rate_hz)
    from_s, to_s = checks.span("from_s, to_s", (from_s, to_s))
    checks.likely_unit("from_s, to_s", (from_s, to_s), most_s=checks.LONGEST_TOLERANCE_S)
    where = np.broadcast_to(np.asarray(at, dtype=np.intp), samples.shape[:1])
    first, last = to_sample(from_s, rate_hz), to_sample(to_s, rate_hz)
    if last - first < 4:
        raise ParameterError(
            f"from_s came as {from_s!r} and to_s as {to_s!r}; allowed: 4 samples or more between them; correct them."
        )
    before = to_sample(0.001, rate_hz)
    quiet, known = stretches(samples, where - before - to_sample(0.02, rate_hz), where - before)
    _, whole = stretches(samples, where + first, where + last)
    near = max(to_sample(BEFORE_S, rate_hz), 4)
    for row in np.flatnonzero(known & whole):
        y, level, noise = samples[row, where[row] + first :], quiet[row].mean(), quiet[row].std()
        fit = _exponential(y, 0, last - first, level, noise)
        if last - first > near and (fit is None or _misfit(y[: last - first] - level, fit, noise)):
            start = last - first - near
            fit = _exponential(y, start, near, level, noise)
            if fit is not None and (
                _misfit(y[start : last - first] - level, fit[start:], noise)
                or np.abs(fit).max() > MOST_TIMES * np.abs(y[: last - first] - level).max()
            ):
                fit = None
        if fit is not None:
            y -= fit
    return samples


def _exponential(y: FloatArray, start: int, n: int, level: float, noise: float) -> FloatArray | None:
    """The exponential towards ``level`` through ``n`` samples of y (samples,) from ``start`` on, at all of y; None
    where these do not fall, or do not stand out."""
    half = n // 2
    a, b = y[start : start + half].mean() - level, y[start + half : start + 2 * half].mean() - level
    if not (a * b > 0 and abs(b) < abs(a) and abs(b) > 5 * noise / np.sqrt(half)):
        return None
    share = (b / a) ** (1 / half)
    out: FloatArray = a * half * (1 - share) / (1 - share**half) * share ** (np.arange(len(y)) - float(start))
    return out


def _misfit(y: FloatArray, fit: FloatArray, noise: float) -> bool:
    """Whether a fit, which may reach further than y, leaves more of y than noise, and than its own share."""
    left = float(rms(y - fit[: len(y)]))
    return left > max(LEFT_SD * noise, LEFT_SHARE * float(rms(fit[: len(y)])))


def blank(
    x: ArrayLike, rate_hz: float, at: ArrayLike, *, before_s: float = 0.001, after_s: float = 0.008
) -> FloatArray:
    """x with the samples from ``before_s`` before ``at`` to ``after_s`` after it on a straight line between neighbours.

    Raises SignalError where there is no sample on either side.
    """
    samples, rate_hz = checked_samples(x).copy(), checks.rate(rate_hz)
    before_s, after_s = checks.number("before_s", before_s, least=0), checks.number("after_s", after_s, above=0)
    checks.likely_unit("before_s, after_s", (before_s, after_s), most_s=checks.LONGEST_TOLERANCE_S)
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


def forward(x: ArrayLike, rate_hz: float, *, low_hz: float, high_hz: float | None) -> FloatArray:
    """x band-passed once, from first sample to last, by a Butterworth filter of order 2: for times and background.

    Give it the signal without artefact (:func:`without_decay`, :func:`blank`): started before the stimulus, it has
    settled by then, and rings after a blanked artefact by no more than the step that blanking leaves. Chosen among the
    raw signal without its offset, the same without a line, one pass of order 1, 2 and 4, and high-passes alone, on
    simulated potentials of 30 µV to 10 mV at 1 to 20 kHz: from 300 µV up order 2 is later than the raw signal by
    0.5 ms at most (450 Hz), and unlike it stands hum, drift, wide-band noise and a second, slower decay. Order 4 is
    later by another 0.5 ms. Below 100 µV, or above activity of 30 µV, the first phase can be missed: up to 4 ms late.
    """
    return bandpass(
        x, rate_hz, low_hz=low_hz, high_hz=high_hz, order=FORWARD_ORDER, direction="causal", remove_offset=False
    )


def forgetful(x: ArrayLike, rate_hz: float, *, high_hz: float | None) -> FloatArray:
    """x (rows, samples) averaged over the last 0.443 / ``high_hz`` s (-3 dB there; not where None), as its change over
    2 ms: for pauses. Same shape and unit; activity of 80 to 420 Hz comes out larger, slower one smaller.

    Give it the signal without artefact, as :func:`forward`. What lies longer ago than 2 ms and that average (1 ms at
    450 Hz) leaves nothing, while a 20 Hz band-pass rings for 0.1 s after a strong potential. Raises SignalError,
    RateError, ParameterError.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    change, length = max(1, to_sample(CHANGE_S, rate_hz)), 1
    if high_hz is not None:
        length = max(1, to_sample(AVERAGED / checks.number("high_hz", high_hz, above=0, unit="Hz"), rate_hz))
    taps = np.convolve(np.ones(length) / length, np.r_[1.0, np.zeros(change - 1), -1.0])
    padded = np.concatenate([np.repeat(samples[..., :1], len(taps) - 1, axis=-1), samples], axis=-1)
    return np.asarray(signal.oaconvolve(padded, taps[np.newaxis], mode="valid", axes=-1))


def stands_before(
    x: ArrayLike,
    rate_hz: float,
    at: ArrayLike,
    *,
    window_from_s: float,
    blanked_to_s: float,
    background_s: tuple[float, float] = (-0.1, -0.005),
    suspected: bool = False,
) -> NDArray[np.bool_]:
    """Whether x stands out in the last 4 ms before a window, but not before ``blanked_to_s``: (rows,).

    ``x`` (rows, samples) is what :func:`forward` makes of the blanked signal: with its decay on, this tells that there
    was one; without, that it could not be taken off. Standing out is the rule of the latency: a run of 1 ms in which
    abs(x) exceeds the background's mean + 5 SD of abs(x). With ``suspected`` an RMS above 2.5 times the background's is
    enough. False in rows that are not whole. Our own rule, no paper.

    What telling it is worth, on 12,288 simulated stimuli at 1, 3 and 10 kHz: decays of 0.1 to 20 mV and 1 to 15 ms, of
    one exponential, of two, with an undershoot, and ringing; responses of 50 µV to 5 mV over noise of 3 µV; bands from
    5, 10, 20 and 50 Hz on, to 200 or 450 Hz or open. 14.6 % of latencies were off by more than 2 ms because of the
    decay. Without those that a decay that could not be taken off makes missing 9.6 % are, and 0.8 % where nothing
    tells; of sizes off by more than 20 % (12.5 %) none. Of 2,880 stimuli without a decay 0.1 % are told. That is
    without ``suspected``. On a harder grid (3,456 stimuli, two thirds of them no single decay, at 1 and 4 kHz) 1.7 %
    are wrong and not told, 1.5 % with it. Of 12,276 moments of real activity of a forearm, without a stimulus, 0.9 %
    are told, 1.7 % with it. Nothing before the window shows whether a decay is one exponential: of the latencies that
    are told and given three in ten are wrong. Raises SignalError, RateError, ParameterError.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    window_from_s = checks.number("window_from_s", window_from_s, unit="s")
    blanked_to_s = checks.number("blanked_to_s", blanked_to_s, unit="s")
    early, late = (to_sample(edge, rate_hz) for edge in checks.span("background_s", background_s))
    where = np.broadcast_to(np.asarray(at, dtype=np.float64), samples.shape[:1])
    first = to_sample(max(blanked_to_s, window_from_s - BEFORE_S), rate_hz)
    looked, whole = stretches(samples, where + first, where + to_sample(window_from_s, rate_hz))
    background, known = stretches(samples, where + early, where + late)
    checks.truth("suspected", suspected)
    rows = np.flatnonzero(whole & known)
    out = np.zeros(len(samples), dtype=bool)
    if rows.size and looked.shape[1]:
        over = np.abs(looked[rows]) > _threshold(background[rows])[:, np.newaxis]
        out[rows] = run_start(over, min(max(1, to_sample(RUN_S, rate_hz)), looked.shape[1])) >= 0
        if suspected:
            out[rows] |= rms(looked[rows]) > LOUDER * rms(background[rows])
    return out


def hangs_on_before(
    x: ArrayLike,
    rate_hz: float,
    at: ArrayLike,
    latency_s: ArrayLike,
    *,
    before_s: float,
    low_hz: float,
    high_hz: float | None,
    window_s: tuple[float, float] = (0.012, 0.06),
    background_s: tuple[float, float] = (-0.1, -0.005),
) -> NDArray[np.bool_]:
    """Whether a latency (rows,) moves by more than 2 ms, or is lost, once x is blanked up to the window: (rows,).

    ``x`` (rows, samples) is the signal less its decay, not filtered; ``latency_s`` what :func:`measure_evoked` gave of
    it, NaN for rows that are not asked about (False). Nothing of a potential lies before the window, so its latency
    must stand without what does. A decay that is nearly over there, too small to be taken off or seen
    (:func:`stands_before`), does not stand out itself, but the wave that a band-pass makes of it can, 2 to 5 ms after
    the window begins, and was taken for the potential. Our own rule, no paper.

    What it is worth, on 23,520 simulated stimuli at 1, 2 and 5 kHz with single decays that end in the noise (0.04 to 20
    mV, 1 to 5 ms) and responses of 0.1 to 3 mV at 13 to 25 ms: 3.4 % of latencies were off by more than 2 ms because of
    the decay and told by nothing else (up to 12 % in a cell of time constant, size and rate), with this 0.14 % (up to
    0.9 %). Of 1,680 stimuli without a decay 0.6 % are told; over activity of 5 to 40 µV 1 to 4 %, and 9 % of potentials
    of 60 µV over 5 µV. A corner is worse: of 518 latencies after single decays of 75 to 150 µV and 2.5 to 3 ms, with
    potentials of 0.6 mV at 2 and 5 kHz, 14 (2.7 %) were 3 to 8 ms early and not told; of those told half were right.
    Raises SignalError, RateError, ParameterError.
    """
    known = np.asarray(latency_s, dtype=np.float64)
    cut = blank(x, rate_hz, at, before_s=before_s, after_s=window_s[0])
    timed = forward(cut, rate_hz, low_hz=low_hz, high_hz=high_hz)
    again = measure_evoked(timed, rate_hz, at, window_s=window_s, background_s=background_s).latency_s
    return np.isfinite(known) & ~(np.abs(again - known) <= HANGS_S)


def _threshold(background: FloatArray) -> FloatArray:
    """What stands out of backgrounds (rows, samples): mean + 5 SD of their absolute values, (rows,)."""
    mean = arv(background)
    out: FloatArray = mean + THRESHOLD_SD * np.sqrt(np.maximum(rms(background) ** 2 - mean**2, 0.0))
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Evoked:
    """Every field (rows,), amplitudes in the unit of the signal, times in seconds from the stimulus.

    ``latency_s`` is NaN where no potential stands out, and where the signal already does when the window begins (then
    ``begun`` is true); ``peak_to_peak`` is measured all the same, and then is that of the background.
    ``silent_period_s`` runs from the stimulus to the return of activity; ``pause_level`` is the RMS in the pause over
    that before the stimulus, both of the signal in which pauses are sought: above :data:`SHALLOW` the return may be
    noise, and the silent period cut short. Both are NaN where ``pause`` is not "found" but "none
    told" (activity does not pause, or for too short to tell it from chance), "no return" (not in this row), or ""
    (windows are not whole).
    """

    peak_to_peak: FloatArray
    latency_s: FloatArray
    silent_period_s: FloatArray
    background_rms: FloatArray
    begun: NDArray[np.bool_]
    pause: NDArray[np.str_]
    pause_level: FloatArray


def measure_evoked(
    x: ArrayLike,
    rate_hz: float,
    at: ArrayLike,
    *,
    timed: ArrayLike | None = None,
    paused: ArrayLike | None = None,
    until: ArrayLike = np.inf,
    window_s: tuple[float, float] = (0.012, 0.06),
    background_s: tuple[float, float] = (-0.1, -0.005),
) -> Evoked:
    """The potential within ``window_s`` after each stimulus, and the muscle's activity within ``background_s``.

    Size: peak to peak of ``x``. Latency and background come from ``timed``, the same rows as :func:`forward` makes
    them; without it from ``x``, which must then be causally filtered or raw: in zero-phase data latency and background
    are wrong. The silent period comes from ``paused``, as :func:`forgetful` makes it; without it from ``timed``, where
    the filter's ringing hides pauses that end within 0.12 s of the stimulus. Its end is sought before the sample
    ``until`` (rows,), where the next stimulus begins for instance.

    Latency: first sample of the first run of 1 ms in which abs(x) exceeds the background's mean + 5 SD of abs(x). A run
    that is under way when the window begins (it starts within 1 ms, and the 1 ms before stands out somewhere) is none:
    its start is not known, so there is no latency.
    Silent period: the first stretch of 25 ms or more in which the RMS in 10 ms stays below half of the background's,
    or of 12 ms below 0.3 of it, sought from the latency on (without one, from the window's start); it ends where the
    RMS rises above half again. That window is centred, so it can end 5 ms early where strong activity returns. The rule
    of the latency, and half for 25 ms, are common practice, no source; 0.3 for 12 ms is our own; state them. Rows whose
    windows are not whole give NaN.

    What the silent period is worth with ``paused``, without it in brackets: 6,336 simulated potentials of 12 ms that
    begin at 21 ms, of 0.1 to 5 mV, activity of 5 to 100 µV before, noise of 2 µV, rates of 1, 2 and 10 kHz. Where
    activity returned at 60 ms 9 % were missing (75 %): 38 % over 5 µV, none over more; at 70, 80, 90 and 100 ms 0.3 %
    (46, 35, 29 and 11 %); from 120 ms on none. Of those found 1.5 % were off by more than 10 ms, 4 % over 5 µV; the
    median ended 1 ms early. Where the noise is more than a quarter of the activity before, long pauses are cut short:
    of returns at 150 to 350 ms, 75 to 95 % ended more than 10 ms early over 5 µV in noise of 2 µV, or over 10 µV in
    noise of 4; ``pause_level`` tells these (:data:`SHALLOW`). Returns at 40 and 50 ms, 7 and 17 ms after its end,
    were missing in 99 and 86 %: a pause of less than some 25 ms is not told. Of Gaussian activity that went on 0.3 %
    were given one, of a pool of 60 simulated units 6 % (2 %), of 12 units, which pause by themselves, half.
    With hum of 20 µV and drift over activity of 30 µV, 100 % of returns at 80 ms were found (7 %).

    What is left of a decay can hide the pause: of 5,120 simulated silences of 60 to 170 ms (1 and 4 kHz, activity of 15
    and 60 µV, decays of 1 and 20 mV, 3 to 40 ms, three quarters of them no single exponential) 1.2 % were off by more
    than 10 ms and 15.6 % missing because of it, all but 0.1 % where :func:`stands_before` tells (without ``paused``).

    Raises SignalError, RateError, ParameterError.
    """
    samples, rate_hz = checked_samples(x), checks.rate(rate_hz)
    early_signal = samples if timed is None else checked_samples(timed)
    pauses = early_signal if paused is None else checked_samples(paused)
    for name, other in (("timed", early_signal), ("paused", pauses)):
        if other.shape != samples.shape:
            raise SignalError(
                f"x came with shape {samples.shape} and {name} with {other.shape}; they must be alike; give the same "
                "rows, filtered in two ways."
            )
    for name, pair in (("window_s", window_s), ("background_s", background_s)):
        checks.likely_unit(name, checks.span(name, pair), most_s=checks.LONGEST_STRETCH_S)
    window_s, background_s = checks.span("window_s", window_s), checks.span("background_s", background_s)
    where = np.broadcast_to(np.asarray(at, dtype=np.float64), samples.shape[:1])
    (first, last), (early, late) = ([to_sample(edge, rate_hz) for edge in pair] for pair in (window_s, background_s))
    sized, whole = stretches(samples, where + first, where + last)
    shortest = max(1, to_sample(RUN_S, rate_hz))
    response, there = stretches(early_signal, where + first - shortest, where + last)
    background, known = stretches(early_signal, where + early, where + late)
    size = np.full(len(samples), np.nan)
    usable = whole & there & known
    if usable.any():
        size[usable] = np.ptp(sized[usable][:, : last - first], axis=1)
    quiet_rms = np.where(known, rms(background), np.nan)
    if not usable.any():
        missing = np.full(len(samples), np.nan)
        nowhere = np.zeros(len(samples), dtype=bool)
        words = np.full(len(samples), "", dtype="U9")
        return Evoked(size, missing, missing.copy(), quiet_rms, nowhere, words, missing.copy())

    stands_out = np.abs(response) > _threshold(background)[:, np.newaxis]
    run = run_start(stands_out[:, shortest:], shortest)
    begun = usable & (run >= 0) & (run < shortest) & stands_out[:, :shortest].any(axis=1)
    found = usable & (run >= 0) & ~begun
    latency_s = np.where(found, (first + run) / rate_hz, np.nan)

    since = where + first + np.maximum(run, 0)
    last_at = np.broadcast_to(np.asarray(until, dtype=np.float64), where.shape) - to_sample(SMOOTHED_S / 2, rate_hz)
    silent_s, pause, level = _silent_period(pauses, rate_hz, where, since, last_at, (early, late), usable)
    return Evoked(size, latency_s, silent_s, quiet_rms, begun, pause, level)


def _silent_period(
    x: FloatArray,
    rate_hz: float,
    at: FloatArray,
    since: FloatArray,
    until: FloatArray,
    rest: tuple[int, int],
    usable: NDArray[np.bool_],
) -> tuple[FloatArray, NDArray[np.str_], FloatArray]:
    """Return of activity in seconds from ``at``, the word for it, and the RMS in the pause over that before; sought
    from the samples ``since`` to ``until``."""
    background = rms(stretches(x, at + rest[0], at + rest[1])[0])[:, np.newaxis]
    smooth = rms_envelope(x, rate_hz, window_s=SMOOTHED_S)
    places = np.arange(x.shape[1])
    after = (places >= since[:, np.newaxis]) & (places < until[:, np.newaxis]) & usable[:, np.newaxis]
    starts = [run_start((smooth < part * background) & after, max(1, to_sample(s, rate_hz))) for part, s in PAUSES]
    start = np.min([np.where(each < 0, x.shape[1], each) for each in starts], axis=0)
    back = (smooth >= QUIET_SHARE * background) & (places >= start[:, np.newaxis]) & after
    found = back.any(axis=1)
    word = np.where(found, "found", np.where(start < x.shape[1], "no return", "none told"))
    end = back.argmax(axis=1)
    inside, _ = stretches(x, np.where(found, start, -1.0), np.where(found, end, -1.0))
    level = rms(inside) / background[:, 0] if inside.shape[1] else np.full(len(x), np.nan)
    silent_s = np.where(found, (end - at) / rate_hz, np.nan)
    return silent_s, np.where(usable, word, ""), np.where(found, level, np.nan)
