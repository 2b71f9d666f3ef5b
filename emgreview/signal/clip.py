"""Which samples were cut at a rail: of an input, a converter, or a file.

One stretch of one channel, (samples,), unfiltered, any unit, missing as NaN: a filter rounds off what was cut. Where
the rails lie is not known, so the lowest and highest value stand for them, and only where the signal piles up there.
Found are hard rails alone. An amplifier that bends before its end, one that is filtered or sampled anew after it
clipped, and a rail that moves leave no samples at one value, and are not found. A signal that was held to fill a higher
rate repeats its highest value as it repeats all others: that is no rail.

Simulated bursts of 0.3 s, steps of 0, 0.02 and 0.5 µV for an SD of 500 µV, 200 Hz to 20 kHz, 40 trials a cell: of those
with 10 % of their samples clipped all are found from 500 Hz on, and 80 % or more at 200 Hz; with 1 %, all from 10 kHz
on and few below 1 kHz, where that is a sample or two. None of 4,180 unclipped ones is called clipped, nor of 570 real
stretches (forearm, 1 kHz); of 36,632 real ones of 8 bit and 150 samples 67, of which 64 reach the end of the 8 bits.

    at_rail         samples at a rail
    headroom        how far the rails lie from the rest, in SD of the rest
    cut_words       what is said of bursts that are clipped
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview.errors import SignalError
from emgreview.signal.filters import checked_samples
from emgreview.signal.quality import RAIL_STEPS, step_size
from emgreview.signal.stuck import as_sampled, held_times

FloatArray = NDArray[np.floating]

NEAR_LEVELS = 10
"""Levels next to a rail, which are all but empty."""
FEWEST_PILED, PILED, FEWEST_ALONE = 4, 4.0, 3
"""So many samples at the extreme, and more than so many times as many as on each level next to it, are piled up there
(the rule of the finding "clipped" of a whole channel); or so many, with none next to it."""
SMOOTH = 8.0
"""A single smooth peak leaves at its top up to 4.4 times as many samples as on each of the ten levels below (of a
parabola 1 / ((sqrt(11) - 1) / 10)); one visit to a rail must leave more than this many times as many."""


def at_rail(x: ArrayLike) -> NDArray[np.bool_]:
    """Which samples of one stretch (samples,) lie at a rail, (samples,); False where missing. Our own rule, no paper.

    The lowest or highest value is a rail where two samples or more lie at it exactly, or, where the values have steps,
    where samples pile up on it. Those must have come there more than once, or be far more than the top of a smooth wave
    leaves. Where a slower signal was held, samples count as they were taken (``stuck.held_times``). Nowhere where the
    signal spans fewer than 32 steps: then it reaches its extremes all the time. Raises SignalError.
    """
    samples = checked_samples(x)
    if samples.ndim != 1:
        raise SignalError(
            f"the stretch came with shape {np.shape(x)}; allowed: (samples,); give one channel of one trial at a time."
        )
    out = np.zeros(samples.shape, dtype=bool)
    values = samples[~np.isnan(samples)]
    if values.size == 0 or np.ptp(values) == 0:
        return out
    if all(np.count_nonzero(values == end) < 2 for end in (values.min(), values.max())):
        return out
    step = step_size(values)
    if np.ptp(values) < RAIL_STEPS * step:
        return out
    taken = as_sampled(samples, held_times(samples, step=step))
    for sign in (1.0, -1.0):
        if _is_rail(sign * taken, step):
            out |= _top(sign * samples, step)
    return out


def headroom(x: ArrayLike, rest: slice | NDArray[np.bool_]) -> float:
    """Distance of the farther rail from the median of the ``rest`` of a stretch (samples,), in SD of that rest; inf
    unless both ends are rails, for activity can still rise towards the other end. ``rest`` is a slice or a mask.

    The SD is 1.4826 × the median absolute deviation, which the rails themselves hardly change. inf also where the rest
    is missing or never changes. Our own rule, no paper. Raises SignalError.
    """
    samples, here = checked_samples(x), at_rail(x)
    quiet = samples[rest][~np.isnan(samples[rest])]
    if not here.any() or quiet.size == 0:
        return math.inf
    low, high = np.nanmin(samples), np.nanmax(samples)
    if not (here[samples == low].any() and here[samples == high].any()):
        return math.inf
    centre = float(np.median(quiet))
    sd = 1.4826 * float(np.median(np.abs(quiet - centre)))
    return float(max(high - centre, centre - low)) / sd if sd > 0 else math.inf


def cut_words(clipped: int, of: int, what: str) -> list[str]:
    """A sentence on how many of some bursts are clipped, or none."""
    if not clipped:
        return []
    return [
        f"{clipped} of {of} {what} are clipped: cut at the highest or lowest value that the input takes. Their onsets "
        "can be used; their amplitudes are too small by what was cut, which nobody knows."
    ]


def _top(samples: FloatArray, step: float) -> NDArray[np.bool_]:
    """Samples (samples,) at the highest value; not those that are missing."""
    here: NDArray[np.bool_] = samples >= np.nanmax(samples) - (0.0 if math.isnan(step) else step) / 2
    return here


def _is_rail(values: FloatArray, step: float) -> bool:
    """Is the highest of ``values`` (samples,), in the order in which they were taken, a rail; missing ones are NaN."""
    here = _top(values, step)
    visits = int(np.count_nonzero(here[1:] & ~here[:-1]) + here[0])
    count = int(here.sum())
    if math.isnan(step):
        return count >= 2
    near = int(np.count_nonzero(values >= np.nanmax(values) - (NEAR_LEVELS + 0.5) * step)) - count
    alone = count >= FEWEST_ALONE and near == 0
    piles = count >= FEWEST_PILED and count > PILED * (near / NEAR_LEVELS + 1)
    return (alone or piles) and (visits >= 2 or count > SMOOTH * (near / NEAR_LEVELS + 1))
