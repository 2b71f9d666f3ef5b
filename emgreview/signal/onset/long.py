"""One long signal, read piece by piece: the rest model of :mod:`~emgreview.signal.onset.quiet` without the whole of it.

What a piece gives equals what the whole would give: it is read with as much beside it as its filters reach, and pieces
begin where the blocks and stretches of the whole begin. Kept whole are energies of bins of 2 ms and levels of blocks of
20 ms, 14 MB an hour; everything else is bounded by the length of a piece. Missing samples are NaN when read, and count
as the mean.

    Read, in_memory, filtered       where samples come from: an array, or a channel of a recording, band-passed
    mean_and_levels                 mean of a signal, and levels of its stretches
    long_excess                   what ``quiet.excess`` is for a batch
"""

import math
from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from emgreview.model import Processing, Recording
from emgreview.signal.filters import bandpass, design_bandpass, settling_samples, shortest_run
from emgreview.signal.onset.quiet import (
    Excess,
    Floats,
    QuietParameters,
    grid,
    over_rest,
    second_change,
    sums,
    swings,
    whitening_taps,
)
from emgreview.signal.onset.whitening import filtered as filtered_by

Array = NDArray[np.floating]
Read = Callable[[int, int], Array]
"""Samples start to stop, (samples,)."""


def in_memory(x: Array) -> Read:
    return lambda start, stop: x[start:stop]


def filtered(rec: Recording, channel: str, processing: Processing) -> Read:
    """A channel of a recording, band-passed: each piece as if the whole had been filtered at once."""
    rec.channel(channel)
    band = partial(bandpass, low_hz=processing.low_hz, high_hz=processing.high_hz, order=processing.order)
    sos = design_bandpass(
        rec.rate_hz,
        low_hz=processing.low_hz,
        high_hz=processing.high_hz,
        order=processing.order,
        direction=processing.direction,
    )
    margin = settling_samples(sos) + shortest_run(rec.rate_hz, processing.low_hz)

    def read(start: int, stop: int) -> Array:
        first, last = max(start - margin, 0), min(stop + margin, rec.n_samples)
        x = band(rec.values(first, last, [channel])[0], rec.rate_hz, direction=processing.direction)
        return x[start - first : stop - first]

    return read


def without_missing(x: Array, mean: float) -> Array:
    return np.where(np.isfinite(x), x - mean, 0.0)


def mean_and_levels(read: Read, n: int, length: int, piece: int) -> tuple[float, Array]:
    """Mean of all samples, and ln of the mean square about it of each stretch of ``length``; NaN where it lacks one."""
    piece = max(1, piece // length) * length
    total, count, about = 0.0, 0, math.nan
    sums_of: list[Array] = []
    for start in range(0, n, piece):
        x = read(start, min(start + piece, n))
        known = np.isfinite(x)
        if math.isnan(about):
            about = float(x[known].mean()) if known.any() else math.nan
        total, count = total + float(np.sum(x[known] - (0.0 if math.isnan(about) else about))), count + int(known.sum())
        stretches = x[: len(x) // length * length].reshape(-1, length)
        stretches = np.where(np.isfinite(stretches), stretches, np.nan) - about
        spread = np.where(np.ptp(stretches, axis=1) > 0, 1.0, np.nan)  # one that never changes holds no signal
        sums_of.append(np.stack([stretches.mean(axis=1), np.mean(stretches**2, axis=1) * spread]))
    if not count:
        return 0.0, np.full(n // length, np.nan)
    beyond = total / count
    first, second = np.concatenate(sums_of, axis=1)
    power = second - 2 * beyond * first + beyond**2
    known = power > np.nanmax(power, initial=0.0) * 1e-10  # below that a stretch holds no signal, not even noise
    return about + beyond, np.log(np.where(known, power, np.nan))


def long_excess(
    read: Read, n: int, quiet: Array, units: tuple[float, float, float], rate_hz: float, p: QuietParameters, piece: int
) -> Excess:
    """The model of one signal of ``n`` samples whose rest is ``quiet``, a whole number of blocks.

    ``units`` are the mean of the signal, and the mean and SD of ``quiet``. As if the signal followed its rest.
    """
    mean, level, scale = units
    bin_, block = grid(rate_hz, p)
    per_block, stretch = bin_ * block, max(1, round(0.1 * rate_hz))
    taps, ahead = whitening_taps(((quiet - level) / scale).astype(np.float32)[np.newaxis], rate_hz, p)
    end = len(quiet) + n
    used = end // per_block * per_block
    step = math.lcm(per_block, stretch)
    piece = max(1, piece // step) * step
    before = -(-(taps.shape[1] + round(p.second_lag_s * rate_hz) + 1) // stretch) * stretch
    after = -(-ahead // stretch) * stretch + stretch

    def joined(start: int, stop: int) -> NDArray[np.float32]:
        parts = [quiet[start : min(stop, len(quiet))]] if start < len(quiet) else []
        if stop > len(quiet):
            parts.append(without_missing(read(max(start - len(quiet), 0), stop - len(quiet)), mean))
        return ((np.concatenate(parts) - level) / scale).astype(np.float32)[np.newaxis]

    slow, power = False, []
    energies: tuple[list[Floats], list[Floats]] = ([], [])
    for start in range(0, used, piece):
        stop = min(start + piece, used)
        first, last = max(start - before, 0), min(stop + after, end)
        x = joined(first, last)
        e = filtered_by(x, taps, ahead)
        inside = slice(start - first, stop - first)
        for kept, residual in zip(energies, (e, second_change(e, rate_hz, p)), strict=True):
            kept.append(sums(np.square(residual[:, inside]), bin_))
        power.append(sums(np.square(x[:, inside]), per_block) * np.float32(1 / per_block))
        seen = swings(x, rate_hz, p)[0]
        slow |= bool(seen[(start - first) // stretch : len(seen) - (1 if last < end else 0)].any())
    y = np.concatenate(energies[slow], axis=1)
    rest = slice(0, len(quiet) // per_block)
    return over_rest(y, np.concatenate(power, axis=1), rest, slice(rest.stop, used // per_block), (bin_, block), p)
