"""Is this channel fit for use: dead, in a wrong unit, missing, clipped or stuck samples, hum, drift, heart beats.

One call looks at one unfiltered channel, given as one stretch (samples,) or several of equal length (stretches,
samples), in any unit; missing samples are NaN. It measures; :mod:`~emgreview.signal.findings` says in words what a
person should look at, with the limits and their sources. It decides nothing. Codes for missing samples are taken out
before anything else is measured, so that one fault is not told as another.

    Quality, check_channel                  everything at once
    band_levels                             RMS of the quietest and of the loudest parts, within 20 to 450 Hz
    step_size                               least significant bit of the converter, estimated
    clipped_share, flat_share               samples at the rails; samples that do not change
    spectrum_of                             power density of all that is long enough
    strongest_mains                         frequency, share and prominence of the mains

Over 400 lines with what its public names say of themselves.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.errors import SignalError
from emgreview.model import VOLTS
from emgreview.showing import Sheet, Shown, number, percent
from emgreview.signal.baseline import LOW_HZ, band_blocks, baseline_of
from emgreview.signal.filters import checked_samples, finite_runs
from emgreview.signal.findings import LIMITS, Finding, of_measures
from emgreview.signal.heart import LEAST_RATE_HZ, LEAST_REST_S, Heart, find_heart, heart_peak, is_long_enough
from emgreview.signal.plausible import asked_of
from emgreview.signal.spectrum import (
    MAINS_SHORTEST_S,
    band_power,
    demand_mains,
    mains_density,
    mains_within,
    power_density,
)
from emgreview.signal.stuck import as_sampled, find_codes, find_repeats, held_times, piles_up

FloatArray = NDArray[np.floating]

QUIETEST_PART, LOUDEST_PART = 0.05, 0.99
"""Quantiles of the RMS over blocks of 0.1 s that stand for rest and for the loudest parts."""

BRIDGED_S = 0.02
"""Codes and repeated samples up to this length are bridged by a straight line for spectra and filters."""

FLAT_S = 0.005
RAIL_STEPS = 32
"""Signals that span fewer steps than this reach their extremes all the time: no rail is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Quality(Shown):
    """What was measured on one channel; :func:`emgreview.check` returns one for each.

    Amplitudes are in ``unit``, shares from 0 to 1, and NaN is what could not be measured.

    Attributes
    ----------
    label : str
        Label of the channel.
    seconds : float
        How much was looked at.
    offset : float
        The median.
    rms : float
        About the mean.
    missing_share, clipped_share, flat_share : float
        Shares of the samples that are missing, clipped, and in flat stretches.
    step : float
        The estimated least significant bit.
    mains_hz, mains_share, mains_db : float
        The mains frequency found strongest (or told), its share of the power, and its dB
        over the frequencies beside it.
    low_share : float
        Share of the power below 20 Hz.
    heart_peak : float
        Repetition of the envelope after 0.5 to 1.2 s.
    rest_rms, loud_rms : float
        RMS over 0.1 s within 20 to 450 Hz, of the quietest twentieth and the loudest
        hundredth.
    code_share : float
        Share of the samples that stand for something else than a voltage.
    code_values : tuple of float
        Which values these are.
    repeated_share : float
        Share in suspicious stretches of identical samples.
    held_every : int
        Above 1 where every value is repeated so many times.
    heart_z, heart_alike, heart_per_min : float
        Those of :class:`emgreview.signal.heart.Heart`.
    found : tuple of Finding
        The findings as values; empty where nothing stands out.
    findings : tuple of str
        Their sentences for people.
    looked : str
        What was looked at.
    not_looked : tuple of str
        What could not be looked for, and why.
    unit : str
        Unit of the amplitudes.
    heart_s : tuple of float
        Where heart beats were found, their times in the recording, as far as it was looked at.
    baseline_rms, baseline_s : float
        RMS of the quiet parts from 20 to 450 Hz, and their length together in seconds.
    baseline_hz, baseline_cv : float
        Their statistical bandwidth B, and the coefficient of variation 1 / sqrt(4 B T) of
        that RMS, a share.
    questions : tuple of Finding
        What seems odd about the file, and only a person can answer; nothing is corrected.
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
    rest_rms: float
    loud_rms: float
    code_share: float
    code_values: tuple[float, ...]
    repeated_share: float
    held_every: int
    heart_z: float
    heart_alike: float
    heart_per_min: float
    found: tuple[Finding, ...]
    findings: tuple[str, ...]
    looked: str
    not_looked: tuple[str, ...]
    unit: str
    heart_s: tuple[float, ...] = ()
    baseline_rms: float = math.nan
    baseline_s: float = 0.0
    baseline_hz: float = math.nan
    baseline_cv: float = math.nan
    questions: tuple[Finding, ...] = ()

    def _parts(self) -> Iterator[Sheet | str]:
        yield Sheet("", COLUMNS, [cells(self)])
        yield from self.findings or ("Nothing stands out.",)
        yield from (one.words for one in self.questions)
        yield f"Looked at: {self.looked}."
        yield from (f"Not looked for: {why}." for why in self.not_looked)


COLUMNS = ("channel", "rest (RMS)", "loudest (RMS)", "mains (%)", "below 20 Hz (%)", "missing (%)", "stands out")
"""Of the table that is shown; levels are RMS over 0.1 s from 20 to 450 Hz."""


def cells(one: Quality) -> tuple[str, ...]:
    """A channel as a row of that table."""
    levels = (f"{number(level)} {one.unit}".replace("n/a " + one.unit, "n/a") for level in (one.rest_rms, one.loud_rms))
    shares = (percent(share) for share in (one.mains_share, one.low_share, one.missing_share))
    return (one.label, *levels, *shares, ", ".join(dict.fromkeys(item.code for item in one.found)) or "nothing")


def check_channel(
    x: ArrayLike,
    rate_hz: float,
    *,
    label: str = "",
    unit_label: str = "µV",
    mains_hz: float | None = None,
    looked: str = "",
    starts_s: Sequence[float] = (),
) -> Quality:
    """Measure one channel: (samples,) or (stretches, samples), unfiltered. The mains at 50 and 60 Hz, and where told.

    Spectral measures need 2 s without missing samples; they are NaN without. Where ``unit_label`` is no unit of voltage
    no level is judged. ``starts_s`` is when each stretch begins, for the times of heart beats. SignalError where there
    is no sample axis; RateError where the sampling rate is no number above 0.
    """
    stretches = np.atleast_2d(checked_samples(x))
    if stretches.ndim != 2 or stretches.size == 0:
        raise SignalError(
            f"the samples of channel {label!r} came with shape {np.shape(x)}; allowed: (samples,) or "
            "(stretches, samples), not empty; give one channel at a time."
        )
    rate_hz = checks.rate(rate_hz)
    n_present = int(np.count_nonzero(~np.isnan(stretches)))
    codes = find_codes(stretches, step=_step(stretches))
    kept = np.where(codes.at, np.nan, stretches)
    step = _step(kept)
    repeats = find_repeats(kept, rate_hz, step=step)
    values = kept[~np.isnan(kept)]
    times = max((held_times(row, step=step) for row in kept if not np.isnan(row).all()), default=1)
    taken = as_sampled(values, times)
    raw_runs = [row[start:stop] for row in kept for start, stop in finite_runs(row)]
    places = _bridged(stretches, codes.at, repeats.at, rate_hz)
    runs = [run for _, run in places]
    f, p = spectrum_of(runs, rate_hz)
    low = _low_share(f, p, rate_hz)
    (frequency, share, prominence), other, part = _mains(runs, rate_hz, mains_hz, low)
    blocks = band_blocks(runs, rate_hz)
    rest, loud = _levels(blocks)
    baseline = baseline_of(blocks, rate_hz)
    heart = find_heart(runs, rate_hz)
    nothing = values.size == 0
    measured: dict[str, Any] = {
        "seconds": stretches.size / rate_hz,
        "offset": math.nan if nothing else float(np.median(values)),
        "rms": math.nan if nothing else float(np.std(values)) if np.ptp(values) else 0.0,
        "missing_share": 1 - n_present / stretches.size,
        "clipped_share": clipped_share(taken, step=step),
        "flat_share": flat_share(raw_runs, rate_hz, step=step),
        "step": step,
        "mains_hz": frequency,
        "mains_share": share,
        "mains_db": prominence,
        "low_share": low,
        "heart_peak": heart_peak(runs, rate_hz),
        "rest_rms": rest,
        "loud_rms": loud,
        "code_share": float(codes.at.sum() / n_present) if n_present else 0.0,
        "code_values": codes.values,
        "repeated_share": repeats.share,
        "held_every": repeats.every,
        "heart_z": heart.z,
        "heart_alike": heart.alike,
        "heart_per_min": heart.per_min,
        "heart_s": _beats(heart, places, starts_s, rate_hz) if heart.stands_out else (),
        "baseline_rms": baseline.rms,
        "baseline_s": baseline.seconds,
        "baseline_hz": baseline.bandwidth_hz,
        "baseline_cv": baseline.cv,
    }
    unit_uv = VOLTS.get(unit_label)
    more = {
        "rate_hz": rate_hz,
        "clipped": not nothing and values.size > 2 and np.ptp(values) > 0 and _clipped(taken, step),
        "mains_part": part,
        "other_mains": other,
        "mains_steady": {hz: _steady(runs, rate_hz, hz) for hz in (frequency, other[0]) if not math.isnan(hz)},
        "repeated_longest": repeats.longest,
        "repeated_count": repeats.count,
        "repeated_limit": repeats.shortest,
        "heart": heart,
        "runs_longest_s": max((len(run) for run in runs), default=0) / rate_hz,
    }
    found = tuple(of_measures(label, measured | more, unit_label, unit_uv))
    questions = asked_of(label, values, f, p, rate_hz, baseline.rms, step, unit_label)
    return Quality(
        label=label,
        **measured,
        found=found,
        findings=tuple(item.words for item in found),
        looked=looked or f"{stretches.size / rate_hz:.4g} s",
        not_looked=tuple(_not_looked(measured, unit_label, unit_uv, rate_hz, heart.rest_s)),
        unit=unit_label,
        questions=tuple(questions),
    )


def _beats(
    heart: Heart, places: list[tuple[tuple[int, int], FloatArray]], starts_s: Sequence[float], rate_hz: float
) -> tuple[float, ...]:
    """Seconds of the beats in the recording. ``heart`` counts the stretches that were long enough for it."""
    used = [where for where, run in places if is_long_enough(run, rate_hz)]
    return tuple(starts_s[used[k][0]] + used[k][1] / rate_hz + at for k, at in heart.at) if starts_s else ()


def _step(stretches: FloatArray) -> float:
    return step_size(stretches[~np.isnan(stretches)])


def _clipped(values: FloatArray, step: float) -> bool:
    coarse = not math.isnan(step) and np.ptp(values) < RAIL_STEPS * step
    return not coarse and piles_up(values, step=step)


def _bridged(
    stretches: FloatArray, codes: NDArray[np.bool_], repeated: NDArray[np.bool_], rate_hz: float
) -> list[tuple[tuple[int, int], FloatArray]]:
    """Runs without missing samples, each with its stretch and first sample there: short codes bridged by a straight
    line, longer ones and repeats left out."""
    longest = max(1, round(BRIDGED_S * rate_hz))
    out = []
    for place, (x, code, same) in enumerate(zip(stretches, codes, repeated, strict=True)):
        row = np.where(code, np.nan, x)
        for start, stop in np.flatnonzero(np.diff(same, prepend=False, append=False)).reshape(-1, 2):
            if stop - start > longest and not same.mean() > 0.5:
                row[start:stop] = np.nan
        for start, stop in np.flatnonzero(np.diff(code, prepend=False, append=False)).reshape(-1, 2):
            if stop - start <= longest and start > 0 and stop < row.size:
                row[start:stop] = np.linspace(row[start - 1], row[stop], stop - start + 2)[1:-1]
        out += [((place, start), row[start:stop]) for start, stop in finite_runs(row)]
    return out


def _not_looked(m: dict[str, Any], unit_label: str, unit_uv: float | None, rate_hz: float, rest_s: float) -> list[str]:
    out = []
    if unit_uv is None:
        out.append(f"dead channel or wrong unit: in {unit_label} no level is impossible")
    elif math.isnan(m["rest_rms"]):
        out.append("dead channel or wrong unit: no stretch of 0.1 s within 20 to 450 Hz")
    if math.isnan(m["mains_share"]):
        out.append("mains, drift: no stretch of 2 s without missing samples, or too low a sampling rate")
    if math.isnan(m["heart_z"]):
        why = (
            f"sampling rate below {LEAST_RATE_HZ:g} Hz"
            if rate_hz < LEAST_RATE_HZ
            else f"{rest_s:.2g} s at rest or between bursts, {LEAST_REST_S:g} s and 4 beats needed"
        )
        out.append(f"heart beats: {why}")
    return out


def band_levels(runs: list[FloatArray], rate_hz: float) -> tuple[float, float]:
    """RMS over 0.1 s within 20 to 450 Hz (or 0.45 of the sampling rate), in the unit of ``runs`` (samples,), none
    missing: of the quietest twentieth, and of the loudest hundredth. NaN where nothing is long enough."""
    return _levels(band_blocks(runs, rate_hz))


def _levels(blocks: FloatArray) -> tuple[float, float]:
    if not len(blocks):
        return math.nan, math.nan
    levels = np.sqrt(np.mean(blocks**2, axis=1))
    return float(np.quantile(levels, QUIETEST_PART)), float(np.quantile(levels, LOUDEST_PART))


def _mains(
    runs: list[FloatArray], rate_hz: float, stated_hz: float | None, low: float
) -> tuple[tuple[float, float, float], tuple[float, float, float], float]:
    """Frequency, share and prominence at the frequency stated (or the stronger of 50 and 60 Hz), the same at the other
    where one is stated, and the stronger share of the power above 20 Hz where it stands out."""
    usual = (50.0, 60.0)
    long = _Long.of(runs, rate_hz)
    own = long.strongest(usual if stated_hz is None else (stated_hz,))
    others = () if stated_hz is None else tuple(hz for hz in usual if abs(hz - stated_hz) > 2)
    other = long.strongest(others)
    part = max((share for _, share, db in (own, other) if db > LIMITS["mains prominence"].value), default=0.0)
    return own, other, min(1.0, part / (1 - low)) if low < 1 else 0.0


def _steady(runs: list[FloatArray], rate_hz: float, hz: float) -> bool:
    """Is the power within ±1 Hz of ``hz`` there most of the time, as hum is, and not in bursts alone: over seconds its
    60th percentile at least a fifth of its mean, its lower quartile a twentieth."""
    n = round(rate_hz)
    seconds = [run[at : at + n] for run in runs for at in range(0, len(run) - n + 1, n)]
    if not seconds:
        return False
    t = np.arange(n) / rate_hz
    waves = np.exp(-2j * np.pi * (hz + np.array([-1.0, 0.0, 1.0]))[:, None] * t) * np.hanning(n)
    x = np.stack(seconds)
    power = (np.abs((x - x.mean(axis=1, keepdims=True)) @ waves.T) ** 2).sum(axis=1)
    quarter, most = np.quantile(power, [0.25, 0.6]) / max(float(power.mean()), 1e-300)
    return bool(most > 0.2 and quarter > 0.05)


def step_size(values: ArrayLike) -> float:
    """The step between neighbouring levels that a converter (or rounding) left in ``values`` (samples,), in their unit.

    NaN where there is none: the values are continuous, or all equal.
    """
    levels = np.unique(checked_samples(values))
    gaps = np.diff(levels[~np.isnan(levels)])
    gaps = gaps[gaps > 1e-9 * np.abs(levels).max(initial=0.0)]
    if gaps.size == 0:
        return math.nan
    steps = gaps / gaps.min()
    whole = np.round(steps)
    # A file's decimals blur the steps a little, and single values may lie off the grid.
    return float(np.median(gaps / whole)) if np.mean(np.abs(steps - whole) < 0.05) > 0.9 else math.nan


def clipped_share(values: ArrayLike, *, step: float, rails: tuple[float, float] | None = None) -> float:
    """Share of the present ``values`` (samples,) within one ``step`` of a rail, if they stay there for 2 samples once.

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
    rails_hit = (samples <= low + reach, samples >= high - reach)
    return float(sum(hit.mean() for hit in rails_hit if (hit[1:] & hit[:-1]).any()))


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


def strongest_mains(
    runs: list[FloatArray], rate_hz: float, candidates: tuple[float, ...]
) -> tuple[float, float, float]:
    """Frequency in Hz, share of the power and prominence in dB of the strongest of some mains frequencies.

    ``runs`` are stretches without missing samples, weighted by their length; those below 2 s do not count. NaN where
    none is left, or no candidate lies 11 Hz or more below half the sampling rate.
    """
    return _Long.of(runs, rate_hz).strongest(candidates)


@dataclass(frozen=True, slots=True, eq=False)
class _Long:
    """Of the stretches that are long enough to look for mains in: ``lengths``, and ``densities``, made once for all
    frequencies."""

    lengths: list[int]
    densities: list[tuple[FloatArray, FloatArray]]
    rate_hz: float

    @classmethod
    def of(cls, runs: list[FloatArray], rate_hz: float) -> "_Long":
        long = [run for run in runs if len(run) >= MAINS_SHORTEST_S * rate_hz and np.ptp(run) > 0]
        return cls([len(run) for run in long], [mains_density(run, rate_hz) for run in long], rate_hz)

    def strongest(self, candidates: tuple[float, ...]) -> tuple[float, float, float]:
        best = (math.nan, math.nan, math.nan)
        for hz in candidates:
            if self.lengths and hz <= self.rate_hz / 2 - 11:
                hz = demand_mains(hz, self.rate_hz)
                each = [mains_within(f, p, hz) for f, p in self.densities]
                share = float(np.average([found.share for found in each], weights=self.lengths))
                prominence = float(np.average([found.prominence_db for found in each], weights=self.lengths))
                if not prominence <= best[2]:
                    best = (hz, share, prominence)
        return best


def _repeats(run: FloatArray) -> NDArray[np.integer]:
    """Lengths of the stretches of identical neighbours in a run (samples,)."""
    edges = np.flatnonzero(np.diff(run) != 0) + 1
    return np.diff(np.concatenate(([0], edges, [run.size])))


def spectrum_of(runs: list[FloatArray], rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Frequencies, and the power density of runs of 2 s or more, weighted by their length; both empty without any."""
    long = [run for run in runs if len(run) >= MAINS_SHORTEST_S * rate_hz and np.ptp(run) > 0]
    if not long:
        return np.empty(0), np.empty(0)
    each = [power_density(run, rate_hz, window_s=MAINS_SHORTEST_S) for run in long]
    return each[0][0], np.average([p for _, p in each], axis=0, weights=[len(run) for run in long])


def _low_share(f: FloatArray, p: FloatArray, rate_hz: float) -> float:
    if not len(f) or rate_hz <= 2 * LOW_HZ:
        return math.nan
    total = float(band_power(f, p))
    return float(band_power(f, p, 0.0, LOW_HZ)) / total if total > 0 else math.nan
