"""All bursts of a signal, continuous or cut into trials.

The rest is where the caller says, or is found in the signal (:func:`quiet_samples`). Energies in blocks, relative to
that rest, come from the same model as the default onset method (:mod:`~emgreview.signal.onset.quiet`). A burst is a
stretch of blocks above a low gate in which enough blocks pass a high one; both gates rise with the rest's own spread.
Its edges are located by the ramp posterior (:mod:`~emgreview.signal.onset.ramp`), each within its own stretch of
signal. No paper is followed: two gates (hysteresis) and the split of levels in two classes are common practice.

    list_bursts       the method
    quiet_samples     where the rest is, when nobody says
"""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview.errors import ParameterError, SignalError
from emgreview.model import Burst
from emgreview.signal.onset.common import Array, burst_level_db, checked_signal, level_and_scale, window
from emgreview.signal.onset.quiet import Floats, grid, standing
from emgreview.signal.onset.ramp import SHARP, Ints, RampParameters, locate

SHORTEST_REST_S = 0.1
SHORTEST_SIGNAL_S = 0.5
STRETCH_S = 0.1
LONGEST_REST_S = 20.0
TWO_CLASSES_DB = 8.0
HIGH_GATE = (1.4, 0.95, 0.8)
LOW_GATE = (0.7, 0.90, 0.2)
"""Gates on ln z: at least the first number, and at least a quantile of the rest's own ln z plus a margin."""

CHUNK_SAMPLES = 2_000_000
"""Samples worked on at once, or one whole signal."""

AROUND_S = 0.8
"""Signal before and after an edge that may decide where it is."""


def list_bursts(
    x: ArrayLike,
    rate_hz: float,
    *,
    rest_s: tuple[float, float] | None = None,
    shortest_s: float = 0.05,
    merge_s: float = 0.05,
) -> list[Burst] | list[list[Burst]]:
    """Every burst of activity, in order of time.

    ``x`` is band-passed, in any unit: (samples,) gives a list of bursts, (trials, samples) a list of such lists. A
    constant offset does not matter. ``rest_s`` is (start, stop) in seconds from the first sample. With None the rest is
    found in the signal itself: levels of stretches of 0.1 s are split in two classes; where these lie at least 8 dB
    apart, the lower is the rest, otherwise nearly everything is taken for rest. So a signal that is active throughout
    has no bursts, and a muscle that never quite rests is judged against its own tonic level.

    Bursts closer than ``merge_s`` become one; those shorter than ``shortest_s`` are left out. Times are seconds from
    the first sample. An onset (offset) is NaN where activity lasts from (to) the very start (end) of the signal;
    ``low_s`` to ``high_s`` is a 90 % interval of the onset; ``level_db`` the burst alone over the rest. Samples that
    are not finite count as rest; a signal without variation has no bursts.

    Raises SignalError (shape, shorter than 0.5 s), RateError and ParameterError.
    """
    samples, rate_hz = checked_signal(x, rate_hz, dimensions=(1, 2))
    for name, value in (("shortest_s", shortest_s), ("merge_s", merge_s)):
        if not (math.isfinite(value) and value >= 0):
            raise ParameterError(f"{name} came as {value!r}; allowed: 0 s or more; correct it.")
    if samples.shape[-1] < SHORTEST_SIGNAL_S * rate_hz:
        raise SignalError(
            f"the signal came with {samples.shape[-1] / rate_hz:.3f} s; bursts need at least {SHORTEST_SIGNAL_S:g} s; "
            "give a longer stretch."
        )
    given = None if rest_s is None else window("rest_s", rest_s, 0.0, samples.shape[-1], rate_hz, SHORTEST_REST_S)
    rows = np.atleast_2d(samples)
    chunk = max(1, CHUNK_SAMPLES // rows.shape[1])
    found: list[list[Burst]] = []
    for start in range(0, len(rows), chunk):
        found += find_bursts(rows[start : start + chunk], rate_hz, given, shortest_s, merge_s)
    return found if samples.ndim == 2 else found[0]


def find_bursts(x: Array, rate_hz: float, rest: slice | None, shortest_s: float, merge_s: float) -> list[list[Burst]]:
    """The bursts of each row of (trials, samples)."""
    p = RampParameters()
    bin_, block = grid(rate_hz, p)
    bin_s, block_s = bin_ / rate_hz, bin_ * block / rate_hz
    finite = np.isfinite(x)
    x = np.where(finite, x, 0.0)
    x = np.where(finite, x - x.sum(axis=1, keepdims=True) / np.maximum(finite.sum(axis=1, keepdims=True), 1), 0.0)
    quiet = x[:, rest] if rest is not None else quiet_samples(x, finite, rate_hz)
    quiet = quiet[:, : quiet.shape[1] // (bin_ * block) * bin_ * block]
    level, scale = level_and_scale(quiet, slice(None))
    found: list[list[Burst]] = [[] for _ in x]
    rows = np.flatnonzero(scale > 0)
    if not len(rows):
        return found

    # the rest is put in front, so that one model serves a rest given and a rest gathered from many places
    joined = (np.concatenate([quiet[rows], x[rows]], axis=1) - level[rows, None]) / scale[rows, None]
    s = standing(joined, rate_hz, slice(0, quiet.shape[1]), slice(quiet.shape[1], joined.shape[1]), p)
    ln_z, y = s.ln_z[:, s.search], s.y[:, s.search.start * block :]
    row, first, last = regions(ln_z, s.ln_z[:, s.rest], shortest_s / block_s, merge_s / block_s)
    if not len(row):
        return found
    onset = edges(y, ln_z, row, first, last, p, block, bin_s)
    ends = ln_z.shape[1] - 1
    offset = (
        y.shape[1] * bin_s - edges(y[:, ::-1], ln_z[:, ::-1], row, ends - last, ends - first, p, block, bin_s)[::-1]
    )
    onset[:, first == 0] = np.nan
    offset[:, last == ends] = np.nan
    for k, burst in enumerate(burst_values(s.power[:, s.search], row, first, last, onset, offset, block_s)):
        begin, end = np.nan_to_num(burst.onset_s, nan=0.0), np.nan_to_num(burst.offset_s, nan=np.inf)
        of_trial = found[rows[row[k]]]
        if of_trial and begin - np.nan_to_num(of_trial[-1].offset_s, nan=np.inf) < merge_s:
            of_trial[-1] = replace(of_trial[-1], offset_s=burst.offset_s)
        elif end - begin >= shortest_s:
            of_trial.append(burst)
    return found


def quiet_samples(x: Array, finite: NDArray[np.bool_], rate_hz: float) -> Array:
    """The rest of each row, gathered from its quiet stretches, (trials, the same number of samples each).

    The levels of stretches, ln of mean x^2, are split in two classes by their means, starting from the extremes
    (k-means in one dimension). The rest is the lower class where the means lie ``TWO_CLASSES_DB`` apart, otherwise all
    stretches but those more than ``TWO_CLASSES_DB`` above the median. Repeated to fill the common length where short.
    """
    length = max(1, round(STRETCH_S * rate_hz))
    count = x.shape[1] // length
    stretches = x[:, : count * length].reshape(len(x), count, length)
    whole = finite[:, : count * length].reshape(len(x), count, length).all(axis=2)
    power = np.mean(stretches**2, axis=2)
    whole &= power > 0
    levels = np.where(whole, np.log(np.where(whole, power, 1.0)), np.nan)
    target = min(count, max(1, round(LONGEST_REST_S / STRETCH_S)))
    quiet = np.zeros((len(x), target * length))
    for row, level in enumerate(levels):
        known = level[whole[row]]
        if len(known):
            chosen = np.flatnonzero(whole[row] & (np.nan_to_num(level, nan=np.inf) <= quiet_limit(known)))
            spaced = chosen[np.linspace(0, len(chosen) - 1, min(target, len(chosen))).astype(int)]
            quiet[row] = np.resize(stretches[row, spaced], target * length)
    return quiet


def quiet_limit(levels: Array) -> float:
    """Level up to which a stretch is quiet, from the levels of all stretches of a signal."""
    apart = TWO_CLASSES_DB * np.log(10) / 10
    low, high = np.quantile(levels, [0.05, 0.95])
    for _ in range(20):
        upper = levels > (low + high) / 2
        if upper.all() or not upper.any():
            break
        low, high = levels[~upper].mean(), levels[upper].mean()
    return float((low + high) / 2 if high - low >= apart else np.median(levels) + apart)


def regions(ln_z: Floats, rest_ln_z: Floats, shortest: float, gap: float) -> tuple[Ints, Ints, Ints]:
    """Row, first and last block of each burst; ``shortest`` and ``gap`` in blocks.

    Candidates are stretches in which the mean of three blocks is above the low gate, joined across gaps below ``gap``.
    They count where at least ``shortest`` blocks, each by itself, are above the high gate.
    """
    padded = np.pad(np.exp(ln_z), ((0, 0), (1, 1)), mode="edge")
    smooth = np.log((padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]) / 3)
    high, low = (
        np.maximum(floor, np.quantile(rest_ln_z, share, axis=1) + margin)[:, None]
        for floor, share, margin in (HIGH_GATE, LOW_GATE)
    )
    inside = np.pad((smooth > low) & (ln_z > low), ((0, 0), (1, 1)))
    row, first = np.nonzero(inside[:, 1:-1] & ~inside[:, :-2])
    _, last = np.nonzero(inside[:, 1:-1] & ~inside[:, 2:])
    if not len(row):
        return row, first, last
    apart = np.ones(len(row), bool)
    apart[1:] = (row[1:] != row[:-1]) | (first[1:] - last[:-1] - 1 >= max(gap, 1))
    begins = np.flatnonzero(apart)
    row, first, last = row[begins], first[begins], last[np.append(begins[1:], len(apart)) - 1]
    hot = np.cumsum(np.pad(ln_z > high, ((0, 0), (1, 0))), axis=1)
    good = hot[row, last + 1] - hot[row, first] >= max(shortest, 1)
    return row[good], first[good], last[good]


def edges(
    y: Floats, ln_z: Floats, row: Ints, first: Ints, last: Ints, p: RampParameters, block: int, bin_s: float
) -> Array:
    """Quantiles (3, bursts) of where each burst starts, in seconds from the start of the rows."""
    around = round(AROUND_S / (block * bin_s))
    blocks = first[:, None] + np.arange(-around, around + 1)
    bins = (first * block)[:, None] + np.arange(-around * block, (around + 1) * block)
    before = np.full(len(row), -1)
    order = np.lexsort((first, row))
    same = row[order][1:] == row[order][:-1]
    before[order[1:][same]] = last[order[:-1][same]]

    known = (blocks > before[:, None]) & (blocks < ln_z.shape[1])
    near_ln_z = np.where(known, ln_z[row[:, None], np.clip(blocks, 0, ln_z.shape[1] - 1)], 0)
    known = (bins >= (before[:, None] + 1) * block) & (bins < y.shape[1])
    near_y = np.where(known, y[row[:, None], np.clip(bins, 0, y.shape[1] - 1)], 1)
    centre = np.full(len(row), around)
    found, _ = locate(near_y, near_ln_z, centre, np.full(len(row), p.temper), SHARP, block, bin_s, p)
    found += (first - around) * block
    return np.clip(found, (before + 1) * block, (last + 1) * block) * bin_s


def burst_values(
    power: Floats, row: Ints, first: Ints, last: Ints, onset: Array, offset: Array, block_s: float
) -> Iterator[Burst]:
    start = np.where(np.isnan(onset[1]), first, np.ceil(np.nan_to_num(onset[1]) / block_s)).astype(int)
    stop = np.where(np.isnan(offset[1]), last + 1, np.floor(np.nan_to_num(offset[1]) / block_s)).astype(int)
    whole = stop > start
    level = burst_level_db(power[row], np.where(whole, start, first), np.where(whole, stop, last + 1))
    for k in range(len(row)):
        low, middle, high = onset[:, k].tolist()
        yield Burst(middle, float(offset[1, k]), low, high, float(level[k]))
