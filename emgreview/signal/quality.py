"""Is this channel fit for use: missing, clipped or flat samples, hum, drift, heart beats, too coarse a converter.

One call looks at one unfiltered channel, given as one stretch (samples,) or several of equal length (stretches,
samples), in any unit; missing samples are NaN. It measures and says in words what a person should look at; it decides
nothing. The limits above which a finding is worded are common practice, no source.

    Quality, check_channel                  everything at once
    unfit_words                             can a stretch be judged at all, or is the channel dead
    band_level                              RMS in the band, whatever knocks on it
    step_size                               least significant bit of the converter, estimated
    clipped_share, flat_share               samples at the rails; samples that do not change
    strongest_mains                         frequency, share and prominence of the mains
    heart_peak                              do bursts repeat once a heart beat
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.signal.envelope import low_pass_envelope
from emgreview.signal.filters import bandpass, checked_samples, finite_runs
from emgreview.signal.spectrum import MAINS_SHORTEST_S, band_power, measure_mains, power_density

FloatArray = NDArray[np.floating]

MAINS_SHARE = 0.1
MAINS_DB = 10.0
CLIPPED_SHARE = 1e-4
FLAT_SHARE = 1e-3
LOW_SHARE = 0.5
LOW_HZ = 20.0
HEART_PEAK = 0.25
COARSE = 0.5
"""Steps larger than this share of the RMS above 20 Hz make a coarse signal."""

DEAD_UV = 0.4
"""A channel at or below this RMS in the band, in µV, is dead: two skin contacts of 10 kΩ make 0.38 µV between 20 and
450 Hz by their warmth alone (Johnson and Nyquist 1928: sqrt(4 k T R B), 20 kΩ at 306 K), before any amplifier and any
muscle. That a dead channel reads 0.15 to 0.3 µV: common practice, no source."""
HALF = 0.5
"""Share of a stretch from which on missing, flat or clipped samples are too many to judge it."""
LEVEL_PIECE_S, LEVEL_QUIETER = 0.05, 0.9
"""The level in the band is that of the quieter nine tenths of a stretch, in pieces of 50 ms: a knock on a dead channel
does not bring it to life. Common practice, no source."""

FLAT_S = 0.005
HEART_S = (0.5, 1.2)
HEART_SHORTEST_S = 10.0
RAIL_STEPS = 32
"""Signals that span fewer steps than this reach their extremes all the time: no rail is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What was measured on one channel; amplitudes in its own unit, shares 0 to 1, NaN where it could not be measured.

    ``offset`` is the median, ``rms`` about the mean, ``step`` the estimated least significant bit. ``mains_hz`` is the
    mains frequency found strongest (or told). ``low_share`` is the share of power below 20 Hz, ``heart_peak`` the
    repetition of the envelope after 0.5 to 1.2 s. ``findings`` are sentences for people; empty where nothing
    stands out.
    """

    label: str
    seconds: float
    offset: float
    rms: float
    missing_share: float
    clipped_share: float
    flat_share: float
    step: float
    mains_hz: float
    mains_share: float
    mains_db: float
    low_share: float
    heart_peak: float
    findings: tuple[str, ...]


def check_channel(
    x: ArrayLike, rate_hz: float, *, label: str = "", unit_label: str = "µV", mains_hz: float | None = None
) -> Quality:
    """Measure one channel: (samples,) or (stretches, samples), unfiltered. The mains at 50 and 60 Hz unless told.

    Spectral measures need 2 s without missing samples, and the heart's 10 s; they are NaN without. SignalError where
    there is no sample axis; RateError where the sampling rate is no number above 0.
    """
    stretches = np.atleast_2d(checked_samples(x))
    if stretches.ndim != 2 or stretches.size == 0:
        raise SignalError(
            f"the samples of channel {label!r} came with shape {np.shape(x)}; allowed: (samples,) or "
            "(stretches, samples), not empty; give one channel at a time."
        )
    rate_hz = checks.rate(rate_hz)
    runs = [row[start:stop] for row in stretches for start, stop in finite_runs(row)]
    values = np.concatenate(runs) if runs else np.empty(0)
    step = step_size(values)
    frequency, share, prominence = strongest_mains(runs, rate_hz, (50.0, 60.0) if mains_hz is None else (mains_hz,))
    nothing = values.size == 0
    measured = {
        "seconds": stretches.size / rate_hz,
        "offset": math.nan if nothing else float(np.median(values)),
        "rms": math.nan if nothing else float(np.std(values)),
        "missing_share": 1 - values.size / stretches.size,
        "clipped_share": clipped_share(values, step=step),
        "flat_share": flat_share(runs, rate_hz, step=step),
        "step": step,
        "mains_hz": frequency,
        "mains_share": share,
        "mains_db": prominence,
        "low_share": _low_share(runs, rate_hz),
        "heart_peak": heart_peak(runs, rate_hz),
    }
    return Quality(label=label, **measured, findings=tuple(_findings(measured, unit_label)))


def unfit_words(x: ArrayLike, banded: ArrayLike, rate_hz: float, *, unit: str = "uV") -> str:
    """Why nobody can judge activity on one stretch of one channel, in a few words; "" where it can be judged.

    ``x`` is the stretch unfiltered, ``banded`` the same in the band, (samples,) each, missing as NaN. In this order: at
    least half of the samples are missing, clipped (at the lowest or highest value, and staying there) or flat; it
    moves by less than one step of the converter; its level in the band (:func:`band_level`) is at most
    :data:`DEAD_UV`, which is the one definition of a dead channel. With a ``unit`` other than "uV" only a level of 0 is
    dead, since nothing is known of its size. Raises SignalError.
    """
    raw, band = checked_samples(x), checked_samples(banded)
    if raw.ndim != 1 or raw.shape != band.shape or raw.size == 0:
        raise SignalError(
            f"the stretch came with shapes {np.shape(x)} and {np.shape(banded)}; allowed: (samples,) for both, alike "
            "and not empty; give one channel of one trial at a time."
        )
    rate_hz = checks.rate(rate_hz)
    missing = float(max(np.isnan(raw).mean(), np.isnan(band).mean()))
    if missing >= HALF:
        return "no samples" if missing == 1 else f"{missing:.0%} of its samples are missing"
    values = raw[~np.isnan(raw)]
    low, high = float(values.min()), float(values.max())
    if low == high:
        return "flat: it never changes"
    step = step_size(values)
    near = step if high - low >= RAIL_STEPS * step else math.nan
    clipped = clipped_share(values, step=near, rails=(low, high))
    if clipped >= HALF:
        return f"clipped in {clipped:.0%} of its samples"
    flat = flat_share([raw[start:stop] for start, stop in finite_runs(raw)], rate_hz, step=step)
    if flat >= HALF:
        return f"flat in {flat:.0%} of its samples"
    if step > np.std(values):
        return "it moves by less than one step of the converter"
    level = band_level(band, rate_hz)
    if level == 0:
        return "dead: nothing in the band"
    if unit == "uV" and level <= DEAD_UV:
        return f"dead: {level:.2g} µV RMS in the band, less than skin and electrodes alone make ({DEAD_UV:g} µV)"
    return ""


def band_level(banded: ArrayLike, rate_hz: float) -> float:
    """RMS of the quieter nine tenths of a stretch (samples,), in its own unit, told apart in equal pieces of 50 ms or
    a little more. Missing samples do not count; NaN where all are missing.
    """
    x, rate_hz = checked_samples(banded), checks.rate(rate_hz)
    if x.size == 0:
        return math.nan
    n = max(1, int(x.size / max(1.0, LEVEL_PIECE_S * rate_hz)))
    present, starts = ~np.isnan(x), np.arange(n) * x.size // n
    counts = np.add.reduceat(present.astype(np.float64), starts)
    sums = np.add.reduceat(np.where(present, x, 0.0) ** 2, starts)
    power = np.sort(sums[counts > 0] / counts[counts > 0])
    if power.size == 0:
        return math.nan
    return math.sqrt(power[: max(1, math.ceil(LEVEL_QUIETER * power.size))].mean())


def step_size(values: ArrayLike) -> float:
    """The step between neighbouring levels that a converter (or rounding) left in ``values`` (samples,), in their unit.

    NaN where there is none: the values are continuous, or all equal.
    """
    levels = np.unique(checked_samples(values))
    gaps = np.diff(levels[~np.isnan(levels)])
    gaps = gaps[gaps > 1e-9 * np.abs(levels).max(initial=0.0)]
    if gaps.size == 0:
        return math.nan
    step = float(gaps.min())
    steps = gaps / step
    return step if np.mean(np.abs(steps - np.round(steps)) < 0.01) > 0.99 else math.nan


def clipped_share(values: ArrayLike, *, step: float, rails: tuple[float, float] | None = None) -> float:
    """Share of the present ``values`` (samples,) within one ``step`` of a rail, where they stay for 2 samples or more.

    Without ``rails`` the lowest and highest value stand for them, unless the signal spans fewer than 32 steps: then it
    reaches its extremes all the time, and the share is 0. A ``step`` of NaN counts exact repeats of the extremes.
    """
    samples = checked_samples(values)
    samples = samples[~np.isnan(samples)]
    if samples.size == 0:
        return math.nan
    low, high = (samples.min(), samples.max()) if rails is None else rails
    width = 0.0 if math.isnan(step) else step
    if rails is None and (high == low or high - low < RAIL_STEPS * width):
        return 0.0
    # Half a step less than one, so that rounding cannot count the second level from the rail.
    reach = width / 2 if rails is None else width
    stays = np.zeros(samples.size, dtype=bool)
    for at_rail in (samples <= low + reach, samples >= high - reach):
        pair = at_rail[1:] & at_rail[:-1]
        stays[1:] |= pair
        stays[:-1] |= pair
    return float(stays.mean())


def flat_share(runs: list[FloatArray], rate_hz: float, *, step: float) -> float:
    """Share of samples in stretches of identical values, of 5 ms or more and longer than the converter's step explains.

    How often a sample merely repeats the one before is learnt from the stretches, those of 5 ms counted as unfinished;
    a stretch is flat when next to none as long would come about by chance (1e-4 expected in the whole signal). NaN
    where a converter's ``step`` larger than the RMS makes any signal flat.
    """
    lengths = np.concatenate([_repeats(run) for run in runs]) if runs else np.empty(0)
    total = lengths.sum()
    if total == 0:
        return math.nan
    shortest = max(2, math.ceil(FLAT_S * rate_hz))
    repeated = float((np.minimum(lengths, shortest) - 1).sum())
    ended = np.count_nonzero(lengths < shortest)
    if ended == 0:
        return 1.0
    if step > np.std(np.concatenate(runs)):
        return math.nan
    if repeated > 0:
        chance = repeated / (repeated + ended)
        shortest = max(shortest, 1 + math.ceil(math.log(1e-4 / total) / math.log(chance)))
    return float(lengths[lengths >= shortest].sum() / total)


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


def strongest_mains(
    runs: list[FloatArray], rate_hz: float, candidates: tuple[float, ...]
) -> tuple[float, float, float]:
    """Frequency in Hz, share of the power and prominence in dB of the strongest of some mains frequencies.

    ``runs`` are stretches without missing samples, weighted by their length; those below 2 s do not count. NaN where
    none is left, or no candidate lies 11 Hz or more below half the sampling rate.
    """
    long = [run for run in runs if len(run) >= MAINS_SHORTEST_S * rate_hz and np.ptp(run) > 0]
    best = (math.nan, math.nan, math.nan)
    weights = [len(run) for run in long]
    for hz in candidates:
        if long and hz <= rate_hz / 2 - 11:
            each = [measure_mains(run, rate_hz, mains_hz=hz) for run in long]
            share = float(np.average([found.share for found in each], weights=weights))
            prominence = float(np.average([found.prominence_db for found in each], weights=weights))
            if not prominence <= best[2]:
                best = (hz, share, prominence)
    return best


def _autocorrelation(run: FloatArray, rate_hz: float, lags: int) -> FloatArray:
    """Of the envelope of what lies above 20 Hz, at lags of 0, 1 … samples; 1 at lag 0."""
    banded = bandpass(run, rate_hz, low_hz=LOW_HZ, high_hz=None, order=2, direction="zero-phase")
    outline = low_pass_envelope(banded, rate_hz, corner_hz=LOW_HZ, order=2, direction="zero-phase")
    outline -= outline.mean()
    n = len(outline)
    product = signal.correlate(outline, outline, method="fft")[n - 1 : n - 1 + lags]
    return product / product[0] * (n / (n - np.arange(lags)))


def _repeats(run: FloatArray) -> NDArray[np.integer]:
    """Lengths of the stretches of identical neighbours in a run (samples,)."""
    edges = np.flatnonzero(np.diff(run) != 0) + 1
    return np.diff(np.concatenate(([0], edges, [run.size])))


def _low_share(runs: list[FloatArray], rate_hz: float) -> float:
    long = [run for run in runs if len(run) >= MAINS_SHORTEST_S * rate_hz and np.ptp(run) > 0]
    if not long or rate_hz <= 2 * LOW_HZ:
        return math.nan
    low = total = 0.0
    for run in long:
        f, p = power_density(run, rate_hz, window_s=MAINS_SHORTEST_S)
        low += len(run) * float(band_power(f, p, 0.0, LOW_HZ))
        total += len(run) * float(band_power(f, p))
    return low / total


def _findings(measured: dict[str, float], unit_label: str) -> list[str]:
    m = measured
    if m["missing_share"] == 1:
        return [f"No samples in the {m['seconds']:.3g} s looked at."]
    if m["rms"] == 0:
        return [f"Constant at {m['offset']:.4g} {unit_label}: disconnected, or switched off."]
    above = m["rms"] * math.sqrt(1 - m["low_share"])
    candidates = [
        (m["missing_share"] > 0, f"{m['missing_share']:.2%} of samples are missing."),
        (m["clipped_share"] > CLIPPED_SHARE, f"{m['clipped_share']:.2%} of samples are clipped at the extremes."),
        (m["flat_share"] > FLAT_SHARE, f"{m['flat_share']:.2%} of samples lie in flat stretches of 5 ms or more."),
        (
            m["step"] > COARSE * above,
            f"The converter's step of {m['step']:.3g} {unit_label} is coarse for {above:.3g} {unit_label} RMS above "
            f"{LOW_HZ:g} Hz.",
        ),
        (
            m["mains_share"] > MAINS_SHARE and m["mains_db"] > MAINS_DB,
            f"Mains at {m['mains_hz']:g} Hz and its harmonics hold {m['mains_share']:.0%} of the power, "
            f"{m['mains_db']:.0f} dB above their neighbours.",
        ),
        (
            m["low_share"] > LOW_SHARE,
            f"{m['low_share']:.0%} of the power lies below {LOW_HZ:g} Hz: movement of leads, or drift.",
        ),
        (
            m["heart_peak"] > HEART_PEAK,
            f"The envelope repeats every {HEART_S[0]:g} to {HEART_S[1]:g} s (correlation {m['heart_peak']:.2f}): "
            "heart beats, or rhythmic movement.",
        ),
    ]
    return [sentence for found, sentence in candidates if found]
