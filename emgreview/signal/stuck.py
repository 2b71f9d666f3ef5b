"""Values that no voltage gave: codes for missing samples, and samples that only repeat the one before.

One channel as stretches (stretches, samples), any unit, NaN where missing. Nothing here knows what is usual for muscle:
a code is told by standing alone among its neighbours in time and recurring exactly, a repetition by being longer, or
more frequent, than the converter's step explains.

    Codes, find_codes           single values that stand for something else, -999 for instance
    are_usual                   whether some values are codes in common use
    Repeats, find_repeats       samples repeated for a moment, or throughout
    held_times, as_sampled      how often each value comes where a signal is held; the same without the repetition
    Constant, constant_stretches    where a signal of any length, read block by block, stays at one value, or is missing
    piles_up                    do samples pile up at the lowest or highest value, as where an input is clipped
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from emgreview.signal.filters import finite_runs

FloatArray = NDArray[np.floating]

USUAL = (
    *(999.0, 9999.0, 99999.0, 32767.0, 32768.0, 65535.0, 8388607.0, 8388608.0, 2147483647.0, 2147483648.0),
    9.969209968386869e36,
)
"""Codes in common use for missing or overflown samples, of either sign (common practice, no source)."""

SCALES = (1.0, 1e-3, 1e3, 1e-6, 1e6)
"""A code written in one unit of voltage and read in another."""

FEWEST = 3
"""So often must a value recur to be called a code, unless it is a usual one beyond all others: a strong burst may hit
any single value once."""

APART = 10.0
"""A code lies so many times the local scatter away from its neighbours."""

AROUND, MOST_RUNS = 25, 200
CHANCE = 1e-5
EXCESS = 5.0
SMOOTH_HZ, SMOOTH_EXCESS = 4000.0, 10.0
"""Above this sampling rate stretches of identical samples are common, and more of them are asked for."""

HELD, FEWEST_HELD, HELD_MOST = 0.9, 20, 0.99
"""A signal is held throughout where more than this share of its stretches are a multiple of one number above 1, of at
least so many stretches: of those that rounding alone makes fewer than half have an even length. Of values without steps
none repeats by itself, and their 99th percentile tells the holding, at whatever ratio of rates."""

THREES = 10
"""Three identical samples in a row come about by chance, above all where few samples are taken in a second: so many
such stretches are asked for, or a longer one."""

STILL_S, STILL_TIMES = 0.02, 4
"""A signal stands still from this long on, if that is so many times longer than it does by itself elsewhere."""


@dataclass(frozen=True, slots=True, eq=False)
class Codes:
    """``values`` found, ``at`` where they stand (stretches, samples), ``usual`` whether all are usual codes."""

    values: tuple[float, ...]
    at: NDArray[np.bool_]
    usual: bool


def find_codes(stretches: FloatArray, *, step: float) -> Codes:
    """Values that recur exactly and stand far from their neighbours in time, on both sides.

    Looked at are the outermost values beyond a gap, usual codes, and values far more frequent than those next to them.
    A value counts where a quarter of its occurrences or more lie further than 10 times the local scatter from what is
    on either side; a usual code also where it comes far too often among strong bursts. Clipped peaks and saturated
    stimuli do not count, because the signal comes and goes there.
    """
    present = stretches[~np.isnan(stretches)]
    levels, counts = np.unique(present, return_counts=True)
    found: list[float] = []
    usual = True
    tried = _candidates(levels, counts)
    codes = np.array([value for value, _ in tried])
    others = levels[~np.isin(levels, codes)]
    for value, known in tried:
        count = int(counts[np.searchsorted(levels, value)])
        beyond = not others.min(initial=math.inf) < value < others.max(initial=-math.inf)
        alone = ((known and beyond) or count >= FEWEST) and _stands_alone(
            stretches, value, codes, 0.0 if math.isnan(step) else step
        )
        if alone or (known and count >= FEWEST and _far_too_often(stretches, present, value, step)):
            found.append(value)
            usual &= known
    at = np.isin(stretches, found) if found else np.zeros(stretches.shape, dtype=bool)
    return Codes(tuple(found), at, usual)


def are_usual(values: Sequence[float]) -> bool:
    """Whether all of some values are codes in common use (:data:`USUAL`), in whatever unit of voltage."""
    known = _known()
    return all(bool((np.abs(known - value) <= 1e-9 * np.abs(known)).any()) for value in values)


def _known() -> FloatArray:
    return np.array([sign * code * scale for code in USUAL for scale in SCALES for sign in (1, -1)])


def _candidates(levels: FloatArray, counts: NDArray[np.integer]) -> list[tuple[float, bool]]:
    """Values worth a look, and whether each is a usual code."""
    if levels.size < 3:
        return []
    known = _known()
    near = np.clip(np.searchsorted(levels, known), 0, levels.size - 1)
    before = np.maximum(near - 1, 0)
    near = np.where(np.abs(levels[before] - known) < np.abs(levels[near] - known), before, near)
    hits = set(near[np.abs(levels[near] - known) <= 1e-9 * np.abs(known)].tolist())
    places = set(hits)
    centre = levels[np.searchsorted(np.cumsum(counts), counts.sum() / 2)]
    for outer in (levels, levels[::-1]):
        for k in range(min(4, levels.size - 2)):
            if abs(outer[k] - outer[k + 1]) > 0.5 * abs(outer[k + 1] - centre):
                places |= {int(np.searchsorted(levels, value)) for value in outer[: k + 1]}
    often = np.flatnonzero(counts >= FEWEST)
    for place in often[np.argsort(counts[often])[::-1][:20]]:
        beside = np.concatenate([counts[max(0, place - 10) : place], counts[place + 1 : place + 11]])
        if counts[place] >= 20 * np.median(beside) or (counts[place] >= FEWEST and beside.max() == 1):
            places.add(int(place))
    return [(float(levels[place]), place in hits) for place in sorted(places)]


def _far_too_often(stretches: FloatArray, present: FloatArray, value: float, step: float) -> bool:
    """A value inside the range of the others that comes 20 times as often as the levels around it, in 3 runs or more:
    how a code shows that lies among strong bursts."""
    if not present.min() < value < present.max():
        return False
    at = stretches == value
    runs = int(np.count_nonzero(np.diff(at, prepend=False, axis=1) & at))
    reach = 25 * (0.0 if math.isnan(step) else step)
    beside = np.count_nonzero(np.abs(present - value) <= reach) - np.count_nonzero(at)
    return runs >= FEWEST and bool(runs > 20 * beside / 50)


def _stands_alone(stretches: FloatArray, value: float, codes: FloatArray, step: float) -> bool:
    runs = [
        (row, int(start), int(stop))
        for row, x in enumerate(stretches)
        for start, stop in np.flatnonzero(np.diff(x == value, prepend=False, append=False)).reshape(-1, 2)
    ]
    alone = 0
    looked = runs[:: max(1, len(runs) // MOST_RUNS)]
    for row, start, stop in looked:
        x = stretches[row]
        before, after = (
            part[~np.isnan(part) & ~np.isin(part, codes)]
            for part in (x[max(0, start - AROUND) : start], x[stop : stop + AROUND])
        )
        around = np.concatenate([before, after])
        if around.size < 5:
            continue
        centre = np.median(around)
        scatter = 1.4826 * np.median(np.abs(around - centre)) + step
        nearest = min((abs(value - side[at]) for side, at in ((before, -1), (after, 0)) if side.size), default=0.0)
        alone += min(nearest, abs(value - centre)) > max(APART * scatter, 1e-9 * abs(value))
    return alone >= max(1, 0.25 * len(looked))


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """``share`` of samples in suspicious stretches of identical values, where they stand ``at`` (stretches, samples),
    the ``longest`` of them in samples, their ``count``; ``every`` is the number of times every value is repeated where
    the whole signal is held, else 1. ``shortest`` is the length from which a stretch is suspicious here."""

    share: float
    at: NDArray[np.bool_]
    longest: int
    count: int
    every: int
    shortest: int


def find_repeats(stretches: FloatArray, rate_hz: float, *, step: float) -> Repeats:
    """Stretches of identical values that the converter's ``step`` (NaN where values are continuous) does not explain.

    How often stretches of each length come about by rounding is counted on noise of the spectrum of the signal's
    quieter parts, at the levels that the signal has from moment to moment, rounded alike. A length is suspicious from
    where there are more than five times as many, and more than chance gives (Poisson, 1e-5); above 4 kHz more than ten
    times those of the quietest level. Three in a row are suspicious where there are ten such stretches or more.
    Stretches at the lowest and highest value are left to clipping. Where every value comes twice, pairs are enough.
    """
    rows, starts, lengths = [], [], []
    for place, x in enumerate(stretches):
        for first, stop in finite_runs(x):
            edges = np.flatnonzero(np.diff(x[first:stop]) != 0) + 1
            begins = np.concatenate(([0], edges))
            rows.append(np.full(begins.size, place))
            starts.append(begins + first)
            lengths.append(np.diff(np.concatenate((begins, [stop - first]))))
    nothing = Repeats(0.0, np.zeros(stretches.shape, dtype=bool), 1, 0, 1, 0)
    if not rows:
        return nothing
    row, start, length = (np.concatenate(parts) for parts in (rows, starts, lengths))
    values = stretches[row, start]
    low, high = np.nanmin(stretches), np.nanmax(stretches)
    inner = (values > low) & (values < high)
    long = np.bincount(length[inner], minlength=4)
    at_least = np.cumsum(long[::-1])[::-1]
    every = _held_throughout(length[inner])
    natural = _natural(stretches, rate_hz, step, at_least.size)
    for shortest in range(3, at_least.size):
        k, expected = int(at_least[shortest]), float(natural[shortest])
        if (
            k > (SMOOTH_EXCESS if rate_hz > SMOOTH_HZ else EXCESS) * expected
            and (shortest > 3 or k >= THREES)
            and stats.poisson.sf(k - 1, expected) < CHANCE
        ):
            break
    else:
        if every == 1:
            return nothing
    shortest = every if every > 1 else shortest
    chosen = inner & (length >= shortest)
    at = np.zeros(stretches.shape, dtype=bool)
    for place, first, n in zip(row[chosen], start[chosen], length[chosen], strict=True):
        at[place, first : first + n] = True
    share = float(at.sum() / (~np.isnan(stretches)).sum())
    return Repeats(share, at, int(length[chosen].max()), int(chosen.sum()), every, shortest)


@dataclass(frozen=True, slots=True)
class Constant:
    """Of one channel: ``longest`` stretch of one value in samples, where it starts (``at``, a sample), how many there
    are (``count``), and how many samples are ``missing``."""

    longest: int
    at: int
    count: int
    missing: int


def longest_repeat(stretches: FloatArray) -> int:
    """Most samples in a row (stretches, samples) with one value; 0 where none is present."""
    longest = 0
    for x in stretches:
        edges = np.flatnonzero(np.diff(x) != 0) + 1
        lengths = np.diff(np.concatenate(([0], edges, [x.size])))
        longest = max(longest, int(lengths.max(initial=0)) if not np.isnan(x).all() else 0)
    return longest


def constant_stretches(
    blocks: Iterable[FloatArray], shortest: Sequence[int], passed_over: Sequence[Sequence[float]]
) -> list[Constant]:
    """For each channel, stretches of one value of at least ``shortest`` samples, anywhere in ``blocks``.

    ``blocks`` are (channels, samples), one after the other; a stretch may reach over several. Values in ``passed_over``
    (channels, any number) do not count, as those of a rail, which are told as clipped.
    """
    n_channels = len(shortest)
    since, last, missing = [0] * n_channels, [math.nan] * n_channels, [0] * n_channels
    found: list[list[tuple[int, int]]] = [[] for _ in range(n_channels)]
    at = 0

    def ended(channel: int, start: int, stop: int, value: float) -> None:
        if stop - start >= shortest[channel] and value not in passed_over[channel] and not math.isnan(value):
            found[channel].append((stop - start, start))

    for block in blocks:
        if block.shape[1] == 0:
            continue
        for channel, x in enumerate(block):
            missing[channel] += int(np.count_nonzero(np.isnan(x)))
            if x[0] != last[channel]:
                ended(channel, since[channel], at, last[channel])
                since[channel] = at
            edges = np.flatnonzero(x[1:] != x[:-1]) + 1
            if edges.size:
                ended(channel, since[channel], at + int(edges[0]), float(x[0]))
                lengths = np.diff(edges)
                for place in np.flatnonzero(lengths >= shortest[channel]):
                    start = int(edges[place])
                    ended(channel, at + start, at + int(edges[place + 1]), float(x[start]))
                since[channel] = at + int(edges[-1])
            last[channel] = float(x[-1])
        at += block.shape[1]
    for channel in range(n_channels):
        ended(channel, since[channel], at, last[channel])
    return [
        Constant(*(max(runs) if runs else (0, 0)), count=len(runs), missing=lost)
        for runs, lost in zip(found, missing, strict=True)
    ]


def _held_throughout(lengths: NDArray[np.integer]) -> int:
    """How many times every value comes, where nine of ten stretches are a multiple of one number above 1."""
    whole = lengths[1:-1]
    usual = int(np.bincount(whole).argmax()) if whole.size >= FEWEST_HELD else 1
    return usual if usual > 1 and np.mean(whole % usual == 0) > HELD else 1


def held_times(x: FloatArray, *, step: float) -> int:
    """How often at most one sample that was taken comes in x (samples,), NaN where missing: 1 where nothing is held, 2
    or more where a slower signal was held to fill a higher rate. Its lowest and highest value, where a rail may be, say
    nothing of it.
    """
    edges = np.flatnonzero(np.diff(x) != 0) + 1
    starts = np.concatenate(([0], edges))
    lengths, values = np.diff(np.concatenate((starts, [x.size]))), x[starts]
    inner = lengths[(values > np.nanmin(x)) & (values < np.nanmax(x))]
    if not math.isnan(step) or inner.size < FEWEST_HELD:
        return _held_throughout(inner)
    return int(np.quantile(inner, HELD_MOST, method="higher"))


def as_sampled(values: FloatArray, times: int) -> FloatArray:
    """``values`` (samples,) as they were taken before each was held ``times`` times at most: of every stretch of one
    value no more than it must have been."""
    if times == 1 or values.size == 0:
        return values
    starts = np.concatenate(([0], np.flatnonzero(np.diff(values) != 0) + 1))
    lengths = np.diff(np.concatenate((starts, [values.size])))
    return np.repeat(values[starts], -(-lengths // times))


def _natural(stretches: FloatArray, rate_hz: float, step: float, size: int) -> FloatArray:
    """Expected number of stretches of at least 0, 1, 2 … identical samples that rounding to ``step`` makes, (size,)."""
    floor = np.full(size, 1e-7)
    if math.isnan(step) or size < 3:
        return floor
    n = int(2 ** math.ceil(math.log2(max(64, 0.25 * rate_hz))))
    blocks = [x[at : at + n] for x in stretches for at in range(0, len(x) - n + 1, n)]
    blocks = [block for block in blocks if not np.isnan(block).any()]
    if not blocks:
        return np.full(size, np.inf)
    whole = np.stack(blocks)
    moving = np.diff(whole, axis=1)
    moves = np.sqrt(np.mean(moving**2, axis=1))
    alive = moves > 0
    if not alive.any():
        return np.full(size, np.inf)
    whole, moves = whole[alive], moves[alive]
    # The quietest tenth, but not the few blocks that are mostly repeated themselves.
    quiet = whole[np.argsort(moves)[: max(1, len(moves) // 4)]]
    brief = np.diff(np.stack(blocks), axis=1)
    smooth = rate_hz > SMOOTH_HZ
    window = 32 if smooth else min(brief.shape[1], max(32, round(0.02 * rate_hz)))
    brief = brief[:, : brief.shape[1] // window * window].reshape(-1, window)
    levels = np.sqrt(np.mean(brief**2, axis=1))
    levels = levels[levels > 0]
    slope = np.linspace(0.0, 1.0, n)
    quiet = quiet - quiet[:, :1] - (quiet[:, -1:] - quiet[:, :1]) * slope
    power = np.mean(np.abs(np.fft.rfft(quiet * np.hanning(n), axis=1)) ** 2, axis=0)
    rng = np.random.default_rng(0)
    total = int(np.count_nonzero(~np.isnan(stretches)))
    many = min(max(8, -(-total // n)), 4000)
    spectrum = rng.standard_normal((many, power.size)) + 1j * rng.standard_normal((many, power.size))
    made = np.fft.irfft(spectrum * np.sqrt(power), n, axis=1)
    # Each block at the level of one moment of the signal, so that there are as many quiet ones as in the signal; all at
    # its quietest where samples follow so closely that long stretches hang on details of the spectrum.
    level = np.full((many, 1), np.quantile(levels, 0.03)) if smooth else rng.choice(levels, (many, 1))
    made *= level / np.sqrt(np.mean(np.diff(made, axis=1) ** 2))
    made = np.round(made / step + rng.uniform(-0.5, 0.5, (many, 1)))
    edges = np.diff(made, axis=1) != 0
    edges = np.concatenate([np.ones((many, 1), bool), edges, np.ones((many, 1), bool)], axis=1)
    lengths = np.diff(np.flatnonzero(edges.ravel()))
    lengths = np.bincount(lengths[lengths <= n], minlength=size + 1)
    expected = np.cumsum(lengths[::-1])[::-1].astype(float)[: size + 1] * total / (many * n)
    enough = np.flatnonzero(expected * (many * n / total) >= 10)
    last = int(enough[-1]) if enough.size else 1
    ratio = expected[last] / expected[last - 1] if last > 1 else 0.0
    tail = expected[last] * ratio ** np.arange(max(0, size - last))
    out = np.concatenate([expected[:last], tail])[:size] if last < size else expected[:size]
    return 1.5 * out + floor


def piles_up(values: FloatArray, *, step: float) -> bool:
    """Do samples pile up at the lowest or highest of ``values`` (samples,), none missing, as at a rail.

    Without a step two samples at exactly the same extreme; with one, four, and more than four times as many as on the
    levels next to it, which a signal that turns round by itself never leaves behind.
    """
    if values.size == 0:
        return False
    for x in (values, -values):
        top = x.max()
        if math.isnan(step):
            if np.count_nonzero(x == top) >= 2:
                return True
            continue
        levels = np.round((top - x[x > top - 11 * step]) / step).astype(int)
        counts = np.bincount(levels[levels <= 10], minlength=11)
        if counts[0] >= 4 and counts[0] > 4 * (counts[1:].mean() + 1):
            return True
    return False
